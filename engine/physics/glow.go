package physics

import "math"

// PlugKind is how a glow plug's heating element is made.
type PlugKind int

// The kinds of glow plug.
const (
	MetalPlug PlugKind = iota
	CeramicPlug
)

var plugNames = []string{"metal glow plug", "ceramic glow plug"}

// String names the kind.
func (k PlugKind) String() string { return name(plugNames, int(k)) }

// Plug is a glow plug: its resistance cold and glowing, and the time in which it comes within 37 % of the difference.
type Plug struct {
	Cold, Hot    Ohm
	TimeConstant Second
}

// typicalPlugs are for 12 V. No standard and no publication gives such figures; a plug for 24 V has the same power,
// hence four times the resistance.
var typicalPlugs = []Plug{
	MetalPlug:   {0.7, 1.05, 8},
	CeramicPlug: {0.45, 1.2, 3},
}

// TypicalPlug is a usual plug for a nominal voltage of 12 or 24 V, else *RangeError; the heater's own data outrank it.
// Source: common practice, no source. A cold metal plug for 12 V measures half an ohm to an ohm and rises when hot.
func TypicalPlug(kind PlugKind, nominalVoltage Volt) (Plug, error) {
	if err := within(one("glow_plug_kind", plugNames, int(kind)), nominal(nominalVoltage)); err != nil {
		return Plug{}, err
	}
	p, square := typicalPlugs[kind], nominalVoltage*nominalVoltage/(voltsPerNominal*voltsPerNominal)
	return Plug{p.Cold * Ohm(square), p.Hot * Ohm(square), p.TimeConstant}, nil
}

func (p Plug) bounds() []bound {
	return []bound{in("glow_plug_cold", p.Cold, 1, 0.05, 50, "Ω"), in("glow_plug_hot", p.Hot, 1, 0.05, 50, "Ω"),
		in("glow_plug_time_constant", p.TimeConstant, 1, 0.1, 120, "s")}
}

// ResistanceAfter is the plug's resistance in Ω when it has glowed for a time. Resistances 0.05 to 50 Ω, time
// constant 0.1 to 120 s, time 0 to 3600 s, else *RangeError.
// Source: lag of first order, R = hot - (hot - cold) exp(-t/τ), an assumption: it does not see that a starved plug
// warms more slowly and less.
func (p Plug) ResistanceAfter(t Second) (Ohm, error) {
	if err := within(append(p.bounds(), in("time", t, 1, 0, 3600, "s"))...); err != nil {
		return 0, err
	}
	return p.after(t), nil
}

func (p Plug) after(t Second) Ohm {
	left := Ohm(math.Exp(-float64(t / p.TimeConstant)))
	return p.Cold*left + p.Hot*(1-left)
}

// Glow is what a plug takes at a voltage.
type Glow struct {
	Current Ampere
	Power   Watt
	Working Working
}

// GlowPower is the current and power of a plug of resistance r at voltage v. 0 to 60 V and 0.05 to 50 Ω, else
// *RangeError. Source: Ohm's and Joule's laws.
func GlowPower(v Volt, r Ohm) (Glow, error) {
	if err := within(in("glow_voltage_heater", v, 1, 0, 60, "V"),
		in("glow_plug_resistance", r, 1, 0.05, 50, "Ω")); err != nil {
		return Glow{}, err
	}
	var w Working
	i := float64(v) / float64(r)
	w.step("current of the plug", "U/R", i, "A", ohmsLaw, "# / #", float64(v), float64(r))
	p := float64(v) * i
	w.step("power of the plug", "U·I", p, "W", "Joule's law", "# × #", float64(v), i)
	return Glow{Ampere(i), Watt(p), w}, nil
}
