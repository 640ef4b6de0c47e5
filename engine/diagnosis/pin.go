package diagnosis

import (
	"slices"

	"lightoff/engine/knowledge"
)

// What is defective and dangerous is mended first, however little it may have to do with the complaint: the repairs
// that the standing dangers ask for are pinned to the head of the plan.

// pin is a repair that a danger asks for.
type pin struct {
	knowledge.Repair
	danger string
	held   bool    // it cannot be made now, or not by this owner
	fixed  float64 // probability that all is well after it and those before it
	spent  float64 // expected cost up to and with it
}

// done reports whether a repair was made, or something was told that says so.
func (s *subject) done(repair string) bool {
	return slices.Contains(s.request.Mended, repair) || slices.ContainsFunc(s.told, func(f knowledge.Finding) bool {
		o, ok := s.model.Observation(f.ID)
		return ok && o.Does == repair && f.State == o.States[len(o.States)-1]
	})
}

// pin takes the repairs that standing dangers ask for, the severest danger's first. Those that can be made are the
// first of the plan's repairs.
func (p *planning) pin() {
	for _, d := range p.s.dangers {
		for _, id := range d.MendedBy {
			if p.s.done(id) || p.isPinned(id) {
				continue
			}
			r, _ := p.s.repair(id)
			x := pin{Repair: r, danger: d.ID, held: p.s.gates.forbidsRepair(r) != "" || p.s.unwilling(r)}
			p.pinned = append(p.pinned, x)
			if !x.held {
				p.repairs = append(p.repairs, r)
			}
		}
	}
}

// unwilling reports whether a repair takes more than the owner does.
func (s *subject) unwilling(r knowledge.Repair) bool {
	_, _, level := prepares(r.Gates)
	return s.request.Willing > 0 && level > s.request.Willing
}

func (p *planning) isPinned(repair string) bool {
	return slices.ContainsFunc(p.pinned, func(x pin) bool { return x.ID == repair })
}

// makePinned moves the plan's start behind the pinned repairs, for what comes after them hangs on what they mend. Each
// is paid in full, with the checks that it waits for and a start to watch.
func (p *planning) makePinned() {
	spent, j := 0.0, 0
	for i := range p.pinned {
		x := &p.pinned[i]
		if x.held {
			continue
		}
		r := p.Repairs[j]
		spent += r.Cost + p.Test
		for k, cost := range p.Preparations {
			if r.Prepares>>k&1 == 1 {
				spent += cost
			}
		}
		for k, c := range p.Checks {
			if (r.First&^p.start.Made)>>k&1 == 1 {
				spent += c.Cost
			}
		}
		p.start.Done |= 1 << j
		p.start.Made |= r.First
		x.fixed, x.spent = 1-p.planner.ProbabilityUnrepaired(p.start), spent
		j++
	}
}

// pinnedSteps are the plan's first steps.
func (p *planning) pinnedSteps() (out []PlanStep) {
	for _, x := range p.pinned[:min(planSteps, len(p.pinned))] {
		step := p.step(x.Repair)
		step.Danger, step.Fixed, step.ExpectedCost = x.danger, x.fixed, x.spent
		if p.s.unwilling(x.Repair) && step.HeldBack == "" {
			step.HeldBack = p.s.texts.Phrases["plan_wait_workshop"]
		}
		out = append(out, step)
	}
	return out
}
