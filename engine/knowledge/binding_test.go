package knowledge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// aged is the garden pump whose hose splits the more the older it is, by a computation instead of by bands.
func aged(t *testing.T, binding Binding) (*Model, error) {
	t.Helper()
	files := good(t)
	replace(t, files, "pump.yaml", "    raised_by:\n      hose_age: {young: rarer, old: commoner}\n",
		"    rate_from: ageing\n")
	replace(t, files, seen, "bands: [{id: young, below: 3, share: 0.5}, {id: middling, below: 10, share: 0.3}, {id: "+
		"old, share: 0.2}]",
		"bands: [{id: young, below: 3, share: 0.5, typical: [1, 2]}, {id: middling, below: 10, share: 0.3, typical: [6]}, "+
			"{id: old, share: 0.2, typical: [15]}]")
	return Load(files, binding)
}

func ageing(f Facts) float64 { return f.Number["hose_age"] * f.Number["hose_age"] }

// A computed rate is what the function says of the facts told, over its mean where nobody told any: by hand, the mean
// of age squared is 0.25·1 + 0.25·4 + 0.3·36 + 0.2·225 = 57.05.
func TestComputedRates(t *testing.T) {
	m, err := aged(t, Binding{"ageing": {Facts: []string{"hose_age"}, Rate: ageing}})
	require.NoError(t, err)
	in := m.NewInquiry()
	odds := func(findings ...Finding) float64 {
		in.Enter(findings)
		p, err := in.Cause(1)
		require.NoError(t, err)
		return p
	}
	require.InDelta(t, 0.150, odds(), 1e-6, "silence changes nothing")
	for _, tt := range []struct {
		f    Finding
		mean float64
	}{{measured("hose_age", 4), 16}, {stated("hose_age", "young"), 2.5}, {stated("hose_age", "middling"), 36}} {
		odds(tt.f)
		require.InEpsilon(t, m.rate[1]*tt.mean/57.05, in.at.rate[1], 1e-12)
	}
	require.Empty(t, in.Unused(), "a fact that a rate is computed from bears on something")
	bits := in.SetupInformation("hose_age", []float64{0.2, 0.15, 0.12, 0.59})
	require.Positive(t, bits[1])
	require.Zero(t, bits[0])
}

// A computed level is the mixture over the facts that nobody told: its mean, and its spread within and between.
func TestComputedLevels(t *testing.T) {
	files := good(t)
	replace(t, files, seen, `    levels:
      - {when: {motor_worn: "yes"}, mean: 6, spread: 1}
      - {when: {flow: [weak, none]}, mean: 2.5, spread: 0.5}
      - {mean: 4, spread: 0.4}
`, "    from: drag\n    given: [motor_worn]\n")
	m, err := Load(files, Binding{"drag": {Facts: []string{"dry_summer"},
		Level: func(at map[string]string, f Facts) (float64, float64) {
			if at["motor_worn"] == "yes" {
				return 9, 1
			}
			if f.State["dry_summer"] == "yes" {
				return 6, 0.5
			}
			return 4, 0.5
		}}})
	require.NoError(t, err)
	q := m.files.quantityByID("load_amps")
	mean, spread := m.level(q, map[string]string{"motor_worn": "no"}, newSituation(nil, memo{}))
	require.InDelta(t, 0.25*6+0.75*4, mean, 1e-12)
	require.InDelta(t, math.Sqrt(0.25+0.25*0.75*4), spread, 1e-12)
	mean, spread = m.level(q, map[string]string{"motor_worn": "no"},
		newSituation([]Finding{stated("dry_summer", "yes")}, memo{}))
	require.InDelta(t, 6, mean, 1e-12)
	require.InDelta(t, 0.5, spread, 1e-12)
	// The reading's bands follow what was told, and go back when it is withdrawn.
	in := m.NewInquiry()
	outcomes := func(findings ...Finding) []Outcome {
		in.Enter(findings)
		out, err := in.Outcomes(2, []string{"motor_current"})
		require.NoError(t, err)
		return out
	}
	silent := outcomes()
	require.NotEqual(t, silent, outcomes(stated("dry_summer", "yes")))
	require.Equal(t, silent, outcomes())
}

func TestBadBindingsAreNamed(t *testing.T) {
	for name, tt := range map[string]struct {
		binding Binding
		want    string
	}{
		"none":    {nil, "ageing is no computation"},
		"no rate": {Binding{"ageing": {Facts: []string{"hose_age"}}}, "ageing computes no rate"},
		"unknown fact": {Binding{"ageing": {Facts: []string{"hose_colour"}, Rate: ageing}},
			"ageing looks at hose_colour, which is no setup fact"},
		"no values": {Binding{"ageing": {Facts: []string{"hose_age", "length"}, Rate: ageing}},
			"ageing looks at length, which is no setup fact"},
		"zero": {Binding{"ageing": {Facts: []string{"hose_age"}, Rate: func(Facts) float64 { return 0 }}},
			"ageing gives no rate"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := aged(t, tt.binding)
			require.ErrorContains(t, err, tt.want)
		})
	}
}

// Lint names a check that tells nothing and a cause that nothing confirms.
func TestLintNamesWhatToLookAtAgain(t *testing.T) {
	problems, err := pump(t).Lint()
	require.NoError(t, err)
	var all string
	for _, p := range problems {
		all += p.Message + "\n"
		require.NotEmpty(t, p.File)
	}
	require.Contains(t, all, "no caution for it: write what to mind under cautions")
}
