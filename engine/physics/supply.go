package physics

import (
	"fmt"
	"math"
)

// Side tells on which side of the heater a part of the feed lies.
type Side int

// The sides.
const (
	Positive Side = iota
	Negative
)

var sideNames = []string{"positive", "negative"}

// String names the side.
func (s Side) String() string { return name(sideNames, int(s)) }

// Run is one conductor of the feed. Length is its own, so that a cable out and back is two runs; see OutAndBack.
type Run struct {
	Name   string
	Side   Side
	Cable  Conductor
	Length Metre
}

// OutAndBack are the two runs of a cable of the given length one way.
func OutAndBack(cable Conductor, length Metre) []Run {
	return []Run{{"positive cable", Positive, cable, length}, {"negative cable", Negative, cable, length}}
}

// Joint is a terminal, fuse holder, connector or earth, with its resistance. A sound one has a milliohm or so, a
// corroded one some ten to some hundred (common practice, no source).
type Joint struct {
	Name       string
	Side       Side
	Resistance Ohm
}

// Supply is the circuit of a start: a battery with its open-circuit voltage and internal resistance, the conductors and
// joints to the heater, and there a glow plug of resistance Plug and, beside it, what else draws a constant Running
// current: fan, board, pump. The temperature is that of the conductors.
type Supply struct {
	OpenCircuit Volt
	Internal    Ohm
	Runs        []Run
	Joints      []Joint
	Temperature Celsius
	Plug        Ohm
	Running     Ampere
}

func (s Supply) bounds() []bound {
	all := []bound{in("rest_voltage", s.OpenCircuit, 1, 0, 60, "V"), in("internal_resistance", s.Internal, 1, 0, 10, "Ω"),
		conductorTemperature(s.Temperature),
		in("glow_plug_resistance", s.Plug, 1, 0.05, 50, "Ω"), in("running_current", s.Running, 1, 0, 50, "A")}
	for _, r := range s.Runs {
		all = append(append(all, r.Cable.bounds()...), in("cable_length", r.Length, 1, 0, 1000, "m"),
			one("side", sideNames, int(r.Side)))
	}
	for _, j := range s.Joints {
		all = append(all, in("joint_resistance", j.Resistance, 1, 0, 10, "Ω"), one("side", sideNames, int(j.Side)))
	}
	return all
}

// Drop is what one part of the circuit takes from the voltage.
type Drop struct {
	Name       string
	Side       Side
	Resistance Ohm
	Drop       Volt
}

// GlowVoltage is the circuit solved. Drops are the runs and then the joints; with the battery's own, which is rest
// voltage less AtBattery, they add up to rest voltage less AtHeater. DropPositive and DropNegative are what a meter
// shows along each side.
type GlowVoltage struct {
	AtBattery, AtHeater        Volt
	Current, PlugCurrent       Ampere
	PlugPower                  Watt
	Drops                      []Drop
	DropPositive, DropNegative Volt
	Working                    Working
}

// VoltageWhileGlowing solves the circuit of a start in closed form. The plug is a resistance, so that a poor feed also
// lowers its current; running gear is a constant current. Rest voltage 0 to 60 V, internal resistance and joints 0 to
// 10 Ω, plug 0.05 to 50 Ω, running current 0 to 50 A, cables as ConductorResistance; and the running current alone
// must leave some voltage; else *RangeError. A cable's own warming in the minutes of a start is left out.
// Source: Ohm's and Kirchhoff's laws.
func VoltageWhileGlowing(s Supply) (GlowVoltage, error) {
	if err := within(s.bounds()...); err != nil {
		return GlowVoltage{}, err
	}
	var w Working
	var g GlowVoltage
	feed := s.feed(&w, &g)
	total := float64(s.Internal) + feed
	w.step("resistance of source and feed", "Ri + Rf", total, "Ω", "resistances in series add up", "# + #",
		float64(s.Internal), feed)
	if total > 0 {
		if err := within(in("running_current", s.Running, 1, 0, float64(s.OpenCircuit)/total, "A")); err != nil {
			return GlowVoltage{}, err
		}
	}
	s.solve(&w, &g, total)
	for i := range g.Drops {
		d := &g.Drops[i]
		d.Drop = Volt(float64(g.Current) * float64(d.Resistance))
		w.step("drop of "+d.Name, "I·R", float64(d.Drop), "V", ohmsLaw, "# × #", float64(g.Current), float64(d.Resistance))
		if d.Side == Positive {
			g.DropPositive += d.Drop
		} else {
			g.DropNegative += d.Drop
		}
	}
	w.step("voltage at the heater, from the drops", "U0 − I·(Ri + Rf)", float64(g.AtHeater), "V", "Kirchhoff's law",
		"# − # × #", float64(s.OpenCircuit), float64(g.Current), total)
	g.Working = w
	return g, nil
}

// feed lists the parts of the feed and adds up their resistances.
func (s Supply) feed(w *Working, g *GlowVoltage) (sum float64) {
	for _, r := range s.Runs {
		per := r.Cable.record(w, s.Temperature)
		ohms := float64(per) * float64(r.Length)
		w.step("resistance of "+r.Name, "r·L", ohms, "Ω", ohmsLaw, "# × #", float64(per), float64(r.Length))
		g.Drops = append(g.Drops, Drop{r.Name, r.Side, Ohm(ohms), 0})
		sum += ohms
	}
	for _, j := range s.Joints {
		w.find("resistance of "+j.Name, "given", float64(j.Resistance), "Ω", "given")
		g.Drops = append(g.Drops, Drop{j.Name, j.Side, j.Resistance, 0})
		sum += float64(j.Resistance)
	}
	text, values := "0", []float64(nil)
	for i, d := range g.Drops {
		if i == 0 {
			text = "#"
		} else {
			text += " + #"
		}
		values = append(values, float64(d.Resistance))
	}
	w.step("resistance of the feed", "all parts in series", sum, "Ω", "resistances in series add up", text, values...)
	return sum
}

// solve: U = U0 - R (U/Rp + Ir), hence U = (U0 - R Ir) / (1 + R/Rp).
func (s Supply) solve(w *Working, g *GlowVoltage, total float64) {
	u0, rp, ir := float64(s.OpenCircuit), float64(s.Plug), float64(s.Running)
	u := (u0 - total*ir) / (1 + total/rp)
	w.step("voltage at the heater", "(U0 − R·Ir)/(1 + R/Rp)", u, "V", "Ohm's and Kirchhoff's laws, solved for U",
		"(# − # × #) / (1 + # / #)", u0, total, ir, total, rp)
	w.step("current of the plug", "U/Rp", u/rp, "A", ohmsLaw, "# / #", u, rp)
	i := u/rp + ir
	w.step("current of the heater", "Ip + Ir", i, "A", "Kirchhoff's law", "# + #", u/rp, ir)
	w.step("power of the plug", "U·Ip", u*u/rp, "W", "Joule's law", "# × #", u, u/rp)
	battery := u0 - i*float64(s.Internal)
	w.step("voltage at the battery", "U0 − I·Ri", battery, "V", ohmsLaw, "# − # × #", u0, i, float64(s.Internal))
	g.AtBattery, g.AtHeater, g.Current, g.PlugCurrent, g.PlugPower = Volt(battery), Volt(u), Ampere(i), Ampere(u/rp),
		Watt(u*u/rp)
}

// StartPoint is one moment of a start.
type StartPoint struct {
	At                  Second
	Plug                Ohm
	AtBattery, AtHeater Volt
	Current             Ampere
}

// StartCurve is a start from the moment the plug is switched on, for a plot, with the working of its last moment.
type StartCurve struct {
	Points  []StartPoint
	Working Working
}

// CurveOfStart follows a start while the plug warms: steps + 1 moments from zero to duration, each solved as
// VoltageWhileGlowing does, with the plug's resistance then in place of s.Plug. Duration 1 to 600 s, 1 to 1000 steps;
// else *RangeError, as for what VoltageWhileGlowing and Plug.ResistanceAfter refuse, which name the sources.
func CurveOfStart(s Supply, plug Plug, duration Second, steps int) (StartCurve, error) {
	err := within(append(plug.bounds(), in("duration", duration, 1, 1, 600, "s"),
		bound{"steps", float64(steps), 1, 1000, ""})...)
	if err != nil {
		return StartCurve{}, err
	}
	var c StartCurve
	for i := range steps + 1 {
		t := duration * Second(i) / Second(steps)
		s.Plug = plug.after(t)
		g, err := VoltageWhileGlowing(s)
		if err != nil {
			return StartCurve{}, fmt.Errorf("%s s after switching on: %w", number(float64(t)), err)
		}
		c.Points = append(c.Points, StartPoint{t, s.Plug, g.AtBattery, g.AtHeater, g.Current})
		if i == steps {
			c.Working.step("resistance of the plug", "hot − (hot − cold)·exp(−t/τ)", float64(s.Plug), "Ω",
				"lag of first order, an assumption",
				"# − (# − #) × exp(−# / #)", float64(plug.Hot), float64(plug.Hot), float64(plug.Cold), float64(t),
				float64(plug.TimeConstant))
			c.Working = append(c.Working, g.Working...)
		}
	}
	return c, nil
}

// The limits of small craft for the drop of a feed, as parts of the nominal voltage: circuits that must not fail, and
// all others. Source: ISO 10133 and ABYC E-11.
const (
	CriticalDrop Share = 0.03
	OtherDrop    Share = 0.10
)

// SmallCraftDrop is the drop, in V, of the formula printed for small craft: E = 0.0164 I L / S, with the length out and
// back. Its constant is copper at about 8 °C, some 5 % optimistic at 20 °C and more for a flexible cable that is
// warm; SmallestCable does not use it. Current 0 to 200 A, length 0 to 1000 m, area 0.5 to 120 mm², else *RangeError.
// Source: ISO 10133, annex, as quoted.
func SmallCraftDrop(current Ampere, outAndBack Metre, area SquareMetre) (Figure[Volt], error) {
	if err := within(craftBounds(current, outAndBack,
		in("cable_area", area, SquareMillimetre, 0.5, 120, "mm²"))...); err != nil {
		return Figure[Volt]{}, err
	}
	s := float64(area / SquareMillimetre)
	e := 0.0164 * float64(current) * float64(outAndBack) / s
	var w Working
	w.step("drop", "0.0164·I·L/S", e, "V", "ISO 10133, annex, as quoted", "0.0164 × # × # / #", float64(current),
		float64(outAndBack), s)
	return Figure[Volt]{Volt(e), w}, nil
}

// BoatCableArea is the cross-section, in m², of the formula CM = K I L / E with K = 10.75 Ω circular mil a foot,
// which is copper at about 29 °C; the length is out and back. Current and length as SmallCraftDrop, drop 0.01 to 60 V,
// else *RangeError. The next larger cable is to be taken. Source: ABYC E-11.
func BoatCableArea(current Ampere, outAndBack Metre, drop Volt) (Figure[SquareMetre], error) {
	if err := within(craftBounds(current, outAndBack, in("drop", drop, 1, 0.01, 60, "V"))...); err != nil {
		return Figure[SquareMetre]{}, err
	}
	const foot, circularMil = 0.3048, math.Pi / 4 * 0.0254 * 0.0254 // m, mm²
	feet := float64(outAndBack) / foot
	cm := 10.75 * float64(current) * feet / float64(drop)
	var w Working
	w.step("area in circular mils", "10.75·I·L/E, L in feet", cm, "circular mil", "ABYC E-11",
		"10.75 × # × # / 0.3048 / #", float64(current), float64(outAndBack), float64(drop))
	w.step("area", "π/4·(0.0254 mm)² a circular mil", cm*circularMil, "mm²", geometry,
		"# × 3.14159265 / 4 × 0.0254 ^ 2", cm)
	return Figure[SquareMetre]{SquareMetre(cm*circularMil) * SquareMillimetre, w}, nil
}

func craftBounds(current Ampere, outAndBack Metre, other bound) []bound {
	return []bound{in("current", current, 1, 0, 200, "A"), in("cable_length", outAndBack, 1, 0, 1000, "m"), other}
}
