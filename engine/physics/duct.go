package physics

import "math"

// Fluid is what flows: air in a duct, fuel in a line.
type Fluid struct {
	Density   KilogramPerCubicMetre
	Viscosity PascalSecond
}

// Pipe is a round pipe or duct. Loss is the sum of the loss coefficients of all bends and ends, in velocity heads.
type Pipe struct {
	Length, Diameter, Roughness Metre
	Loss                        float64
}

// Loss coefficients, in velocity heads. Source: engineering tables of air-duct fittings; those of the rounded bends are
// printed without the radius at which they hold.
const (
	BendSharp   = 1.3  // 90°, no radius
	BendRounded = 0.5  // 90°, tight radius
	BendWide    = 0.25 // 90°, wide radius
	IntoRoom    = 1.0
	FromRoom    = 0.35
)

// Roughness of ducts. A flexible duct that is not pulled out is rougher still.
const (
	RoughnessSmooth   Metre = 0.0015e-3 // drawn tubing, White and Munson, from memory
	RoughnessFlexible Metre = 0.9e-3    // flexible duct, fully pulled out: handbook category, 0.003 ft
	RoughnessSlack    Metre = 3e-3      // flexible duct, older handbooks, from memory
)

// The flow is laminar below one and turbulent above the other Reynolds number; in between nobody knows, and the
// factor is put on the straight line that joins the two laws.
const (
	laminarEnd     = 2300
	turbulentBegin = 4000
)

// FrictionFactor is Darcy's, by the Reynolds number (1e-3 to 1e8) and the roughness over the diameter (0 to 0.05), else
// *RangeError. Source: 64/Re below 2300; Colebrook's equation from 4000, solved with a fixed number of steps of
// Newton's method, which closes in from one side; between them, where the flow is undecided, a straight line.
func FrictionFactor(reynolds, roughness float64) (float64, error) {
	if err := within(bound{"reynolds", reynolds, 1e-3, 1e8, ""},
		bound{"relative_roughness", roughness, 0, 0.05, ""}); err != nil {
		return 0, err
	}
	return friction(reynolds, roughness), nil
}

func friction(reynolds, roughness float64) float64 {
	switch {
	case reynolds <= laminarEnd:
		return 64 / reynolds
	case reynolds < turbulentBegin:
		from, to := 64.0/laminarEnd, colebrook(turbulentBegin, roughness)
		return from + (to-from)*(reynolds-laminarEnd)/(turbulentBegin-laminarEnd)
	}
	return colebrook(reynolds, roughness)
}

// newtonSteps are many more than the four that rounding allows to make a difference.
const newtonSteps = 12

// colebrook solves x + 2 log10(ε/3.7 + 2.51 x/Re) = 0 for x = 1/√f. The left side is increasing and concave, so that
// Newton's method comes up to the root from below, wherever it starts.
func colebrook(reynolds, roughness float64) float64 {
	a, b := roughness/3.7, 2.51/reynolds
	x := 1.0
	for range newtonSteps {
		x -= (x + 2*math.Log10(a+b*x)) / (1 + 2*b/(math.Ln10*(a+b*x)))
	}
	return 1 / (x * x)
}

// SwameeJain is the explicit formula for the friction factor in turbulent flow, for comparison: Reynolds 5e3 to 1e8,
// relative roughness 1e-6 to 0.05, else *RangeError. It lies within some 3 % of Colebrook's. Source: Swamee and Jain
// 1976.
func SwameeJain(reynolds, roughness float64) (float64, error) {
	if err := within(bound{"reynolds", reynolds, 5e3, 1e8, ""},
		bound{"relative_roughness", roughness, 1e-6, 0.05, ""}); err != nil {
		return 0, err
	}
	l := math.Log10(roughness/3.7 + 5.74/math.Pow(reynolds, 0.9))
	return 0.25 / (l * l), nil
}

func (p Pipe) bounds() []bound {
	return []bound{in("duct_length", p.Length, 1, 0, 100, "m"),
		in("duct_diameter", p.Diameter, Millimetre, 0.1, 500, "mm"),
		in("relative_roughness", p.Roughness, max(p.Diameter, 1e-9), 0, 0.05, ""),
		bound{"loss_coefficient", p.Loss, 0, 50, ""}}
}

func (f Fluid) bounds() []bound {
	return []bound{in("density", f.Density, 1, 0.1, 2000, "kg/m³"), in("viscosity", f.Viscosity, 1, 1e-6, 1, "Pa s")}
}

// PressureLoss is what a flow loses in a pipe. Pipe is the part along its length, Fittings that of bends and ends.
type PressureLoss struct {
	Velocity              MetrePerSecond
	Reynolds              float64
	Friction              float64
	Pipe, Fittings, Total Pascal
	Working               Working
}

// fastest keeps air below a third of the speed of sound, where it may be taken as incompressible.
const fastest = 100

// PressureLossOf is the pressure lost by a flow of 0 to 1 m³/s. Length 0 to 100 m, diameter 0.1 to 500 mm, roughness 0
// to 0.05 of it, loss coefficients 0 to 50; at most 100 m/s; else *RangeError.
// Source: Darcy and Weisbach, p = (f L/D + ΣK) ρ v²/2, with the factor of FrictionFactor. Laminar flow is that of
// Hagen and Poiseuille. The inlet length, in which the flow takes shape, is left out.
func PressureLossOf(p Pipe, f Fluid, flow CubicMetrePerSecond) (PressureLoss, error) {
	if err := within(append(append(p.bounds(), f.bounds()...), in("flow", flow, 1, 0, 1, "m³/s"))...); err != nil {
		return PressureLoss{}, err
	}
	v, re, factor := p.state(f, float64(flow))
	if err := within(bound{"velocity", v, 0, fastest, "m/s"}); err != nil {
		return PressureLoss{}, err
	}
	l := PressureLoss{Velocity: MetrePerSecond(v), Reynolds: re, Friction: factor}
	l.record(p, f, float64(flow))
	return l, nil
}

// state is the velocity, the Reynolds number and the friction factor, zero when nothing flows.
func (p Pipe) state(f Fluid, flow float64) (v, re, factor float64) {
	d := float64(p.Diameter)
	v = flow / (math.Pi / 4 * d * d)
	re = float64(f.Density) * v * d / float64(f.Viscosity)
	if re > 0 {
		factor = friction(re, float64(p.Roughness)/d)
	}
	return v, re, factor
}

// loss is the pressure lost along the pipe and in its fittings.
func (p Pipe) loss(f Fluid, flow float64) (pipe, fittings float64) {
	v, _, factor := p.state(f, flow)
	head := float64(f.Density) * v * v / 2
	return factor * float64(p.Length/p.Diameter) * head, p.Loss * head
}

func (l *PressureLoss) record(p Pipe, f Fluid, flow float64) {
	w, d, v := &l.Working, float64(p.Diameter), float64(l.Velocity)
	w.step("velocity", "Q/(π/4·D²)", v, "m/s", geometry, "# / (3.14159265 / 4 × # ^ 2)", flow, d)
	w.step("Reynolds number", "ρ·v·D/μ", l.Reynolds, "", "definition", "# × # × # / #", float64(f.Density), v, d,
		float64(f.Viscosity))
	switch relative := float64(p.Roughness) / d; {
	case l.Reynolds == 0:
		w.find("friction factor", "nothing flows", 0, "", "definition")
	case l.Reynolds <= laminarEnd:
		w.step("friction factor", "64/Re", l.Friction, "", "Hagen and Poiseuille", "64 / #", l.Reynolds)
	case l.Reynolds < turbulentBegin:
		w.find("friction factor", "between laminar and turbulent, straight line", l.Friction, "", "assumption")
	default:
		w.step("friction factor", "1/√f = −2·lg(ε/(3.7·D) + 2.51/(Re·√f))", l.Friction, "", "Colebrook 1939",
			"1 / (2 × lg(# / 3.7 + 2.51 / (# × sqrt(#)))) ^ 2", relative, l.Reynolds, l.Friction)
	}
	pipe, fittings := p.loss(f, flow)
	w.step("lost along the pipe", "f·L/D·ρ·v²/2", pipe, "Pa", "Darcy and Weisbach", "# × # / # × # × # ^ 2 / 2",
		l.Friction, float64(p.Length), d, float64(f.Density), v)
	w.step("lost in bends and ends", "ΣK·ρ·v²/2", fittings, "Pa", "loss coefficients", "# × # × # ^ 2 / 2", p.Loss,
		float64(f.Density), v)
	w.step("pressure lost", "pipe + fittings", pipe+fittings, "Pa", "sum", "# + #", pipe, fittings)
	l.Pipe, l.Fittings, l.Total = Pascal(pipe), Pascal(fittings), Pascal(pipe+fittings)
}

// Duct is a warm-air duct: its length, diameter and roughness, the number of its 90° bends with the loss coefficient
// of each, and that of its end with grille (IntoRoom at least).
type Duct struct {
	Length, Diameter, Roughness Metre
	Bends                       int
	Bend, End                   float64
}

// Blower is a heater's fan by two points: the volume that it moves freely, and the pressure at which nothing moves any
// more, both in air of 1.2 kg/m³. Between them it is taken as a parabola.
type Blower struct {
	Free CubicMetrePerSecond
	Shut Pascal
}

// fanDensity is the density for which fans are characterised.
const fanDensity = 1.2

// WarmAir is the air's pressure and its temperature before and after the heater.
type WarmAir struct {
	Pressure      Pascal
	Inlet, Outlet Celsius
}

// DuctFlow is what is left of a blower's flow. Flow is at the inlet, Share its part of the free flow, PressureShare
// what the duct takes of the pressure that the blower could give at standstill.
type DuctFlow struct {
	Flow          CubicMetrePerSecond
	Share         Share
	Pressure      Pascal
	PressureShare Share
	Velocity      MetrePerSecond
	Working       Working
}

func (d Duct) bounds() []bound {
	return append(Pipe{d.Length, d.Diameter, d.Roughness, 0}.bounds(), bound{"duct_bends", float64(d.Bends), 0, 20, ""},
		bound{"bend_loss", d.Bend, 0, 3, ""}, bound{"end_loss", d.End, 0, 10, ""})
}

func (b Blower) bounds() []bound {
	return []bound{in("free_flow", b.Free, 1/3600.0, 1, 2000, "m³/h"), in("shut_pressure", b.Shut, 1, 1, 5000, "Pa")}
}

func (a WarmAir) bounds() []bound {
	return []bound{pressureBound(a.Pressure), in("inlet_temperature", a.Inlet, 1, -50, 60, "°C"),
		in("outlet_temperature", a.Outlet, 1, -50, 250, "°C")}
}

// FlowThroughDuct is the flow at which the blower's pressure is what the duct loses, found by halving an interval sixty
// times: the one falls and the other rises with the flow, so that there is just one. The air is warmer in the duct,
// hence thinner and faster there than in the blower. Free flow 1 to 2000 m³/h, pressure at standstill 1 to 5000 Pa, up
// to 20 bends, otherwise as PressureLossOf, air -50 to 60 °C before and to 250 °C after the heater, 200 to 1200 hPa;
// else *RangeError. Source: Darcy and Weisbach; fan law p ∝ ρ; the parabola is a usual simplification. How much flow
// a heater needs stands in its own instructions.
func FlowThroughDuct(d Duct, b Blower, a WarmAir) (DuctFlow, error) {
	if err := within(append(append(d.bounds(), b.bounds()...), a.bounds()...)...); err != nil {
		return DuctFlow{}, err
	}
	viscosity, err := AirViscosity(a.Outlet)
	if err != nil {
		return DuctFlow{}, err
	}
	cold, warm := airDensity(a.Pressure, a.Inlet), airDensity(a.Pressure, a.Outlet)
	swell := float64(cold / warm)
	pipe, air := Pipe{d.Length, d.Diameter, d.Roughness, float64(d.Bends)*d.Bend + d.End}, Fluid{warm, viscosity}
	shut, free := float64(b.Shut)*float64(cold)/fanDensity, float64(b.Free)
	q := crossing(0, free, func(q float64) float64 {
		along, fittings := pipe.loss(air, q*swell)
		return along + fittings - shut*(1-q*q/(free*free))
	})
	var w Working
	w.step("density at the inlet", "p/(R·T)", float64(cold), "kg/m³", "ideal gas", "# / (287.05287 × (# + 273.15))",
		float64(a.Pressure), float64(a.Inlet))
	w.step("density in the duct", "p/(R·T)", float64(warm), "kg/m³", "ideal gas", "# / (287.05287 × (# + 273.15))",
		float64(a.Pressure), float64(a.Outlet))
	w.step("loss coefficients", "n·K + end", pipe.Loss, "", "engineering tables", "# × # + #", float64(d.Bends), d.Bend,
		d.End)
	w.step("pressure at standstill", "p0·ρ/1.2", shut, "Pa", "fan law", "# × # / 1.2", float64(b.Shut), float64(cold))
	w.find("flow", "where blower and duct agree, by halving", q*3600, "m³/h", "continuity")
	w.step("flow in the duct", "Q·ρ/ρw", q*swell, "m³/s", "conservation of mass", "# / 3600 × # / #", q*3600,
		float64(cold), float64(warm))
	l, err := PressureLossOf(pipe, air, CubicMetrePerSecond(q*swell))
	if err != nil {
		return DuctFlow{}, err
	}
	w = append(w, l.Working...)
	given := shut * (1 - q*q/(free*free))
	w.step("pressure of the blower", "p·(1 − (Q/Q0)²)", given, "Pa", "parabola, a usual simplification",
		"# × (1 − (# / #) ^ 2)", shut, q*3600, free*3600)
	w.step("part of the pressure at standstill", "loss/p", float64(l.Total)/shut, "", "definition", "# / #",
		float64(l.Total), shut)
	w.step("part of the free flow", "Q/Q0", q/free, "", "definition", "# / #", q*3600, free*3600)
	return DuctFlow{CubicMetrePerSecond(q), Share(q / free), l.Total, Share(float64(l.Total) / shut), l.Velocity, w}, nil
}
