package troubleshoot_test

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"lightoff/engine/troubleshoot"
)

// never is an ending too dear to be chosen.
var never = []troubleshoot.Ending{{Cost: 1e6, Mends: troubleshoot.Everything}}

func cost(p troubleshoot.Problem) float64 {
	pl := troubleshoot.NewPlanner(&p)
	return pl.ExpectedCost(pl.Start())
}

// Jensen, Kjærulff, Kristiansen, Langseth, Skaanning, Vomlel & Vomlelová 2001, The SACSO methodology for
// troubleshooting complex systems (AI EDAM 15), and Jensen & Nielsen 2007: dependent actions, for which the order of
// p/C is not optimal. From memory; which causes each action repairs is reconstructed, and reproduces both figures.
func TestDependentActions(t *testing.T) {
	p := troubleshoot.Problem{Endings: never,
		Scenarios: []troubleshoot.Scenario{{P: 0.20, Causes: 1}, {P: 0.25, Causes: 2}, {P: 0.40, Causes: 4},
			{P: 0.15, Causes: 8}},
		Repairs: []troubleshoot.Repair{{Cost: 1, Mends: 1 | 2}, {Cost: 1, Mends: 2 | 4}, {Cost: 1, Mends: 4 | 8}}}
	pl := troubleshoot.NewPlanner(&p)
	steps := pl.Sequence(pl.Start())
	assert.InDelta(t, 1.45, pl.ExpectedCost(pl.Start()), 0.005)
	assert.Equal(t, []int{2}, steps[0].Repairs)
	assert.InDelta(t, 0.55, steps[0].Mended, 1e-12)
	assert.Equal(t, []int{0}, steps[1].Repairs)
	assert.InDelta(t, 1, steps[1].Mended, 1e-12)
	// The order of p/C: A2, A1, A3.
	p.Repairs[0].Behind, p.Repairs[2].Behind = 2, 1
	assert.InDelta(t, 1.50, cost(p), 0.005)
}

// Kadane & Simon 1977, Optimal strategies for a class of constrained sequential problems (Annals of Statistics 5);
// Heckerman, Breese & Rommelse 1995, Decision-theoretic troubleshooting (CACM 38): with one fault and independent
// repairs, the order of p/C is optimal and costs Σ (1 − Σ earlier p) C.
func TestOneFaultAndIndependentRepairs(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 50 {
		p := troubleshoot.Problem{Endings: never}
		var order []int
		for i := range 7 {
			p.Scenarios = append(p.Scenarios, troubleshoot.Scenario{P: r.ExpFloat64(), Causes: 1 << i})
			p.Repairs = append(p.Repairs, troubleshoot.Repair{Cost: 1 + 99*r.Float64(), Mends: 1 << i})
			order = append(order, i)
		}
		slices.SortFunc(order, func(a, b int) int {
			return cmp.Compare(p.Scenarios[b].P/p.Repairs[b].Cost, p.Scenarios[a].P/p.Repairs[a].Cost)
		})
		total, want := 0.0, 0.0
		for _, s := range p.Scenarios {
			total += s.P
		}
		left := 1.0
		for _, i := range order {
			want += left * p.Repairs[i].Cost
			left -= p.Scenarios[i].P / total
		}
		pl := troubleshoot.NewPlanner(&p)
		assert.InDelta(t, want, pl.ExpectedCost(pl.Start()), 1e-9)
		for k, step := range pl.Sequence(pl.Start())[:7] {
			assert.Equal(t, []int{order[k]}, step.Repairs)
		}
	}
}

// likelihoods writes a check's table as it is printed, a row for each scenario.
func likelihoods(rows ...[]float64) [][]float64 {
	out := make([][]float64, len(rows[0]))
	for o := range out {
		for _, row := range rows {
			out[o] = append(out[o], row[o])
		}
	}
	return out
}

func outcome(pl *troubleshoot.Planner, check, o int) (p, cost float64) {
	k := 0
	pl.Outcomes(pl.Start(), check, func(probability float64, then troubleshoot.State) {
		if k == o {
			p, cost = probability, pl.ExpectedCost(then)
		}
		k++
	})
	return p, cost
}

// Russell & Norvig, Artificial Intelligence: A Modern Approach, exercise 16.22 (16.17 in the 3rd edition), after Pearl
// 1988: a used car is bought for 1500 and worth 2000 in good shape (0.7), and repairing a bad one costs 700; a test
// costs 50. As a matter of costs: the car's worth is lost (the ending), or bought and, where bad, repaired.
func TestUsedCar(t *testing.T) {
	p := troubleshoot.Problem{Endings: []troubleshoot.Ending{{Cost: 2000, Mends: troubleshoot.Everything}},
		Scenarios: []troubleshoot.Scenario{{P: 0.7, Causes: 1}, {P: 0.3, Causes: 3}},
		Repairs:   []troubleshoot.Repair{{Cost: 1500, Mends: 1}, {Cost: 700, Mends: 2, Behind: 1}},
		Checks:    []troubleshoot.Check{{Cost: 50, Likelihood: likelihoods([]float64{0.8, 0.2}, []float64{0.35, 0.65})}}}
	pl := troubleshoot.NewPlanner(&p)
	assert.InDelta(t, 290, 2000-pl.ExpectedCost(pl.Start()), 1e-9)
	pass, ifPass := outcome(pl, 0, 0)
	assert.InDelta(t, 0.665, pass, 1e-12)
	assert.InDelta(t, 389.47, 2000-ifPass, 0.005)
	_, ifFail := outcome(pl, 0, 1)
	assert.InDelta(t, 92.54, 2000-ifFail, 0.005)
	assert.Zero(t, pl.Savings(pl.Start())[0], "a test that cannot change what is done is worth nothing")
	assert.Equal(t, []int{0}, pl.Sequence(pl.Start())[0].Repairs)
}

// Raiffa 1968, Decision Analysis; Shenoy 1992, Valuation-based systems for Bayesian decision analysis (Operations
// Research 40:463): the oil wildcatter; tables from there, answers from memory. A dry well is 270 below the best, a wet
// one 150.
func TestOilWildcatter(t *testing.T) {
	perfect := likelihoods([]float64{1, 0, 0}, []float64{0, 1, 0}, []float64{0, 0, 1})
	// closed, open, diffuse
	seismic := likelihoods([]float64{0.1, 0.3, 0.6}, []float64{0.3, 0.4, 0.3}, []float64{0.5, 0.4, 0.1})
	p := troubleshoot.Problem{Endings: []troubleshoot.Ending{{Cost: 270, Mends: troubleshoot.Everything}},
		Scenarios: []troubleshoot.Scenario{{P: 0.5, Causes: 7}, {P: 0.3, Causes: 3}, {P: 0.2, Causes: 1}},
		Repairs: []troubleshoot.Repair{{Cost: 70, Mends: 1}, {Cost: 150, Mends: 2, Behind: 1},
			{Cost: 120, Mends: 4, Behind: 2}},
		Checks: []troubleshoot.Check{{Cost: 10, Likelihood: seismic}, {Cost: 1e6, Likelihood: perfect}}}
	pl := troubleshoot.NewPlanner(&p)
	start := pl.Start()
	assert.InDelta(t, 20, 270-pl.ExpectedCost(start), 1e-9)
	savings := pl.Savings(start)
	assert.InDelta(t, 12.5, savings[0], 1e-9)
	assert.InDelta(t, 35, savings[1], 1e-9)
	assert.InDelta(t, 22.5, 270-follow(p), 1e-9, "with the test at its price of 10")
	for o, want := range [][2]float64{{0.24, 87.50}, {0.35, 32.86}} {
		p, c := outcome(pl, 0, o)
		assert.InDelta(t, want[0], p, 1e-12)
		assert.InDelta(t, want[1], 270-c, 0.005)
	}
	diffuse, c := outcome(pl, 0, 2)
	assert.InDelta(t, 0.41, diffuse, 1e-12)
	assert.InDelta(t, 0, 270-c, 1e-9, "do not drill: drilling would lose 30.49")
}

// Preparation is paid once for what is done together, and a repair may wait for its check.
func TestPreparationsAreShared(t *testing.T) {
	p := troubleshoot.Problem{Endings: never, Preparations: []float64{50}, Test: 10,
		Scenarios: []troubleshoot.Scenario{{P: 0.5, Causes: 1}, {P: 0.5, Causes: 2}},
		Repairs:   []troubleshoot.Repair{{Cost: 20, Mends: 1, Prepares: 1, First: 1}, {Cost: 20, Mends: 2, Prepares: 1}},
		Checks:    []troubleshoot.Check{{Cost: 5, Prepares: 1, Likelihood: likelihoods([]float64{1}, []float64{1})}}}
	// Together: 5 + 20 + 20 + 50 + 10. One after the other, the other first: 20 + 50 + 10 + 0.5 (5 + 20 + 50 + 10).
	assert.InDelta(t, 105, cost(p), 1e-9)
	pl := troubleshoot.NewPlanner(&p)
	savings := pl.Savings(pl.Start())
	assert.InDelta(t, 55, savings[0], 1e-9, "it must be made anyway, and its preparation too")
	assert.Equal(t, -1, pl.BestCheck(pl.Start(), savings, func(int) bool { return true }),
		"and so saves no more than its price")
	p.Preparations[0] = 15
	assert.InDelta(t, math.Min(70, 45+0.5*50), cost(p), 1e-9)
}

func TestProblemsThatAreNone(t *testing.T) {
	one := []troubleshoot.Scenario{{P: 1, Causes: 1}}
	for _, p := range []troubleshoot.Problem{
		{Scenarios: one},
		{Scenarios: one, Endings: []troubleshoot.Ending{{Cost: 1, Mends: 1}}},
		{Endings: never},
		{Scenarios: one, Endings: never, Repairs: make([]troubleshoot.Repair, troubleshoot.MaxRepairs+1)},
	} {
		assert.Panics(t, func() { troubleshoot.NewPlanner(&p) })
	}
}

func BenchmarkPlan(b *testing.B) {
	p := drawn(rand.New(rand.NewPCG(1, 1)), 9, 9, 40)
	for b.Loop() {
		pl := troubleshoot.NewPlanner(&p)
		start := pl.Start()
		pl.Sequence(start)
		pl.Savings(start)
	}
}
