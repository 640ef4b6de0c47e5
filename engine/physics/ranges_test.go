package physics_test

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"lightoff/engine/physics"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	sixSquare = physics.Conductor{Construction: physics.Class5, Area: 6 * physics.SquareMillimetre}
	aBattery  = physics.Battery{Chemistry: physics.AGM, Nominal: 12, Capacity: 95 * physics.AmpereHour,
		Age: 3 * physics.Year, Temperature: 10}
	aPlug   = physics.Plug{Cold: 0.7, Hot: 1.05, TimeConstant: 8}
	aSupply = physics.Supply{OpenCircuit: 12.5, Internal: 0.006, Runs: physics.OutAndBack(sixSquare, 4),
		Joints: []physics.Joint{{Name: "fuse holder", Side: physics.Positive, Resistance: 0.002}}, Temperature: 20, Plug: 0.8,
		Running: 1.5}
	aNight = physics.Night{Battery: aBattery, Charge: 0.9, Usable: 0.5, Running: 1.2, Duration: 9 * physics.Hour,
		Starts: 2, StartCurrent: 10, StartTime: 150}
	aFeed = physics.Feed{Length: 5, Load: 10, Nominal: 12, Drop: 0.05, Construction: physics.Class5, Temperature: 30,
		Ambient: 25}
	aBurn = physics.Burn{Rate: 2, Dose: 22 * physics.Microlitre, Fuel: physics.WinterDiesel, Temperature: 5,
		Efficiency: 0.8}
	aLine   = physics.Line{Bore: 2 * physics.Millimetre, Length: 5, Dose: 22 * physics.Microlitre, Rate: 4}
	someAir = physics.Fluid{Density: 1.0, Viscosity: 2.1e-5}
	aPipe   = physics.Pipe{Length: 3, Diameter: 0.075, Roughness: physics.RoughnessFlexible, Loss: 2}
	aDuct   = physics.Duct{Length: 3, Diameter: 0.075, Roughness: physics.RoughnessFlexible, Bends: 2,
		Bend: physics.BendRounded, End: physics.IntoRoom}
	aBlower    = physics.Blower{Free: 120. / 3600, Shut: 150}
	warmedAir  = physics.WarmAir{Pressure: 101325, Inlet: 10, Outlet: 80}
	everything = map[string]struct {
		f    any
		args []any
	}{
		"ResistanceAt": {physics.ResistanceAt,
			[]any{physics.Ohm(1), physics.CopperCoefficient, physics.Celsius(20), physics.Celsius(60)}},
		"CopperResistivity":   {physics.CopperResistivity, []any{physics.Celsius(20)}},
		"ResistancePerMetre":  {physics.ResistancePerMetre, []any{sixSquare, physics.Celsius(20)}},
		"ConductorResistance": {physics.ConductorResistance, []any{sixSquare, physics.Metre(3), physics.Celsius(20)}},
		"GaugeArea":           {physics.GaugeArea, []any{12}},
		"RestVoltage": {physics.RestVoltage,
			[]any{physics.Flooded, physics.Volt(12), physics.Share(0.6), physics.Celsius(5)}},
		"StateOfCharge": {physics.StateOfCharge,
			[]any{physics.Flooded, physics.Volt(12), physics.Volt(12.4), physics.Celsius(5)}},
		"InternalResistance": {physics.InternalResistance, []any{aBattery, physics.Share(0.7)}},
		"SourceResistance": {physics.SourceResistance,
			[]any{physics.Volt(12.6), physics.Volt(11.6), physics.Ampere(10)}},
		"LoadTestCurrent":      {physics.LoadTestCurrent, []any{physics.Ampere(800)}},
		"LoadTestLimit":        {physics.LoadTestLimit, []any{physics.Celsius(5)}},
		"FreezingPoint":        {physics.FreezingPoint, []any{physics.Share(0.5)}},
		"CapacityShare":        {physics.CapacityShare, []any{physics.AGM, physics.Celsius(5)}},
		"UsableShare":          {physics.UsableShare, []any{physics.AGM}},
		"EnergyOfNight":        {physics.EnergyOfNight, []any{aNight}},
		"TypicalPlug":          {physics.TypicalPlug, []any{physics.CeramicPlug, physics.Volt(24)}},
		"Plug.ResistanceAfter": {physics.Plug.ResistanceAfter, []any{aPlug, physics.Second(5)}},
		"GlowPower":            {physics.GlowPower, []any{physics.Volt(11.5), physics.Ohm(1)}},
		"VoltageWhileGlowing":  {physics.VoltageWhileGlowing, []any{aSupply}},
		"CurveOfStart":         {physics.CurveOfStart, []any{aSupply, aPlug, physics.Second(30), 10}},
		"SmallCraftDrop": {physics.SmallCraftDrop,
			[]any{physics.Ampere(8), physics.Metre(12), 2.5 * physics.SquareMillimetre}},
		"BoatCableArea": {physics.BoatCableArea, []any{physics.Ampere(10), physics.Metre(6), physics.Volt(0.36)}},
		"Ampacity":      {physics.Ampacity, []any{2.5 * physics.SquareMillimetre, physics.Celsius(40)}},
		"Fuse":          {physics.Fuse, []any{physics.Ampere(10), physics.Ampere(25)}},
		"FuseOpening":   {physics.FuseOpening, []any{physics.Ampere(15), physics.Ampere(40)}},
		"CableDrop": {physics.CableDrop, []any{sixSquare, physics.Metre(4), physics.Ampere(13),
			physics.Celsius(20)}},
		"SmallestCable":   {physics.SmallestCable, []any{aFeed}},
		"Fuel.Properties": {physics.Fuel.Properties, []any{physics.Kerosene}},
		"Fuel.Density":    {physics.Fuel.Density, []any{physics.Kerosene, physics.Celsius(0)}},
		"DosePerStroke":   {physics.DosePerStroke, []any{2.2 * physics.Millilitre, 100}},
		"HeatOutputOf":    {physics.HeatOutputOf, []any{aBurn}},
		"FuelForHeat": {physics.FuelForHeat,
			[]any{physics.Watt(2000), physics.HeatingOil, physics.Celsius(10), physics.Share(0.8)}},
		"Prime":                 {physics.Prime, []any{aLine}},
		"StandingFuel":          {physics.StandingFuel, []any{aLine, 1000}},
		"Grade.PluggingPoint":   {physics.Grade.PluggingPoint, []any{physics.GradeF}},
		"WaxingChance":          {physics.WaxingChance, []any{physics.Celsius(-20), physics.Celsius(-18)}},
		"StandardAtmosphere":    {physics.StandardAtmosphere, []any{physics.Metre(1500)}},
		"AirDensity":            {physics.AirDensity, []any{physics.Pascal(90000), physics.Celsius(5)}},
		"AirViscosity":          {physics.AirViscosity, []any{physics.Celsius(20)}},
		"MixtureAtAltitude":     {physics.MixtureAtAltitude, []any{physics.Metre(2000), physics.Celsius(0), 1.4}},
		"AirForFuel":            {physics.AirForFuel, []any{1.8}},
		"FrictionFactor":        {physics.FrictionFactor, []any{1e5, 1e-4}},
		"SwameeJain":            {physics.SwameeJain, []any{1e5, 1e-4}},
		"PressureLossOf":        {physics.PressureLossOf, []any{aPipe, someAir, physics.CubicMetrePerSecond(0.02)}},
		"FlowThroughDuct":       {physics.FlowThroughDuct, []any{aDuct, aBlower, warmedAir}},
		"ThermistorResistance":  {physics.ThermistorResistance, []any{physics.Ohm(10e3), 3950., physics.Celsius(0)}},
		"ThermistorTemperature": {physics.ThermistorTemperature, []any{physics.Ohm(10e3), 3950., physics.Ohm(5000)}},
		"Beta": {physics.Beta, []any{physics.Ohm(10e3), physics.Celsius(25), physics.Ohm(2486),
			physics.Celsius(60)}},
		"PlatinumResistance":  {physics.PlatinumResistance, []any{physics.Ohm(100), physics.Celsius(50)}},
		"PlatinumTemperature": {physics.PlatinumTemperature, []any{physics.Ohm(100), physics.Ohm(120)}},
		"SensorResistance":    {physics.SensorResistance, []any{physics.NTC50k, physics.Celsius(50)}},
		"SensorTemperature":   {physics.SensorTemperature, []any{physics.NTC50k, physics.Ohm(20000)}},
	}
)

// leaves calls visit with each number inside a value, settable, and its path.
func leaves(v reflect.Value, path string, visit func(path string, leaf reflect.Value)) {
	switch v.Kind() {
	case reflect.Float64, reflect.Int:
		visit(path, v)
	case reflect.Struct:
		for i := range v.NumField() {
			leaves(v.Field(i), path+"."+v.Type().Field(i).Name, visit)
		}
	case reflect.Slice:
		for i := range v.Len() {
			leaves(v.Index(i), fmt.Sprintf("%s[%d]", path, i), visit)
		}
	}
}

// settable is a deep copy of an argument.
func settable(arg any) reflect.Value {
	v := reflect.New(reflect.TypeOf(arg)).Elem()
	v.Set(reflect.ValueOf(arg))
	var unshare func(v reflect.Value)
	unshare = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				unshare(v.Field(i))
			}
		case reflect.Slice:
			own := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
			reflect.Copy(own, v)
			v.Set(own)
		}
	}
	unshare(v)
	return v
}

// call returns the results but the error, and the error.
func call(f any, args []reflect.Value) ([]reflect.Value, error) {
	out := reflect.ValueOf(f).Call(args)
	err, _ := out[len(out)-1].Interface().(error)
	return out[:len(out)-1], err
}

func settableArgs(args []any) []reflect.Value {
	own := make([]reflect.Value, len(args))
	for i, a := range args {
		own[i] = settable(a)
	}
	return own
}

func TestGoodArgumentsGiveFiniteResultsWithHonestWorking(t *testing.T) {
	for name, fn := range everything {
		out, err := call(fn.f, settableArgs(fn.args))
		require.NoError(t, err, name)
		for _, o := range out {
			leaves(o, name, func(path string, leaf reflect.Value) {
				if leaf.Kind() == reflect.Float64 {
					assert.False(t, math.IsNaN(leaf.Float()) || math.IsInf(leaf.Float(), 0), path)
				}
			})
			if o.Kind() == reflect.Struct {
				if w := o.FieldByName("Working"); w.IsValid() {
					requireHonest(t, w.Interface().(physics.Working))
				}
			}
		}
	}
}

// Each number in each argument of each function is replaced with what no formula can stand for.
func TestNonsenseIsARangeError(t *testing.T) {
	for name, fn := range everything {
		for i := range fn.args {
			count := 0
			leaves(settable(fn.args[i]), "", func(string, reflect.Value) { count++ })
			for target := range count {
				for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e13, -1e13} {
					args, seen, where := settableArgs(fn.args), 0, ""
					leaves(args[i], name, func(path string, leaf reflect.Value) {
						if seen++; seen-1 != target {
							return
						}
						where = path
						if leaf.Kind() == reflect.Int {
							leaf.SetInt(map[bool]int64{true: -1 << 40, false: 1 << 40}[bad < 0])
						} else {
							leaf.SetFloat(bad)
						}
					})
					if where == "CurveOfStart.Plug" {
						continue // replaced by the plug's resistance at each moment
					}
					out, err := call(fn.f, args)
					var out1 *physics.RangeError
					require.True(t, errors.As(err, &out1), "%s[%d] = %v gives %v, %v", where, i, bad, out, err)
					require.NotEmpty(t, out1.Field)
				}
			}
		}
	}
}

func TestRangeErrorSaysWhatIsWrong(t *testing.T) {
	tests := []struct {
		f    func() error
		want string
	}{
		{func() error {
			_, err := physics.ConductorResistance(physics.Conductor{Area: 60 * physics.SquareMillimetre}, 3, 20)
			return err
		},
			"cable_area is 60 mm², but must lie between 0.5 and 50 mm²"},
		{func() error { _, err := physics.RestVoltage(physics.AGM, 18, 0.5, 20); return err },
			"nominal_voltage is 18 V, but must be 24 V"},
		{func() error { _, err := physics.StandardAtmosphere(physics.Metre(math.NaN())); return err },
			"altitude is NaN m, but must lie between -500 and 9000 m"},
		{func() error { _, err := physics.FreezingPoint(1.5); return err }, "charge is 1.5, but must lie between 0 and 1"},
		{func() error { _, err := physics.WaxingChance(50, 100); return err },
			"plugging_point is 50 °C, but must lie between -51 and 15 °C\nambient_temperature is 100 °C, but must lie " +
				"between -60 and 60 °C"},
	}
	for _, tt := range tests {
		assert.EqualError(t, tt.f(), tt.want)
	}
}

// Arguments that are each in range may still lead where a formula says nothing.
func TestResultsOutOfRangeAreErrors(t *testing.T) {
	tests := []struct {
		field string
		f     func() error
	}{
		{"resistance_factor", func() error { _, err := physics.ResistanceAt(1, 0.01, 20, -150); return err }},
		{"cable_length", func() error {
			_, err := physics.SmallestCable(physics.Feed{Length: 500, Load: 20, Nominal: 12, Drop: 0.03, Temperature: 20,
				Ambient: 20})
			return err
		}},
		{"fuse", func() error { _, err := physics.Fuse(20, 18); return err }},
		{"running_current", func() error {
			_, err := physics.VoltageWhileGlowing(physics.Supply{OpenCircuit: 12, Internal: 5, Plug: 1, Running: 4})
			return err
		}},
		{"running_current", func() error {
			_, err := physics.CurveOfStart(physics.Supply{OpenCircuit: 12, Internal: 5, Plug: 1, Running: 4}, aPlug, 10, 5)
			return err
		}},
		{"loaded_voltage", func() error { _, err := physics.SourceResistance(12, 12.5, 5); return err }},
		{"pump_dose", func() error { _, err := physics.DosePerStroke(500*physics.Millilitre, 10); return err }},
		{"heat", func() error {
			_, err := physics.HeatOutputOf(physics.Burn{Rate: 30, Dose: 200 * physics.Microlitre, Temperature: 15,
				Efficiency: 0.8})
			return err
		}},
		{"velocity", func() error {
			_, err := physics.PressureLossOf(physics.Pipe{Length: 1, Diameter: 0.05}, someAir, 0.5)
			return err
		}},
		{"velocity", func() error {
			_, err := physics.FlowThroughDuct(physics.Duct{Diameter: 0.03, End: 0.1}, physics.Blower{Free: 0.5, Shut: 5000},
				warmedAir)
			return err
		}},
		{"temperature", func() error { _, err := physics.ThermistorTemperature(10e3, 3950, 1e9); return err }},
		{"beta", func() error { _, err := physics.Beta(10e3, 25, 9e3, 85); return err }},
		{"temperature_difference", func() error { _, err := physics.Beta(10e3, 25, 9e3, 25); return err }},
		{"sensor_resistance", func() error { _, err := physics.SensorTemperature(physics.Pt1000, 3000); return err }},
		{"sensor_resistance", func() error { _, err := physics.PlatinumTemperature(100, 10); return err }},
		{"battery_temperature", func() error { _, err := physics.CapacityShare(physics.Lithium, -30); return err }},
		{"cable_area", func() error { // tables end where solid copper goes on
			_, err := physics.ResistancePerMetre(physics.Conductor{Construction: physics.Class2,
				Area: 70 * physics.SquareMillimetre}, 20)
			return err
		}},
	}
	for _, tt := range tests {
		var out *physics.RangeError
		err := tt.f()
		require.True(t, errors.As(err, &out), "%s: %v", tt.field, err)
		assert.Equal(t, tt.field, out.Field)
		assert.True(t, out.Value < out.Min || out.Value > out.Max, "%v", out)
	}
}

// A limit itself is allowed, whatever the rounding of its unit.
func TestLimitsBelongToTheRange(t *testing.T) {
	for _, area := range []physics.SquareMetre{0.5 * physics.SquareMillimetre, 0.5e-6, 50e-6,
		50 * physics.SquareMillimetre} {
		_, err := physics.ResistancePerMetre(physics.Conductor{Area: area}, 150)
		assert.NoError(t, err)
	}
	_, err := physics.DosePerStroke(0.2*physics.Millilitre, 1)
	assert.NoError(t, err)
}

func TestNamesOfUnknownMembers(t *testing.T) {
	assert.Equal(t, "unknown (99)", physics.Chemistry(99).String())
	assert.Equal(t, []string{"AGM lead-acid", "class 5 plain copper", "negative", "ceramic glow plug", "kerosene",
		"EN 590 grade F", "Pt1000"},
		[]string{physics.AGM.String(), physics.Class5.String(), physics.Negative.String(), physics.CeramicPlug.String(),
			physics.Kerosene.String(), physics.GradeF.String(), physics.Pt1000.String()})
}
