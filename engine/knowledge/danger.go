package knowledge

import (
	"slices"
	"strings"
)

// Gates are what a check or repair involves; a danger can forbid each of them.
type Gates struct {
	NeedsStart, NeedsPower, OpensFuel, OpensBurner, TouchesHot bool
}

// gateNames are the gates as the files write them.
var gateNames = []string{"needs_start", "needs_power", "opens_fuel", "opens_burner", "touches_hot"}

func (g *Gates) all() []*bool {
	return []*bool{&g.NeedsStart, &g.NeedsPower, &g.OpensFuel, &g.OpensBurner, &g.TouchesHot}
}

// Names lists the gates that are set, as the files write them.
func (g Gates) Names() (names []string) {
	for i, set := range g.all() {
		if *set {
			names = append(names, gateNames[i])
		}
	}
	return names
}

// Overlaps reports whether both involve the same thing.
func (g Gates) Overlaps(o Gates) bool {
	theirs := o.all()
	for i, set := range g.all() {
		if *set && *theirs[i] {
			return true
		}
	}
	return false
}

// Danger is a rule: when one of its triggers holds and nothing that was told lifts it, it stands.
type Danger struct {
	ID            string
	Severity      int // 1 caution, 2 no start, 3 urgent, 4 leave now
	CallEmergency bool
	Any           []Trigger
	Forbids       Gates
	LiftedBy      []Lift
	MendedBy      []Mend
	Allows        []string // repairs that it allows in spite of their gates, for their cautions are made for it
}

// Trigger holds when all its conditions do.
type Trigger struct{ All []Trip }

// Trip is one observation's part in a trigger: in one of the states, or a number not above Below / not below Above.
type Trip struct {
	ID     string
	States []string
	Below  *float64
	Above  *float64
	Not    bool // the observation was told and is in none of the states
}

// Lift takes triggers away when all its conditions hold: those that name one of Of, or all where Of is empty.
type Lift struct {
	All []Trip
	Of  []string
}

// Lifts reports whether a lift concerns a trigger.
func (l Lift) Lifts(t Trigger) bool {
	return len(l.Of) == 0 || slices.ContainsFunc(t.All, func(trip Trip) bool { return slices.Contains(l.Of, trip.ID) })
}

// Mend is a repair that a danger asks for while one of Of has triggered it, or anything where Of is empty. The danger
// allows it in spite of its gates.
type Mend struct {
	Repair string
	Of     []string
}

// Permits reports whether a danger allows a repair in spite of its gates.
func (d Danger) Permits(repair string) bool {
	return slices.Contains(d.Allows, repair) || slices.ContainsFunc(d.MendedBy,
		func(m Mend) bool { return m.Repair == repair })
}

// Limit forbids what its gates say while a cause is more probable than Above.
type Limit struct {
	Cause   string
	Above   float64
	Forbids Gates
	Danger  string // named as the reason
}

func (f *files) gates(n node) Gates {
	var g Gates
	set := g.all()
	for _, it := range n.items() {
		i := slices.Index(gateNames, it.text())
		if i < 0 {
			it.errorf("unknown gate %q; known are %s", it.text(), strings.Join(gateNames, ", "))
			continue
		}
		*set[i] = true
	}
	return g
}

var severities = []string{"", "caution", "no_start", "urgent", "leave_now"}

func (f *files) danger(n node) {
	m := n.fields("id", "severity", "call_emergency", "forbids", "any", "lifted_by", "mended_by", "allows")
	d := Danger{ID: m["id"].text(), CallEmergency: m["call_emergency"].flag(),
		Forbids: f.gates(m["forbids"]), Allows: m["allows"].texts()}
	d.Severity = slices.Index(severities, m["severity"].text())
	if d.Severity < 1 {
		n.errorf("danger %s: severity must be one of %s", d.ID, strings.Join(severities[1:], ", "))
	}
	d.Any = f.triggers(m["any"])
	for _, t := range m["lifted_by"].items() {
		var l Lift
		for _, p := range t.pairs() {
			if p.id == "of" {
				l.Of = p.val.texts()
				continue
			}
			l.All = append(l.All, f.trip(p))
		}
		d.LiftedBy = append(d.LiftedBy, l)
	}
	for _, t := range m["mended_by"].items() {
		if !t.isMapping() {
			d.MendedBy = append(d.MendedBy, Mend{Repair: t.text()})
			continue
		}
		x := t.fields("repair", "of")
		d.MendedBy = append(d.MendedBy, Mend{x["repair"].text(), x["of"].texts()})
	}
	if len(d.Any) == 0 {
		n.errorf("danger %s: nothing sets it off; say what does under any", d.ID)
	}
	if first, ok := f.places["danger/"+d.ID]; ok {
		line, _ := first.position()
		n.errorf("danger %s is defined twice; first in %s line %d", d.ID, first.file, line)
	}
	f.places["danger/"+d.ID] = n
	f.model.Dangers = append(f.model.Dangers, d)
}

// triggers reads a list of conditions, each of which holds when all its parts do.
func (f *files) triggers(n node) (out []Trigger) {
	for _, t := range n.items() {
		var tr Trigger
		for _, p := range t.pairs() {
			tr.All = append(tr.All, f.trip(p))
		}
		out = append(out, tr)
	}
	return out
}

func (f *files) trip(p pair) Trip {
	t := Trip{ID: p.id}
	if !p.val.isMapping() {
		t.States = p.val.texts()
		return t
	}
	m := p.val.fields("below", "above", "not")
	if m["below"].ok() {
		v := m["below"].number()
		t.Below = &v
	}
	if m["above"].ok() {
		v := m["above"].number()
		t.Above = &v
	}
	if m["not"].ok() {
		t.Not, t.States = true, m["not"].texts()
	}
	return t
}

func (f *files) limit(n node) {
	m := n.fields("cause", "above", "forbids", "danger")
	if m["cause"].n == nil {
		n.errorf("a limit without a cause")
		return
	}
	l := Limit{m["cause"].text(), m["above"].strength(), f.gates(m["forbids"]), m["danger"].text()}
	f.places["limit/"+l.Cause] = n
	f.model.Limits = append(f.model.Limits, l)
}

// checkDanger looks at what a danger names. A repair that it asks for must not need a start that it forbids.
func (f *files) checkDanger(at node, d Danger) {
	triggering := func(id string) bool {
		return slices.ContainsFunc(d.Any, func(t Trigger) bool {
			return slices.ContainsFunc(t.All, func(trip Trip) bool { return trip.ID == id })
		})
	}
	for _, t := range d.Any {
		for _, trip := range t.All {
			f.checkTrip(at, trip)
		}
	}
	for _, l := range d.LiftedBy {
		if len(l.All) == 0 {
			at.errorf("danger %s: a lift without a condition would lift it always", d.ID)
		}
		for _, trip := range l.All {
			f.checkTrip(at, trip)
		}
		for _, id := range l.Of {
			if !triggering(id) {
				at.errorf("danger %s: lifted_by: %s sets it not off", d.ID, id)
			}
		}
	}
	for _, m := range d.MendedBy {
		for _, id := range m.Of {
			if !triggering(id) {
				at.errorf("danger %s: mended_by: %s sets it not off", d.ID, id)
			}
		}
	}
	for _, r := range f.model.Repairs {
		if d.Permits(r.ID) && d.Forbids.NeedsStart && r.Gates.NeedsStart {
			at.errorf("danger %s: %s needs a start, which it forbids", d.ID, r.ID)
		}
	}
	for _, id := range slices.Concat(d.Allows, repairsOf(d.MendedBy)) {
		if f.model.byID[id].kind != refRepair {
			at.errorf("danger %s: %s is no repair", d.ID, id)
		}
	}
}

func repairsOf(list []Mend) (ids []string) {
	for _, m := range list {
		ids = append(ids, m.Repair)
	}
	return ids
}

func (f *files) checkTrip(at node, t Trip) {
	r, ok := f.model.byID[t.ID]
	if !ok || (r.kind != refObservation && r.kind != refSetup) {
		at.errorf("%s is neither an observation nor a setup fact", t.ID)
		return
	}
	numeric := len(f.statesOf(t.ID, r)) == 0 || r.kind == refSetup && f.model.Setup[r.index].Unit != ""
	switch bounded := t.Below != nil || t.Above != nil; {
	case numeric && (!bounded || len(t.States) > 0):
		at.errorf("%s is a number: say below or above what it is a danger", t.ID)
	case !numeric && bounded:
		at.errorf("%s has states, so it is neither below nor above anything", t.ID)
	case !numeric && len(t.States) == 0:
		at.errorf("%s: say in which states it is a danger", t.ID)
	case !numeric:
		for _, s := range t.States {
			f.state(at, t.ID, s)
		}
	}
}

// With is the gates and one more, by its name.
func (g Gates) With(name string) Gates {
	if i := slices.Index(gateNames, name); i >= 0 {
		*g.all()[i] = true
	}
	return g
}
