package knowledge

import (
	"encoding/binary"
	"errors"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// humIf is the pump whose hum tells something under conditions only.
func humIf(t *testing.T, conditions string) *Model {
	t.Helper()
	files := good(t)
	replace(t, files, seen, "    gates: [needs_start]\n", "    gates: [needs_start]\n"+conditions)
	m, err := Load(files, nil)
	require.NoError(t, err)
	return m
}

// A finding is void once one of its conditions is told, and counts as ever while none is.
func TestVoidFindings(t *testing.T) {
	m := humIf(t, "    void_if: {water_at_tap: none, fault_code: [F1, F2]}\n")
	in := m.NewInquiry()
	rough, none := stated("hum", "rough"), stated("water_at_tap", "none")
	requireEqual(t, posteriors(t, in, none), posteriors(t, in, none, rough), tolerance)
	require.Equal(t, map[string]string{"hum": UnusedVoid}, in.Unused())
	require.True(t, in.IsTold("hum"))
	lamps := []Finding{stated("code_table", "lamps"), stated("fault_code", "red")}
	requireEqual(t, posteriors(t, in, lamps...), posteriors(t, in, append(lamps, rough)...), tolerance,
		"a code of a table is translated first")
	little := stated("water_at_tap", "little")
	requireEqual(t, oracle(m.rate[0], m.rate[1], m.rate[2], m.anywayRate, little, rough), posteriors(t, in, little, rough),
		tolerance)
	require.Empty(t, in.Unused())

	// Left out, the condition gives the finding its say back.
	in.Enter([]Finding{rough, none})
	without, err := in.LeaveOneOut(0, 1, 2, 3)
	require.NoError(t, err)
	requireEqual(t, posteriors(t, m.NewInquiry(), none), without[0].Causes, tolerance)
	requireEqual(t, posteriors(t, m.NewInquiry(), rough), without[1].Causes, tolerance)
}

// Where none of what would make it sure is told, a finding tells nothing as likely as not: half of what it says, and
// half spread over the states. By enumeration.
func TestUnsureFindings(t *testing.T) {
	m := humIf(t, "    sure_if: {mains: normal}\n")
	in := m.NewInquiry()
	sure := []Finding{stated("hum", "rough"), stated("mains", "normal")}
	requireEqual(t, oracle(m.rate[0], m.rate[1], m.rate[2], m.anywayRate, sure...), posteriors(t, in, sure...), tolerance)
	sum, total := make([]float64, 4), 0.0
	for _, w := range worlds() {
		p := w.prior(m.rate[0], m.rate[1], m.rate[2])
		if w.full {
			p *= m.anywayRate
		}
		rough := w.likelihood(stated("hum", "rough"))
		p *= 0.75*rough + 0.25*(1-rough) // half of (1, 0) and half of (½, ½)
		total += p
		for i, active := range []bool{w.dry, w.split, w.worn, w.full} {
			sum[i] += is(active) * p
		}
	}
	for i := range sum {
		sum[i] /= total
	}
	requireEqual(t, sum, posteriors(t, in, stated("hum", "rough")), tolerance)

	in.Enter(sure)
	without, err := in.LeaveOneOut(0, 1, 2, 3)
	require.NoError(t, err)
	requireEqual(t, sum, without[1].Causes, tolerance, "without what made it sure it is unsure")
}

// How probable an answer is, and how uncertain: by enumeration, and Shannon's −Σ p log₂ p.
func TestChanceAndEntropy(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	rapid.Check(t, func(t *rapid.T) {
		findings := slices.DeleteFunc(findingsOf(t), func(f Finding) bool { return f.ID == "fault_code" })
		in.Enter(findings)
		want, total := map[string]float64{}, 0.0
		for _, w := range worlds() {
			p := w.prior(m.rate[0], m.rate[1], m.rate[2])
			if w.full {
				p *= m.anywayRate
			}
			for _, f := range findings {
				p *= w.likelihood(f)
			}
			total += p
			for _, s := range []string{"none", "F1", "F2", "other"} {
				want[s] += p * w.likelihood(stated("fault_code", s))
			}
		}
		entropy := 0.0
		for s, p := range want {
			got, err := in.Probability("fault_code", s)
			require.NoError(t, err)
			require.InDelta(t, p/total, got, tolerance, s)
			if s != "other" {
				entropy -= p / total * math.Log2(p/total)
			}
		}
		got, err := in.Entropies([]string{"colour_of_hose", "fault_code"})
		require.NoError(t, err)
		requireEqual(t, []float64{0, entropy}, got, 1e-9)
	})
	p, err := in.Probability("colour_of_hose", "green")
	require.NoError(t, err)
	require.Zero(t, p, "the network does not hold it")
}

// A band holds from its lower edge on. Where the mains is weak its readings scale, and the bands with them.
func TestBands(t *testing.T) {
	m := pump(t)
	weak := []Finding{stated("mains", "weak")}
	for _, tt := range []struct {
		id     string
		number float64
		told   []Finding
		want   string
	}{
		{"motor_current", 2.99, nil, "band_a"}, {"motor_current", 3, nil, "band_b"}, {"motor_current", 4.99, nil, "band_b"},
		{"motor_current", 5, nil, "band_c"}, {"motor_current", 20, nil, "band_c"}, {"motor_current", 0, nil, "band_a"},
		{"volts_at_plug", 200, nil, "band_a"}, {"volts_at_plug", 200, weak, "band_b"}, {"volts_at_plug", 188, weak, "band_a"},
		{"hum", 3, nil, ""}, {"length_of_hose", 3, nil, ""}, {"no_such_thing", 3, nil, ""},
	} {
		assert.Equal(t, tt.want, m.Band(tt.id, tt.number, tt.told), "%s %v %v", tt.id, tt.number, tt.told)
	}
	assert.Equal(t, "< 189 V", m.BandText("volts_at_plug", "band_a", weak))
	assert.Equal(t, "> 210 V", m.BandText("volts_at_plug", "band_b", nil))
}

// A band means the same in the network and in its name: with weak mains 207 ± √(3.6² + 1²) V lie above 189 V, the
// name's scaled edge, nearly always.
func TestBandsOfTheNetworkScaleWithTheirNames(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	in.Enter([]Finding{stated("mains", "weak")})
	outcomes, err := in.Outcomes(0, []string{"volts_at_plug"})
	require.NoError(t, err)
	edge := m.scaledBands("volts_at_plug", []Finding{stated("mains", "weak")})[0]
	require.InDelta(t, 189, edge, 1e-9)
	want := 0.98*0.5*math.Erfc((207-edge)/math.Sqrt(2*(3.6*3.6+1))) + 0.01
	require.InDelta(t, want, outcomes[0].Probability, 1e-6, "below the edge")
}

// An effect may be a band of a sum: with a motor that is worn, 6 ± 1 A and an error of 0.5 A are above 5 A with
// Φ(0.894), and a two-thousandth lies anywhere (doubt).
func TestAnEffectThatIsABandOfASum(t *testing.T) {
	files := good(t)
	replace(t, files, "pump.yaml", "complaint: {", `  - id: load
    states: [usual, low, high]
    reads: {load_amps: 1}
    error: 0.5
    bands: {low: 3, usual: 5, high: above}
    basis: invented for the tests

complaint: {`)
	replace(t, files, seen, "  - {id: colour_of_hose, states: [green, black], ",
		"  - {id: colour_of_hose, states: [green, black], worst_of: {load: {high: {black: half}, low: {black: half}}}, "+
			"otherwise: 0.01, ")
	m, err := Load(files, nil)
	require.NoError(t, err)
	q := m.Tree().NewQuery()
	q.Observe(m.varOf("motor_worn"), 1)
	got, err := q.Marginal(m.varOf("load"))
	require.NoError(t, err)
	phi := func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
	sd := math.Sqrt(1 + 0.25)
	low, high := phi((3-6)/sd), 1-phi((5-6)/sd)
	const doubt = 0.002
	requireEqual(t, []float64{(1-doubt)*(1-low-high) + doubt/3, (1-doubt)*low + doubt/3, (1-doubt)*high + doubt/3}, got,
		1e-9)

	for name, bands := range map[string]string{"falling": "{low: 5, usual: 3, high: above}",
		"one too few": "{low: 3, usual: above}"} {
		text := string(files["pump.yaml"].Data)
		replace(t, files, "pump.yaml", "{low: 3, usual: 5, high: above}", bands)
		_, err := Load(files, nil)
		require.ErrorContains(t, err, "bands must give each state in rising order", name)
		files["pump.yaml"].Data = []byte(text)
	}
}

// A settled case counts each link as its posterior share. By hand: the motor is worn, the well is not dry and the hum
// is rough. The motor alone makes it rough with 0.65, otherwise it is rough with 0.05 and slips; both had a part in
// proportion.
func TestCountsOfASettledCase(t *testing.T) {
	m := pump(t)
	counts := m.NewCounts()
	in := m.NewInquiry()
	require.NoError(t, in.Count([]Finding{stated("hum", "rough")}, []Confirmed{{Cause: 2, Sure: 1}}, counts))
	even := slip(0.95, 0.01, 2)
	rough := 1 - 0.35*even
	got := m.RowCounts(counts)
	rows := m.Numbers().Rows
	require.Len(t, got, len(rows))
	for i, r := range rows {
		switch r.Name() {
		case "hum < motor_worn yes":
			requireEqual(t, []float64{1 - 0.65/rough, 0.65 / rough}, got[i], 1e-9, r.Name())
		case "hum < well_dry yes":
			requireEqual(t, []float64{0, 0}, got[i], 1e-9, "the well is not dry")
		case "hum":
			requireEqual(t, []float64{1 - (1-even)/rough, (1 - even) / rough}, got[i], 1e-9, "what happens otherwise")
		case "puddle_at_plug", "puddle_at_plug < hose_split yes":
			requireEqual(t, []float64{0, 0}, got[i], 1e-9, "nothing was said of it")
		}
	}
	// A second case adds; one that is half sure shares itself between worn and not.
	before := slices.Clone(got[slices.IndexFunc(rows, func(r Row) bool { return r.Name() == "hum < motor_worn yes" })])
	require.NoError(t, in.Count([]Finding{stated("hum", "even")}, []Confirmed{{Cause: 3, Sure: 1}}, counts))
	after := m.RowCounts(counts)[slices.IndexFunc(rows, func(r Row) bool { return r.Name() == "hum < motor_worn yes" })]
	requireEqual(t, before, after, 1e-9, "nothing was wrong, so the motor's link learns nothing")
}

func TestLeastOverlooked(t *testing.T) {
	m := pump(t)
	assert.InDelta(t, leastOverlooked, m.LeastOverlooked("hum"), 0)
	assert.Zero(t, m.LeastOverlooked("flow"), "nobody has to notice an effect")
}

func compacted(t *testing.T) (*Model, []byte) {
	t.Helper()
	m := pump(t)
	compact, err := Compact(os.DirFS("testdata/good"), nil, m)
	require.NoError(t, err)
	return m, compact
}

// Expanded, a compact model is the very model that it was made of.
func TestCompactRoundTrip(t *testing.T) {
	m, compact := compacted(t)
	again, err := Expand(compact, nil)
	require.NoError(t, err)
	assert.Equal(t, m.Version, again.Version)
	assert.Equal(t, m.Causes, again.Causes)
	assert.Equal(t, m.Observations, again.Observations)
	assert.Equal(t, m.Dangers, again.Dangers)
	assert.Equal(t, m.Text("en").Causes, again.Text("en").Causes)
	assert.Equal(t, m.rate, again.rate, "to the last bit")
	assert.InDelta(t, m.FitError(), again.FitError(), 0)
	was, is := m.NewInquiry(), again.NewInquiry()
	rapid.Check(t, func(t *rapid.T) {
		findings := weighed(t)
		require.Equal(t, posteriors(t, was, findings...), posteriors(t, is, findings...))
	})
}

// What was learnt goes along.
func TestCompactKeepsWhatWasLearnt(t *testing.T) {
	learned := []byte("learnt_from: 0123\nlearned:\n  - {cause: hose_split, per_1000: 170}\n")
	m, err := LoadWith(os.DirFS("testdata/good"), learned, nil)
	require.NoError(t, err)
	compact, err := Compact(os.DirFS("testdata/good"), learned, m)
	require.NoError(t, err)
	again, err := Expand(compact, nil)
	require.NoError(t, err)
	assert.Equal(t, "0123", again.LearntFrom)
	assert.Equal(t, posteriors(t, m.NewInquiry(), stated("hum", "rough")),
		posteriors(t, again.NewInquiry(), stated("hum", "rough")))
}

// Cut off anywhere, or with something behind its end, it is none.
func TestCompactMustBeWhole(t *testing.T) {
	_, compact := compacted(t)
	for n := 0; n < len(compact); n += 1 + n/40 {
		_, err := Expand(compact[:n], nil)
		require.ErrorIs(t, err, ErrCompact, "the first %d bytes", n)
	}
	_, err := Expand(append(slices.Clone(compact), 0), nil)
	require.ErrorIs(t, err, ErrCompact)
	_, err = Expand(append([]byte("lightoff model 9\n"), compact[len(compactMagic):]...), nil)
	require.ErrorIs(t, err, ErrCompact, "one of another program")
	huge := binary.AppendUvarint([]byte(compactMagic), math.MaxUint64)
	_, err = Expand(huge, nil)
	require.ErrorIs(t, err, ErrCompact, "a length that nothing holds")
}

// A byte changed anywhere gives an error or a model, and never a panic or endless work.
func TestCompactOfDamagedBytes(t *testing.T) {
	_, compact := compacted(t)
	rapid.Check(t, func(t *rapid.T) {
		damaged := slices.Clone(compact)
		at := rapid.IntRange(0, len(damaged)-1).Draw(t, "at")
		damaged[at] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
		_, err := Expand(damaged, nil)
		var problems *Error
		if err != nil && !errors.Is(err, ErrCompact) && !errors.As(err, &problems) {
			require.NoError(t, err)
		}
	})
}

// The order that the files name is the order in which the network is eliminated; it changes nothing that is answered.
func TestEliminationChangesNoAnswer(t *testing.T) {
	m := pump(t)
	require.Empty(t, m.Elimination(5), "in so small a network any order is as good")
	files := good(t)
	replace(t, files, "pump.yaml", "parts: [", "elimination: [flow, motor_worn, well_dry]\nparts: [")
	along, err := Load(files, nil)
	require.NoError(t, err)
	requireEqual(t, posteriors(t, m.NewInquiry(), stated("hum", "rough")),
		posteriors(t, along.NewInquiry(), stated("hum", "rough")), tolerance)
}
