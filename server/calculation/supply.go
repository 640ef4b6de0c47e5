//go:build !js

package calculation

import (
	"context"
	"errors"
	"fmt"
	"math"

	"lightoff/engine/heater"
	"lightoff/engine/physics"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// MaxJoints is how many joints a request may name.
const MaxJoints = 50

const (
	maxJointName = 100 // bytes
	curveSteps   = 60
)

// CalculateGlowVoltage implements the RPC.
func (Service) CalculateGlowVoltage(_ context.Context,
	req *lightoffv1.CalculateGlowVoltageRequest) (*lightoffv1.CalculateGlowVoltageResponse, error) {
	var s sum
	rest := s.required("rest_voltage_v", req.RestVoltageV)
	nominal := s.nominal(req.NominalVoltageV, rest)
	supply := physics.Supply{OpenCircuit: physics.Volt(rest), Joints: s.joints(req.GetJoints())}
	cable := physics.Conductor{Construction: pick(&s, "cable_construction", req.GetCableConstruction(), builds, "class_5",
		"make of the cable"),
		Area: physics.SquareMetre(s.required("cable_area_mm2", req.CableAreaMm2)) * physics.SquareMillimetre}
	supply.Runs = physics.OutAndBack(cable, physics.Metre(s.required("cable_length_m", req.CableLengthM)))
	supply.Temperature = physics.Celsius(s.optional("conductor_temperature_c", req.ConductorTemperatureC, 20,
		"temperature of the cable", "°C"))
	supply.Running = physics.Ampere(s.optional("running_current_a", req.RunningCurrentA,
		float64(heater.UsualRunning(nominal)),
		"current beside the plug", "A"))
	plug, err := s.plug(req.GetGlowPlugKind(), nominal, req.GlowPlugResistanceOhm)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	supply.Plug = plug.Hot
	battery := s.battery(req, nominal)
	duration := physics.Second(s.optional("curve_duration_s", orNought(req.CurveDurationS), 0, "", ""))
	if req.CurveDurationS != nil {
		s.within("curve_duration_s", float64(duration), 1, 600, "s")
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	if supply.Internal, err = s.internal(req.InternalResistanceMilliohm, battery, physics.Volt(rest)); err != nil {
		return nil, s.refuse(err, nil)
	}
	g, err := physics.VoltageWhileGlowing(supply)
	var curve physics.StartCurve
	if err == nil && req.CurveDurationS != nil {
		curve, err = physics.CurveOfStart(supply, plug, duration, curveSteps)
	}
	if err != nil {
		s.blameJoint(err, req.GetJoints())
		return nil, s.refuse(notJoints(err), results{"glow_plug_cold": "glow_plug_resistance_ohm",
			"glow_plug_hot": "glow_plug_resistance_ohm"})
	}
	s.show(g.Working)
	if len(curve.Points) > 0 {
		s.assume("the plug warms from %.3g to %.3g Ω with a time constant of %g s", float64(plug.Cold), float64(plug.Hot),
			float64(plug.TimeConstant))
		s.show(curve.Working[:1])
	}
	return glowVoltage(&s, g, curve, nominal), nil
}

func glowVoltage(s *sum, g physics.GlowVoltage, curve physics.StartCurve,
	nominal physics.Volt) *lightoffv1.CalculateGlowVoltageResponse {
	scale := float64(nominal) / 12
	return &lightoffv1.CalculateGlowVoltageResponse{
		BatteryVoltageV: float64(g.AtBattery), HeaterVoltageV: float64(g.AtHeater), CurrentA: float64(g.Current),
		PlugCurrentA: float64(g.PlugCurrent), PlugPowerW: float64(g.PlugPower),
		Drops: each(g.Drops, func(d physics.Drop) *lightoffv1.PartDrop {
			return &lightoffv1.PartDrop{Name: d.Name, Side: d.Side.String(),
				ResistanceMilliohm: float64(d.Resistance / physics.Milliohm), DropV: float64(d.Drop)}
		}),
		DropPositiveV: float64(g.DropPositive), DropNegativeV: float64(g.DropNegative),
		Curve: each(curve.Points, func(p physics.StartPoint) *lightoffv1.StartMoment {
			return &lightoffv1.StartMoment{AtS: float64(p.At), PlugOhm: float64(p.Plug), BatteryVoltageV: float64(p.AtBattery),
				HeaterVoltageV: float64(p.AtHeater), CurrentA: float64(p.Current)}
		}),
		UndervoltageLowV:  float64(heater.UnderVoltageLow) * scale,
		UndervoltageHighV: float64(heater.UnderVoltageHigh) * scale,
		Steps:             s.steps(), Assumptions: s.assumptions,
	}
}

func (s *sum) joints(in []*lightoffv1.Joint) []physics.Joint {
	if len(in) > MaxJoints {
		s.Add("joints", "holds %d joints, more than %d", len(in), MaxJoints)
		return nil
	}
	out := make([]physics.Joint, len(in))
	for i, j := range in {
		path := fmt.Sprintf("joints[%d]", i)
		switch name := j.GetName(); {
		case name == "":
			s.Add(path+".name", "is empty")
		case len(name) > maxJointName:
			s.Add(path+".name", "is longer than %d bytes", maxJointName)
		}
		side := j.GetSide()
		if side == "" {
			side = "positive"
		}
		out[i] = physics.Joint{Name: j.GetName(), Side: pick(s, path+".side", side, sides, "", "side"),
			Resistance: physics.Ohm(s.required(path+".resistance_milliohm", j.ResistanceMilliohm)) * physics.Milliohm}
	}
	return out
}

// blameJoint names the joints that the engine refuses; it tells their value only.
func (s *sum) blameJoint(err error, in []*lightoffv1.Joint) {
	for _, e := range ranges(err) {
		for i, j := range in {
			if e.Field == "joint_resistance" && e.Value == float64(physics.Ohm(j.GetResistanceMilliohm())*physics.Milliohm) {
				s.Add(fmt.Sprintf("joints[%d].resistance_milliohm", i), "%s", describe(e, 1000, "mΩ"))
				break
			}
		}
	}
}

// notJoints is the error without what blameJoint has named.
func notJoints(err error) error {
	var rest []error
	for _, e := range ranges(err) {
		if e.Field != "joint_resistance" {
			rest = append(rest, e)
		}
	}
	if len(rest) == 0 && len(ranges(err)) == 0 {
		return err
	}
	return errors.Join(rest...)
}

// plug is a usual one of its kind and voltage, made to fit the resistance if that is told. Its error is the engine's.
func (s *sum) plug(kind string, nominal physics.Volt, hot *float64) (physics.Plug, error) {
	plug, err := physics.TypicalPlug(pick(s, "glow_plug_kind", kind, plugKinds, "metal", "kind of glow plug"), nominal)
	if err != nil {
		return plug, err
	}
	told := physics.Ohm(s.optional("glow_plug_resistance_ohm", hot, float64(plug.Hot), "resistance of the glowing plug",
		"Ω"))
	return physics.Plug{Cold: plug.Cold * told / plug.Hot, Hot: told, TimeConstant: plug.TimeConstant}, nil
}

// battery is the one of the request. What only bears on an internal resistance that is told is not asked for.
func (s *sum) battery(req *lightoffv1.CalculateGlowVoltageRequest, nominal physics.Volt) physics.Battery {
	if req.InternalResistanceMilliohm != nil {
		return physics.Battery{}
	}
	return physics.Battery{
		Chemistry: pick(s, "battery_chemistry", req.GetBatteryChemistry(), chemistries, "flooded", "kind of battery"),
		Nominal:   nominal,
		Capacity: physics.Coulomb(s.optional("battery_capacity_ah", req.BatteryCapacityAh,
			float64(heater.UsualCapacity/physics.AmpereHour), "capacity", "A h")) * physics.AmpereHour,
		Age: physics.Second(s.optional("battery_age_years", req.BatteryAgeYears, 0, "age of the battery",
			"years")) * physics.Year,
		Temperature: physics.Celsius(s.optional("battery_temperature_c", req.BatteryTemperatureC, 20,
			"temperature of the battery",
			"°C")),
	}
}

// internal is the resistance told, or that of a healthy battery which reads so at rest.
func (s *sum) internal(told *float64, b physics.Battery, rest physics.Volt) (physics.Ohm, error) {
	if told != nil {
		return physics.Ohm(s.finite("internal_resistance_milliohm", *told)) * physics.Milliohm, s.Err()
	}
	charge, err := physics.StateOfCharge(b.Chemistry, b.Nominal, rest, b.Temperature)
	if err != nil {
		return 0, err
	}
	r, err := physics.InternalResistance(b, charge.Value)
	s.show(charge.Working)
	s.show(r.Working)
	return r.Value, err
}

// orNought keeps a number that may be left out without a usual value from being named.
func orNought(x *float64) *float64 {
	if x == nil {
		x = new(float64)
	}
	return x
}

// cableLimits are the limits of physics.Cable.Because.
var cableLimits = map[string]lightoffv1.CableLimit{
	physics.LimitDrop:     lightoffv1.CableLimit_CABLE_LIMIT_VOLT_DROP,
	physics.LimitAmpacity: lightoffv1.CableLimit_CABLE_LIMIT_AMPACITY,
	physics.LimitSmallest: lightoffv1.CableLimit_CABLE_LIMIT_SMALLEST,
}

// CalculateCable implements the RPC.
func (Service) CalculateCable(_ context.Context,
	req *lightoffv1.CalculateCableRequest) (*lightoffv1.CalculateCableResponse, error) {
	var s sum
	f := physics.Feed{Length: physics.Metre(s.required("cable_length_m", req.CableLengthM)),
		Nominal: s.nominal(req.NominalVoltageV, 12)}
	if req.CurrentA == nil {
		usual, err := heater.UsualStart(physics.MetalPlug, f.Nominal)
		if err != nil {
			return nil, s.refuse(err, nil)
		}
		s.assume("current not told: taken as %.3g A, that of a usual start a quarter of a minute in", float64(usual))
		f.Load = usual
	} else {
		f.Load = physics.Ampere(s.finite("current_a", *req.CurrentA))
	}
	f.Drop = physics.Share(s.optional("allowed_drop_percent", req.AllowedDropPercent, 5, "allowed drop", "%") / 100)
	f.Construction = pick(&s, "cable_construction", req.GetCableConstruction(), builds[:len(builds)-1], "class_5",
		"make of the cable")
	f.Temperature = physics.Celsius(s.optional("conductor_temperature_c", req.ConductorTemperatureC, 20,
		"temperature of the cable", "°C"))
	f.Ambient = physics.Celsius(s.optional("ambient_temperature_c", req.AmbientTemperatureC, 25,
		"temperature about the cable",
		"°C"))
	own := s.optional("cable_area_mm2", orNought(req.CableAreaMm2), 0, "", "")
	if err := s.Err(); err != nil {
		return nil, err
	}
	out := &lightoffv1.CalculateCableResponse{CurrentA: float64(f.Load),
		AllowedDropV: float64(f.Drop) * float64(f.Nominal)}
	c, err := physics.SmallestCable(f)
	if req.CableAreaMm2 != nil {
		drop, ownErr := dropOf(f, physics.SquareMetre(own)*physics.SquareMillimetre, f.Length)
		ownDrop := float64(drop.Value)
		out.OwnDropV = &ownDrop
		for _, step := range drop.Working {
			step.Quantity += ", of the cable at hand"
			s.show(physics.Working{step})
		}
		err = distinct(err, ownErr)
	}
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(c.Working)
	out.CableAreaMm2, out.DropV, out.DropPercent = float64(c.Area/physics.SquareMillimetre), float64(c.Drop),
		100*float64(c.Share)
	out.AmpacityA, out.FuseA, out.Because = float64(c.Ampacity), float64(c.Fuse), c.Because
	out.LimitedBy = cableLimits[c.Because]
	for _, area := range physics.StandardAreas() {
		drop, err := dropOf(f, area, 1)
		if err != nil {
			return nil, s.refuse(err, nil)
		}
		out.Areas = append(out.Areas, &lightoffv1.AreaDrop{CableAreaMm2: round(float64(area / physics.SquareMillimetre)),
			DropV: float64(drop.Value) * float64(f.Length), DropVPerM: float64(drop.Value)})
	}
	out.CableAreaMm2 = round(out.CableAreaMm2)
	out.Steps, out.Assumptions = s.steps(), s.assumptions
	return out, nil
}

// round takes off what the change of units adds to a size as it is printed.
func round(x float64) float64 { return math.Round(x*1e6) / 1e6 }

func dropOf(f physics.Feed, area physics.SquareMetre, length physics.Metre) (physics.Figure[physics.Volt], error) {
	return physics.CableDrop(physics.Conductor{Construction: f.Construction, Area: area}, length, f.Load, f.Temperature)
}

// distinct joins two errors, the second without what the first says about the same quantity.
func distinct(first, second error) error {
	all := []error{first}
	for _, e := range ranges(second) {
		known := false
		for _, f := range ranges(first) {
			known = known || f.Field == e.Field
		}
		if !known {
			all = append(all, e)
		}
	}
	return errors.Join(all...)
}

// CalculateStateOfCharge implements the RPC.
func (Service) CalculateStateOfCharge(_ context.Context,
	req *lightoffv1.CalculateStateOfChargeRequest) (*lightoffv1.CalculateStateOfChargeResponse, error) {
	var s sum
	rest := s.required("rest_voltage_v", req.RestVoltageV)
	nominal := s.nominal(req.NominalVoltageV, rest)
	temperature := physics.Celsius(s.optional("battery_temperature_c", req.BatteryTemperatureC, 20,
		"temperature of the battery",
		"°C"))
	asked := chemistries
	if word := req.GetBatteryChemistry(); word != "" {
		asked = []named[physics.Chemistry]{{word, pick(&s, "battery_chemistry", word, chemistries, "", "")}}
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	out := &lightoffv1.CalculateStateOfChargeResponse{}
	var refused error
	for _, c := range asked {
		charge, err := physics.StateOfCharge(c.is, nominal, physics.Volt(rest), temperature)
		if err != nil {
			refused = err // the last of the chemistries has the widest range
			continue
		}
		band := &lightoffv1.ChargeBand{BatteryChemistry: c.word, ChargePercent: 100 * float64(charge.Value),
			LowPercent: 100 * float64(charge.Low), HighPercent: 100 * float64(charge.High)}
		if c.is != physics.Lithium {
			freezes, err := physics.FreezingPoint(charge.Low)
			if err != nil {
				return nil, s.refuse(err, nil)
			}
			point := float64(freezes)
			band.FreezingPointC = &point
		}
		out.Bands = append(out.Bands, band)
		for _, step := range charge.Working {
			step.Quantity = c.is.String() + ": " + step.Quantity
			s.show(physics.Working{step})
		}
	}
	if len(out.Bands) == 0 {
		return nil, s.refuse(refused, nil)
	}
	out.Steps, out.Assumptions = s.steps(), s.assumptions
	return out, nil
}

// CalculateLoadTest implements the RPC.
func (Service) CalculateLoadTest(_ context.Context,
	req *lightoffv1.CalculateLoadTestRequest) (*lightoffv1.CalculateLoadTestResponse, error) {
	var s sum
	temperature := physics.Celsius(s.optional("battery_temperature_c", req.BatteryTemperatureC, 20,
		"temperature of the battery",
		"°C"))
	pick(&s, "battery_chemistry", req.GetBatteryChemistry(), chemistries[:2], "flooded", "kind of battery")
	out := &lightoffv1.CalculateLoadTestResponse{}
	if req.ColdCrankingCurrentA != nil {
		cranking := s.finite("cold_cranking_current_a", *req.ColdCrankingCurrentA)
		s.within("cold_cranking_current_a", cranking, 20, 3000, "A")
		if half, err := physics.LoadTestCurrent(physics.Ampere(cranking)); err == nil { // else told above
			amps := float64(half.Value)
			out.TestCurrentA = &amps
			s.show(half.Working)
		}
	}
	loaded := s.optional("loaded_voltage_v", orNought(req.LoadedVoltageV), 0, "", "")
	s.within("loaded_voltage_v", loaded, 0, 60, "V")
	measured := req.RestVoltageV != nil || req.CurrentA != nil
	if measured {
		s.required("loaded_voltage_v", req.LoadedVoltageV)
	}
	var rest, current float64
	if measured {
		rest, current = s.required("rest_voltage_v", req.RestVoltageV), s.required("current_a", req.CurrentA)
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	limit, err := physics.LoadTestLimit(temperature)
	if measured {
		r, wrong := physics.SourceResistance(physics.Volt(rest), physics.Volt(loaded), physics.Ampere(current))
		err = errors.Join(err, wrong)
		milliohm := float64(r.Value / physics.Milliohm)
		out.InternalResistanceMilliohm = &milliohm
		s.show(r.Working)
	}
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(limit.Working)
	out.LeastVoltageV = float64(limit.Value)
	if req.LoadedVoltageV != nil {
		holds := loaded >= out.LeastVoltageV
		out.Holds = &holds
		s.assume("the voltage was measured 15 s into the test's own load, the battery at least three quarters charged")
	}
	out.Steps, out.Assumptions = s.steps(), s.assumptions
	return out, nil
}

// CalculateNightEnergy implements the RPC.
func (Service) CalculateNightEnergy(_ context.Context,
	req *lightoffv1.CalculateNightEnergyRequest) (*lightoffv1.CalculateNightEnergyResponse, error) {
	var s sum
	nominal := s.nominal(req.NominalVoltageV, 12)
	chemistry := pick(&s, "battery_chemistry", req.GetBatteryChemistry(), chemistries, "", "")
	usable, err := physics.UsableShare(chemistry)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	start, err := heater.UsualStart(physics.MetalPlug, nominal)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	n := physics.Night{
		Battery: physics.Battery{Chemistry: chemistry, Nominal: nominal,
			Capacity: physics.Coulomb(s.required("battery_capacity_ah", req.BatteryCapacityAh)) * physics.AmpereHour,
			Temperature: physics.Celsius(s.optional("battery_temperature_c", req.BatteryTemperatureC, 20,
				"temperature of the battery",
				"°C"))},
		Duration: physics.Second(s.required("duration_h", req.DurationH)) * physics.Hour,
		Charge:   physics.Share(s.optional("charge_percent", req.ChargePercent, 100, "charge at the beginning", "%") / 100),
		Usable: physics.Share(s.optional("usable_percent", req.UsablePercent, 100*float64(usable),
			"usable part of the capacity", "%") / 100),
		Running: physics.Ampere(s.optional("running_current_a", req.RunningCurrentA, float64(heater.UsualRunning(nominal)),
			"mean current", "A")),
		Starts: 1,
		StartCurrent: physics.Ampere(s.optional("start_current_a", req.StartCurrentA, float64(start), "current of a start",
			"A")),
		StartTime: physics.Second(s.optional("start_time_s", req.StartTimeS, 120, "time of a start", "s")),
	}
	if req.Starts == nil {
		s.assume("number of starts not told: taken as 1")
	} else {
		n.Starts = int(req.GetStarts())
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	e, err := physics.EnergyOfNight(n)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(e.Working)
	out := &lightoffv1.CalculateNightEnergyResponse{TakenAh: float64(e.Taken / physics.AmpereHour),
		EnergyWh:    float64(e.Energy / physics.WattHour),
		LeftPercent: 100 * float64(e.Left), Enough: e.Enough, Steps: s.steps(), Assumptions: s.assumptions}
	if hours := float64(e.Lasts / physics.Hour); !math.IsInf(hours, 0) {
		out.LastsH = &hours
	}
	return out, nil
}

// CalculateGlowPower implements the RPC.
func (Service) CalculateGlowPower(_ context.Context,
	req *lightoffv1.CalculateGlowPowerRequest) (*lightoffv1.CalculateGlowPowerResponse, error) {
	var s sum
	volts := s.required("heater_voltage_v", req.HeaterVoltageV)
	var ohms physics.Ohm
	if req.GlowPlugResistanceOhm != nil {
		ohms = physics.Ohm(s.finite("glow_plug_resistance_ohm", *req.GlowPlugResistanceOhm))
	} else {
		plug, err := s.plug(req.GetGlowPlugKind(), s.nominal(req.NominalVoltageV, volts), nil)
		if err != nil {
			return nil, s.refuse(err, nil)
		}
		ohms = plug.Hot
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	g, err := physics.GlowPower(physics.Volt(volts), ohms)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(g.Working)
	return &lightoffv1.CalculateGlowPowerResponse{CurrentA: float64(g.Current), PowerW: float64(g.Power), Steps: s.steps(),
		Assumptions: s.assumptions}, nil
}
