package troubleshoot

import (
	"fmt"
	"math"
)

// The most that a problem may hold; the work doubles with each repair.
const (
	MaxRepairs = 12
	MaxChecks  = 64
)

// Problem is what may be wrong and what can be done about it. All costs are in one unit and not negative.
type Problem struct {
	Scenarios    []Scenario
	Repairs      []Repair // at most MaxRepairs
	Checks       []Check  // at most MaxChecks
	Preparations []float64
	Test         float64  // to find out whether all is well
	Endings      []Ending // at least one mends everything
}

// Scenario is a set of causes, one bit each, that are active together and no others.
type Scenario struct {
	P      float64 // on any scale
	Causes uint64
}

// Repair mends causes for certain. Prepares says which preparations it needs, First which checks it must not be made
// without, Behind which repairs come before it.
type Repair struct {
	Cost     float64 // without preparations and checks
	Mends    uint64
	Prepares uint32
	First    uint64
	Behind   uint64
}

// Check has outcomes, each with its probability in every scenario.
type Check struct {
	Cost       float64 // without preparations
	Prepares   uint32
	Likelihood [][]float64 // [outcome][scenario]
}

// Ending closes the matter: it mends causes, and where others remain, the cheapest ending that mends everything
// follows.
type Ending struct {
	Cost  float64
	Mends uint64
}

// Everything is the set of all causes, for an ending that always helps.
const Everything = math.MaxUint64

// State is what was done so far. The zero State has done nothing.
type State struct {
	Done uint64    // repairs
	Made uint64    // checks
	Open uint32    // preparations that are still in place
	P    []float64 // by scenario, given all that was found
}

// check panics on a problem that is none, so that planning may index freely.
func (p *Problem) check() {
	last := math.Inf(1)
	for _, e := range p.Endings {
		if e.Mends == Everything {
			last = min(last, e.Cost)
		}
	}
	switch {
	case len(p.Repairs) > MaxRepairs || len(p.Checks) > MaxChecks:
		panic(fmt.Sprintf("troubleshoot: %d repairs and %d checks, at most %d and %d", len(p.Repairs), len(p.Checks),
			MaxRepairs, MaxChecks))
	case math.IsInf(last, 1):
		panic("troubleshoot: no ending mends everything")
	case len(p.Scenarios) == 0:
		panic("troubleshoot: nothing can be wrong")
	}
}
