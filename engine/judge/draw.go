package judge

import (
	"math/rand/v2"
	"slices"

	"lightoff/engine/knowledge"
	"lightoff/engine/simulation"
)

// Streams of seeds, so that no heater is both learnt from and judged.
const (
	judged uint64 = iota + 1
	learnt
	piloted
	shown
	compared
)

// MostChecks is how many advised checks an owner makes.
const MostChecks = 4

// Case is a heater with what is truly wrong with it.
type Case struct {
	Heater *simulation.Heater
	Truth  []string
}

// lottery draws heaters.
type lottery struct {
	causes []string
	chance []float64 // of each cause to be put in
	barred []string  // causes that the simulation does not know, and that are never drawn
}

// plainLottery puts each cause in with the chance that the model states.
func plainLottery(m *knowledge.Model) lottery {
	var l lottery
	for _, c := range m.Causes {
		if !simulation.Knows(c.ID) {
			l.barred = append(l.barred, c.ID)
			continue
		}
		l.causes = append(l.causes, c.ID)
		l.chance = append(l.chance, c.PerThousand/1000)
	}
	return l
}

// tries is how often severities are drawn anew until the heater gives cause for complaint.
const tries = 30

// mostFaults is how many are put into one heater at most; what comes about by itself is beside them.
const mostFaults = 3

// draw draws a case; nil if its causes led to no complaint.
func (l *lottery) draw(seed, stream, number uint64) *Case {
	r := rand.New(rand.NewPCG(seed<<20|number, stream))
	var faults []string
	for len(faults) == 0 {
		for i, id := range l.causes {
			if r.Float64() < l.chance[i] {
				faults = append(faults, id)
			}
		}
	}
	if i := slices.Index(faults, "no_fault"); i >= 0 {
		faults = []string{"no_fault"}
	}
	for len(faults) > mostFaults {
		i := r.IntN(len(faults))
		faults = slices.Delete(faults, i, i+1)
	}
	for range tries {
		if c := live(r.Uint64(), faults); c != nil {
			return c
		}
	}
	return nil
}

// outcome is what an owner could tell two heaters apart by without looking.
type outcome struct{ code, complaint, phase string }

func behaviour(seed uint64, faults []string) (*simulation.Heater, outcome) {
	h, err := simulation.New(seed, faults...)
	if err != nil {
		panic("judge: " + err.Error())
	}
	rec := h.Live()
	return h, outcome{rec.Code, h.Complaint(), rec.Phase}
}

// live makes the heater, leaves out the faults that take no part, and gives nil where nothing is left or nobody
// complains.
func live(seed uint64, faults []string) *Case {
	h, all := behaviour(seed, faults)
	if all.complaint == "" {
		return nil
	}
	active := faults
	if len(faults) > 1 {
		active = nil
		for i, id := range faults {
			_, without := behaviour(seed, slices.Delete(slices.Clone(faults), i, i+1))
			if without != all {
				active = append(active, id)
				continue
			}
			if _, alone := behaviour(seed, []string{id}); alone == all {
				active = append(active, id)
			}
		}
		if len(active) == 0 {
			return nil
		}
		if len(active) < len(faults) {
			if h, all = behaviour(seed, active); all.complaint == "" {
				return nil
			}
		}
	}
	truth := slices.Clone(active)
	if slices.Contains(truth, "no_fault") {
		return &Case{h, truth}
	}
	return &Case{h, append(truth, h.Emerged()...)}
}

// fit changes the chances, on heaters of their own, until each cause is active in about the share wanted.
func (l *lottery) fit(seed uint64, want map[string]float64, rounds, cases int, each func(n int, do func(i int))) {
	for round := range rounds {
		seen := map[string]float64{}
		n := 0.0
		truths := make([][]string, cases)
		each(cases, func(i int) {
			if c := l.draw(seed, piloted, uint64(round*cases+i)); c != nil {
				truths[i] = c.Truth
			}
		})
		for _, truth := range truths {
			if truth != nil {
				n++
			}
			for _, id := range truth {
				seen[id]++
			}
		}
		for i, id := range l.causes {
			factor := (want[id] + 2/n) / (seen[id]/n + 2/n)
			l.chance[i] = min(0.5, l.chance[i]*max(0.4, min(2.5, factor)))
		}
	}
}
