// Package diagnosis turns what was told about a heater into an assessment: dangers first, then the causes by their
// probability, the checks that would tell most for their effort, the repairs in order, and the reasons for each. It is
// a function of the model and of what was told; a conversation is a fold over its events.
//
// No answer makes a cause certain or impossible, and findings that hardly fit together are named.
package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"sync"

	"lightoff/engine/knowledge"
)

// Engine assesses. It is safe for concurrent use.
type Engine struct {
	model *knowledge.Model
	pool  sync.Pool
}

// New returns an engine on the model.
func New(m *knowledge.Model) *Engine {
	e := &Engine{model: m}
	e.pool.New = func() any { return m.NewInquiry() }
	return e
}

// leading is how many causes come with their weights of evidence.
const leading = 5

// subject is one request on its way to an assessment.
type subject struct {
	*Engine
	*Evidence
	in        *knowledge.Inquiry
	texts     *knowledge.Texts
	posterior []float64           // that a cause is active, by cause in the model's order: hazards, checks, plans go by it
	part      []float64           // that it takes part in today's failure: what is shown, and the order; see takesPart
	base      []float64           // posterior given the complaint and the setup only
	basePart  []float64           // part given these only
	blame     []float64           // what of the posterior stands out from the base rate; see blames
	pointed   map[string][]string // repairs that a finding points to, by the cause that they mend
	dangers   []Danger
	gates     gate
	survey    *knowledge.Survey
	surveyed  map[string]int // what was surveyed, and where it stands there
}

// Assess assesses a request. The error is an *InputError, unless the model itself fails.
func (e *Engine) Assess(r Request) (*Assessment, error) {
	v, err := e.Evidence(r)
	if err != nil {
		return nil, err
	}
	return v.Assess()
}

// Assess assesses. An error is the model's own failure.
func (v *Evidence) Assess() (*Assessment, error) {
	s, err := v.subject()
	if err != nil {
		return nil, err
	}
	defer s.pool.Put(s.in)
	return s.assess()
}

func (s *subject) assess() (a *Assessment, err error) {
	a = &Assessment{ModelVersion: s.model.Version, Causes: s.ranking(), Dangers: s.dangers, Unused: s.unused()}
	p := s.planning()
	candidates, err := s.candidates()
	if err != nil {
		return nil, err
	}
	var weigh []int
	for _, c := range a.Causes[:min(leading, len(a.Causes))] {
		weigh = append(weigh, s.index(c.ID))
	}
	if err := s.wanted(); err != nil {
		return nil, err
	}
	if err := s.look(candidates, p, weigh); err != nil {
		return nil, err
	}
	if err := s.wanted(); err != nil {
		return nil, err
	}
	a.NextChecks = s.checks(candidates)
	a.Plan = s.plan(p, a.NextChecks)
	a.Chains = s.chains()
	a.LikelyPair = s.pair(p)
	if err := s.wanted(); err != nil {
		return nil, err
	}
	return a, s.weigh(a)
}

// look surveys once what the checks, the plan, the chains and the weights of evidence for some causes hang on.
func (s *subject) look(candidates []candidate, p *planning, weigh []int) (err error) {
	s.surveyed = map[string]int{}
	var ids []string
	ask := func(id string) {
		if _, ok := s.surveyed[id]; !ok {
			s.surveyed[id] = len(ids)
			ids = append(ids, id)
		}
	}
	for _, c := range candidates {
		ask(c.id)
	}
	var given []int
	if p != nil {
		given = append(given, p.causes...)
		for _, id := range p.waiting() {
			ask(id)
		}
	}
	given = append(given, s.ends()...)
	weights := s.checkWeights()
	s.survey, err = s.in.Survey(knowledge.Ask{IDs: ids, Wanted: func(cause int) bool { return s.matters(weights, cause) },
		Given: given, Weigh: weigh, LeastBits: leastWeight})
	return err
}

// subject makes the posteriors, dangers and gates that everything else is made of.
func (v *Evidence) subject() (*subject, error) {
	s := &subject{Engine: v.engine, Evidence: v, in: v.engine.pool.Get().(*knowledge.Inquiry),
		texts: v.engine.model.Text(v.request.Locale)}
	if err := s.infer(); err != nil {
		s.pool.Put(s.in)
		return nil, fmt.Errorf("inferring the causes: %w", err)
	}
	s.blame = blames(s.posterior, s.base)
	s.pointed = s.pointsTo()
	s.dangers = v.Dangers()
	s.gates = s.gate()
	return s, nil
}

// infer works out how probable the causes are, with and without what was found.
func (s *subject) infer() (err error) {
	s.in.ScaleOdds(nil)
	s.in.Enter(s.findings)
	if s.base, err = s.in.Priors(); err != nil {
		return err
	}
	if len(s.request.Mended) > 0 {
		s.in.ScaleOdds(s.odds(s.request.Mended, s.base))
		s.in.Enter(s.findings)
		if s.base, err = s.in.Priors(); err != nil {
			return err
		}
	}
	before, err := s.in.PriorParts()
	if err != nil {
		return err
	}
	s.basePart = make([]float64, len(s.base))
	for i := range s.base {
		s.basePart[i] = takesPart(i, s.base, before, s.base)
	}
	if s.posterior, err = s.in.Causes(nil); err != nil {
		return err
	}
	now, err := s.in.Parts()
	if err != nil {
		return err
	}
	s.part = make([]float64, len(s.posterior))
	for i := range now.Causes {
		s.part[i] = takesPart(i, s.posterior, now, s.base)
	}
	return nil
}

// takesPart is the probability that a cause takes part in today's failure, given that something does which the model
// lists. How far the failure can be followed back to it errs on the low side: the network knows of no two faults that
// fail together where neither would alone, and of no trouble but the first that the board sees. That the cause is
// active at all errs on the high side. What is given out is their geometric mean, which is next to nothing where
// nothing leads back. Findings that speak for the cause itself count as far as they lift it above its share of all who
// complain.
//
// Hazards go by the chance that a cause is active, which is never less by this: a leak is a danger whether or not
// today's failure comes of it.
func takesPart(cause int, active []float64, p knowledge.Parts, base []float64) float64 {
	x := math.Sqrt(p.Causes[cause] * min(1, active[cause]/p.Listed))
	return max(leastPart, min(max(x, blame(active[cause], base[cause])), 1-leastPart))
}

// leastPart keeps every answer from making a cause certain or impossible.
const leastPart = 1e-7

// blames is the share of each posterior that today's findings, and not the background, account for. A fault that is
// merely as common as ever is present but not to blame; it neither asks for checks nor for repairs.
func blames(posterior, base []float64) []float64 {
	out := make([]float64, len(posterior))
	for i := range out {
		out[i] = blame(posterior[i], base[i])
	}
	return out
}

func blame(posterior, base float64) float64 { return max(0, (posterior-base)/(1-base)) }

func (s *subject) ranking() []RankedCause {
	out := make([]RankedCause, len(s.model.Causes))
	for i, c := range s.model.Causes {
		out[i] = s.ranked(i, c.ID)
	}
	slices.SortStableFunc(out, func(a, b RankedCause) int { return cmp.Compare(b.Probability, a.Probability) })
	return out
}

func (s *subject) ranked(i int, id string) RankedCause {
	p, text := s.part[i], s.texts.Causes[id]
	return RankedCause{ID: id, Title: text.Title, Sentence: text.Sentence, Part: s.model.Causes[i].Part, Probability: p,
		Likelihood: s.texts.Phrases[likelihood(p)], BaseRate: s.basePart[i]}
}

// likelihood is the phrase for a probability.
func likelihood(p float64) string {
	for _, step := range []struct {
		above  float64
		phrase string
	}{{0.95, "almost_certain"}, {0.80, "very_likely"}, {0.60, "likely"}, {0.40, "even"}, {0.15, "possible"},
		{0.04, "unlikely"}} {
		if p >= step.above {
			return "likelihood_" + step.phrase
		}
	}
	return "likelihood_remote"
}

// Describe writes an observation and its value in plain words.
func (e *Engine) Describe(o Observation, locale string) string {
	t := e.model.Text(locale)
	x := t.Observations[o.ID]
	switch o.Kind {
	case UnknownValue:
		return x.Title + ": " + t.Phrases["not_told"]
	case NumberValue:
		return x.Title + ": " + strconv.FormatFloat(o.Number, 'g', 6, 64) + " " + e.unit(o.ID)
	}
	if label := x.States[o.State]; label != "" {
		return x.Title + ": " + label
	}
	return x.Title + ": " + o.State
}

func (e *Engine) unit(id string) string {
	if o, ok := e.model.Observation(id); ok {
		return o.Unit
	}
	if s, ok := e.model.SetupFact(id); ok {
		return s.Unit
	}
	return ""
}

func (s *subject) unused() []Unused {
	var out []Unused
	why := s.in.Unused()
	for _, o := range s.request.Observations {
		switch {
		case o.Kind == UnknownValue:
			out = append(out, Unused{o.ID, s.texts.Phrases["unused_unknown"]})
		case s.past[o.ID]:
			out = append(out, Unused{o.ID, s.texts.Phrases["unused_past"]})
		case why[o.ID] != "":
			out = append(out, Unused{o.ID, s.texts.Phrases[why[o.ID]]})
		}
	}
	return out
}

func logOdds(p float64) float64 { return math.Log2(p / (1 - p)) }
