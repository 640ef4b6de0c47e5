package learning_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/bayes"
	"lightoff/engine/knowledge"
	"lightoff/engine/learning"
)

func pump(t testing.TB) *knowledge.Model {
	t.Helper()
	m, err := knowledge.Load(os.DirFS("../knowledge/testdata/good"), nil)
	require.NoError(t, err)
	return m
}

// drawn draws settled cases from a model: all its variables given a complaint, one after the other.
func drawn(t testing.TB, m *knowledge.Model, r *rand.Rand, n int, source string) (out []learning.Case) {
	t.Helper()
	net := m.Network()
	complained, _ := net.Lookup("complained")
	q := m.Tree().NewQuery()
	for i := range n {
		q.Reset()
		q.Observe(complained, 1)
		c := learning.Case{Date: fmt.Sprintf("2026-%02d-%02d", 1+i%12, 1+i/12%28), Source: source, By: learning.ByWorkshop,
			Sure: 1}
		for v := range bayes.VarID(net.NumVariables()) {
			p, err := q.Marginal(v)
			require.NoError(t, err)
			x, s := r.Float64(), 0
			for s < len(p)-1 && x >= p[s] {
				x -= p[s]
				s++
			}
			q.Observe(v, s)
			name, state := net.Variable(v).Name, net.Variable(v).States[s]
			if _, ok := m.Cause(name); ok && state == "yes" {
				c.Causes = append(c.Causes, name)
			}
			if o, ok := m.Observation(name); ok && slices.Contains(o.States, state) && r.IntN(4) > 0 {
				c.Told = append(c.Told, knowledge.Finding{ID: name, State: state})
			}
		}
		if len(c.Causes) == 0 {
			c.Causes = []string{"all_well"}
		}
		out = append(out, c)
	}
	return out
}

func row(m *knowledge.Model, key string) []float64 {
	for _, r := range m.Numbers().Rows {
		if r.Name() == key {
			return r.P
		}
	}
	return nil
}

// changed is the model with one row replaced.
func changed(t testing.TB, m *knowledge.Model, key string, p ...float64) *knowledge.Model {
	t.Helper()
	n := m.Numbers()
	for i := range n.Rows {
		if n.Rows[i].Name() == key {
			n.Rows[i].P = p
		}
	}
	other, err := m.WithNumbers(n)
	require.NoError(t, err)
	return other
}

// many spreads cases over so many sources that none is scaled down much.
func many(t testing.TB, m *knowledge.Model, r *rand.Rand, sources, each int) (out []learning.Case) {
	for s := range sources {
		out = append(out, drawn(t, m, r, each, fmt.Sprintf("workshop %02d", s))...)
	}
	return out
}

// Calibration on cases drawn from the model itself is perfect within its interval; a model with wrong links is caught.
func TestCalibrationOfTheModelItself(t *testing.T) {
	m := pump(t)
	cases := drawn(t, m, rand.New(rand.NewPCG(3, 3)), 3000, "a")
	good, _, err := learning.Evaluate(m, cases, learning.Options{})
	require.NoError(t, err)
	assert.Less(t, math.Abs(good.Z), 3.0)
	miscalibrated := func(s learning.Scores) (off int) {
		for _, b := range s.Bins {
			if !b.Calibrated() {
				off++
			}
		}
		return off
	}
	off := miscalibrated(good)
	assert.LessOrEqual(t, off, 2, "of %d bins, one in twenty may lie outside a 95 %% interval: %+v", len(good.Bins),
		good.Bins)
	numbers := m.Numbers()
	numbers.Rates["hose_split"], numbers.Rates["all_well"] = 400, 380
	wrong, err := m.WithNumbers(numbers)
	require.NoError(t, err)
	bad, _, err := learning.Evaluate(wrong, cases, learning.Options{})
	require.NoError(t, err)
	assert.Greater(t, bad.LogScore, good.LogScore)
	assert.Greater(t, bad.Brier, good.Brier)
	assert.GreaterOrEqual(t, miscalibrated(bad), 6)
	t.Logf("the model itself: log score %.4f, Brier %.4f, z %.2f, %d of %d bins off; a wrong one: %.4f, %.4f, %.2f, %d "+
		"of %d",
		good.LogScore, good.Brier, good.Z, off, len(good.Bins), bad.LogScore, bad.Brier, bad.Z, miscalibrated(bad),
		len(bad.Bins))
}

// A model that starts with a wrong number comes nearer to the truth from which its cases are drawn, and forecasts
// better.
func TestLearningFindsTheTruth(t *testing.T) {
	truth := pump(t)
	wrong := changed(t, truth, "hum < motor_worn yes", 0.85, 0.15)
	cases := many(t, truth, rand.New(rand.NewPCG(5, 5)), 25, 60)
	r, err := learning.Learn(wrong, cases, learning.Options{EquivalentSampleSize: 20, Limit: 0.8})
	require.NoError(t, err)
	was, is, want := row(wrong, "hum < motor_worn yes")[1], row(r.Model, "hum < motor_worn yes")[1],
		row(truth, "hum < motor_worn yes")[1]
	assert.Less(t, math.Abs(is-want), math.Abs(was-want)/3, "%.3f, then %.3f, of %.3f", was, is, want)
	assert.Less(t, r.After.LogScore, r.Before.LogScore)
	assert.Equal(t, "hum < motor_worn yes", r.Moved[0].Key)
	assert.Equal(t, wrong.Dangers, r.Model.Dangers)
	assert.Equal(t, wrong.Limits, r.Model.Limits)
	report := r.Report("a", "b")
	assert.Contains(t, report, "hum < motor_worn yes")
	assert.Contains(t, report, "Dangers, limits and gates are never learnt")
}

// EM never lowers the likelihood of what it is made of (Dempster, Laird & Rubin 1977). With a weak prior and no source
// scaled down the rounds show it.
func TestRoundsRaiseTheLikelihood(t *testing.T) {
	truth := pump(t)
	wrong := changed(t, truth, "hum < motor_worn yes", 0.9, 0.1)
	r, err := learning.Learn(wrong, many(t, truth, rand.New(rand.NewPCG(6, 6)), 100, 10),
		learning.Options{EquivalentSampleSize: 5, Rounds: 6, Limit: 0.99})
	require.NoError(t, err)
	require.Len(t, r.LogLikelihood, 6)
	for k := 1; k < 6; k++ {
		assert.Greater(t, r.LogLikelihood[k], r.LogLikelihood[k-1]-1e-4)
	}
	assert.Greater(t, r.LogLikelihood[5], r.LogLikelihood[0])
}

// One round with nothing hidden is counting: the hum of motors known to be worn, or known to run well, where a dry well
// (which rattles too) is known to be absent as well. The formula is that of the Dirichlet mean.
func TestNothingHiddenIsCounting(t *testing.T) {
	m := pump(t)
	var cases []learning.Case
	for i := range 50 {
		state := "even"
		if i%5 > 0 {
			state = "rough"
		}
		cases = append(cases, learning.Case{Date: fmt.Sprintf("2026-01-%02d", 1+i%28), Source: fmt.Sprint("s", i),
			By: learning.ByDesk, Sure: 1, Causes: []string{"all_well"},
			Told: []knowledge.Finding{{ID: "hum", State: state}}})
	}
	r, err := learning.Learn(m, cases, learning.Options{Rounds: 1, EquivalentSampleSize: 30, Limit: 0.9})
	require.NoError(t, err)
	rough := 0.0
	for _, c := range cases {
		if c.Date < r.HeldFrom && c.Told[0].State == "rough" {
			rough++
		}
	}
	want := (30*row(m, "hum")[1] + rough) / (30 + float64(r.Cases))
	assert.InDelta(t, want, row(r.Model, "hum")[1], 2e-3, "a word is never taken for more than 0.999")
}

func TestGuessesTeachNothing(t *testing.T) {
	m := pump(t)
	cases := many(t, m, rand.New(rand.NewPCG(8, 8)), 5, 20)
	plain, err := learning.Learn(m, cases, learning.Options{})
	require.NoError(t, err)
	for _, by := range []string{learning.ByGuess, learning.ByOwner} {
		guess := learning.Case{Date: "2026-01-01", Source: "workshop 00", By: by, Sure: 0.5, Causes: []string{"hose_split"},
			Told: []knowledge.Finding{{ID: "hum", State: "rough"}}}
		more, err := learning.Learn(m, append(slices.Clone(cases), guess, guess), learning.Options{})
		require.NoError(t, err)
		assert.Equal(t, 2, more.Guesses)
		assert.Equal(t, string(plain.Overlay), string(more.Overlay))
	}
	_, err = learning.Learn(m, nil, learning.Options{})
	assert.ErrorIs(t, err, learning.ErrTooFew)
}

// However many cases a source makes up, and however wrong, no number moves by more than the limit.
func TestOnePoisonedSourceIsBounded(t *testing.T) {
	m := pump(t)
	honest := many(t, m, rand.New(rand.NewPCG(9, 9)), 8, 40)
	for _, limit := range []float64{0.05, 0.2} {
		o := learning.Options{Limit: limit, EquivalentSampleSize: 20, Rounds: 4}
		clean, err := learning.Learn(m, honest, o)
		require.NoError(t, err)
		worst, rate := 0.0, 0.0
		for _, poison := range []learning.Case{
			{Causes: []string{"motor_worn"}, Told: []knowledge.Finding{{ID: "hum", State: "even"},
				{ID: "water_at_tap", State: "plenty"}}},
			{Causes: []string{"all_well"}, Told: []knowledge.Finding{{ID: "hum", State: "rough"},
				{ID: "puddle_at_plug", State: "yes"}, {ID: "water_at_tap", State: "none"}}},
			{Causes: []string{"hose_split", "well_dry"}, Told: []knowledge.Finding{{ID: "water_at_tap", State: "plenty"},
				{ID: "hum", State: "rough"}}},
		} {
			cases := slices.Clone(honest)
			for i := range 3000 {
				poison.Date, poison.Source, poison.By, poison.Sure = fmt.Sprintf("20%02d-01-01", i%90), "poisoner",
					learning.ByWorkshop, 1
				cases = append(cases, poison)
			}
			r, err := learning.Learn(m, cases, o)
			require.NoError(t, err)
			for i, a := range clean.Model.Numbers().Rows {
				b := r.Model.Numbers().Rows[i]
				for k := range a.P {
					worst = max(worst, math.Abs(a.P[k]-b.P[k]))
				}
			}
			for id, a := range clean.Model.Numbers().Rates {
				rate = max(rate, math.Abs(a-r.Model.Numbers().Rates[id]))
			}
		}
		assert.LessOrEqual(t, worst, limit)
		assert.LessOrEqual(t, rate, 100*limit)
		t.Logf("limit %.2f: the worst of 3 poisons moved a probability by %.3f and a figure by %.1f per 1,000", limit, worst,
			rate)
	}
}

// Neither the order of the cases nor how the work is shared out shows in the result.
func TestTheResultIsTheSameHoweverTheWorkIsShared(t *testing.T) {
	m := pump(t)
	cases := many(t, m, rand.New(rand.NewPCG(10, 10)), 6, 300)
	one, err := learning.Learn(m, cases, learning.Options{})
	require.NoError(t, err)
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(cases), func(i, j int) { cases[i], cases[j] = cases[j], cases[i] })
	two, err := learning.Learn(m, cases, learning.Options{Each: func(n int, do func(int)) {
		done := make(chan bool)
		for i := range n {
			go func() { do(n - 1 - i); done <- true }()
		}
		for range n {
			<-done
		}
	}})
	require.NoError(t, err)
	assert.Equal(t, string(one.Overlay), string(two.Overlay))
	assert.Equal(t, one.Report("a", "b"), two.Report("a", "b"))
}

// A cause that a limit watches for danger is never made rarer.
func TestWatchedCausesAreNotMadeRarer(t *testing.T) {
	m := pump(t)
	require.Equal(t, "motor_worn", m.Limits[0].Cause)
	var cases []learning.Case
	for i := range 400 {
		cases = append(cases, learning.Case{Date: fmt.Sprintf("2026-01-%02d", 1+i%28), Source: fmt.Sprint("s", i%40),
			By: learning.ByDesk, Sure: 1, Causes: []string{"hose_split"},
			Told: []knowledge.Finding{{ID: "water_at_tap", State: "little"}}})
	}
	r, err := learning.Learn(m, cases, learning.Options{})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, r.Model.Numbers().Rates["motor_worn"], m.Numbers().Rates["motor_worn"])
	assert.Greater(t, r.Model.Numbers().Rates["hose_split"], m.Numbers().Rates["hose_split"])
	assert.Less(t, r.Model.Numbers().Rates["well_dry"], m.Numbers().Rates["well_dry"])
}

func TestReadCSV(t *testing.T) {
	m := pump(t)
	head := "date,source,told,causes,by,sure\n"
	cases, err := learning.ReadCSV(m, strings.NewReader(head+
		"2026-03-01,Quayside Pumps,hum=rough; motor_current = 6.5 ;hose_age=old,motor_worn,workshop,\n2026-03-02,Quayside "+
		"Pumps,fault_code=F1,well_dry;hose_split,owner,0.8\n2026-03-03,Quayside Pumps,,well_dry,desk,guessed\n"))
	require.NoError(t, err)
	require.Len(t, cases, 3)
	assert.False(t, cases[2].Teaches())
	assert.Equal(t, []knowledge.Finding{{ID: "hose_age", State: "old"}, {ID: "hum", State: "rough"},
		{ID: "motor_current", Number: 6.5, IsNumber: true}}, cases[0].Told)
	assert.Equal(t, 0.95, cases[0].Sure)
	assert.Equal(t, []string{"well_dry", "hose_split"}, cases[1].Causes)
	for text, want := range map[string]string{
		"date,source\n": `column "told" is missing`,
		"":              "first line",
		head + "1 March,Q,hum=rough,motor_worn,workshop,\n":             "line 2: date",
		head + "2026-03-01,,hum=rough,motor_worn,workshop,\n":           "line 2: source is empty",
		head + "2026-03-01,Q,hum=odd,motor_worn,workshop,\n":            "line 2: told: hum has no state",
		head + "2026-03-01,Q,hum,motor_worn,workshop,\n":                "id=value",
		head + "2026-03-01,Q,hum=even;hum=rough,motor_worn,workshop,\n": "told twice",
		head + "2026-03-01,Q,hum=rough,gremlins,workshop,\n":            "is no cause",
		head + "2026-03-01,Q,hum=rough,motor_worn,hearsay,\n":           "by is",
		head + "2026-03-01,Q,hum=rough,motor_worn,desk,2\n":             "sure is",
		head + "2026-03-01,Q,hum=rough\n":                               "wrong number of fields",
	} {
		_, err := learning.ReadCSV(m, strings.NewReader(text))
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), want)
	}
}

func TestBadOptions(t *testing.T) {
	m := pump(t)
	for _, o := range []learning.Options{{Limit: 1}, {EquivalentSampleSize: -1}, {HeldBack: 1}, {Rounds: -1},
		{MostJudged: -1}, {RateSampleSize: math.NaN()}} {
		_, err := learning.Learn(m, nil, o)
		assert.Error(t, err)
		assert.NotErrorIs(t, err, learning.ErrTooFew)
	}
}
