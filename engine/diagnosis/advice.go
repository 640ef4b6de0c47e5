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
	bits    []float64 // by cause
	gain    float64
}

// checks ranks what has not been told by weighted information for its effort. Hazard is a gate, never a price.
func (s *subject) checks() ([]AdvisedCheck, error) {
	list := s.candidates()
	var ids []string
	for _, c := range list {
		ids = append(ids, c.id)
	}
	weights := s.checkWeights()
	bits, err := s.in.Information(ids, func(cause int) bool {
		return weights[cause]*entropy(s.posterior[cause]) > negligible
	})
	if err != nil {
		return nil, err
	}
	for j := range list {
		c := &list[j]
		c.bits = make([]float64, len(weights))
		if c.setup {
			copy(c.bits, s.in.SetupInformation(c.id, s.posterior))
		} else {
			for i := range c.bits {
				c.bits[i] = bits[i][j]
			}
		}
		for i, w := range weights {
			c.bits[i] *= w
			c.gain += c.bits[i]
		}
	}
	list = slices.DeleteFunc(list, func(c candidate) bool { return c.gain < leastGain })
	slices.SortStableFunc(list, func(a, b candidate) int {
		return cmp.Compare(b.gain/(b.minutes+effortFloor), a.gain/(a.minutes+effortFloor))
	})
	out := make([]AdvisedCheck, len(list))
	for i, c := range list {
		about := s.about(c)
		out[i] = AdvisedCheck{ObservationID: c.id, Question: s.texts.Observations[c.id].Question, GainBits: c.gain,
			Minutes: c.minutes, Tool: c.tool, About: about, Reason: s.reason(about)}
	}
	return out, nil
}

// checkWeights are a/p for each cause: mere background asks no questions. Where nothing stands out yet, all count alike.
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

func (s *subject) candidates() []candidate {
	asked := map[string]bool{}
	for _, o := range s.request.Observations {
		asked[o.ID] = true
	}
	var out []candidate
	for _, o := range s.model.Observations {
		switch {
		case asked[o.ID], o.Hidden, o.Tool != "" && !slices.Contains(s.request.Tools, o.Tool),
			s.gates.forbids(o.Gates) != "", !s.applies(o.OnlyIf), s.gates.leave && !o.Recalled:
			continue
		}
		out = append(out, candidate{id: o.ID, minutes: o.Minutes, tool: o.Tool})
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

// reason says why a check is worth making: what it is about, or that it narrows down many causes at once.
func (s *subject) reason(about []string) string {
	if len(about) == 0 {
		return s.texts.Phrases["reason_wide"]
	}
	return s.texts.Phrases["reason_gain"] + s.titles(about)
}

func (s *subject) titles(causes []string) string {
	titles := make([]string, len(causes))
	for i, id := range causes {
		titles[i] = s.texts.Causes[id].Title
	}
	return strings.Join(titles, ", ")
}

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

// misfit is the conflict, in nats, from which a finding is named as hardly fitting the others.
const misfit = 1.6

// weigh fills in what each finding does: the leading causes' weights of evidence, the conflict and what contradicts.
func (s *subject) weigh(a *Assessment) error {
	lead := a.Causes[:min(leading, len(a.Causes))]
	var causes []int
	for _, c := range lead {
		causes = append(causes, s.index(c.ID))
	}
	without, err := s.leaveOneOut(causes...)
	if err != nil {
		return err
	}
	for k, cause := range causes {
		lead[k].Weights = s.weights(cause, without)
	}
	return s.conflicts(a, without)
}

func (s *subject) index(cause string) int {
	return slices.IndexFunc(s.model.Causes, func(c knowledge.Cause) bool { return c.ID == cause })
}

// ablation is the state of things with one finding left out.
type ablation struct {
	finding     knowledge.Finding
	posterior   map[int]float64 // by cause, for those asked for
	logEvidence float64
}

func (s *subject) leaveOneOut(causes ...int) ([]ablation, error) {
	out := make([]ablation, 0, len(s.findings))
	for i, f := range s.findings {
		if f.ID == codeTable {
			continue // it is no evidence, and without it the code could not be read
		}
		rest := slices.Delete(slices.Clone(s.findings), i, i+1)
		log, err := s.logGiven(rest)
		if err != nil {
			return nil, err
		}
		a := ablation{f, map[int]float64{}, log}
		for _, c := range causes {
			if a.posterior[c], err = s.in.Cause(c); err != nil {
				return nil, err
			}
		}
		out = append(out, a)
	}
	return out, nil
}

func (s *subject) weights(cause int, without []ablation) []WeightOfEvidence {
	var out []WeightOfEvidence
	for _, w := range without {
		bits := logOdds(s.posterior[cause]) - logOdds(w.posterior[cause])
		if math.Abs(bits) >= 0.05 {
			out = append(out, WeightOfEvidence{w.finding.ID, s.describe(w.finding), bits})
		}
	}
	slices.SortStableFunc(out, func(a, b WeightOfEvidence) int { return cmp.Compare(math.Abs(b.Bits), math.Abs(a.Bits)) })
	return out
}

func (s *subject) describe(f knowledge.Finding) string {
	o := Observation{ID: f.ID, State: f.State, Number: f.Number}
	if f.IsNumber {
		o.Kind = NumberValue
	}
	return s.Describe(o, s.request.Locale)
}

// conflicts compares how probable the findings are together and each by itself (Jensen's conflict measure), and names
// those that the others make improbable, each with the one it fits worst.
func (s *subject) conflicts(a *Assessment, without []ablation) error {
	var setup, facts []knowledge.Finding
	for _, f := range s.findings {
		if _, ok := s.model.SetupFact(f.ID); ok {
			setup = append(setup, f)
		} else {
			facts = append(facts, f)
		}
	}
	none, err := s.logGiven(setup)
	if err != nil {
		return err
	}
	all, err := s.logGiven(s.findings)
	if err != nil {
		return err
	}
	a.Conflict = none - all
	alone := map[string]float64{}
	for _, f := range facts {
		log, err := s.logGiven(append(slices.Clone(setup), f))
		if err != nil {
			return err
		}
		alone[f.ID] = log - none
		a.Conflict += alone[f.ID]
	}
	type doubt struct {
		f     knowledge.Finding
		nats  float64
		other string
	}
	var doubts []doubt
	for _, w := range without {
		if log, ok := alone[w.finding.ID]; ok {
			if nats := log - (all - w.logEvidence); nats > misfit {
				doubts = append(doubts, doubt{w.finding, nats, ""})
			}
		}
	}
	slices.SortStableFunc(doubts, func(a, b doubt) int { return cmp.Compare(b.nats, a.nats) })
	for _, d := range doubts[:min(2, len(doubts))] {
		worst := 0.0
		for _, f := range facts {
			if f.ID == d.f.ID {
				continue
			}
			log, err := s.logGiven(append(slices.Clone(setup), d.f, f))
			if err != nil {
				return err
			}
			if nats := alone[d.f.ID] + alone[f.ID] - (log - none); nats > worst {
				worst, d.other = nats, f.ID
			}
		}
		if !slices.ContainsFunc(a.Contradictions, func(c Contradiction) bool {
			return slices.Contains(c.ObservationIDs, d.f.ID) && slices.Contains(c.ObservationIDs, d.other)
		}) {
			a.Contradictions = append(a.Contradictions, s.contradiction(d.f.ID, d.other))
		}
	}
	return nil
}

func (s *subject) contradiction(ids ...string) Contradiction {
	ids = slices.DeleteFunc(ids, func(id string) bool { return id == "" })
	var parts []string
	for _, id := range ids {
		i := slices.IndexFunc(s.findings, func(f knowledge.Finding) bool { return f.ID == id })
		parts = append(parts, s.describe(s.findings[i]))
	}
	return Contradiction{ids, strings.Join(parts, " · ") + ". " + s.texts.Phrases["contradiction"]}
}

func (s *subject) logGiven(findings []knowledge.Finding) (float64, error) {
	if err := s.in.Enter(findings); err != nil {
		return 0, err
	}
	return s.in.LogEvidence()
}
