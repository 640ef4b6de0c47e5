//go:build !js

package calculation

import (
	"context"
	"fmt"

	"lightoff/engine/heater"
	"lightoff/engine/physics"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// CalculateHeatOutput implements the RPC.
func (Service) CalculateHeatOutput(_ context.Context,
	req *lightoffv1.CalculateHeatOutputRequest) (*lightoffv1.CalculateHeatOutputResponse, error) {
	var s sum
	b := physics.Burn{Rate: physics.Hertz(s.required("stroke_rate_hz", req.StrokeRateHz)), Dose: s.dose(req.PumpDoseUl)}
	b.Fuel, b.Temperature, b.Efficiency = s.fuel(req.GetFuelKind(), req.FuelTemperatureC, req.EfficiencyPercent)
	if err := s.Err(); err != nil {
		return nil, err
	}
	h, err := physics.HeatOutputOf(b)
	if err != nil {
		return nil, s.refuse(err, results{"heat": "stroke_rate_hz"})
	}
	s.show(h.Working)
	return &lightoffv1.CalculateHeatOutputResponse{
		FuelMlPerH: float64(h.Flow) * float64(physics.Hour) / float64(physics.Millilitre),
		FuelGPerH:  float64(h.Mass) * float64(physics.Hour) * 1000,
		ReleasedW:  float64(h.Released), DeliveredW: float64(h.Delivered), Steps: s.steps(), Assumptions: s.assumptions,
	}, nil
}

func (s *sum) dose(x *float64) physics.CubicMetre {
	return physics.CubicMetre(s.optional("pump_dose_ul", x, float64(heater.UsualDose/physics.Microlitre),
		"dose of the pump",
		"µL")) * physics.Microlitre
}

func (s *sum) fuel(kind string, temperature, efficiency *float64) (physics.Fuel, physics.Celsius, physics.Share) {
	return pick(s, "fuel_kind", kind, fuelKinds, "winter_diesel", "fuel"),
		physics.Celsius(s.optional("fuel_temperature_c", temperature, 15, "temperature of the fuel", "°C")),
		physics.Share(s.optional("efficiency_percent", efficiency, 100*float64(heater.UsualEfficiency), "efficiency",
			"%") / 100)
}

// CalculateFuelUse implements the RPC.
func (Service) CalculateFuelUse(_ context.Context,
	req *lightoffv1.CalculateFuelUseRequest) (*lightoffv1.CalculateFuelUseResponse, error) {
	var s sum
	watts := physics.Watt(s.required("delivered_w", req.DeliveredW))
	fuel, temperature, efficiency := s.fuel(req.GetFuelKind(), req.FuelTemperatureC, req.EfficiencyPercent)
	if err := s.Err(); err != nil {
		return nil, err
	}
	f, err := physics.FuelForHeat(watts, fuel, temperature, efficiency)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(f.Working)
	return &lightoffv1.CalculateFuelUseResponse{FuelMlPerH: float64(f.Value) * float64(physics.Hour) / float64(physics.Millilitre),
		Steps: s.steps(), Assumptions: s.assumptions}, nil
}

// primingRate is a usual rate of a panel's priming function, in Hz.
const primingRate = 5

// CalculatePriming implements the RPC.
func (Service) CalculatePriming(_ context.Context,
	req *lightoffv1.CalculatePrimingRequest) (*lightoffv1.CalculatePrimingResponse, error) {
	var s sum
	l := physics.Line{
		Length: physics.Metre(s.required("line_length_m", req.LineLengthM)),
		Bore: physics.Metre(s.optional("line_bore_mm", req.LineBoreMm, float64(heater.UsualBore/physics.Millimetre),
			"inner diameter of the line", "mm")) * physics.Millimetre,
		Dose: s.dose(req.PumpDoseUl),
		Rate: physics.Hertz(s.optional("stroke_rate_hz", req.StrokeRateHz, primingRate, "strokes a second", "Hz")),
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	p, err := physics.Prime(l)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(p.Working)
	out := &lightoffv1.CalculatePrimingResponse{LineVolumeMl: float64(p.Volume / physics.Millilitre),
		Strokes: int32(p.Strokes), TimeS: float64(p.Time)}
	if req.StrokesMade != nil {
		over, err := physics.StandingFuel(l, int(req.GetStrokesMade()))
		if err != nil {
			return nil, s.refuse(err, nil)
		}
		standing := float64(over.Value / physics.Millilitre)
		out.StandingFuelMl = &standing
		s.show(over.Working[1:]) // the volume of the line stands above
	}
	out.Steps, out.Assumptions = s.steps(), s.assumptions
	return out, nil
}

// CalculateWaxingChance implements the RPC.
func (Service) CalculateWaxingChance(_ context.Context,
	req *lightoffv1.CalculateWaxingChanceRequest) (*lightoffv1.CalculateWaxingChanceResponse, error) {
	var s sum
	ambient := physics.Celsius(s.required("ambient_temperature_c", req.AmbientTemperatureC))
	limits := s.pluggingPoints(req)
	if err := s.Err(); err != nil {
		return nil, err
	}
	out := &lightoffv1.CalculateWaxingChanceResponse{LowPercent: 100}
	mean := ""
	for _, limit := range limits {
		chance, err := physics.WaxingChance(limit.point, ambient)
		if err != nil {
			return nil, s.refuse(err, nil)
		}
		p := 100 * float64(chance.Value)
		for _, step := range append(limit.working, chance.Working...) {
			if len(limits) > 1 {
				step.Quantity = limit.name + ": " + step.Quantity
			}
			s.show(physics.Working{step})
		}
		out.PluggingPointsC = append(out.PluggingPointsC, float64(limit.point))
		out.ChancePercent += p / float64(len(limits))
		out.LowPercent, out.HighPercent = min(out.LowPercent, p), max(out.HighPercent, p)
		mean += fmt.Sprintf(" + %.6g", float64(chance.Value))
	}
	if len(limits) > 1 {
		s.show(physics.Working{{Quantity: "chance of waxing", Formula: "mean of the grades",
			With:   fmt.Sprintf("(%s) / %d", mean[3:], len(limits)),
			Result: out.GetChancePercent() / 100, Source: "each grade as likely: judgement, no source"}})
	}
	out.Steps, out.Assumptions = s.steps(), s.assumptions
	return out, nil
}

// limit is a plugging point with the grade that has it.
type limit struct {
	name    string
	point   physics.Celsius
	working physics.Working
}

// pluggingPoints are the one told, or those of the grades that a kind of fuel may be.
func (s *sum) pluggingPoints(req *lightoffv1.CalculateWaxingChanceRequest) []limit {
	if (req.GetFuelKind() == "") == (req.PluggingPointC == nil) {
		s.Add("fuel_kind", "give either this or plugging_point_c")
		return nil
	}
	if req.PluggingPointC != nil {
		return []limit{{point: physics.Celsius(s.finite("plugging_point_c", *req.PluggingPointC))}}
	}
	var kinds []named[[]physics.Grade]
	for _, kind := range append(wordsOf(fuelKinds), "other") {
		kinds = append(kinds, named[[]physics.Grade]{kind, heater.UsualGrades(kind)})
	}
	var limits []limit
	for _, grade := range pick(s, "fuel_kind", req.GetFuelKind(), kinds, "", "") {
		point, source, err := grade.PluggingPoint()
		if err != nil {
			s.Add("fuel_kind", "%v", err)
		}
		s.assume("grade not told: may be %v", grade)
		limits = append(limits, limit{grade.String(), point, physics.Working{
			{Quantity: "highest plugging point allowed", Formula: grade.String(), Result: float64(point), Unit: "°C",
				Source: source}}})
	}
	return limits
}

func wordsOf[T any](words []named[T]) []string {
	return each(words, func(n named[T]) string { return n.word })
}

// CalculateMixture implements the RPC.
func (Service) CalculateMixture(_ context.Context,
	req *lightoffv1.CalculateMixtureRequest) (*lightoffv1.CalculateMixtureResponse, error) {
	var s sum
	altitude := physics.Metre(s.required("altitude_m", req.AltitudeM))
	ambient := physics.Celsius(s.optional("ambient_temperature_c", req.AmbientTemperatureC, 15, "temperature of the air",
		"°C"))
	ratio := s.optional("air_ratio", req.AirRatio, heater.UsualAirRatio, "air ratio at sea level", "")
	if err := s.Err(); err != nil {
		return nil, err
	}
	m, err := physics.MixtureAtAltitude(altitude, ambient, ratio)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(m.Working)
	return &lightoffv1.CalculateMixtureResponse{DensityKgPerM3: float64(m.Density), AirPercent: 100 * float64(m.AirShare),
		AirRatio:    m.AirRatio,
		DosePercent: 100 * float64(m.DoseShare), Steps: s.steps(), Assumptions: s.assumptions}, nil
}

// CalculateDuctFlow implements the RPC.
func (Service) CalculateDuctFlow(_ context.Context,
	req *lightoffv1.CalculateDuctFlowRequest) (*lightoffv1.CalculateDuctFlowResponse, error) {
	const cubicMetreAnHour = 1 / 3600.0
	var s sum
	usual := heater.UsualBlower()
	d := physics.Duct{
		Length:    physics.Metre(s.required("duct_length_m", req.DuctLengthM)),
		Diameter:  physics.Metre(s.required("duct_diameter_mm", req.DuctDiameterMm)) * physics.Millimetre,
		Roughness: pick(&s, "duct_kind", req.GetDuctKind(), ductKinds, "flexible", "kind of duct"),
		Bends:     int(req.GetDuctBends()),
		Bend:      pick(&s, "bend_kind", req.GetBendKind(), bendKinds, "rounded", "kind of bends"),
		End:       physics.IntoRoom + physics.FromRoom,
	}
	b := physics.Blower{
		Free: physics.CubicMetrePerSecond(s.optional("free_flow_m3_per_h", req.FreeFlowM3PerH,
			float64(usual.Free)/cubicMetreAnHour,
			"flow of the blower without a duct", "m³/h") * cubicMetreAnHour),
		Shut: physics.Pascal(s.optional("shut_pressure_pa", req.ShutPressurePa, float64(usual.Shut),
			"pressure of the blower at standstill", "Pa")),
	}
	a := physics.WarmAir{
		Pressure: physics.Pascal(s.optional("air_pressure_hpa", req.AirPressureHpa, 1013.25, "pressure of the air",
			"hPa") * 100),
		Inlet: physics.Celsius(s.optional("inlet_temperature_c", req.InletTemperatureC, 15, "temperature before the heater",
			"°C")),
		Outlet: physics.Celsius(s.optional("outlet_temperature_c", req.OutletTemperatureC, 75, "temperature after the heater",
			"°C")),
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	f, err := physics.FlowThroughDuct(d, b, a)
	if err != nil {
		return nil, s.refuse(err, results{"relative_roughness": "duct_diameter_mm", "velocity": "duct_diameter_mm",
			"flow": "free_flow_m3_per_h", "air_temperature": "outlet_temperature_c"})
	}
	s.show(f.Working)
	return &lightoffv1.CalculateDuctFlowResponse{FlowM3PerH: float64(f.Flow) / cubicMetreAnHour,
		FlowPercent: 100 * float64(f.Share), PressurePa: float64(f.Pressure),
		PressurePercent: 100 * float64(f.PressureShare), VelocityMPerS: float64(f.Velocity), Steps: s.steps(),
		Assumptions: s.assumptions}, nil
}

// CalculateSensorResistance implements the RPC.
func (Service) CalculateSensorResistance(_ context.Context,
	req *lightoffv1.CalculateSensorResistanceRequest) (*lightoffv1.CalculateSensorResistanceResponse, error) {
	var s sum
	sensor := pick(&s, "sensor_kind", req.GetSensorKind(), sensorKinds, "", "")
	t := physics.Celsius(s.required("temperature_c", req.TemperatureC))
	if err := s.Err(); err != nil {
		return nil, err
	}
	r, err := physics.SensorResistance(sensor, t)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(r.Working)
	s.sensor(sensor)
	return &lightoffv1.CalculateSensorResistanceResponse{ResistanceOhm: float64(r.Value), LowOhm: float64(r.Low),
		HighOhm: float64(r.High),
		Steps:   s.steps(), Assumptions: s.assumptions}, nil
}

// sensor names what is not known of one.
func (s *sum) sensor(kind physics.Sensor) {
	if kind != physics.Pt1000 {
		s.assume("beta not told: taken as %d K, the band from %d to %d K", physics.UsualBeta, physics.LowBeta,
			physics.HighBeta)
	}
}

// CalculateSensorTemperature implements the RPC.
func (Service) CalculateSensorTemperature(_ context.Context,
	req *lightoffv1.CalculateSensorTemperatureRequest) (*lightoffv1.CalculateSensorTemperatureResponse, error) {
	var s sum
	sensor := pick(&s, "sensor_kind", req.GetSensorKind(), sensorKinds, "", "")
	r := physics.Ohm(s.required("resistance_ohm", req.ResistanceOhm))
	if err := s.Err(); err != nil {
		return nil, err
	}
	t, err := physics.SensorTemperature(sensor, r)
	if err != nil {
		return nil, s.refuse(err, nil)
	}
	s.show(t.Working)
	s.sensor(sensor)
	return &lightoffv1.CalculateSensorTemperatureResponse{TemperatureC: float64(t.Value), LowC: float64(t.Low),
		HighC: float64(t.High),
		Steps: s.steps(), Assumptions: s.assumptions}, nil
}

// ListAlarmRules implements the RPC.
func (Service) ListAlarmRules(context.Context, *lightoffv1.ListAlarmRulesRequest) (*lightoffv1.ListAlarmRulesResponse,
	error) {
	var s sum
	out := &lightoffv1.ListAlarmRulesResponse{}
	line := func(ppm int, what string, t physics.Second) {
		s.show(physics.Working{{Quantity: fmt.Sprintf("an alarm tested at %d ppm: %s", ppm, what),
			Formula: "rule of the test",
			Result:  float64(t / physics.Minute), Unit: "min", Source: physics.AlarmSource}})
	}
	for _, r := range physics.AlarmRules() {
		rule := &lightoffv1.AlarmRule{CarbonMonoxidePpm: int32(r.PartsPerMillion),
			NotBeforeMin: float64(r.NotBefore / physics.Minute), MustSound: r.MustSound}
		line(r.PartsPerMillion, "must not sound before", r.NotBefore)
		if r.MustSound {
			by := float64(r.By / physics.Minute)
			rule.ByMin = &by
			line(r.PartsPerMillion, "must sound by", r.By)
		}
		out.Rules = append(out.Rules, rule)
	}
	out.Steps = s.steps()
	return out, nil
}
