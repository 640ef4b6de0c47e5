package judge_test

import (
	"encoding/xml"
	"errors"
	"io"
	"io/fs"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"lightoff/engine/heater"
	"lightoff/engine/judge"
	"lightoff/engine/knowledge"
	"lightoff/engine/simulation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var model = sync.OnceValues(heater.Model)

func loaded(t *testing.T) *knowledge.Model {
	t.Helper()
	m, err := model()
	require.NoError(t, err)
	return m
}

// The catalogue's ids are the contract between two things made apart: every cause can be put in, every observation and
// setup fact answered, and every answer is one that the model takes.
func TestSpeaksTheCatalogue(t *testing.T) {
	m := loaded(t)
	for _, id := range simulation.Faults() {
		_, ok := m.Cause(id)
		assert.True(t, ok, "the model has no cause %s", id)
	}
	for _, id := range simulation.Observations() {
		_, ok := m.Observation(id)
		assert.True(t, ok, "the model has no observation %s", id)
	}
	for _, id := range simulation.SetupFacts() {
		_, ok := m.SetupFact(id)
		assert.True(t, ok, "the model has no setup fact %s", id)
	}
	answered := map[string]int{}
	for i, fault := range simulation.Faults() {
		for s := range uint64(3) {
			h, err := simulation.New(uint64(i)*10+s, fault)
			require.NoError(t, err)
			h.Live()
			for _, id := range slices.Concat(simulation.Observations(), simulation.SetupFacts()) {
				a := h.Observe(id)
				if a.Unknown {
					a = h.Setup(id)
				}
				if a.Unknown {
					continue
				}
				answered[id]++
				field, problem := m.Check(knowledge.Finding{ID: id, State: a.State, Number: a.Number, IsNumber: a.IsNumber}, "")
				assert.Empty(t, problem, "%s with %s: %v %s", id, fault, a, field)
			}
		}
	}
	for _, id := range simulation.Observations() {
		assert.Positive(t, answered[id], "%s is never answered", id)
	}
}

// The simulation need not know a cause: it is never drawn, and the report says so.
func TestACauseThatIsNotSimulated(t *testing.T) {
	files := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(heater.Files(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(heater.Files(), name)
		files[name] = &fstest.MapFile{Data: text}
		return err
	}))
	add := func(name, at, text string) { // before the first place that says so
		old := string(files[name].Data)
		require.Contains(t, old, at)
		before, rest, _ := strings.Cut(old, at)
		files[name].Data = []byte(before + text + at + rest)
	}
	add("causes/fuel.yaml", "  - id: ",
		"  - {id: line_swapped, group: fuel, part: line, per_1000: 4, basis: \"common practice, no source\"}\n")
	add("effects.yaml", "      line_kinked:", "      line_swapped: {shut: 0.9}\n")
	add("repairs.yaml", "line_kinked]", "line_swapped, ")
	for _, locale := range []string{"en", "de"} {
		add("text/"+locale+"/causes.yaml", "",
			"line_swapped: {title: Lines swapped, sentence: The lines are swapped, explain: No fuel is drawn.}\n")
	}
	m, err := knowledge.Load(files, heater.Binding())
	require.NoError(t, err)
	report := judge.New(m, 3, judge.Effort{Rounds: 1, Pilots: 20, Lessons: 20}).Sum(nil)
	assert.Contains(t, report.Text(), "line_swapped")
	_, err = judge.Compare(m, 1, 1)
	require.NoError(t, err)
}

// Newcombe 1998, Statistics in Medicine 17, table I, the score method without continuity correction; from memory.
func TestWilson(t *testing.T) {
	for _, test := range []struct {
		share     judge.Share
		low, high float64
	}{{judge.Share{Hits: 81, Of: 263}, 0.2553, 0.3662}, {judge.Share{Hits: 15, Of: 148}, 0.0624, 0.1605},
		{judge.Share{Hits: 0, Of: 20}, 0, 0.1611}, {judge.Share{Hits: 1, Of: 29}, 0.0061, 0.1718}} {
		low, high := test.share.Interval()
		assert.InDelta(t, test.low, low, 5e-5, test.share)
		assert.InDelta(t, test.high, high, 5e-5, test.share)
	}
}

// Probabilities that come true as often as they say have no calibration error but chance; those that say 0.9 and come
// true half the time have one of 0.4, by its definition.
func TestReliability(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var honest, boastful []judge.Probability
	for range 20000 {
		p := r.Float64()
		honest = append(honest, judge.Probability{P: p, True: r.Float64() < p})
		boastful = append(boastful, judge.Probability{P: 0.9, True: r.Float64() < 0.5})
	}
	_, expected := judge.Reliability(honest)
	assert.Less(t, expected, 0.02)
	bins, expected := judge.Reliability(boastful)
	assert.InDelta(t, 0.4, expected, 0.02)
	assert.Equal(t, 20000, bins[9].Of)
}

func TestJudging(t *testing.T) {
	m := loaded(t)
	effort := judge.Effort{Rounds: 1, Pilots: 60, Lessons: 60}
	play := func(effort judge.Effort) ([]judge.Result, *judge.Report) {
		j := judge.New(m, 3, effort)
		results := make([]judge.Result, 10)
		for i := range results {
			results[i] = j.Try(i)
		}
		return results, j.Sum(results)
	}
	results, report := play(effort)
	effort.Each = func(n int, do func(i int)) { // the other way round
		for i := range n {
			do(n - 1 - i)
		}
	}
	again, second := play(effort)
	for i := range results { // the engine's probabilities are compared as far as it promises them, to 1e-12
		a, b := results[i], again[i]
		for k := range a.First {
			require.InDelta(t, a.First[k].P, b.First[k].P, 1e-12)
		}
		a.First, a.Last, a.Leading, b.First, b.Last, b.Leading = nil, nil, nil, nil, nil, nil
		require.True(t, reflect.DeepEqual(a, b), "the seed decides everything; case %d", i)
	}
	assert.Equal(t, report.Text(), second.Text())

	require.Equal(t, 10, report.Cases+report.Undrawn)
	for _, r := range results {
		if r.Undrawn {
			continue
		}
		assert.NotEmpty(t, r.Truth)
		assert.Len(t, r.Places, len(r.Asked)+1)
		assert.LessOrEqual(t, len(r.Asked), judge.MostChecks)
		for _, p := range r.Places {
			assert.Positive(t, p, "every true cause is one of the model's")
		}
		assert.Len(t, r.First, len(m.Causes))
	}
	parts := append(slices.Clone(judge.Advisers), "Calibration", "Dangers missed", "Repairs up to", "E-", "taken for")
	for _, part := range parts {
		assert.Contains(t, report.Text(), part)
	}
	assert.NoError(t, wellFormed(report.SVG()))
	assert.Contains(t, report.SVG(), "naive Bayes")
}

func wellFormed(s string) error {
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// Whoever names a danger or a cause here names one of the model's.
func TestNamesExist(t *testing.T) {
	m := loaded(t)
	for _, id := range judge.Named() {
		_, cause := m.Cause(id)
		danger := slices.ContainsFunc(m.Dangers, func(d knowledge.Danger) bool { return d.ID == id })
		_, observation := m.Observation(id)
		_, fact := m.SetupFact(id)
		assert.True(t, cause || danger || observation || fact, id)
	}
}

// What is compared are shares: they sum to one, weights fall, and the same seed gives the same list.
func TestCompare(t *testing.T) {
	m := loaded(t)
	list, err := judge.Compare(m, 1, 10)
	require.NoError(t, err)
	require.NotEmpty(t, list)
	for i, d := range list {
		seen, expected := 0.0, 0.0
		for _, e := range d.States {
			seen, expected = seen+e.Simulated, expected+e.Model
		}
		assert.InDelta(t, 1, seen, 1e-9, d)
		assert.InDelta(t, 1, expected, 1e-6, d)
		assert.GreaterOrEqual(t, d.Bits, -1e-9, d)
		assert.LessOrEqual(t, d.Of, d.Heaters, d)
		if i > 0 {
			assert.LessOrEqual(t, d.Weight, list[i-1].Weight)
		}
	}
	again, err := judge.Compare(m, 1, 10)
	require.NoError(t, err)
	assert.Equal(t, list, again)
}
