package api

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/calculation"
)

// wholeRequests tell every field of a request that can be told beside the others; least ones only what is needed.
var calculationRequests = map[string]struct{ whole, least string }{
	"CalculateGlowVoltage": {`{"rest_voltage_v": 12.4, "nominal_voltage_v": 12, "battery_chemistry": "agm", "battery_capacity_ah": 95, "battery_age_years": 3,
		"battery_temperature_c": 5, "cable_area_mm2": 1.5, "cable_length_m": 5, "cable_construction": "class_5", "conductor_temperature_c": 20,
		"joints": [{"name": "fuse holder", "side": "positive", "resistance_milliohm": 5}], "glow_plug_kind": "metal", "glow_plug_resistance_ohm": 1.05,
		"running_current_a": 1.5, "curve_duration_s": 60}`, `{"rest_voltage_v": 12.4, "cable_area_mm2": 2.5, "cable_length_m": 5}`},
	"CalculateCable": {`{"cable_length_m": 6, "current_a": 13, "nominal_voltage_v": 12, "allowed_drop_percent": 5, "cable_construction": "class_5",
		"conductor_temperature_c": 30, "ambient_temperature_c": 25, "cable_area_mm2": 1.5}`, `{"cable_length_m": 6}`},
	"CalculateStateOfCharge": {`{"rest_voltage_v": 12.5, "nominal_voltage_v": 12, "battery_chemistry": "agm", "battery_temperature_c": 10}`, `{"rest_voltage_v": 12.5}`},
	"CalculateLoadTest": {`{"battery_temperature_c": 5, "battery_chemistry": "agm", "cold_cranking_current_a": 360, "loaded_voltage_v": 9.8, "rest_voltage_v": 12.6,
		"current_a": 180}`, `{}`},
	"CalculateNightEnergy": {`{"battery_chemistry": "lithium", "battery_capacity_ah": 100, "duration_h": 9, "nominal_voltage_v": 12, "battery_temperature_c": 10,
		"charge_percent": 90, "usable_percent": 80, "running_current_a": 1.2, "starts": 2, "start_current_a": 10, "start_time_s": 150}`,
		`{"battery_chemistry": "flooded", "battery_capacity_ah": 90, "duration_h": 8}`},
	"CalculateHeatOutput": {`{"stroke_rate_hz": 2, "pump_dose_ul": 22, "fuel_kind": "kerosene", "fuel_temperature_c": 5, "efficiency_percent": 80}`, `{"stroke_rate_hz": 2}`},
	"CalculateFuelUse":    {`{"delivered_w": 2000, "fuel_kind": "heating_oil", "fuel_temperature_c": 5, "efficiency_percent": 80}`, `{"delivered_w": 2000}`},
	"CalculatePriming": {`{"line_length_m": 5, "line_bore_mm": 2, "pump_dose_ul": 22, "stroke_rate_hz": 6, "strokes_made": 900}`,
		`{"line_length_m": 5}`},
	"CalculateWaxingChance": {`{"ambient_temperature_c": -12, "fuel_kind": "winter_diesel"}`, `{"ambient_temperature_c": -12, "plugging_point_c": -20}`},
	"CalculateMixture":      {`{"altitude_m": 2000, "ambient_temperature_c": 0, "air_ratio": 1.4}`, `{"altitude_m": 2000}`},
	"CalculateDuctFlow": {`{"duct_length_m": 3, "duct_diameter_mm": 75, "duct_bends": 2, "bend_kind": "wide", "duct_kind": "smooth", "free_flow_m3_per_h": 120,
		"shut_pressure_pa": 150, "inlet_temperature_c": 10, "outlet_temperature_c": 80, "air_pressure_hpa": 1000}`, `{"duct_length_m": 3, "duct_diameter_mm": 75}`},
	"CalculateGlowPower":         {`{"heater_voltage_v": 11.5, "glow_plug_resistance_ohm": 1, "glow_plug_kind": "metal", "nominal_voltage_v": 12}`, `{"heater_voltage_v": 11.5}`},
	"CalculateSensorResistance":  {`{"sensor_kind": "ntc_10k", "temperature_c": 0}`, `{"sensor_kind": "pt1000", "temperature_c": 0}`},
	"CalculateSensorTemperature": {`{"sensor_kind": "ntc_50k", "resistance_ohm": 40000}`, `{"sensor_kind": "pt1000", "resistance_ohm": 1100}`},
	"ListAlarmRules":             {`{}`, `{}`},
}

// calculation is a call of the service by its name.
type calc struct {
	r      *running
	method protoreflect.MethodDescriptor
}

func everyCalculation(t *testing.T, r *running) []calc {
	t.Helper()
	methods := lightoffv1.File_lightoff_v1_calculation_proto.Services().Get(0).Methods()
	var all []calc
	for i := range methods.Len() {
		name := string(methods.Get(i).Name())
		_, ok := calculationRequests[name]
		require.True(t, ok, "write two requests for %s in calculationRequests: with every field, and with the least", name)
		all = append(all, calc{r, methods.Get(i)})
	}
	require.Len(t, calculationRequests, len(all), "requests for a call that there is not")
	return all
}

func (c calc) name() string { return string(c.method.Name()) }

func (c calc) request(t *testing.T, text string) proto.Message {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(c.method.Input().FullName())
	require.NoError(t, err)
	m := kind.New().Interface()
	require.NoError(t, protojson.Unmarshal([]byte(text), m), c.name())
	return m
}

func (c calc) call(t *testing.T, req proto.Message) (proto.Message, error) {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(c.method.Output().FullName())
	require.NoError(t, err)
	out := kind.New().Interface()
	return out, c.r.conn.Invoke(c.r.ctx, "/lightoff.v1.CalculationService/"+c.name(), req, out)
}

// TestEveryCalculationShowsItsWorking makes every call twice: told everything, and told the least.
func TestEveryCalculationShowsItsWorking(t *testing.T) {
	r := start(t)
	for _, c := range everyCalculation(t, r) {
		t.Run(c.name(), func(t *testing.T) {
			for _, text := range []string{calculationRequests[c.name()].whole, calculationRequests[c.name()].least} {
				out, err := c.call(t, c.request(t, text))
				require.NoError(t, err, text)
				steps := out.(interface{ GetSteps() []*lightoffv1.Step }).GetSteps()
				require.NotEmpty(t, steps)
				for _, s := range steps {
					assert.NotEmpty(t, s.GetQuantity())
					assert.NotEmpty(t, s.GetFormula(), s.GetQuantity())
					assert.NotEmpty(t, s.GetSource(), s.GetQuantity())
					assert.False(t, math.IsNaN(s.GetResult()) || math.IsInf(s.GetResult(), 0), s.GetQuantity())
				}
				again, err := c.call(t, c.request(t, text))
				require.NoError(t, err)
				assert.True(t, proto.Equal(out, again), "the same request gives the same answer")
			}
		})
	}
}

// TestWhatIsLeftOutIsNamed leaves out one field after the other: it is needed, or a usual value is named, or the answer
// lacks what only that field brings.
func TestWhatIsLeftOutIsNamed(t *testing.T) {
	r := start(t)
	silent := map[string]string{ // field, and what of the answer it brings
		"CalculateGlowVoltage.joints": "", "CalculateGlowVoltage.curve_duration_s": "curve", "CalculateCable.cable_area_mm2": "own_drop_v",
		"CalculateStateOfCharge.battery_chemistry": "", "CalculateLoadTest.cold_cranking_current_a": "test_current_a",
		"CalculatePriming.strokes_made": "standing_fuel_ml", "CalculateDuctFlow.duct_bends": "",
		// The plug's resistance is told, so that these bear on nothing.
		"CalculateGlowPower.glow_plug_kind": "", "CalculateGlowPower.nominal_voltage_v": "",
	}
	for _, c := range everyCalculation(t, r) {
		whole := c.request(t, calculationRequests[c.name()].whole)
		said := assumptions(t, c, whole)
		whole.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
			name := c.name() + "." + string(field.Name())
			t.Run(name, func(t *testing.T) {
				less := proto.Clone(whole)
				less.ProtoReflect().Clear(field)
				out, err := c.call(t, less)
				if err != nil {
					assert.Contains(t, fields(t, err), string(field.Name()))
					return
				}
				if brings, ok := silent[name]; ok {
					if brings != "" {
						assert.False(t, out.ProtoReflect().Has(out.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(brings))))
					}
					return
				}
				assert.Greater(t, len(assumptions(t, c, less)), len(said))
			})
			return true
		})
	}
}

func assumptions(t *testing.T, c calc, req proto.Message) []string {
	t.Helper()
	out, err := c.call(t, req)
	require.NoError(t, err)
	if holder, ok := out.(interface{ GetAssumptions() []string }); ok {
		return holder.GetAssumptions()
	}
	return nil
}

// TestEveryFieldIsJudged gives each field of each request what it cannot be; the refusal names that field.
func TestEveryFieldIsJudged(t *testing.T) {
	r := start(t)
	for _, c := range everyCalculation(t, r) {
		whole := c.request(t, calculationRequests[c.name()].whole)
		whole.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
			t.Run(c.name()+"."+string(field.Name()), func(t *testing.T) {
				for _, v := range wrong(field) {
					bad := proto.Clone(whole)
					bad.ProtoReflect().Set(field, v)
					_, err := c.call(t, bad)
					if assert.Error(t, err, "%v", v) {
						assert.Contains(t, fields(t, err), string(field.Name()), "%v", err)
					}
				}
			})
			return true
		})
	}
}

// wrong are values that no field of the kind may have. What the plug's kind and the nominal voltage bear on is not
// looked at once the plug's resistance is told.
func wrong(field protoreflect.FieldDescriptor) []protoreflect.Value {
	glowPower := field.ContainingMessage().Name() == "CalculateGlowPowerRequest"
	switch {
	case glowPower && (field.Name() == "glow_plug_kind" || field.Name() == "nominal_voltage_v") || field.IsList():
		return nil
	case field.Kind() == protoreflect.DoubleKind:
		return []protoreflect.Value{protoreflect.ValueOfFloat64(math.NaN()), protoreflect.ValueOfFloat64(math.Inf(1)),
			protoreflect.ValueOfFloat64(math.Inf(-1)), protoreflect.ValueOfFloat64(1e15), protoreflect.ValueOfFloat64(-1e15)}
	case field.Kind() == protoreflect.Int32Kind:
		return []protoreflect.Value{protoreflect.ValueOfInt32(math.MaxInt32), protoreflect.ValueOfInt32(-1)}
	}
	return []protoreflect.Value{protoreflect.ValueOfString("no such word"), protoreflect.ValueOfString(strings.Repeat("x", 1000))}
}

func TestRefusalsSaySo(t *testing.T) {
	r := start(t)
	tests := []struct {
		name, call, request string
		fields              []string
		says                []string
	}{
		{"several at once", "CalculatePriming", `{"line_length_m": 51, "line_bore_mm": 20}`, []string{"line_bore_mm", "line_length_m"},
			[]string{"is 20 mm, but must lie between 0.5 and 12 mm", "is 51 m, but must lie between 0 and 50 m"}},
		{"in the request's unit", "CalculateHeatOutput", `{"stroke_rate_hz": 2, "efficiency_percent": 120}`, []string{"efficiency_percent"},
			[]string{"is 120 %, but must lie between 0 and 100 %"}},
		{"milliohms", "CalculateGlowVoltage", `{"rest_voltage_v": 12.4, "cable_area_mm2": 2.5, "cable_length_m": 5, "internal_resistance_milliohm": 20000}`,
			[]string{"internal_resistance_milliohm"}, []string{"is 20000 mΩ, but must lie between 0 and 10000 mΩ"}},
		{"a result", "CalculateHeatOutput", `{"stroke_rate_hz": 30, "pump_dose_ul": 200}`, []string{"stroke_rate_hz"},
			[]string{"leads out of the range in which the formula holds: heat is", "but must lie between 0 and 100000 W"}},
		{"another result", "CalculateDuctFlow", `{"duct_length_m": 0, "duct_diameter_mm": 20, "free_flow_m3_per_h": 2000, "shut_pressure_pa": 5000, "inlet_temperature_c": -50, "outlet_temperature_c": 250}`,
			[]string{"duct_diameter_mm"}, []string{"velocity is", "but must lie between 0 and 100 m/s"}},
		{"no cable does", "CalculateCable", `{"cable_length_m": 300}`, []string{"cable_length_m"}, []string{"is 300 m, but must lie between 0 and"}},
		{"one joint of two", "CalculateGlowVoltage", `{"rest_voltage_v": 12.4, "cable_area_mm2": 2.5, "cable_length_m": 5,
			"joints": [{"name": "a", "resistance_milliohm": 1}, {"name": "b", "resistance_milliohm": -2}]}`,
			[]string{"joints[1].resistance_milliohm"}, []string{"is -2 mΩ, but must lie between 0 and 10000 mΩ"}},
		{"a joint beside another fault", "CalculateGlowVoltage", `{"rest_voltage_v": 12.4, "cable_area_mm2": 2.5, "cable_length_m": 5000,
			"joints": [{"name": "b", "resistance_milliohm": -2}]}`,
			[]string{"joints[0].resistance_milliohm", "cable_length_m"}, []string{"is 5000 m, but must lie between 0 and 1000 m"}},
		{"the current leaves no voltage", "CalculateGlowVoltage", `{"rest_voltage_v": 12, "cable_area_mm2": 0.5, "cable_length_m": 100, "running_current_a": 10}`,
			[]string{"running_current_a"}, []string{"is 10 A, but must lie between 0 and"}},
		{"no battery's rest voltage", "CalculateStateOfCharge", `{"rest_voltage_v": 15.1}`, []string{"rest_voltage_v"}, []string{"is 15.1 V, but must lie between 10 and 14.6 V"}},
		{"lithium is not load-tested", "CalculateLoadTest", `{"battery_chemistry": "lithium"}`, []string{"battery_chemistry"}, []string{"must be one of flooded, agm"}},
		{"half a measurement", "CalculateLoadTest", `{"rest_voltage_v": 12.6}`, []string{"loaded_voltage_v", "current_a"}, []string{"is missing"}},
		{"fuel told twice", "CalculateWaxingChance", `{"ambient_temperature_c": -12, "fuel_kind": "hvo", "plugging_point_c": -20}`, []string{"fuel_kind"}, []string{"give either"}},
		{"neither 12 nor 24", "CalculateCable", `{"cable_length_m": 3, "nominal_voltage_v": 15}`, []string{"nominal_voltage_v"}, []string{"is 15 V, but must be 12 V"}},
		{"the needed is missing", "CalculateNightEnergy", `{}`, []string{"battery_chemistry", "battery_capacity_ah", "duration_h"}, []string{"it may be flooded, agm, lithium"}},
		{"too cold for the table", "CalculateNightEnergy", `{"battery_chemistry": "lithium", "battery_capacity_ah": 100, "duration_h": 9, "battery_temperature_c": -25}`,
			[]string{"battery_temperature_c"}, []string{"is -25 °C, but must lie between -20 and 50 °C"}},
		{"hotter than the sensor's law", "CalculateSensorTemperature", `{"sensor_kind": "ntc_10k", "resistance_ohm": 1}`, []string{"resistance_ohm"}, []string{"is 1 Ω"}},
	}
	calls := map[string]calc{}
	for _, c := range everyCalculation(t, r) {
		calls[c.name()] = c
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := calls[tt.call]
			_, err := c.call(t, c.request(t, tt.request))
			assert.Equal(t, tt.fields, fields(t, err), "%v", err)
			for _, says := range tt.says {
				assert.Contains(t, status.Convert(err).Message(), says)
			}
		})
	}
	assert.Empty(t, r.log.String(), "what is refused is no fault of the program's")
}

func TestTooManyJoints(t *testing.T) {
	r := start(t)
	req := &lightoffv1.CalculateGlowVoltageRequest{RestVoltageV: proto.Float64(12.4), CableAreaMm2: proto.Float64(6), CableLengthM: proto.Float64(2)}
	for range calculation.MaxJoints + 1 {
		req.Joints = append(req.Joints, &lightoffv1.Joint{Name: "terminal", ResistanceMilliohm: proto.Float64(1)})
	}
	_, err := r.CalculateGlowVoltage(r.ctx, req)
	assert.Equal(t, []string{"joints"}, fields(t, err))
	req.Joints = req.Joints[:calculation.MaxJoints]
	_, err = r.CalculateGlowVoltage(r.ctx, req)
	assert.Equal(t, codes.OK, status.Code(err), "%v", err)
}
