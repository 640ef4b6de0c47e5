package knowledge

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// tolerance is for posteriors of a network of a dozen variables: a few hundred roundings.
const tolerance = 1e-10

func stated(id, state string) Finding { return Finding{ID: id, State: state} }

func measured(id string, x float64) Finding { return Finding{ID: id, Number: x, IsNumber: true} }

// world is one way things can be in the garden pump: the oracle below writes its probability down by hand, from the
// files and the rules of the format, and shares nothing with the compiler but the fitted base rates.
type world struct{ dry, split, worn, full, weak, none, weakMains bool }

// is gives 1 for what holds and 0 for what does not.
func is(holds bool) float64 {
	if holds {
		return 1
	}
	return 0
}

// either is p where it holds and 1−p where not.
func either(holds bool, p float64) float64 {
	if holds {
		return p
	}
	return 1 - p
}

// upTo is P(flow is no worse than a state) of the noisy-MAX: the product of each active cause's and the leak's.
func (w world) upTo(dry, split, worn, leak float64) float64 {
	p := leak
	if w.dry {
		p *= dry
	}
	if w.split {
		p *= split
	}
	if w.worn {
		p *= worn
	}
	return p
}

// prior is the probability of a world with these base rates, before anybody complains.
func (w world) prior(dry, split, worn float64) float64 {
	full := w.upTo(1-0.35-0.5, 1-0.65, 1-0.5-0.12, 1-0.02)
	weakOrBetter := w.upTo(1-0.5, 1, 1-0.12, 1)
	p := either(w.dry, dry) * either(w.split, split) * either(w.weakMains, 0.1)
	itself := worn
	if w.dry {
		itself = 1 - (1-worn)*(1-0.12) // a dry well wears the motor
	}
	p *= either(w.worn, itself)
	return p * (is(w.full)*full + is(w.weak)*(weakOrBetter-full) + is(w.none)*(1-weakOrBetter))
}

// slip mixes a share of misreadings over n states into a probability.
func slip(p, slips float64, n int) float64 { return (1-slips)*p + slips/float64(n) }

// likelihood is P(what was said | world). In a noisy-MAX the slips go into the leak: what is not there may be seen,
// while what is there is overlooked as often as its strength leaves over.
func (w world) likelihood(f Finding) float64 {
	switch f.ID + "=" + f.State {
	case "water_at_tap=plenty":
		return slip(is(w.full)*0.97+is(w.weak)*0.15, 0.02, 3)
	case "water_at_tap=little":
		return slip(is(w.full)*0.03+is(w.weak)*0.85+is(w.none)*0.03, 0.02, 3)
	case "water_at_tap=none":
		return slip(is(w.none)*0.97, 0.02, 3)
	case "hum=even", "hum=rough":
		even := slip(0.95, 0.01, 2)
		if w.worn {
			even *= 0.35
		}
		if w.dry {
			even *= 0.65
		}
		return either(f.State == "even", even)
	case "fault_code=none", "fault_code=F1", "fault_code=F2", "fault_code=other":
		f1, f2 := 0.01, 0.0
		if w.none {
			f1, f2 = 0.65, 0.03
			if w.worn {
				f1, f2 = 0, 0.85
			}
		}
		p := map[string]float64{"none": slip(1-f1-f2, 0.01, 3), "F1": slip(f1, 0.01, 3), "F2": slip(f2, 0.01, 3)}
		p["other"] = p["F1"] + p["F2"] // "other" covers both
		return p[f.State]
	case "mains=weak", "mains=normal":
		return is(w.weakMains == (f.State == "weak"))
	}
	panic("the oracle knows nothing of " + f.ID)
}

// worlds lists all of them.
func worlds() []world {
	var out []world
	for i := range 1 << 4 {
		for flow := range 3 {
			out = append(out, world{i&1 > 0, i&2 > 0, i&4 > 0, flow == 0, flow == 1, flow == 2, i&8 > 0})
		}
	}
	return out
}

// oracle is each cause's posterior by enumeration, the computed one last.
func oracle(dry, split, worn, anyway float64, findings ...Finding) []float64 {
	sum, total := make([]float64, 4), 0.0
	for _, w := range worlds() {
		p := w.prior(dry, split, worn)
		if w.full {
			p *= anyway // nobody complains of a full flow but those who complain anyway
		}
		for _, f := range findings {
			p *= w.likelihood(f)
		}
		total += p
		for i, active := range []bool{w.dry, w.split, w.worn, w.full} {
			sum[i] += is(active) * p
		}
	}
	for i := range sum {
		sum[i] /= total
	}
	return sum
}

func TestOracleAddsUp(t *testing.T) {
	total := 0.0
	for _, w := range worlds() {
		total += w.prior(0.2, 0.1, 0.3)
		for _, id := range []string{"water_at_tap: plenty little none", "hum: even rough", "fault_code: none F1 F2"} {
			var name, a, b, c string
			n, _ := fmt.Sscanf(id, "%s %s %s %s", &name, &a, &b, &c)
			name = name[:len(name)-1]
			sum := w.likelihood(stated(name, a)) + w.likelihood(stated(name, b))
			if n == 4 {
				sum += w.likelihood(stated(name, c))
			}
			require.InDelta(t, 1, sum, tolerance, name)
		}
	}
	require.InDelta(t, 1, total, tolerance)
}

// posteriors enters the findings and gives each cause's posterior.
func posteriors(t require.TestingT, in *Inquiry, findings ...Finding) []float64 {
	in.Enter(findings)
	got, err := in.Causes(nil)
	require.NoError(t, err)
	return got
}

func requireEqual(t require.TestingT, want, got []float64, tolerance float64, what ...any) {
	require.Len(t, got, len(want))
	for i := range want {
		if math.Abs(want[i]-got[i]) > tolerance || math.IsNaN(got[i]) {
			require.Fail(t, fmt.Sprintf("want %v, got %v", want, got), what...)
		}
	}
}

// findingsOf draws some findings that the oracle knows.
func findingsOf(t *rapid.T) []Finding {
	var out []Finding
	for _, o := range [][]string{
		{"water_at_tap", "plenty", "little", "none"}, {"hum", "even", "rough"},
		{"fault_code", "none", "F1", "F2", "other"}, {"mains", "weak", "normal"},
	} {
		if s := rapid.SampledFrom(append(o[1:], "")).Draw(t, o[0]); s != "" {
			out = append(out, stated(o[0], s))
		}
	}
	return out
}

// The compiled model means what its files say: noisy-MAX, decision lists, slips, states that cover others, a cause that
// another brings about, and the computed cause.
func TestPosteriorsEqualTheOracle(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	rapid.Check(t, func(t *rapid.T) {
		findings := findingsOf(t)
		want := oracle(m.rate[0], m.rate[1], m.rate[2], m.anywayRate, findings...)
		requireEqual(t, want, posteriors(t, in, findings...), tolerance, findings)
	})
}

// The computed cause against the network itself: nothing was the matter where the flow was full.
func TestComputedCauseIsThatNothingHasCome(t *testing.T) {
	m := pump(t)
	in := m.NewInquiry()
	complained, ok := m.Network().Lookup("complained")
	require.True(t, ok)
	rapid.Check(t, func(t *rapid.T) {
		findings := findingsOf(t)
		total, full := 0.0, 0.0
		for flow := range m.variables["flow"].states {
			q := m.Tree().NewQuery()
			q.Observe(complained, 1)
			q.Observe(m.varOf("flow"), flow)
			for _, f := range findings {
				q.SetLikelihood(m.varOf(f.ID), m.likelihood(m.variables[f.ID], f.State))
			}
			log, err := q.LogEvidence()
			require.NoError(t, err)
			total += math.Exp(log)
			if flow == 0 {
				full = math.Exp(log)
			}
		}
		require.InDelta(t, full/total, posteriors(t, in, findings...)[3], tolerance)
	})
}

// Base rates are fitted: whatever figures a mechanic writes, as long as they can be, a complaint alone gives them back.
func TestComplaintAloneGivesTheFigures(t *testing.T) {
	m := pump(t)
	require.Less(t, m.FitError(), 1e-4)
	requireEqual(t, []float64{0.2, 0.15, 0.12, 0.59}, posteriors(t, m.NewInquiry()), 1e-4)

	rapid.Check(t, func(t *rapid.T) {
		// Figures that some base rates bring about: those of the oracle at rates drawn at random.
		rate := rapid.Float64Range(0.02, 0.3)
		want := oracle(rate.Draw(t, "dry"), rate.Draw(t, "split"), rate.Draw(t, "worn"),
			rapid.Float64Range(0.05, 0.6).Draw(t, "anyway"))
		files := good(t)
		for i, old := range []string{"200\n", "150\n", "120\n", "590\n"} {
			replace(t, files, causes, "per_1000: "+old, fmt.Sprintf("per_1000: %.6f\n", 1000*want[i]))
		}
		m, err := Load(files, nil)
		require.NoError(t, err)
		requireEqual(t, want, posteriors(t, m.NewInquiry()), 1e-4)
	})
}

// That nothing is the matter may be excluded by the findings, which stay answerable.
func TestComputedCauseMayBeImpossible(t *testing.T) {
	files := good(t)
	replace(t, files, seen, `{hose_split: {"yes": {"yes": seldom}}}, otherwise: 0.01`,
		`{flow: {weak: {"yes": seldom}, none: {"yes": half}}}, slips: 0`)
	m, err := Load(files, nil)
	require.NoError(t, err)
	got := posteriors(t, m.NewInquiry(), stated("puddle_at_plug", "yes"))
	require.Zero(t, got[3])
}
