//go:build !js

package calculation

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"lightoff/engine/diagnosis"
	"lightoff/engine/physics"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// sum accumulates a calculation: what is wrong with its request, what was taken for usual, and its working.
type sum struct {
	diagnosis.Violations
	assumptions []string
	working     physics.Working
}

// required is a number that has no usual value.
func (s *sum) required(field string, x *float64) float64 {
	if x == nil {
		s.Add(field, "is missing")
		return 0
	}
	return s.finite(field, *x)
}

// optional is a number with a usual value, which then is named.
func (s *sum) optional(field string, x *float64, usual float64, what, unit string) float64 {
	if x == nil {
		s.assume("%s not told: taken as %s", what, strings.TrimSpace(strconv.FormatFloat(usual, 'g', 4, 64)+" "+unit))
		return usual
	}
	return s.finite(field, *x)
}

func (s *sum) finite(field string, x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		s.Add(field, "is not a finite number")
		return 0
	}
	return x
}

// within judges a number that no formula of the engine judges.
func (s *sum) within(field string, x, low, high float64, unit string) {
	if x < low || x > high {
		s.Add(field, "%s", describe(&physics.RangeError{Value: x, Min: low, Max: high, Unit: unit}, 1, unit))
	}
}

func (s *sum) assume(format string, args ...any) {
	s.assumptions = append(s.assumptions, fmt.Sprintf(format+" (common practice, no source)", args...))
}

// nominal is the nominal voltage, judged from another voltage where it was not told.
func (s *sum) nominal(x *float64, volts float64) physics.Volt {
	usual := 12.0
	if volts > 18 {
		usual = 24
	}
	return physics.Volt(s.optional("nominal_voltage_v", x, usual, "nominal voltage", "V"))
}

// named is a word of the API and what it stands for.
type named[T any] struct {
	word string
	is   T
}

// pick is what a word stands for. Usual stands in for none; without it the word is needed.
func pick[T any](s *sum, field, word string, words []named[T], usual, what string) T {
	if word == "" && usual != "" {
		s.assume("%s not told: taken as %s", what, strings.ReplaceAll(usual, "_", " "))
		word = usual
	}
	all := make([]string, len(words))
	for i, n := range words {
		if n.word == word {
			return n.is
		}
		all[i] = n.word
	}
	if word == "" {
		s.Add(field, "is missing; it may be %s", strings.Join(all, ", "))
	} else {
		s.Add(field, "is %s, but must be one of %s", strconv.Quote(word), strings.Join(all, ", "))
	}
	var none T
	return none
}

var (
	chemistries = []named[physics.Chemistry]{{"flooded", physics.Flooded}, {"agm", physics.AGM},
		{"lithium", physics.Lithium}}
	builds = []named[physics.Construction]{{"class_5", physics.Class5}, {"class_5_tinned", physics.Class5Tinned},
		{"class_2", physics.Class2}, {"class_2_tinned", physics.Class2Tinned}, {"solid", physics.Solid}}
	sides     = []named[physics.Side]{{"positive", physics.Positive}, {"negative", physics.Negative}}
	plugKinds = []named[physics.PlugKind]{{"metal", physics.MetalPlug}, {"ceramic", physics.CeramicPlug}}
	fuelKinds = []named[physics.Fuel]{{"winter_diesel", physics.WinterDiesel}, {"summer_diesel", physics.SummerDiesel},
		{"red_diesel", physics.HeatingOil}, // gas oil: the published figures of the two are those of one statistic
		{"hvo", physics.ParaffinicDiesel}, {"biodiesel", physics.Biodiesel}, {"heating_oil", physics.HeatingOil},
		{"kerosene", physics.Kerosene}}
	bendKinds = []named[float64]{{"sharp", physics.BendSharp}, {"rounded", physics.BendRounded},
		{"wide", physics.BendWide}}
	ductKinds = []named[physics.Metre]{{"smooth", physics.RoughnessSmooth}, {"flexible", physics.RoughnessFlexible},
		{"slack", physics.RoughnessSlack}}
	sensorKinds = []named[physics.Sensor]{{"ntc_10k", physics.NTC10k}, {"ntc_50k", physics.NTC50k},
		{"ntc_100k", physics.NTC100k}, {"pt1000", physics.Pt1000}}
)

// fieldOf is where a quantity of the engine stands in a request and, where its unit there is another, that unit and how
// many of it make one of the engine's.
type fieldOf struct {
	field string
	scale float64
	unit  string
}

// requestFields is the one table from the engine's quantities to the fields of requests.
var requestFields = map[string]fieldOf{
	"rest_voltage":          {field: "rest_voltage_v"},
	"loaded_voltage":        {field: "loaded_voltage_v"},
	"glow_voltage_heater":   {field: "heater_voltage_v"},
	"nominal_voltage":       {field: "nominal_voltage_v"},
	"battery_capacity":      {field: "battery_capacity_ah"},
	"battery_age":           {field: "battery_age_years"},
	"battery_temperature":   {field: "battery_temperature_c"},
	"internal_resistance":   {"internal_resistance_milliohm", 1000, "mΩ"},
	"cable_area":            {field: "cable_area_mm2"},
	"cable_length":          {field: "cable_length_m"},
	"cable_construction":    {field: "cable_construction"},
	"conductor_temperature": {field: "conductor_temperature_c"},
	"ambient_temperature":   {field: "ambient_temperature_c"},
	"glow_plug_resistance":  {field: "glow_plug_resistance_ohm"},
	"running_current":       {field: "running_current_a"},
	"current":               {field: "current_a"},
	"drop":                  {"allowed_drop_percent", 100, "%"},
	"charge":                {"charge_percent", 100, "%"},
	"usable":                {"usable_percent", 100, "%"},
	"duration":              {field: "duration_h"},
	"starts":                {field: "starts"},
	"start_current":         {field: "start_current_a"},
	"start_time":            {field: "start_time_s"},
	"stroke_rate":           {field: "stroke_rate_hz"},
	"pump_dose":             {field: "pump_dose_ul"},
	"fuel_temperature":      {field: "fuel_temperature_c"},
	"efficiency":            {"efficiency_percent", 100, "%"},
	"heat":                  {field: "delivered_w"},
	"line_bore":             {field: "line_bore_mm"},
	"line_length":           {field: "line_length_m"},
	"strokes":               {field: "strokes_made"},
	"plugging_point":        {field: "plugging_point_c"},
	"altitude":              {field: "altitude_m"},
	"air_ratio":             {field: "air_ratio"},
	"duct_length":           {field: "duct_length_m"},
	"duct_diameter":         {field: "duct_diameter_mm"},
	"duct_bends":            {field: "duct_bends"},
	"free_flow":             {field: "free_flow_m3_per_h"},
	"shut_pressure":         {field: "shut_pressure_pa"},
	"inlet_temperature":     {field: "inlet_temperature_c"},
	"outlet_temperature":    {field: "outlet_temperature_c"},
	"air_pressure":          {field: "air_pressure_hpa"},
	"temperature":           {field: "temperature_c"},
	"sensor_resistance":     {field: "resistance_ohm"},
}

// results name, for one call, the request's field that most brings about a result which the engine judges.
type results map[string]string

// refuse turns what the engine finds out of range into violations of the request. Any other error comes back as it is.
func (s *sum) refuse(err error, r results) error {
	known := map[physics.RangeError]bool{}
	for _, e := range ranges(err) {
		if known[*e] {
			continue // the way out and the way back are as long
		}
		known[*e] = true
		if field, ok := r[e.Field]; ok {
			s.Add(field, "leads out of the range in which the formula holds: %s %s", strings.ReplaceAll(e.Field, "_", " "),
				describe(e, 1, e.Unit))
			continue
		}
		place, ok := requestFields[e.Field]
		if !ok {
			place.field = e.Field
		}
		if place.scale == 0 {
			place.scale, place.unit = 1, e.Unit
		}
		s.Add(place.field, "%s", describe(e, place.scale, place.unit))
	}
	if out := s.Err(); out != nil {
		return out
	}
	return err
}

// ranges are all range errors that an error holds.
func ranges(err error) []*physics.RangeError {
	if e, ok := err.(*physics.RangeError); ok {
		return []*physics.RangeError{e}
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []*physics.RangeError
		for _, part := range joined.Unwrap() {
			all = append(all, ranges(part)...)
		}
		return all
	}
	if inner := errors.Unwrap(err); inner != nil {
		return ranges(inner)
	}
	return nil
}

// describe is "is …, but must lie between …" in another unit.
func describe(e *physics.RangeError, scale float64, unit string) string {
	return strings.TrimSpace((&physics.RangeError{Value: e.Value * scale, Min: e.Min * scale, Max: e.Max * scale,
		Unit: unit}).Error())
}

func (s *sum) show(w physics.Working) { s.working = append(s.working, w...) }

func (s *sum) steps() []*lightoffv1.Step {
	return each(s.working, func(w physics.Step) *lightoffv1.Step {
		return &lightoffv1.Step{Quantity: w.Quantity, Formula: w.Formula, With: w.With, Result: w.Result, Unit: w.Unit,
			Source: w.Source}
	})
}

// each converts a list one by one.
func each[A, B any](in []A, convert func(A) B) []B {
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = convert(a)
	}
	return out
}
