package learning_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"lightoff/engine/cases"
	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
	"lightoff/engine/learning"

	"github.com/stretchr/testify/require"
)

// told draws settled cases from callers' stories: most of what is told unasked, some of what there is to find.
func told(tb testing.TB, m *knowledge.Model, n int) (out []learning.Case) {
	suite, err := cases.Read(heater.Cases())
	require.NoError(tb, err)
	stories := slices.DeleteFunc(suite.Cases, func(c cases.Case) bool { return c.Kept })
	r := rand.New(rand.NewPCG(1, 100))
	for i := range n {
		story := stories[r.IntN(len(stories))]
		c := learning.Case{Date: fmt.Sprintf("2026-%02d-%02d", 1+i%12, 1+i/12%28), Source: fmt.Sprint("workshop ", i%40),
			By: learning.ByWorkshop, Sure: 0.95, Causes: story.Causes}
		for _, from := range []struct {
			facts map[string]any
			share float64
		}{{story.Told, 0.8}, {story.Finds, 0.3}} {
			for _, id := range slices.Sorted(maps.Keys(from.facts)) {
				if r.Float64() < from.share {
					c.Told = append(c.Told, finding(id, from.facts[id]))
				}
			}
		}
		c.Told = slices.DeleteFunc(c.Told, func(f knowledge.Finding) bool { _, wrong := m.Check(f, ""); return wrong != "" })
		out = append(out, c)
	}
	return out
}

func finding(id string, value any) knowledge.Finding {
	switch x := value.(type) {
	case float64:
		return knowledge.Finding{ID: id, Number: x, IsNumber: true}
	case uint64:
		return knowledge.Finding{ID: id, Number: float64(x), IsNumber: true}
	case int64:
		return knowledge.Finding{ID: id, Number: float64(x), IsNumber: true}
	}
	return knowledge.Finding{ID: id, State: fmt.Sprint(value)}
}

// BenchmarkLearn learns from 5,000 cases in one round, on one processor.
func BenchmarkLearn(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	all := told(b, m, 5000)
	for b.Loop() {
		_, err := learning.Learn(m, all, learning.Options{Rounds: 1, MostJudged: 100})
		require.NoError(b, err)
	}
	b.ReportMetric(b.Elapsed().Seconds()*1000/float64(b.N*len(all)), "ms/case")
}
