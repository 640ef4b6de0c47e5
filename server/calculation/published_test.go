//go:build !js

package calculation

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// What comes over the wire, units and all, is held against values printed elsewhere. That the formulas are right is the
// business of package physics; here it is that nothing is lost or taken for another unit on the way.

// BS 7671, table 4D1B: volt drop of two single-core cables of class 2 at 70 °C, in mV for an ampere and a metre,
// rounded to the table's step.
func TestCableAgainstPublishedDrops(t *testing.T) {
	var r Service
	for area, want := range map[float64]float64{1: 44, 1.5: 29, 2.5: 18, 4: 11, 10: 4.4} {
		out, err := r.CalculateCable(t.Context(), &lightoffv1.CalculateCableRequest{CableLengthM: proto.Float64(1),
			CurrentA:          proto.Float64(1),
			CableConstruction: "class_2", ConductorTemperatureC: proto.Float64(70), CableAreaMm2: &area})
		require.NoError(t, err)
		assert.InEpsilon(t, want, 1000*out.GetOwnDropV(), 0.02, "%g mm²", area)
		for _, a := range out.GetAreas() {
			if a.GetCableAreaMm2() == area {
				assert.InDelta(t, out.GetOwnDropV(), a.GetDropVPerM(), 1e-12)
			}
		}
	}
}

// IEC 60228, class 5: 1.5 mm² has 13.3 Ω/km at 20 °C, 4 mm² 4.95 and 6 mm² 3.30.
func TestCableChosen(t *testing.T) {
	var r Service
	out, err := r.CalculateCable(t.Context(), &lightoffv1.CalculateCableRequest{CableLengthM: proto.Float64(6),
		CurrentA: proto.Float64(13), CableAreaMm2: proto.Float64(1.5)})
	require.NoError(t, err)
	assert.Equal(t, 6.0, out.GetCableAreaMm2(), "4 mm² would lose more than 5 %% of 12 V: 2·6·4.95·13 mV = 0.77 V")
	assert.InDelta(t, 2*6*0.0033*13, out.GetDropV(), 1e-9)
	assert.InDelta(t, 100*2*6*0.0033*13/12, out.GetDropPercent(), 1e-9)
	assert.InDelta(t, 2*6*0.0133*13, out.GetOwnDropV(), 1e-9)
	assert.InDelta(t, 0.6, out.GetAllowedDropV(), 1e-12)
	assert.Equal(t, 20.0, out.GetFuseA(), "13 A over eight tenths is 16.25 A; the next blade fuse of ISO 8820-3 is 20 A")
	assert.Equal(t, 45.0, out.GetAmpacityA(), "ISO 10133, annex A, from memory")
	assert.Equal(t, "volt drop", out.GetBecause())
	assert.Equal(t, lightoffv1.CableLimit_CABLE_LIMIT_VOLT_DROP, out.GetLimitedBy())
	require.Len(t, out.GetAreas(), 12)
	for _, a := range out.GetAreas() {
		assert.InDelta(t, 6*a.GetDropVPerM(), a.GetDropV(), 1e-12)
	}
	half, err := r.CalculateCable(t.Context(), &lightoffv1.CalculateCableRequest{CableLengthM: proto.Float64(6),
		NominalVoltageV: proto.Float64(24)})
	require.NoError(t, err)
	whole, err := r.CalculateCable(t.Context(), &lightoffv1.CalculateCableRequest{CableLengthM: proto.Float64(6)})
	require.NoError(t, err)
	assert.InEpsilon(t, whole.GetCurrentA()/2, half.GetCurrentA(), 1e-9, "the same power at twice the voltage")
	assert.True(t, whole.GetCurrentA() > 8 && whole.GetCurrentA() < 16,
		"a start at 12 V draws some 8 to 15 A: common practice, no source")
}

// Battery-industry table (BCI type) at 26.7 °C: 12.65, 12.45, 12.24 and 12.06 V are full, three quarters, half, a
// quarter.
func TestChargeAgainstPublishedTable(t *testing.T) {
	var r Service
	for volts, want := range map[float64]float64{12.65: 100, 12.45: 75, 12.24: 50, 12.06: 25} {
		for _, nominal := range []float64{12, 24} {
			out, err := r.CalculateStateOfCharge(t.Context(),
				&lightoffv1.CalculateStateOfChargeRequest{RestVoltageV: proto.Float64(volts * nominal / 12),
					BatteryChemistry: "flooded", BatteryTemperatureC: proto.Float64(26.7)})
			require.NoError(t, err)
			require.Len(t, out.GetBands(), 1)
			assert.InDelta(t, want, out.GetBands()[0].GetChargePercent(), 1e-6, "%g V of %g V", volts, nominal)
		}
	}
	all, err := r.CalculateStateOfCharge(t.Context(),
		&lightoffv1.CalculateStateOfChargeRequest{RestVoltageV: proto.Float64(12.3)})
	require.NoError(t, err)
	assert.Equal(t, []string{"flooded", "agm", "lithium"},
		each(all.GetBands(), (*lightoffv1.ChargeBand).GetBatteryChemistry))
	for _, b := range all.GetBands() {
		assert.True(t, b.GetLowPercent() <= b.GetChargePercent() && b.GetChargePercent() <= b.GetHighPercent(), "%v", b)
		assert.Equal(t, b.GetBatteryChemistry() != "lithium", b.FreezingPointC != nil)
	}
	one, err := r.CalculateStateOfCharge(t.Context(),
		&lightoffv1.CalculateStateOfChargeRequest{RestVoltageV: proto.Float64(13.5)})
	require.NoError(t, err)
	assert.Equal(t, []string{"lithium"}, each(one.GetBands(), (*lightoffv1.ChargeBand).GetBatteryChemistry),
		"lead does not rest so high")
}

// Load-test rule of the battery industry (BCI), steps of 10 °F: 9.6 V at 70, 9.4 at 50, 8.5 at 0.
func TestLoadTestAgainstRule(t *testing.T) {
	var r Service
	for fahrenheit, want := range map[float64]float64{70: 9.6, 50: 9.4, 0: 8.5} {
		celsius := math.Round((fahrenheit-32)/1.8*100) / 100
		out, err := r.CalculateLoadTest(t.Context(), &lightoffv1.CalculateLoadTestRequest{BatteryTemperatureC: &celsius,
			LoadedVoltageV: proto.Float64(9.0), ColdCrankingCurrentA: proto.Float64(360)})
		require.NoError(t, err)
		assert.InDelta(t, want, out.GetLeastVoltageV(), 1e-9)
		assert.Equal(t, 9.0 >= want, out.GetHolds())
		assert.Equal(t, 180.0, out.GetTestCurrentA())
	}
	out, err := r.CalculateLoadTest(t.Context(), &lightoffv1.CalculateLoadTestRequest{RestVoltageV: proto.Float64(12.6),
		LoadedVoltageV: proto.Float64(11.6), CurrentA: proto.Float64(100)})
	require.NoError(t, err)
	assert.InDelta(t, 10, out.GetInternalResistanceMilliohm(), 1e-9, "Ohm's law: 1 V over 100 A")
}

// UK DESNZ conversion factors 2025, mineral diesel: 830.565 kg/m³ and 43.027 MJ/kg.
func TestHeatAgainstPublishedFuel(t *testing.T) {
	var r Service
	out, err := r.CalculateHeatOutput(t.Context(),
		&lightoffv1.CalculateHeatOutputRequest{StrokeRateHz: proto.Float64(3), PumpDoseUl: proto.Float64(20)})
	require.NoError(t, err)
	assert.InDelta(t, 3*20*3.6, out.GetFuelMlPerH(), 1e-9)
	assert.InDelta(t, 3*20*3.6*0.830565, out.GetFuelGPerH(), 1e-9)
	assert.InDelta(t, 3*20e-9*830.565*43.027e6, out.GetReleasedW(), 1e-6)
	assert.InDelta(t, 0.8*out.GetReleasedW(), out.GetDeliveredW(), 1e-9)
	back, err := r.CalculateFuelUse(t.Context(), &lightoffv1.CalculateFuelUseRequest{DeliveredW: &out.DeliveredW})
	require.NoError(t, err)
	assert.InEpsilon(t, out.GetFuelMlPerH(), back.GetFuelMlPerH(), 1e-9)
}

// A line of 2 mm and 5 m holds π/4·2²·5 mL.
func TestPrimingByGeometry(t *testing.T) {
	var r Service
	volume := math.Pi * 5 // mL
	out, err := r.CalculatePriming(t.Context(), &lightoffv1.CalculatePrimingRequest{LineLengthM: proto.Float64(5),
		LineBoreMm: proto.Float64(2), PumpDoseUl: proto.Float64(22),
		StrokeRateHz: proto.Float64(6), StrokesMade: proto.Int32(900)})
	require.NoError(t, err)
	assert.InDelta(t, volume, out.GetLineVolumeMl(), 1e-9)
	assert.Equal(t, int32(math.Ceil(volume/0.022)), out.GetStrokes())
	assert.InDelta(t, float64(out.GetStrokes())/6, out.GetTimeS(), 1e-9)
	assert.InDelta(t, 900*0.022-volume, out.GetStandingFuelMl(), 1e-9)
}

// EN 590, tables 2 and 3: grade F has -20 °C, E -15, B 0 and C -5. At 2 K below the limit, where a usual lot is taken
// to stop (judgement, no source), the chance is one half.
func TestWaxingAgainstGrades(t *testing.T) {
	var r Service
	for kind, limits := range map[string][]float64{"winter_diesel": {-20, -15}, "summer_diesel": {0, -5}} {
		sum := 0.0
		for _, limit := range limits {
			out, err := r.CalculateWaxingChance(t.Context(),
				&lightoffv1.CalculateWaxingChanceRequest{PluggingPointC: proto.Float64(limit),
					AmbientTemperatureC: proto.Float64(limit - 2)})
			require.NoError(t, err)
			assert.Equal(t, []float64{limit}, out.GetPluggingPointsC())
			for _, p := range []float64{out.GetLowPercent(), out.GetChancePercent(), out.GetHighPercent()} {
				assert.InDelta(t, 50, p, 1e-9)
			}
			cold, err := r.CalculateWaxingChance(t.Context(),
				&lightoffv1.CalculateWaxingChanceRequest{PluggingPointC: proto.Float64(limit),
					AmbientTemperatureC: proto.Float64(-13)})
			require.NoError(t, err)
			sum += cold.GetChancePercent() / float64(len(limits))
		}
		out, err := r.CalculateWaxingChance(t.Context(),
			&lightoffv1.CalculateWaxingChanceRequest{FuelKind: kind, AmbientTemperatureC: proto.Float64(-13)})
		require.NoError(t, err)
		assert.ElementsMatch(t, limits, out.GetPluggingPointsC())
		assert.InDelta(t, sum, out.GetChancePercent(), 1e-9)
		assert.True(t, out.GetLowPercent() <= out.GetChancePercent() && out.GetChancePercent() <= out.GetHighPercent())
	}
	for kind := range map[string]bool{"winter_diesel": true, "summer_diesel": true, "red_diesel": true, "hvo": true,
		"biodiesel":   true,
		"heating_oil": true, "kerosene": true, "other": true} {
		last := 101.0
		for t0 := -50.0; t0 <= 20; t0 += 5 {
			out, err := r.CalculateWaxingChance(t.Context(),
				&lightoffv1.CalculateWaxingChanceRequest{FuelKind: kind, AmbientTemperatureC: &t0})
			require.NoError(t, err)
			assert.LessOrEqual(t, out.GetChancePercent(), last, "%s: warmer fuel waxes no sooner", kind)
			last = out.GetChancePercent()
		}
	}
}

// ISO 2533: at 2,000 m the air of the standard atmosphere has 1.00655 kg/m³ and 275.154 K, at sea level 1.225 kg/m³.
func TestMixtureAgainstStandardAtmosphere(t *testing.T) {
	var r Service
	out, err := r.CalculateMixture(t.Context(), &lightoffv1.CalculateMixtureRequest{AltitudeM: proto.Float64(2000),
		AmbientTemperatureC: proto.Float64(275.154 - 273.15), AirRatio: proto.Float64(1.5)})
	require.NoError(t, err)
	assert.InDelta(t, 1.00655, out.GetDensityKgPerM3(), 1e-5)
	assert.InDelta(t, 100*1.00655/1.225, out.GetAirPercent(), 1e-3)
	assert.InDelta(t, 1.5*1.00655/1.225, out.GetAirRatio(), 1e-4)
	assert.InDelta(t, out.GetAirPercent(), out.GetDosePercent(), 1e-9)
}

// IEC 60751: a Pt1000 has 1385.055 Ω at 100 °C, ±0.8 K in class B; an open book's example of a thermistor of 10 kΩ
// with a beta of 3950 K: 10,475 Ω are 23.959 °C.
func TestSensorsAgainstPublishedValues(t *testing.T) {
	var r Service
	pt, err := r.CalculateSensorResistance(t.Context(),
		&lightoffv1.CalculateSensorResistanceRequest{SensorKind: "pt1000", TemperatureC: proto.Float64(100)})
	require.NoError(t, err)
	assert.InDelta(t, 1385.055, pt.GetResistanceOhm(), 5e-4)
	ntc, err := r.CalculateSensorTemperature(t.Context(),
		&lightoffv1.CalculateSensorTemperatureRequest{SensorKind: "ntc_10k", ResistanceOhm: proto.Float64(10475)})
	require.NoError(t, err)
	assert.InDelta(t, 23.959, ntc.GetTemperatureC(), 5e-4)
	back, err := r.CalculateSensorTemperature(t.Context(),
		&lightoffv1.CalculateSensorTemperatureRequest{SensorKind: "pt1000", ResistanceOhm: &pt.ResistanceOhm})
	require.NoError(t, err)
	assert.InDelta(t, 100, back.GetTemperatureC(), 1e-6)
	assert.InDelta(t, 0.8, back.GetHighC()-back.GetTemperatureC(), 1e-6)
	for _, kind := range []string{"ntc_10k", "ntc_50k", "ntc_100k"} {
		at25, err := r.CalculateSensorResistance(t.Context(),
			&lightoffv1.CalculateSensorResistanceRequest{SensorKind: kind, TemperatureC: proto.Float64(25)})
		require.NoError(t, err)
		assert.Equal(t, kind, fmt.Sprintf("ntc_%.0fk", at25.GetResistanceOhm()/1000),
			"it is named by its resistance at 25 °C")
	}
}

// EN 50291-1: 30 ppm not before 120 min, 50 ppm between 60 and 90, 100 ppm between 10 and 40, 300 ppm within 3.
func TestAlarmRules(t *testing.T) {
	var r Service
	out, err := r.ListAlarmRules(t.Context(), &lightoffv1.ListAlarmRulesRequest{})
	require.NoError(t, err)
	want := []*lightoffv1.AlarmRule{
		{CarbonMonoxidePpm: 30, NotBeforeMin: 120}, {CarbonMonoxidePpm: 50, NotBeforeMin: 60, MustSound: true,
			ByMin: proto.Float64(90)},
		{CarbonMonoxidePpm: 100, NotBeforeMin: 10, MustSound: true, ByMin: proto.Float64(40)},
		{CarbonMonoxidePpm: 300, MustSound: true, ByMin: proto.Float64(3)},
	}
	require.Len(t, out.GetRules(), len(want))
	for i := range want {
		assert.True(t, proto.Equal(want[i], out.GetRules()[i]), "%v", out.GetRules()[i])
	}
	assert.Len(t, out.GetSteps(), 7)
}

// Kirchhoff's laws on what came over the wire, and IEC 60228: 1.5 mm² of class 5 has 13.3 Ω/km.
func TestGlowVoltageObeysKirchhoff(t *testing.T) {
	var r Service
	out, err := r.CalculateGlowVoltage(t.Context(),
		&lightoffv1.CalculateGlowVoltageRequest{RestVoltageV: proto.Float64(12.4),
			InternalResistanceMilliohm: proto.Float64(8),
			CableAreaMm2:               proto.Float64(1.5), CableLengthM: proto.Float64(5),
			GlowPlugResistanceOhm: proto.Float64(1.05),
			RunningCurrentA:       proto.Float64(1.5), CurveDurationS: proto.Float64(60),
			Joints: []*lightoffv1.Joint{{Name: "fuse holder", ResistanceMilliohm: proto.Float64(5)},
				{Name: "earth", Side: "negative", ResistanceMilliohm: proto.Float64(40)}}})
	require.NoError(t, err)
	sum := 0.0
	for _, d := range out.GetDrops() {
		assert.InDelta(t, out.GetCurrentA()*d.GetResistanceMilliohm()/1000, d.GetDropV(), 1e-9, d.GetName())
		sum += d.GetDropV()
	}
	assert.InDelta(t, 66.5, out.GetDrops()[0].GetResistanceMilliohm(), 1e-9, "5 m of 13.3 Ω/km")
	assert.InDelta(t, 12.4-out.GetHeaterVoltageV(), sum+out.GetCurrentA()*0.008, 1e-9)
	assert.InDelta(t, sum, out.GetDropPositiveV()+out.GetDropNegativeV(), 1e-9)
	assert.InDelta(t, out.GetDropNegativeV()-out.GetDropPositiveV(), out.GetCurrentA()*0.035, 1e-9)
	assert.InDelta(t, out.GetHeaterVoltageV()/1.05, out.GetPlugCurrentA(), 1e-9)
	assert.InDelta(t, out.GetHeaterVoltageV()*out.GetPlugCurrentA(), out.GetPlugPowerW(), 1e-9)
	curve := out.GetCurve()
	require.Len(t, curve, 61)
	assert.Equal(t, []float64{0, 60}, []float64{curve[0].GetAtS(), curve[60].GetAtS()})
	for i := range curve[1:] {
		assert.Greater(t, curve[i+1].GetHeaterVoltageV(), curve[i].GetHeaterVoltageV(),
			"a plug that warms takes less and less")
	}
	assert.InDelta(t, out.GetHeaterVoltageV(), curve[60].GetHeaterVoltageV(), 0.01, "a minute is eight time constants")
	assert.Equal(t, []float64{10, 10.8}, []float64{out.GetUndervoltageLowV(), out.GetUndervoltageHighV()},
		"common practice, no source")
	power, err := r.CalculateGlowPower(t.Context(),
		&lightoffv1.CalculateGlowPowerRequest{HeaterVoltageV: &out.HeaterVoltageV,
			GlowPlugResistanceOhm: proto.Float64(1.05)})
	require.NoError(t, err)
	assert.InDelta(t, out.GetPlugPowerW(), power.GetPowerW(), 1e-9)
	assert.InDelta(t, out.GetPlugCurrentA(), power.GetCurrentA(), 1e-9)
}

// Conservation of charge.
func TestNightAddsUp(t *testing.T) {
	var r Service
	req := &lightoffv1.CalculateNightEnergyRequest{BatteryChemistry: "agm", BatteryCapacityAh: proto.Float64(100),
		DurationH: proto.Float64(10), BatteryTemperatureC: proto.Float64(25),
		RunningCurrentA: proto.Float64(1.5), Starts: proto.Int32(3), StartCurrentA: proto.Float64(12),
		StartTimeS: proto.Float64(100)}
	out, err := r.CalculateNightEnergy(t.Context(), req)
	require.NoError(t, err)
	assert.InDelta(t, 16, out.GetTakenAh(), 1e-9, "15 A h and three times 12 A for 100 s")
	assert.InDelta(t, 192, out.GetEnergyWh(), 1e-9)
	assert.InDelta(t, 84, out.GetLeftPercent(), 1e-9, "a battery at 25 °C has its whole capacity")
	assert.True(t, out.GetEnough())
	assert.InDelta(t, 49/1.5, out.GetLastsH(), 1e-9, "50 A h less one for the starts")
	req.RunningCurrentA, req.ChargePercent = proto.Float64(0), proto.Float64(40)
	out, err = r.CalculateNightEnergy(t.Context(), req)
	require.NoError(t, err)
	assert.Nil(t, out.LastsH)
	assert.False(t, out.GetEnough(), "half a lead battery is usable: common practice, no source")
}

// The flow is where the blower's parabola and the duct's loss agree; the flow is conserved as mass.
func TestDuctFlowAgrees(t *testing.T) {
	var r Service
	last := 100.0
	for _, bends := range []int32{0, 2, 6} {
		out, err := r.CalculateDuctFlow(t.Context(), &lightoffv1.CalculateDuctFlowRequest{DuctLengthM: proto.Float64(3),
			DuctDiameterMm: proto.Float64(60), DuctBends: &bends})
		require.NoError(t, err)
		share := out.GetFlowPercent() / 100
		assert.InDelta(t, 90*share, out.GetFlowM3PerH(), 1e-9)
		assert.InDelta(t, 100*(1-share*share), out.GetPressurePercent(), 1e-6)
		area := math.Pi / 4 * 0.06 * 0.06
		assert.InDelta(t, out.GetFlowM3PerH()/3600/area*(273.15+75)/(273.15+15), out.GetVelocityMPerS(), 1e-9)
		assert.Less(t, out.GetFlowPercent(), last, "bends take flow")
		last = out.GetFlowPercent()
	}
}
