package diagnosis

import (
	"cmp"
	"slices"

	"lightoff/engine/knowledge"
)

// Which causes a plan takes up, and how many repairs it holds at most.
const (
	planFrom  = 0.05
	planSteps = 6
	settled   = 0.60 // a cause this probable is mended at once, whatever is usually tried before
)

// plan orders repairs by the chance that they are needed and to blame, for their minutes and money; a euro counts as a
// minute. It does not look ahead.
func (s *subject) plan() Plan {
	if s.gates.leave {
		return Plan{Note: s.texts.Phrases["plan_leave"]}
	}
	type option struct {
		repair knowledge.Repair
		cause  int
		worth  float64
	}
	var options []option
	for _, r := range s.model.Repairs {
		best := option{repair: r, cause: -1}
		for i, c := range s.model.Causes {
			if slices.Contains(r.Mends, c.ID) && s.blame[i] >= planFrom {
				best.worth += s.blame[i]
				if best.cause < 0 || s.blame[i] > s.blame[best.cause] {
					best.cause = i
				}
			}
		}
		if best.cause >= 0 {
			best.worth /= r.Minutes + r.Euros + 10
			options = append(options, best)
		}
	}
	slices.SortStableFunc(options, func(a, b option) int {
		// What a danger forbids cannot be next, so it comes after what can.
		if x, y := s.gates.forbids(a.repair.Gates) != "", s.gates.forbids(b.repair.Gates) != ""; x != y {
			return map[bool]int{true: 1, false: -1}[x]
		}
		return cmp.Compare(b.worth, a.worth)
	})
	for i := len(options) - 1; i >= 0; i-- {
		// A repair that is tried after others moves behind the last of them that the plan holds.
		to := i
		for j := i + 1; j < len(options); j++ {
			if slices.Contains(options[i].repair.Behind, options[j].repair.ID) && s.posterior[options[i].cause] < settled {
				to = j
			}
		}
		o := options[i]
		options = slices.Insert(slices.Delete(options, i, i+1), to, o)
	}
	var p Plan
	for _, o := range options[:min(planSteps, len(options))] {
		p.Steps = append(p.Steps, s.step(o.repair, o.cause))
	}
	if len(p.Steps) == 0 {
		p.Note = s.texts.Phrases["plan_none"]
	}
	return p
}

func (s *subject) step(r knowledge.Repair, cause int) PlanStep {
	x := s.texts.Repairs[r.ID]
	step := PlanStep{RepairID: r.ID, CauseID: s.model.Causes[cause].ID, Title: x.Title, Probability: s.posterior[cause],
		Minutes: r.Minutes, Euros: r.Euros, Cautions: slices.Clone(x.Cautions), Parts: x.Parts, Proof: x.Proof, Prevention: x.Prevention}
	if by := s.gates.forbids(r.Gates); by != "" {
		step.HeldBack = s.texts.Phrases["plan_wait_danger"] + s.texts.Dangers[by].Title
		return step
	}
	for _, id := range r.After {
		if o, _ := s.model.Observation(id); !s.in.Known(id) && s.gates.forbids(o.Gates) == "" && (o.Tool == "" || slices.Contains(s.request.Tools, o.Tool)) {
			step.HeldBack = s.texts.Phrases["plan_wait_check"] + s.texts.Observations[id].Title
			break
		}
	}
	return step
}
