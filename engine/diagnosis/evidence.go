package diagnosis

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"

	"lightoff/engine/knowledge"
)

// Evidence is a request that was checked, in the form in which the engine uses it. Whoever has one need not check
// again. It never changes and is safe for concurrent use.
type Evidence struct {
	engine   *Engine
	request  Request
	told     []knowledge.Finding // by id, without what could not be told; dangers hang on it
	findings []knowledge.Finding // of these, what still counts: what a repair may have changed is left out
	past     map[string]bool     // what is left out
	facts    facts               // what was told, by id, and in which order
	still    facts               // the findings, by id
	gone     func() error        // whether the work is still wanted; nil for yes
}

// Evidence checks a request. The error is an *InputError, as Check gives it.
func (e *Engine) Evidence(r Request) (*Evidence, error) {
	if err := e.Check(r); err != nil {
		return nil, err
	}
	r.Observations, r.Tools = slices.Clone(r.Observations), slices.Clone(r.Tools)
	r.Mended, r.Before, r.Order = slices.Clone(r.Mended), slices.Clone(r.Before), maps.Clone(r.Order)
	return e.evidence(r), nil
}

// evidence converts a request that is known to be in order.
func (e *Engine) evidence(r Request) *Evidence {
	v := &Evidence{engine: e, request: r, past: e.pastOf(r)}
	for _, o := range r.Observations {
		if o.Kind == UnknownValue {
			continue
		}
		f := o.finding()
		v.told = append(v.told, f)
		if !v.past[o.ID] {
			v.findings = append(v.findings, f)
		}
	}
	v.findings = append(v.findings, e.denied(v.told)...)
	// The order of telling must not reach the arithmetic, or the same facts could differ in their last digits.
	slices.SortFunc(v.told, func(a, b knowledge.Finding) int { return cmp.Compare(a.ID, b.ID) })
	slices.SortFunc(v.findings, func(a, b knowledge.Finding) int { return cmp.Compare(a.ID, b.ID) })
	v.facts, v.still = factsOf(v.told, r.Order), factsOf(v.findings, nil)
	return v
}

// WithEngine is the same evidence for an engine whose model differs from this one's in its numbers only. What may be
// told is the same there, so nothing is checked again.
func (v *Evidence) WithEngine(e *Engine) *Evidence {
	other := *v
	other.engine = e
	return &other
}

// WithCancel is the same evidence, with which work goes on only while gone returns nil: it is asked between the steps
// of an assessment, a few milliseconds of work each, and its error ends the work. Dangers ask nobody.
func (v *Evidence) WithCancel(gone func() error) *Evidence {
	other := *v
	other.gone = gone
	return &other
}

// wanted is the error of whoever no longer wants the work.
func (v *Evidence) wanted() error {
	if v.gone == nil {
		return nil
	}
	return v.gone()
}

// Dangers are those that stand by what was told, most severe first, at little cost.
func (v *Evidence) Dangers() []Danger {
	return v.engine.dangers(v.facts, v.engine.model.Text(v.request.Locale))
}

// denied are the observations that an answer to a question for several denies: those of two states that were not told
// by themselves. Of more states than two, more than one may be meant.
func (e *Engine) denied(told []knowledge.Finding) (out []knowledge.Finding) {
	for _, f := range told {
		o, ok := e.model.Observation(f.ID)
		if !ok || len(o.Denies) == 0 || f.State != o.States[0] {
			continue
		}
		for _, id := range o.Denies {
			d, _ := e.model.Observation(id)
			if len(d.States) == 2 && !slices.ContainsFunc(told, func(f knowledge.Finding) bool { return f.ID == id }) {
				out = append(out, knowledge.Finding{ID: id, State: d.States[0]})
			}
		}
	}
	return out
}

func (o Observation) finding() knowledge.Finding {
	return knowledge.Finding{ID: o.ID, State: o.State, Number: o.Number, IsNumber: o.Kind == NumberValue}
}

// Check says whether a request can be assessed; the error is an *InputError naming every field that is wrong.
func (e *Engine) Check(r Request) error {
	var bad Violations
	table := ""
	for _, o := range r.Observations {
		if o.ID == e.model.Roles.CodeTable {
			table = o.State
		}
	}
	first := map[string]int{}
	for i, o := range r.Observations {
		field := "observations[" + strconv.Itoa(i) + "]"
		if j, ok := first[o.ID]; ok {
			if r.Observations[j] != o {
				bad.Add(field+".id", "%s is given twice with different values, first in observations[%d]", o.ID, j)
			}
			continue
		}
		first[o.ID] = i
		f := o.finding()
		if o.Kind == UnknownValue {
			if !e.known(o.ID) {
				bad.Add(field+".id", "%q is no observation or setup fact", o.ID)
			}
			continue
		}
		if part, problem := e.model.Check(f, table); problem != "" {
			bad.Add(field+"."+part, "%s", problem)
		}
	}
	for i, id := range r.Mended {
		if _, ok := e.repair(id); !ok {
			bad.Add("mended_ids["+strconv.Itoa(i)+"]", "%q is no repair", id)
		}
	}
	for i, id := range r.Before {
		if _, ok := first[id]; !ok {
			bad.Add("before_ids["+strconv.Itoa(i)+"]", "%q is not among the observations", id)
		}
	}
	if !finiteRate(r.EurosPerMinute) {
		bad.Add("euros_per_minute", "a minute is worth from 0 to 1000 euros, not %g", r.EurosPerMinute)
	}
	if r.Willing < 0 || r.Willing > workshop {
		bad.Add("willingness", "%d is none; it goes from 1 to %d", r.Willing, workshop)
	}
	for i, t := range r.Tools {
		if !slices.Contains(e.model.Tools, t) {
			bad.Add("tools["+strconv.Itoa(i)+"]", "%q is no tool; known are %s", t, strings.Join(e.model.Tools, ", "))
		}
	}
	return bad.Err()
}

func (e *Engine) known(id string) bool {
	if _, ok := e.model.Observation(id); ok {
		return true
	}
	_, ok := e.model.SetupFact(id)
	return ok
}
