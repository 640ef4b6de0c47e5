package diagnosis

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"lightoff/engine/knowledge"
)

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
	s.in.Enter(findings)
	return s.in.LogEvidence()
}
