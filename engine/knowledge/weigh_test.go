package knowledge

import (
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// weighed draws states, readings that share a quantity and facts of the installation.
func weighed(t *rapid.T) []Finding {
	out := findingsOf(t)
	for id, at := range map[string][2]float64{"volts_at_plug": {190, 250}, "volts_at_pump": {180, 240},
		"motor_current": {0, 20}, "hose_age": {0, 30}} {
		if rapid.Bool().Draw(t, id+" told") {
			out = append(out, measured(id, rapid.Float64Range(at[0], at[1]).Draw(t, id)))
		}
	}
	if rapid.Bool().Draw(t, "dry_summer told") {
		out = append(out, stated("dry_summer", "yes"))
	}
	slices.SortFunc(out, func(a, b Finding) int { return compareIDs(a, b) })
	return out
}

func compareIDs(a, b Finding) int {
	if a.ID < b.ID {
		return -1
	}
	if a.ID > b.ID {
		return 1
	}
	return 0
}

// logGiven is ln P(findings) by entering them anew.
func logGiven(t require.TestingT, m *Model, findings []Finding) float64 {
	in := m.NewInquiry()
	in.Enter(findings)
	log, err := in.LogEvidence()
	require.NoError(t, err)
	return log
}

// What all findings but one say, what each says by itself and what two say together are what entering just those gives.
func TestWeighingEqualsEnteringAnew(t *testing.T) {
	m := pump(t)
	in, fresh := m.NewInquiry(), m.NewInquiry()
	const least = 0.2 // bits
	rapid.Check(t, func(t *rapid.T) {
		findings := weighed(t)
		in.Enter(findings)
		without, err := in.LeaveOneOut(0, 1, 2, 3)
		require.NoError(t, err)
		require.Len(t, without, len(findings))
		var setup []Finding
		for i, f := range findings {
			if _, ok := m.SetupFact(f.ID); ok {
				setup = append(setup, f)
			}
			rest := slices.Delete(slices.Clone(findings), i, i+1)
			require.Equal(t, f, without[i].Finding)
			requireEqual(t, posteriors(t, fresh, rest...), without[i].Causes, 1e-10, f.ID)
			require.InDelta(t, logGiven(t, m, rest), without[i].LogEvidence, 1e-9, f.ID)
		}
		near, err := in.Survey(Ask{Weigh: []int{0, 1, 2, 3}, LeastBits: least})
		require.NoError(t, err)
		now, err := in.Causes(nil)
		require.NoError(t, err)
		for i, b := range near.Without {
			for c, p := range without[i].Causes {
				exact, bits := logit(now[c])-logit(p), logit(now[c])-logit(b.Causes[c])
				if math.Abs(exact) >= least*math.Ln2 {
					require.InDelta(t, exact, bits, 1e-8, "%s, %s", b.Finding.ID, m.Causes[c].ID)
				} else {
					require.Less(t, math.Abs(bits), least*math.Ln2, "%s, %s", b.Finding.ID, m.Causes[c].ID)
				}
			}
		}
		requireEqual(t, posteriors(t, fresh, setup...), first(in.Priors())(t), tolerance)
		each, together, err := in.MarginalLogEvidence()
		require.NoError(t, err)
		none := logGiven(t, m, setup)
		require.InDelta(t, logGiven(t, m, findings)-none, together, 1e-9)
		for i, f := range findings {
			beside, err := in.PairwiseLogEvidence(i)
			require.NoError(t, err)
			if _, ok := m.SetupFact(f.ID); ok {
				require.True(t, math.IsNaN(each[i]))
				continue
			}
			require.InDelta(t, logGiven(t, m, append(slices.Clone(setup), f))-none, each[i], 1e-9, f.ID)
			for k, g := range findings {
				if _, ok := m.SetupFact(g.ID); ok || k == i {
					require.True(t, math.IsNaN(beside[k]))
					continue
				}
				require.InDelta(t, logGiven(t, m, append(slices.Clone(setup), f, g))-none, beside[k], 1e-9, "%s, %s", f.ID, g.ID)
			}
		}
	})
}

func first(p []float64, err error) func(t require.TestingT) []float64 {
	return func(t require.TestingT) []float64 {
		require.NoError(t, err)
		return p
	}
}

// Many who ask at once, of few installations, get what each would get alone; what is kept between them never shows.
func TestInstallationsAreShared(t *testing.T) {
	m := pump(t)
	var told [][]Finding
	for _, age := range []float64{1, 4, 9, 15, 22} {
		for _, hum := range []string{"even", "rough"} {
			told = append(told, []Finding{stated("dry_summer", "yes"), measured("hose_age", age), stated("hum", hum),
				measured("volts_at_plug", 205)})
		}
	}
	ask := func(in *Inquiry, findings []Finding) []float64 {
		in.Enter(findings)
		p, err := in.Causes(nil)
		assert.NoError(t, err)
		base, err := in.Priors()
		assert.NoError(t, err)
		shares, after := in.SetupOutcomes("mains", p)
		out := append(slices.Concat(p, base, shares), in.SetupInformation("dry_summer", p)...)
		in.Enter(findings[:2])
		s, err := in.Survey(Ask{IDs: []string{"hum", "motor_current"}, Wanted: func(int) bool { return true },
			Given: []int{0, 3}, Weigh: []int{1, 2}})
		assert.NoError(t, err)
		for _, b := range s.Without {
			out = append(out, b.Causes...)
		}
		out = slices.Concat(out, slices.Concat(s.Bits...), s.GivenCause(0).Causes, s.GivenCause(3).Outcomes[0])
		for _, a := range after {
			out = append(out, a...)
		}
		return out
	}
	var want [][]float64
	for _, findings := range told {
		want = append(want, ask(pump(t).NewInquiry(), findings))
	}
	m.installations = newRecent(3*m.installationBytes(nil), m.installationBytes) // so few that some are always dropped
	m.grounds = newRecent(2, func(*ground) int64 { return 1 })
	var wait sync.WaitGroup
	for g := range 4 {
		wait.Go(func() {
			in := m.NewInquiry()
			for k := range 60 {
				i := (k*7 + g*3) % len(told)
				assert.Equal(t, want[i], ask(in, told[i]))
			}
		})
	}
	wait.Wait()
	require.LessOrEqual(t, len(m.installations.values), 3)
	require.LessOrEqual(t, len(m.grounds.values), 2)
}

func TestRecentKeepsWhatWasUsedLast(t *testing.T) {
	r := newRecent(20, func(int) int64 { return 10 })
	made := 0
	get := func(key string) int { return r.get(key, func() int { made++; return made }) }
	require.Equal(t, 1, get("a"))
	require.Equal(t, 2, get("b"))
	require.Equal(t, 1, get("a"))
	require.Equal(t, 3, get("c"), "b was not used for longest, and goes")
	require.Equal(t, 1, get("a"))
	require.Equal(t, 4, get("b"))
	require.EqualValues(t, 20, r.held)
}
