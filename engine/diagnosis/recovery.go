package diagnosis

import (
	"cmp"
	"slices"

	"lightoff/engine/knowledge"
)

// What a repair does to what is known. A finding that a mended cause can bring about was of the heater as it was, so it
// counts no more until it is told anew; the mended causes become improbable, those that the repair can bring about more
// probable, and all else that was found still stands. That somebody is still not content is what an assessment is
// always made under. So a repair that did not help teaches which causes it was not, as in Heckerman, Breese & Rommelse
// 1995.

// mendedWell is the chance that a repair, made by an owner, mends what it is for; common practice, no source.
const mendedWell = 0.9

// wellFrom is the probability from which on a heater counts as well after a start that was watched: very likely, in
// words.
const wellFrom = 0.8

// Stage says where a conversation is on its way from a fault to a heater that runs.
type Stage int

// The stages.
const (
	Searching Stage = iota // what is wrong is looked for
	Starting               // something was mended, and a start is to be watched
	Doubtful               // it ran, but what was seen of it, or what else it might be, leaves doubt
	Well                   // it ran as it should
)

// Recovery is what follows from the repairs that were done.
type Recovery struct {
	Stage       Stage
	Watch       []string // at Starting: observations to make during the start, in the order in which they show
	Probability float64  // at Doubtful and Well: that the heater is well
	Likelihood  string   // the probability in words
	Remaining   []RankedCause
	Roots       []Chain  // what had brought the mended faults about and has not been mended itself
	Prevention  []string // of the repairs done
	Parts       []string // that the repairs done take, and those still to do for the roots
}

func (e *Engine) repair(id string) (knowledge.Repair, bool) {
	i := slices.IndexFunc(e.model.Repairs, func(r knowledge.Repair) bool { return r.ID == id })
	if i < 0 {
		return knowledge.Repair{}, false
	}
	return e.model.Repairs[i], true
}

// pastOf lists the observations that count no more, for a repair may have changed what they were of.
func (e *Engine) pastOf(r Request) map[string]bool {
	out := map[string]bool{}
	for _, id := range r.Before {
		if _, setup := e.model.SetupFact(id); setup {
			continue
		}
		out[id] = slices.ContainsFunc(r.Mended, func(repair string) bool { return e.changes(repair, id) })
	}
	return out
}

// changes reports whether what a repair mends or disturbs can bring an observation about.
func (e *Engine) changes(repair, observation string) bool {
	r, _ := e.repair(repair)
	bears := func(cause string) bool {
		_, ok := e.model.Path(cause, observation)
		return ok
	}
	return slices.ContainsFunc(r.Mends, bears) ||
		slices.ContainsFunc(r.Disturbs, func(d knowledge.Disturbance) bool { return bears(d.Cause) })
}

// odds says by how much repairs, the latest last, change the odds of each cause, given how probable it was for the
// setup.
func (e *Engine) odds(repairs []string, base []float64) []float64 {
	odds := make([]float64, len(base))
	for i, p := range base {
		odds[i] = p / (1 - p)
	}
	for _, id := range repairs {
		r, _ := e.repair(id)
		for i, c := range e.model.Causes {
			if slices.Contains(r.Mends, c.ID) {
				odds[i] *= 1 - mendedWell
			}
			for _, d := range r.Disturbs {
				if d.Cause == c.ID {
					p := odds[i] / (1 + odds[i])
					p += (1 - p) * d.P
					odds[i] = p / (1 - p)
				}
			}
		}
	}
	for i, p := range base {
		odds[i] *= (1 - p) / p
		if p == 0 { // the computed cause follows from the others
			odds[i] = 1
		}
	}
	return odds
}

// recover says where a conversation is and, once something was mended, how well the heater is.
func (e *Engine) recover(c Conversation, s *subject) (*Recovery, error) {
	r := &Recovery{}
	if len(c.Mended) == 0 || s.gates.leave {
		return r, nil
	}
	if c.Start == nil {
		if !s.gates.forbidsStart() {
			r.Stage, r.Watch = Starting, s.watchable()
		}
		return r, nil
	}
	if !c.Start.Ran || s.gates.forbidsStart() {
		return r, nil
	}
	if err := e.prove(c, r); err != nil {
		return nil, err
	}
	r.Likelihood = s.texts.Phrases[likelihood(r.Probability)]
	if r.Stage = Doubtful; r.Probability >= wellFrom {
		r.Stage = Well
	}
	return r, e.aftercare(c, r)
}

// watchable lists what can be watched of a start with the tools at hand.
func (s *subject) watchable() (ids []string) {
	for _, id := range s.model.Watch {
		o, _ := s.model.Observation(id)
		if o.Tool != "" && !slices.Contains(s.request.Tools, o.Tool) || s.gates.forbids(o.Gates) != "" ||
			!s.applies(o.OnlyIf) ||
			s.request.Willing > 0 && o.Difficulty > s.request.Willing {
			continue
		}
		ids = append(ids, id)
	}
	return ids
}

// prove works out how probable it is that the heater is well after a start that ran. What it may have been before the
// repairs comes from the plan's scenarios; each repair has mended its causes or not; and each of what may be left has
// its own chance of a start that goes well and shows what this one showed.
func (e *Engine) prove(c Conversation, r *Recovery) error {
	before := c.Latest
	before.Locale = c.Locale
	before.Mended = slices.DeleteFunc(slices.Clone(before.Mended), func(id string) bool { return !c.hasDone(id) })
	v, err := e.Evidence(before)
	if err != nil {
		return err
	}
	s, err := v.subject()
	if err != nil {
		return err
	}
	defer e.pool.Put(s.in)
	p := &planning{s: s}
	p.chooseCauses()
	if err := s.look(nil, p, nil); err != nil {
		return err
	}
	p.weighScenarios()
	var mends []string
	for _, d := range c.Mended {
		if !slices.Contains(before.Mended, d.RepairID) {
			x, _ := e.repair(d.RepairID)
			mends = append(mends, x.Mends...)
		}
	}
	left := p.remains(mends)
	likelihood, err := s.in.StartLikelihoods(seen(c, s), left.sets)
	if err != nil {
		return err
	}
	total := 0.0
	causes := make([]float64, len(e.model.Causes))
	for k, w := range left.weights {
		w *= likelihood[k]
		total += w
		if len(left.sets[k]) == 0 {
			r.Probability += w
		}
		for _, i := range left.sets[k] {
			causes[i] += w
		}
	}
	r.Probability /= total
	for i, w := range causes {
		if w /= total; w >= planFrom {
			s.posterior[i], s.part[i] = w, w
			r.Remaining = append(r.Remaining, s.ranked(i, e.model.Causes[i].ID))
		}
	}
	slices.SortStableFunc(r.Remaining, func(a, b RankedCause) int { return cmp.Compare(b.Probability, a.Probability) })
	return nil
}

// seen is what was told since the latest repairs, with the facts of the installation.
func seen(c Conversation, s *subject) (out []knowledge.Finding) {
	latest := c.Mended[len(c.Mended)-1].Event
	for _, t := range c.Told {
		if t.Skipped || t.Observation.Kind == UnknownValue {
			continue
		}
		if _, setup := s.model.SetupFact(t.Observation.ID); setup || t.Event > latest {
			out = append(out, t.Observation.finding())
		}
	}
	slices.SortFunc(out, func(a, b knowledge.Finding) int { return cmp.Compare(a.ID, b.ID) })
	return out
}

// leftover is what may be left of the scenarios, as sets of causes by index, with weights.
type leftover struct {
	sets    [][]int
	weights []float64
}

func (l *leftover) add(w float64, set ...int) {
	if i := slices.IndexFunc(l.sets, func(o []int) bool { return slices.Equal(o, set) }); i >= 0 {
		l.weights[i] += w
		return
	}
	l.sets, l.weights = append(l.sets, slices.Clone(set)), append(l.weights, w)
}

// remains is what repairs leave of the scenarios. What the plan does not take up is any of the other causes, each as
// probable as it is.
func (p *planning) remains(mends []string) (out leftover) {
	out.add(0)
	for _, sc := range p.Scenarios {
		if sc.Causes>>otherCause&1 == 1 {
			p.others(sc.P, mends, &out)
			continue
		}
		var set []int
		for k, i := range p.causes {
			if sc.Causes>>k&1 == 1 && !p.s.model.Causes[i].Computed {
				set = append(set, i)
			}
		}
		p.failures(sc.P, set, nil, mends, &out)
	}
	return out
}

// failures adds, for each way in which the repairs of a set may have failed, what is left.
func (p *planning) failures(w float64, set, left []int, mends []string, out *leftover) {
	if len(set) == 0 {
		out.add(w, left...)
		return
	}
	i, rest := set[0], set[1:]
	stays := slices.Concat(left, []int{i})
	if slices.Contains(mends, p.s.model.Causes[i].ID) {
		p.failures(w*mendedWell, rest, left, mends, out)
		p.failures(w*(1-mendedWell), rest, stays, mends, out)
		return
	}
	p.failures(w, rest, stays, mends, out)
}

func (p *planning) others(w float64, mends []string, out *leftover) {
	total := 0.0
	for i, c := range p.s.model.Causes {
		if !c.Computed && !slices.Contains(p.causes, i) {
			total += p.s.posterior[i]
		}
	}
	for i, c := range p.s.model.Causes {
		if !c.Computed && !slices.Contains(p.causes, i) && total > 0 {
			p.failures(w*p.s.posterior[i]/total, []int{i}, nil, mends, out)
		}
	}
}

// aftercare is what keeps the fault from coming back: the root of it, and what each repair's text says.
func (e *Engine) aftercare(c Conversation, r *Recovery) error {
	before := c.First
	before.Locale = c.Locale
	v, err := e.Evidence(before)
	if err != nil {
		return err
	}
	s, err := v.subject()
	if err != nil {
		return err
	}
	defer e.pool.Put(s.in)
	if err := s.look(nil, nil, nil); err != nil {
		return err
	}
	chains := s.chains()
	once := func(list *[]string, more ...string) {
		for _, x := range more {
			if x != "" && !slices.Contains(*list, x) {
				*list = append(*list, x)
			}
		}
	}
	texts := e.model.Text(c.Locale).Repairs
	for _, d := range c.Mended {
		once(&r.Prevention, texts[d.RepairID].Prevention)
		once(&r.Parts, texts[d.RepairID].Parts...)
	}
	for _, chain := range chains {
		if slices.ContainsFunc(chain.RepairIDs, c.hasDone) || !e.endsIn(chain, c.Mended) {
			continue
		}
		r.Roots = append(r.Roots, chain)
		if len(chain.RepairIDs) > 0 {
			once(&r.Parts, texts[chain.RepairIDs[0]].Parts...)
		}
	}
	return nil
}

// endsIn reports whether what a chain ends in was mended.
func (e *Engine) endsIn(chain Chain, mended []Done) bool {
	end := chain.Links[len(chain.Links)-1].ID
	return slices.ContainsFunc(mended, func(d Done) bool {
		r, _ := e.repair(d.RepairID)
		return slices.Contains(r.Mends, end)
	})
}
