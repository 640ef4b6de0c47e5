package knowledge

import (
	"maps"
	"slices"
	"strings"
)

// A sequence is a list of what is looked at, one thing after the other, of which the first that is seen wins. Each step
// becomes an effect that remembers what the sequence has come to, so a long list costs no large tables.

// alreadySeen is the key under which a step says where what was seen before it comes in.
const alreadySeen = "seen"

// watching is what linting looks at of a sequence.
type watching struct {
	last  string                     // its last step, by which the rest of the model knows it
	looks map[string]map[string]bool // variable → states that some line looks for
	at    map[string]node            // variable → where it is looked at first
}

// sequence reads a list of steps. A step's lines are tried in their order; the first that holds counts, and what its
// strengths leave over is overlooked: nothing has been seen then, and later steps go on.
func (f *files) sequence(n node) {
	m := n.fields("nothing", "steps", "basis")
	f.basis(n, m)
	s := &watching{looks: map[string]map[string]bool{}, at: map[string]node{}}
	nothing := m["nothing"].text()
	if nothing == "" {
		n.errorf("nothing is missing: the name for having seen nothing")
		return
	}
	if len(m["steps"].items()) == 0 {
		n.errorf("steps is missing: what is looked at, in its order")
	}
	var before *variable
	for _, it := range m["steps"].items() {
		steps := it.pairs()
		if len(steps) != 1 {
			it.errorf("a step is one name with its lines")
			continue
		}
		id := steps[0].id
		if !f.claim(id, steps[0].key) {
			continue
		}
		f.model.byID[id] = ref{refEffect, 0}
		step := &sequenceStep{in: s, before: before, placed: map[string]bool{}, looked: map[string]bool{},
			v: &variable{id: id, states: []string{nothing}, at: steps[0].key}}
		for _, line := range steps[0].val.items() {
			for _, p := range line.pairs() {
				step.line(p)
			}
		}
		f.variables = append(f.variables, step.finished())
		before, s.last = step.v, id
	}
	f.sequences = append(f.sequences, s)
}

// sequenceStep is a step while it is read.
type sequenceStep struct {
	in             *watching
	before         *variable // the step before; nil for the first
	v              *variable
	placed, looked map[string]bool
}

func (s *sequenceStep) line(p pair) {
	if p.id == alreadySeen {
		s.carry(p.val)
		return
	}
	if s.in.looks[p.id] == nil {
		s.in.looks[p.id], s.in.at[p.id] = map[string]bool{}, p.key
	}
	if !p.val.isMapping() {
		if len(p.val.items()) == 0 {
			p.key.errorf("%s: say what %s looks for", s.v.id, p.id)
		}
		for _, it := range p.val.items() {
			s.look(p, it, it.text(), map[string]float64{it.text(): 1})
		}
		return
	}
	for _, state := range p.val.pairs() {
		s.look(p, state.key, state.id, s.outcome(state))
	}
}

// outcome reads how surely a state is seen, and as what where that bears another name.
func (s *sequenceStep) outcome(state pair) map[string]float64 {
	if !state.val.isMapping() {
		return map[string]float64{state.id: state.val.strength()}
	}
	out, sum, rest := map[string]float64{}, 0.0, ""
	for _, p := range state.val.pairs() {
		switch {
		case p.val.text() != "rest":
			out[p.id] = p.val.strength()
			sum += out[p.id]
		case rest != "":
			p.key.errorf("what is left can go to one of them only, and %s has it already", rest)
		default:
			rest = p.id
		}
	}
	if sum > 1+1e-9 {
		state.val.errorf("the strengths add up to %.3g, more than 1", sum)
	}
	if rest != "" {
		out[rest] = max(0, 1-sum)
	}
	return out
}

func (s *sequenceStep) look(p pair, at node, state string, then map[string]float64) {
	if s.looked[p.id+"="+state] {
		at.errorf("%s looks for %s %s a second time, which never has its turn", s.v.id, p.id, state)
	}
	s.looked[p.id+"="+state], s.in.looks[p.id][state] = true, true
	s.rule(at, condition{p.id, []string{state}, at}, then)
}

// carry puts what was seen before in its place among the lines.
func (s *sequenceStep) carry(n node) {
	if n.isMapping() {
		for _, p := range n.pairs() {
			s.carryOne(p.key, p.id, p.val.text())
		}
		return
	}
	for _, it := range n.items() {
		s.carryOne(it, it.text(), it.text())
	}
}

func (s *sequenceStep) carryOne(at node, seen, as string) {
	switch {
	case s.before == nil:
		at.errorf("%s is the first step; nothing has been seen before it", s.v.id)
		return
	case !slices.Contains(s.before.states[1:], seen):
		known := strings.Join(s.before.states[1:], ", ")
		at.errorf("%s: no step before it comes to %q; they come to %s", s.v.id, seen, known)
		return
	case s.placed[seen]:
		at.errorf("%s places %s a second time", s.v.id, seen)
	}
	s.placed[seen] = true
	s.rule(at, condition{s.before.id, []string{seen}, at}, map[string]float64{as: 1})
}

func (s *sequenceStep) rule(at node, when condition, then map[string]float64) {
	if _, ok := then[s.v.states[0]]; ok {
		at.errorf("%s: %s is the name for having seen nothing", s.v.id, s.v.states[0])
	}
	s.v.rules = append(s.v.rules, rule{at: at, when: []condition{when}, then: then})
}

// finished puts first what was seen before and is not placed among the lines, and gives the step its states.
func (s *sequenceStep) finished() *variable {
	lines := s.v.rules
	s.v.rules = nil
	if s.before != nil {
		for _, seen := range s.before.states[1:] {
			if !s.placed[seen] {
				s.rule(s.v.at, condition{s.before.id, []string{seen}, s.v.at}, map[string]float64{seen: 1})
			}
		}
	}
	s.v.rules = append(s.v.rules, lines...)
	if len(lines) == 0 {
		s.v.at.errorf("%s looks at nothing", s.v.id)
	}
	for _, r := range s.v.rules {
		for _, state := range slices.Sorted(maps.Keys(r.then)) {
			if !slices.Contains(s.v.states, state) {
				s.v.states = append(s.v.states, state)
			}
		}
	}
	s.v.rules = append(s.v.rules, rule{at: s.v.at, then: map[string]float64{}})
	return s.v
}
