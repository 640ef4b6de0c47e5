package knowledge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A reading between what two states predict shares itself between them: as it rises from a sound motor's current to a
// worn one's, the chance of a worn motor rises with it, and never by leaps.
func TestReadingSharesItselfSmoothly(t *testing.T) {
	in := pump(t).NewInquiry()
	const worn, step = 2, 0.05
	last := posteriors(t, in, measured("motor_current", 4))[worn]
	first := last
	for x := 4 + step; x <= 5.9; x += step { // beyond the worn motor's own 6 A the reading grows odd, and tells less
		p := posteriors(t, in, measured("motor_current", x))[worn]
		require.GreaterOrEqual(t, p, last, "at %.2f A", x)
		require.Less(t, p-last, 0.09, "at %.2f A", x)
		last = p
	}
	require.Less(t, first, 0.02)
	require.Greater(t, last, 0.95)

	// Over all that the meter can show there is no leap either, not even where a reading becomes one that nothing
	// explains.
	last = posteriors(t, in, measured("motor_current", 0))[worn]
	for x := 0.005; x <= 20; x += 0.005 {
		p := posteriors(t, in, measured("motor_current", x))[worn]
		require.Less(t, math.Abs(p-last), 0.02, "at %.3f A", x)
		last = p
	}
}

func TestReadingThatNothingExplainsMovesNothing(t *testing.T) {
	in := pump(t).NewInquiry()
	beside := []Finding{stated("hum", "rough"), stated("water_at_tap", "little"), measured("volts_at_plug", 231)}
	without := posteriors(t, in, beside...)
	require.Empty(t, in.Unused())
	for _, absurd := range []Finding{measured("motor_current", 0.01), measured("motor_current", 19),
		measured("volts_at_pump", 3), measured("volts_at_pump", 399)} {
		with := posteriors(t, in, append(beside, absurd)...)
		require.Equal(t, map[string]string{absurd.ID: UnusedDoubtful}, in.Unused())
		requireEqual(t, without, with, tolerance, absurd)
	}
}

// Several readings that nothing explains must not cast doubt on the sound one beside them.
func TestSoundReadingOutlastsAbsurdOnes(t *testing.T) {
	files := good(t)
	replace(t, files, seen, "  - {id: puddle_at_plug",
		"  - {id: volts_at_house, unit: V, min: 0, max: 400, reads: {mains_volts: 1}, error: 1, bands: [210], basis: "+
			"invented}\n  - {id: puddle_at_plug")
	replace(t, files, "text/en/observations.yaml", "length_of_hose:",
		"volts_at_house: {title: Volts, question: How many volts?}\nlength_of_hose:")
	m, err := Load(files, nil)
	require.NoError(t, err)
	in := m.NewInquiry()
	sound := measured("volts_at_pump", 214)
	want := posteriors(t, in, sound)
	require.Greater(t, math.Abs(want[2]-posteriors(t, in)[2]), 0.01, "the sound reading tells something")
	got := posteriors(t, in, sound, measured("volts_at_plug", 12), measured("volts_at_house", 12))
	requireEqual(t, want, got, tolerance)
	require.Len(t, in.Unused(), 2)
}

func TestFindingsWithoutBearing(t *testing.T) {
	in := pump(t).NewInquiry()
	want := posteriors(t, in)
	for _, f := range []Finding{stated("colour_of_hose", "green"), measured("length_of_hose", 12)} {
		requireEqual(t, want, posteriors(t, in, f), tolerance)
		require.Equal(t, map[string]string{f.ID: UnusedNoBearing}, in.Unused())
		require.True(t, in.IsTold(f.ID))
	}
	requireEqual(t, want, posteriors(t, in, stated("code_table", "plain")), tolerance)
	require.Empty(t, in.Unused(), "which table is followed has a bearing on what a code means")
	require.False(t, in.IsTold("hum"))
}

// normal1 and normal2 are the densities of one and of two normal variables, as any textbook writes them.
func normal1(x, mean, sd float64) float64 {
	z := (x - mean) / sd
	return math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
}

func normal2(x, y, mx, my, sx, sy, rho float64) float64 {
	u, v := (x-mx)/sx, (y-my)/sy
	return math.Exp(-(u*u-2*rho*u*v+v*v)/(2*(1-rho*rho))) / (2 * math.Pi * sx * sy * math.Sqrt(1-rho*rho))
}

// volts gives the readings of the two voltmeters and their joint distribution with sound mains.
func volts(m *Model, worn string) (*readingGroup, *levels) {
	g := &readingGroup{readings: []*reading{m.variables["volts_at_plug"].reads, m.variables["volts_at_pump"].reads}}
	l := &levels{}
	m.files.joint(g.readings, map[string]string{"mains": "normal", "motor_worn": worn}, newSituation(nil, memo{}), l)
	return g, l
}

// Two meters that look at one quantity vary together. By hand: the mains 230 ± 4 V, read with an error of 1 V at the
// plug; at the pump a worn motor's cable takes 14 ± 5 V of it and the meter errs by 2 V. The mains is common to both.
func TestReadingsOfOneQuantityVaryTogether(t *testing.T) {
	group, l := volts(pump(t), "yes")
	normal := func(x []float64, skip int) float64 {
		d := &density{n: 2, mean: l.mean, cov: l.cov, x: x, factor: make([]float64, 4), z: make([]float64, 2),
			keep: make([]int, 2)}
		return d.normal([]int{0, 1}, skip)
	}
	sx, sy := math.Sqrt(4*4+1*1), math.Sqrt(4*4+5*5+2*2)
	rho := 4 * 4 / (sx * sy)
	for _, at := range [][2]float64{{230, 216}, {238, 224}, {238, 208}, {222, 224}, {226, 200}, {233, 219.5}} {
		x := []float64{at[0], at[1]}
		want := normal2(x[0], x[1], 230, 216, sx, sy, rho)
		require.InEpsilon(t, want, normal(x, -1), 1e-12)
		require.InEpsilon(t, normal1(x[0], 230, sx), normal(x, 1), 1e-12, "the plug alone")
		require.InEpsilon(t, normal1(x[1], 216, sy), normal(x, 0), 1e-12, "the pump alone")

		// Each may be an outlier, even over 400 V, once in fifty times.
		const sound, off = 0.98, 0.02 / 400
		mixed := sound*sound*want + sound*off*(normal1(x[0], 230, sx)+normal1(x[1], 216, sy)) + off*off
		require.InEpsilon(t, mixed, l.likelihood(group, []int{0, 1}, x)[0], 1e-12)
	}
	high := []float64{238, 224}
	require.Greater(t, normal(high, -1), 1.3*normal(high, 0)*normal(high, 1), "both high is one accident, not two")
}

// With weak mains, mean and spread scale, but not the meters' errors.
func TestScaleLeavesTheMetersError(t *testing.T) {
	m := pump(t)
	rs := []*reading{m.variables["volts_at_plug"].reads}
	l := &levels{}
	m.files.joint(rs, map[string]string{"mains": "weak", "motor_worn": "no"}, newSituation(nil, memo{}), l)
	require.Equal(t, 1, len(l.mean))
	require.InEpsilon(t, 0.9*230, l.mean[0], 1e-12)
	require.InEpsilon(t, 0.9*4*0.9*4+1, l.cov[0], 1e-12)
}

func TestBandProbabilities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &reading{doubt: rapid.Float64Range(0.001, 0.2).Draw(t, "doubt"), log: rapid.Bool().Draw(t, "log")}
		edge := 0.01
		for range rapid.IntRange(1, 6).Draw(t, "bands") {
			edge += rapid.Float64Range(0.01, 5).Draw(t, "width")
			r.bands = append(r.bands, edge)
		}
		row := r.bandRow(rapid.Float64Range(-10, 20).Draw(t, "mean"), rapid.Float64Range(0.01, 9).Draw(t, "variance"), 1)
		sum := 0.0
		for _, p := range row {
			require.GreaterOrEqual(t, p, r.doubt/float64(len(row))*(1-1e-9), "no band is impossible")
			sum += p
		}
		require.InDelta(t, 1, sum, tolerance)
	})
	// By hand: 4 ± 0.5 A with bands at 3 and 5, two spreads away on either side.
	r := &reading{doubt: 0.03, bands: []float64{3, 5}}
	tail := 0.022750131948179195 // Φ(−2), from published tables of the normal distribution
	requireEqual(t, []float64{0.97*tail + 0.01, 0.97*(1-2*tail) + 0.01, 0.97*tail + 0.01}, r.bandRow(4, 0.25, 1),
		tolerance)
	require.Equal(t, "3–5 A", pump(t).BandText("motor_current", "band_b", nil))
	require.Equal(t, "< 3 A", pump(t).BandText("motor_current", "band_a", nil))
	require.Equal(t, "> 5 A", pump(t).BandText("motor_current", "band_c", nil))
	require.Equal(t, "rough", pump(t).BandText("hum", "rough", nil))
}

// What is not known of the installation is averaged: over a fact's shares, the rates with it known come to the rate
// with it unknown.
func TestRatesObeyTotalProbability(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	in.Enter(nil)
	unknown := append([]float64(nil), in.at.rate...)
	age := map[string]float64{"young": 1, "middling": 5, "old": 30}
	for _, s := range m.Setup {
		if s.Variable {
			continue
		}
		mean := make([]float64, len(m.Causes))
		moved := false
		for _, st := range s.States {
			f := stated(s.ID, st.ID)
			if s.Unit != "" {
				f = measured(s.ID, age[st.ID])
			}
			in.Enter([]Finding{f})
			for i := range mean {
				mean[i] += st.Share * in.at.rate[i]
				moved = moved || math.Abs(in.at.rate[i]-unknown[i]) > 1e-3
			}
		}
		require.Equal(t, s.ID != "code_table", moved, s.ID)
		requireEqual(t, unknown, mean, tolerance, s.ID)
	}
	// By hand: factors 3 and 0.5 with shares 1/4 and 3/4 average 1.125.
	in.Enter([]Finding{stated("dry_summer", "yes")})
	require.InEpsilon(t, 3/1.125*m.rate[0], in.at.rate[0], tolerance)
	// A band holds from its lower edge on.
	in.Enter([]Finding{measured("hose_age", 10)})
	require.InEpsilon(t, 3/(0.5*0.3+0.3+0.2*3)*m.rate[1], in.at.rate[1], tolerance)
}

// A rate conditioned on the setup is what the oracle gets with that rate.
func TestSetupSetsTheRates(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	rapid.Check(t, func(t *rapid.T) {
		findings := findingsOf(t)
		dry, split := m.rate[0], m.rate[1]
		all := findings
		if s := rapid.SampledFrom([]string{"", "yes", "no"}).Draw(t, "dry_summer"); s != "" {
			all = append(all, stated("dry_summer", s))
			dry *= map[string]float64{"yes": 3, "no": 0.5}[s] / 1.125
		}
		if y := rapid.SampledFrom([]float64{-1, 0, 3, 20}).Draw(t, "hose_age"); y >= 0 {
			all = append(all, measured("hose_age", y))
			split *= map[float64]float64{0: 0.3, 3: 1, 20: 3}[y] / 1.05
		}
		want := oracle(dry, split, m.rate[2], m.anywayRate, findings...)
		requireEqual(t, want, posteriors(t, in, all...), tolerance, all)
	})
}

func TestRatesAreCapped(t *testing.T) {
	files := good(t)
	replace(t, files, causes, `{"yes": commoner, "no": 0.5}`, `{"yes": 100, "no": 0.01}`)
	replace(t, files, seen, `{"yes": 0.25, "no": 0.75}`, `{"yes": 0.01, "no": 0.99}`)
	m, err := Load(files, nil)
	require.NoError(t, err)
	in := m.NewInquiry()
	in.Enter([]Finding{stated("dry_summer", "yes")})
	require.InDelta(t, maxRate, in.at.rate[0], 0)
}

// A setup fact may be a number and a variable of the network at once.
func TestVariableSetupFactInBands(t *testing.T) {
	files := good(t)
	replace(t, files, seen, "  - {id: mains, states: {weak: 0.1, normal: 0.9}, variable: true,",
		"  - {id: mains, unit: W, min: 0, max: 9000, bands: [{id: weak, below: 1000, share: 0.1}, {id: normal, share: "+
			"0.9}], variable: true,")
	replace(t, files, seen, "mains: weak, hum", "mains: {below: 1000}, hum")
	replace(t, files, seen, "unless: {mains: [weak]}, ", "")
	m, err := Load(files, nil)
	require.NoError(t, err)
	volts := measured("volts_at_plug", 207)
	weak := posteriors(t, m.NewInquiry(), volts, measured("mains", 500))
	require.Equal(t, posteriors(t, pump(t).NewInquiry(), volts, stated("mains", "weak")), weak)
}

// An inquiry that has answered other questions before answers as a new one does.
func TestInquiryForgets(t *testing.T) {
	m := pump(t)
	used := m.NewInquiry()
	r := rand.New(rand.NewPCG(7, 7))
	for range 200 {
		var findings []Finding
		for _, f := range []Finding{
			stated("hum", []string{"even", "rough"}[r.IntN(2)]), stated("water_at_tap", []string{"plenty", "none"}[r.IntN(2)]),
			stated("dry_summer", []string{"yes", "no"}[r.IntN(2)]), measured("hose_age", 30*r.Float64()),
			stated("mains", "weak"),
			measured("motor_current", 20*r.Float64()), measured("volts_at_plug", 190+60*r.Float64()),
			measured("volts_at_pump", 180+60*r.Float64()),
			stated("fault_code", "other"), stated("colour_of_hose", "black"),
		} {
			if r.IntN(3) == 0 {
				findings = append(findings, f)
			}
		}
		fresh := m.NewInquiry()
		require.Equal(t, posteriors(t, fresh, findings...), posteriors(t, used, findings...), "%v", findings)
		require.Equal(t, fresh.Unused(), used.Unused())
		if r.IntN(2) == 0 {
			_, err := used.Outcomes(r.IntN(4), []string{"hum", "motor_current", "fault_code"})
			require.NoError(t, err)
		}
	}
}

func TestCodesAreTranslated(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	want := posteriors(t, in, stated("fault_code", "F2"))
	require.Equal(t, want, posteriors(t, in, stated("code_table", "lamps"), stated("fault_code", "Red Red")))
	require.NotEqual(t, want, posteriors(t, in, stated("code_table", "lamps"), stated("fault_code", "red")))
	require.Equal(t, want, posteriors(t, in, stated("code_table", "plain"), stated("fault_code", "f2")))
}

func TestCheck(t *testing.T) {
	m := pump(t)
	for _, tt := range []struct {
		name           string
		f              Finding
		table          string
		field, problem string
	}{
		{"state", stated("hum", "rough"), "", "", ""},
		{"number", measured("motor_current", 6.5), "", "", ""},
		{"lowest number", measured("motor_current", 0), "", "", ""},
		{"highest number", measured("motor_current", 20), "", "", ""},
		{"setup state", stated("dry_summer", "yes"), "", "", ""},
		{"setup number", measured("hose_age", 60), "", "", ""},
		{"state that covers others", stated("fault_code", "other"), "", "", ""},
		{"code of a table", stated("fault_code", "RED"), "lamps", "", ""},
		{"state despite a table", stated("fault_code", "F1"), "lamps", "", ""},

		{"unknown id", stated("hom", "rough"), "", "id", `"hom" is no observation or setup fact`},
		{"no id", stated("", "rough"), "", "id", `"" is no observation`},
		{"a cause", stated("well_dry", "yes"), "", "id", `"well_dry" is no observation`},
		{"an effect", stated("flow", "none"), "", "id", `"flow" is no observation`},
		{"a quantity", measured("load_amps", 3), "", "id", `"load_amps" is no observation`},
		{"a repair", stated("renew_hose", "yes"), "", "id", `"renew_hose" is no observation`},
		{"unknown state", stated("hum", "loud"), "", "state", `hum has no state "loud"; it has even, rough`},
		{"no state", stated("hum", ""), "", "state", `hum has no state ""`},
		{"state in capitals", stated("hum", "Rough"), "", "state", `hum has no state "Rough"`},
		{"unknown setup state", stated("dry_summer", "maybe"), "", "state",
			`dry_summer has no state "maybe"; it has yes, no`},
		{"number for a state", measured("hum", 3), "", "number", "hum takes one of even, rough, not a number"},
		{"state for a number", stated("motor_current", "high"), "", "state", "motor_current is a number in A, not a state"},
		{"band for a number", stated("motor_current", "band_a"), "", "state", "motor_current is a number in A"},
		{"no band of a setup number", stated("hose_age", "ancient"), "", "state", `hose_age is a number in years or one of`},
		{"band of a setup number", stated("hose_age", "old"), "", "", ""},
		{"too low", measured("motor_current", -0.01), "", "number", "motor_current must lie between 0 and 20 A"},
		{"too high", measured("motor_current", 20.01), "", "number", "must lie between 0 and 20 A"},
		{"setup too high", measured("hose_age", 61), "", "number", "hose_age must lie between 0 and 60 years"},
		{"not a number", measured("motor_current", math.NaN()), "", "number", "must lie between"},
		{"endless", measured("motor_current", math.Inf(1)), "", "number", "must lie between"},
		{"code of no table", stated("fault_code", "red"), "", "state",
			`fault_code has no state "red"; it has none, F1, F2, other`},
		{"code of another table", stated("fault_code", "red"), "plain", "state", `fault_code has no state "red"`},
		{"code of an unknown table", stated("fault_code", "red"), "lamp", "state", `fault_code has no state "red"`},
		{"table's code elsewhere", stated("hum", "red"), "lamps", "state", `hum has no state "red"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			field, problem := m.Check(tt.f, tt.table)
			require.Equal(t, tt.field, field)
			if tt.problem == "" {
				require.Empty(t, problem)
			} else {
				require.Contains(t, problem, tt.problem)
			}
		})
	}
}

// What an observation could show, and each cause's chance after it: as entering it gives, and in the mean what it was.
func TestOutcomes(t *testing.T) {
	m := pump(t)
	in, probe := m.NewInquiry(), m.NewInquiry()
	before := posteriors(t, in, stated("dry_summer", "yes"), stated("water_at_tap", "little"))
	for i, c := range m.Causes {
		outcomes, err := in.Outcomes(i, []string{"hum", "motor_current", "colour_of_hose"})
		require.NoError(t, err)
		mean, total := map[string]float64{}, map[string]float64{}
		for _, o := range outcomes {
			mean[o.Observation] += o.Probability * o.After
			total[o.Observation] += o.Probability
			if o.Observation == "hum" {
				after := posteriors(t, probe, stated("dry_summer", "yes"), stated("water_at_tap", "little"), stated("hum", o.State))
				require.InDelta(t, after[i], o.After, tolerance, "%s, %s", c.ID, o.State)
			}
		}
		require.Len(t, total, 2)
		for id := range total {
			require.InDelta(t, 1, total[id], 1e-8, id)
			require.InDelta(t, before[i], mean[id], 1e-8, id)
		}
	}
	after, err := in.Causes(nil)
	require.NoError(t, err)
	requireEqual(t, before, after, tolerance, "asking changes nothing")
}

// Information is what the outcomes make of it.
func TestInformationFollowsFromOutcomes(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	before := posteriors(t, in, stated("water_at_tap", "none"))
	ids := []string{"motor_current", "colour_of_hose", "hum"}
	bits, err := in.Information(ids, func(int) bool { return true })
	require.NoError(t, err)
	some, err := in.Information(ids, func(cause int) bool { return cause == 2 })
	require.NoError(t, err)
	require.Equal(t, [][]float64{{0, 0, 0}, {0, 0, 0}, bits[2], {0, 0, 0}}, some, "only the wanted causes are worked out")
	for i := range 3 {
		for j, id := range ids {
			outcomes, err := in.Outcomes(i, []string{id})
			require.NoError(t, err)
			want := 0.0
			for _, o := range outcomes {
				want += o.Probability * divergence(o.After, before[i])
			}
			require.InDelta(t, want, bits[i][j], 1e-8, "%s, %s", m.Causes[i].ID, id)
		}
	}
	require.Equal(t, []float64{0, 0, 0}, bits[3])
	require.Greater(t, bits[2][0], 0.1)

	setup := in.SetupInformation("dry_summer", before)
	require.Greater(t, setup[0], 0.01)
	requireEqual(t, []float64{0, 0, 0}, setup[1:], tolerance, "it raises the dry well only")
	require.Equal(t, make([]float64, 4), in.SetupInformation("code_table", before))
	require.Equal(t, make([]float64, 4), in.SetupInformation("hum", before))
}

// Equal facts give equal rates to the last bit, however maps are walked.
func TestRatesAreRepeatable(t *testing.T) {
	files := good(t)
	replace(t, files, "pump.yaml", "      hose_age: {young: rarer, old: commoner}\n",
		"      hose_age: {young: rarer, old: 3.3}\n      dry_summer: {\"yes\": 1.7}\n      code_table: {lamps: 1.1}\n")
	m, err := Load(files, nil)
	require.NoError(t, err)
	told := []Finding{measured("hose_age", 20), stated("dry_summer", "yes"), stated("code_table", "lamps")}
	want := m.rateIn(1, newSituation(told, memo{}))
	for range 200 {
		require.Equal(t, want, m.rateIn(1, newSituation(told, memo{})))
	}
}
