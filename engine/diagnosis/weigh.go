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

// leastWeight is the weight of evidence, in bits, from which on a finding is named among a cause's reasons.
const leastWeight = 0.05

// weigh fills in what each finding does: the leading causes' weights of evidence, the conflict and what contradicts.
func (s *subject) weigh(a *Assessment) error {
	lead := a.Causes[:min(leading, len(a.Causes))]
	for k := range lead {
		lead[k].Weights = s.weights(s.index(lead[k].ID), k, s.survey.Without)
	}
	return s.conflicts(a, s.survey.Without)
}

func (s *subject) index(cause string) int {
	return slices.IndexFunc(s.model.Causes, func(c knowledge.Cause) bool { return c.ID == cause })
}

// weights are what each finding does to a cause, which is the k-th of those asked for.
func (s *subject) weights(cause, k int, without []knowledge.Ablation) []WeightOfEvidence {
	var out []WeightOfEvidence
	for _, w := range without {
		bits := logOdds(s.posterior[cause]) - logOdds(w.Causes[k])
		if math.Abs(bits) >= leastWeight {
			out = append(out, WeightOfEvidence{w.Finding.ID, s.describe(w.Finding), bits})
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
func (s *subject) conflicts(a *Assessment, without []knowledge.Ablation) error {
	alone, together, err := s.in.MarginalLogEvidence()
	if err != nil {
		return err
	}
	all, err := s.in.LogEvidence()
	if err != nil {
		return err
	}
	found := 0
	a.Conflict = -together
	for _, log := range alone {
		if !math.IsNaN(log) {
			a.Conflict += log
			found++
		}
	}
	if found < 2 {
		a.Conflict = 0 // one finding agrees with itself, whatever rounding says
	}
	type doubt struct {
		at   int
		nats float64
	}
	var doubts []doubt
	for _, w := range without {
		i := slices.IndexFunc(s.findings, func(f knowledge.Finding) bool { return f.ID == w.Finding.ID })
		if nats := alone[i] - (all - w.LogEvidence); nats > misfit { // never so for a fact of the installation
			doubts = append(doubts, doubt{i, nats})
		}
	}
	slices.SortStableFunc(doubts, func(a, b doubt) int { return cmp.Compare(b.nats, a.nats) })
	for _, d := range doubts[:min(2, len(doubts))] {
		beside, err := s.in.PairwiseLogEvidence(d.at)
		if err != nil {
			return err
		}
		own, worst, other := s.findings[d.at].ID, 0.0, ""
		for k, log := range beside {
			if nats := alone[d.at] + alone[k] - log; nats > worst {
				worst, other = nats, s.findings[k].ID
			}
		}
		if !slices.ContainsFunc(a.Contradictions, func(c Contradiction) bool {
			return slices.Contains(c.ObservationIDs, own) && slices.Contains(c.ObservationIDs, other)
		}) {
			a.Contradictions = append(a.Contradictions, s.contradiction(own, other))
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
