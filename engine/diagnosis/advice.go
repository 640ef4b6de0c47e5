package diagnosis

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

// setupMinutes is what it costs to recall a fact of the installation.
const setupMinutes = 0.5

// effortFloor is added to every check's minutes: reading and understanding a question costs something too, and without
// it trifles would crowd out the check that settles the matter.
const effortFloor = 3

// startEffort is added for each check that needs a start: nobody likes to start a heater that fails, each failed start
// leaves fuel in the burner, and what can be told without one is asked first. Minutes; common practice, no source. Ten
// of them, as a plan pays for a start to watch, led callers' cases to the right cause less often.
const startEffort = 2

// plain is the probability of an answer above which what was told has settled a check, so that it is not asked.
const plain = 0.99

// leastGain is the information, in bits, below which a check is not worth naming.
const leastGain = 0.004

// negligible is the weighted uncertainty, in bits, below which a cause cannot change the order of the checks.
const negligible = leastGain / 10

// entropy of a yes-or-no variable in bits.
func entropy(p float64) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	return -p*math.Log2(p) - (1-p)*math.Log2(1-p)
}

type candidate struct {
	id      string
	minutes float64
	tool    string
	setup   bool
	start   bool      // it needs one
	bits    []float64 // by cause
	gain    float64
}

// effort is what a check costs, in minutes.
func (c *candidate) effort() float64 {
	if c.start {
		return c.minutes + effortFloor + startEffort
	}
	return c.minutes + effortFloor
}

// checks ranks what has not been told by weighted information for its effort. Hazard is a gate, never a price.
func (s *subject) checks(list []candidate) []AdvisedCheck {
	weights := s.checkWeights()
	for j := range list {
		c := &list[j]
		c.bits = make([]float64, len(weights))
		if c.setup {
			copy(c.bits, s.in.SetupInformation(c.id, s.posterior))
		} else {
			for i := range c.bits {
				c.bits[i] = s.survey.Bits[i][s.surveyed[c.id]]
			}
		}
		for i, w := range weights {
			c.bits[i] *= w
			c.gain += c.bits[i]
		}
	}
	list = slices.DeleteFunc(list, func(c candidate) bool { return c.gain < leastGain || s.plain(c) })
	slices.SortStableFunc(list, func(a, b candidate) int {
		return cmp.Compare(b.gain/b.effort(), a.gain/a.effort())
	})
	startsLast(list)
	out := make([]AdvisedCheck, len(list))
	for i, c := range list {
		about := s.about(c)
		out[i] = AdvisedCheck{ObservationID: c.id, Question: s.texts.Observations[c.id].Question, GainBits: c.gain,
			Minutes: c.minutes, Tool: c.tool, About: about, Reason: s.reason("reason_also", "reason_also_wide", about)}
	}
	if len(out) > 0 {
		out[0].Reason = s.reason("reason_gain", "reason_wide", out[0].About)
	}
	return out
}

// plain reports whether what was told settles a check's answer. Where nothing stands out there is no plan, and what
// checks show was not looked at.
func (s *subject) plain(c candidate) bool {
	shown := s.survey.Posterior().Outcomes
	if c.setup || len(shown) == 0 {
		return false
	}
	outcomes := shown[s.surveyed[c.id]]
	return len(outcomes) > 0 && slices.Max(outcomes) > plain
}

// startsLast moves each check that needs a start behind what tells as much without one and takes no longer than it and
// watching its start.
func startsLast(list []candidate) {
	for i := len(list) - 1; i >= 0; i-- {
		if !list[i].start {
			continue
		}
		for j := len(list) - 1; j > i; j-- {
			if !list[j].start && list[j].gain >= list[i].gain && list[j].minutes <= list[i].minutes+watchedStart {
				c := list[i]
				copy(list[i:j], list[i+1:j+1])
				list[j] = c
				break
			}
		}
	}
}

// matters reports whether a cause can change the order of the checks.
func (s *subject) matters(weights []float64, cause int) bool {
	return weights[cause]*entropy(s.posterior[cause]) > negligible
}

// telling leaves out the observations that cannot be worth naming: what one tells about a cause is bounded by the
// uncertainty about either.
func (s *subject) telling(list []candidate) ([]candidate, error) {
	var ids []string
	for _, c := range list {
		if !c.setup {
			ids = append(ids, c.id)
		}
	}
	bits, err := s.in.Entropies(ids)
	if err != nil {
		return nil, err
	}
	weights := s.checkWeights()
	k := 0
	return slices.DeleteFunc(list, func(c candidate) bool {
		if c.setup {
			return false
		}
		most := 0.0
		for i, w := range weights {
			if s.matters(weights, i) {
				most += w * min(entropy(s.posterior[i]), bits[k])
			}
		}
		k++
		return most < leastGain
	}), nil
}

// checkWeights are a/p for each cause: mere background asks no questions. Where nothing stands out yet, all count
// alike.
func (s *subject) checkWeights() []float64 {
	w := make([]float64, len(s.blame))
	total := 0.0
	for i, a := range s.blame {
		if s.posterior[i] > 0 {
			w[i] = a / s.posterior[i]
		}
		total += a
	}
	if total < 0.02 {
		for i := range w {
			w[i] = 1
		}
	}
	return w
}

func (s *subject) candidates() ([]candidate, error) { return s.telling(s.unmade()) }

// unmade lists what has not been told and may be asked.
func (s *subject) unmade() []candidate {
	asked := map[string]bool{}
	for _, o := range s.request.Observations {
		asked[o.ID] = !s.past[o.ID]
	}
	for _, f := range s.findings {
		asked[f.ID] = true
	}
	var out []candidate
	for _, o := range s.model.Observations {
		switch {
		case asked[o.ID], o.Tool != "" && !slices.Contains(s.request.Tools, o.Tool),
			s.request.Willing > 0 && o.Difficulty > s.request.Willing, s.gates.forbids(o.Gates) != "", !s.applies(o.OnlyIf),
			s.in.Void(o.ID), s.gates.leave && !o.Recalled:
			continue
		}
		out = append(out, candidate{id: o.ID, minutes: o.Minutes, tool: o.Tool, start: o.Gates.NeedsStart})
	}
	for _, f := range s.model.Setup {
		if !asked[f.ID] && len(f.States) > 0 && !f.Variable {
			out = append(out, candidate{id: f.ID, minutes: setupMinutes, setup: true})
		}
	}
	return out
}

func (s *subject) applies(conditions []knowledge.Condition) bool {
	for _, c := range conditions {
		in := slices.ContainsFunc(s.findings, func(f knowledge.Finding) bool {
			return f.ID == c.ID && slices.Contains(c.States, f.State)
		})
		if in == c.Unless {
			return false
		}
	}
	return true
}

// about lists up to three causes that a check tells most about.
func (s *subject) about(c candidate) []string {
	order := make([]int, len(c.bits))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.bits[b], c.bits[a]) })
	var ids []string
	for _, i := range order[:3] {
		if c.bits[i] > 0.1*c.gain {
			ids = append(ids, s.model.Causes[i].ID)
		}
	}
	return ids
}

// reason says why a check is worth making, in one phrase: which causes it is about, or, in the other, that it is about
// many.
func (s *subject) reason(about, wide string, causes []string) string {
	if len(causes) == 0 {
		return s.texts.Phrases[wide]
	}
	return s.texts.Phrases[about] + s.titles(causes)
}

func (s *subject) titles(causes []string) string {
	titles := make([]string, len(causes))
	for i, id := range causes {
		titles[i] = s.texts.Causes[id].Title
	}
	return strings.Join(titles, ", ")
}
