package knowledge

import (
	"maps"
	"math"
	"slices"
	"strings"
)

func (f *files) check() {
	f.checkVariables()
	f.checkCauses()
	f.checkRules()
	f.checkTexts()
	if len(f.errs.Problems) == 0 {
		f.checkBound()
	}
	if len(f.errs.Problems) == 0 {
		f.checkLeftover()
	}
}

func (f *files) state(at node, id, state string) {
	r, ok := f.model.byID[id]
	if !ok {
		at.errorf("%s is not defined", id)
		return
	}
	states := f.statesOf(id, r)
	if len(states) == 0 {
		at.errorf("%s has no states, so %q says nothing about it", id, state)
		return
	}
	if !slices.Contains(states, state) {
		at.errorf("%s has no state %q; it has %s", id, state, strings.Join(states, ", "))
	}
}

// statesOf lists what a told state may be; nil for a number.
func (f *files) statesOf(id string, r ref) []string {
	switch r.kind {
	case refSetup:
		var out []string
		for _, s := range f.model.Setup[r.index].States {
			out = append(out, s.ID)
		}
		return out
	case refObservation:
		return f.model.Observations[r.index].States
	case refCause:
		return []string{"no", "yes"}
	}
	for _, v := range f.variables {
		if v.id == id {
			return v.states
		}
	}
	return nil
}

// leastOverlooked is the smallest chance that an observer misses what is there. At zero, an answer could make a cause
// impossible.
const leastOverlooked = 0.002

// checkVariables looks at every link, rule and reading by itself: that the parents, states and quantities that it names
// exist, and that no answer is so sure that its opposite could make a cause impossible. How rules lie to each other is
// checkRules' business. It goes on after a fault, so that an author learns of all of them at once.
func (f *files) checkVariables() {
	known := map[string][]string{}
	for _, v := range f.variables {
		known[v.id] = v.states
	}
	parent := func(at node, id string, states []string) {
		have, ok := known[id]
		if !ok {
			at.errorf("%s is no cause, effect or observation of the model", id)
			return
		}
		for _, s := range states {
			if !slices.Contains(have, s) {
				at.errorf("%s has no state %q; it has %s", id, s, strings.Join(have, ", "))
			}
		}
	}
	for _, v := range f.variables {
		for _, l := range v.worst {
			parent(l.at, l.parent, slices.Sorted(maps.Keys(l.rows)))
			for _, row := range l.rows {
				if f.isObservation(v.id) && completed(row, v.states)[0] < leastOverlooked {
					l.at.errorf("%s: %s is sure to be noticed; leave at least %g, for people overlook things", v.id, l.parent,
						leastOverlooked)
				}
			}
		}
		for _, r := range v.rules {
			for _, c := range r.when {
				parent(c.at, c.parent, c.states)
			}
		}
		if v.reads != nil {
			for _, t := range v.reads.terms {
				q := f.quantityByID(t.quantity)
				if q == nil {
					v.at.errorf("%s reads %s, which is no quantity", v.id, t.quantity)
				} else if first := f.quantityByID(v.reads.terms[0].quantity); v.bandOf != nil && first != nil &&
					q.scaleBy != first.scaleBy {
					v.at.errorf("%s sums %s and %s, which are scaled differently", v.id, first.id, q.id)
				}
			}
		}
	}
	for _, q := range f.quantities {
		for _, l := range q.levels {
			for _, c := range l.when {
				parent(c.at, c.parent, c.states)
			}
		}
		for _, g := range q.given {
			parent(q.at, g, nil)
		}
		if q.scaleBy != "" {
			parent(q.at, q.scaleBy, slices.Sorted(maps.Keys(q.scales)))
			for _, s := range known[q.scaleBy] {
				if q.scales[s] <= 0 {
					q.at.errorf("%s: scale needs a positive number for %s %s", q.id, q.scaleBy, s)
				}
			}
		}
	}
	if have, ok := known[f.complaint.effect]; !ok || !slices.Contains(have, f.complaint.quiet) {
		f.errs.add(".", 0, 0, "complaint: names no effect and quiet state of the model")
	} else if have[0] != f.complaint.quiet {
		f.errs.add(".", 0, 0, "complaint: the quiet state must be the first of %s, which is %s", f.complaint.effect, have[0])
	}
}

func (f *files) checkCauses() {
	m := f.model
	computed := 0
	for _, c := range m.Causes {
		if c.Computed {
			computed++
		}
		if known := slices.Contains(m.Parts, c.Part) || len(m.Parts) > 0 && c.Part == NoPart; !known &&
			(c.Part != "" || len(m.Parts) > 0) {
			f.places["part/"+c.ID].errorf("%s: part %q is not one of %s", c.ID, c.Part,
				strings.Join(append(slices.Clone(m.Parts), NoPart), ", "))
		}
		for _, r := range c.Raised {
			at := f.places[raisePlace(c.ID, r.Setup, r.State)]
			if _, ok := m.SetupFact(r.Setup); !ok {
				at.errorf("%s is no setup fact", r.Setup)
				continue
			}
			f.state(at, r.Setup, r.State)
		}
		if !slices.ContainsFunc(m.Repairs, func(r Repair) bool { return slices.Contains(r.Mends, c.ID) }) {
			f.seen[c.ID].errorf("no repair mends %s; name it under mends of one in repairs.yaml", c.ID)
		}
	}
	if computed == 1 {
		for _, c := range m.Causes {
			if !c.Computed && !f.shown(c.ID) {
				f.seen[c.ID].errorf("nothing shows %s; name it under worst_of or rules of an effect or an observation", c.ID)
			}
		}
	} else {
		f.errs.add(".", 0, 0, "exactly one cause must be computed (nothing is the matter); there are %d", computed)
	}
}

// shown is whether any effect, observation or quantity of the model depends on a cause.
func (f *files) shown(cause string) bool {
	named := func(c condition) bool { return c.parent == cause }
	for _, v := range f.variables {
		if slices.ContainsFunc(v.worst, func(l link) bool { return l.parent == cause }) ||
			slices.ContainsFunc(v.rules, func(r rule) bool { return slices.ContainsFunc(r.when, named) }) {
			return true
		}
	}
	return slices.ContainsFunc(f.quantities, func(q *quantity) bool {
		return q.scaleBy == cause || slices.Contains(q.given, cause) ||
			slices.ContainsFunc(q.levels, func(l level) bool { return slices.ContainsFunc(l.when, named) })
	})
}

// checkRules looks at repairs, dangers, limits, conditions and code tables, which refer to the rest by name.
func (f *files) checkRules() {
	m := f.model
	cause := func(at node, id string) {
		if _, ok := m.Cause(id); !ok {
			at.errorf("%s is no cause", id)
		}
	}
	for _, r := range m.Repairs {
		for _, t := range slices.Concat(r.Points, r.Against) {
			for _, trip := range t.All {
				f.checkTrip(f.seen[r.ID], trip)
			}
		}
		for _, c := range r.Mends {
			cause(f.seen[r.ID], c)
		}
		for _, b := range r.Behind {
			if m.byID[b].kind != refRepair {
				f.seen[r.ID].errorf("%s is no repair", b)
			}
		}
		for _, d := range r.Disturbs {
			cause(f.seen[r.ID], d.Cause)
			if !slices.ContainsFunc(m.Repairs, func(o Repair) bool {
				return o.ID != r.ID &&
					slices.Contains(o.Mends, d.Cause)
			}) {
				f.seen[r.ID].errorf("disturbs: no other repair mends %s", d.Cause)
			}
		}
		for _, o := range r.After {
			if _, ok := m.Observation(o); !ok {
				f.seen[r.ID].errorf("%s is no observation", o)
			}
		}
	}
	for _, e := range m.Endings {
		at := f.places["ending/"+e.Kind]
		for _, c := range e.Mends {
			cause(at, c)
		}
		for _, g := range e.Groups {
			if !slices.ContainsFunc(m.Causes, func(c Cause) bool { return c.Group == g }) {
				at.errorf("no cause is of the group %s", g)
			}
		}
	}
	if len(m.Endings) > 0 && !slices.ContainsFunc(m.Endings, func(e Ending) bool { return e.Everything }) {
		f.errs.add(".", 0, 0, "endings: one of them must mend everything")
	}
	for _, id := range m.Watch {
		if _, ok := m.Observation(id); !ok {
			f.places["watch/"+id].errorf("%s is no observation", id)
		}
	}
	for _, d := range m.Dangers {
		f.checkDanger(f.places["danger/"+d.ID], d)
	}
	for _, l := range m.Limits {
		cause(f.places["limit/"+l.Cause], l.Cause)
		if _, ok := f.places["danger/"+l.Danger]; !ok {
			f.places["limit/"+l.Cause].errorf("%s is no danger", l.Danger)
		}
	}
	for _, o := range m.Observations {
		for _, c := range slices.Concat(o.OnlyIf, o.VoidIf, o.SureIf) {
			for _, s := range c.States {
				f.state(f.seen[o.ID], c.ID, s)
			}
		}
		if o.Tool != "" && !slices.Contains(m.Tools, o.Tool) {
			f.seen[o.ID].errorf("%s needs %s, which is no tool", o.ID, o.Tool)
		}
		for _, id := range o.Denies {
			if _, ok := m.Observation(id); !ok {
				f.seen[o.ID].errorf("denies: %s is no observation", id)
			}
		}
		if o.Does != "" && m.byID[o.Does].kind != refRepair {
			f.seen[o.ID].errorf("does: %s is no repair", o.Does)
		}
	}
	f.checkRoles()
	for _, t := range m.CodeTables {
		if _, ok := m.Observation(m.Roles.Code); !ok {
			break // said above
		}
		for _, state := range t.Codes {
			f.state(f.places["table/"+t.ID], m.Roles.Code, state)
		}
	}
}

// checkRoles finds roles that nothing plays.
func (f *files) checkRoles() {
	m := f.model
	for name, id := range map[string]string{"code": m.Roles.Code, "earlier_code": m.Roles.EarlierCode,
		"complaint":  m.Roles.Complaint,
		"fails_when": m.Roles.FailsWhen, "alarm": m.Roles.Alarm} {
		if _, ok := m.Observation(id); id != "" && !ok {
			f.places["role/"+name].errorf("%s: %s is no observation", name, id)
		}
	}
	for name, id := range map[string]string{"code_table": m.Roles.CodeTable, "alarm_fitted": m.Roles.AlarmFitted} {
		if _, ok := m.SetupFact(id); id != "" && !ok {
			f.places["role/"+name].errorf("%s: %s is no setup fact", name, id)
		}
	}
	if len(m.CodeTables) > 0 && m.Roles.Code == "" {
		f.places["table/"+m.CodeTables[0].ID].errorf("there are code tables, and no role says which observation is the code")
	}
}

func (f *files) isObservation(id string) bool { return f.model.byID[id].kind == refObservation }

func (f *files) isEffect(id string) bool { return f.model.byID[id].kind == refEffect }

func (f *files) quantityByID(id string) *quantity {
	i := slices.IndexFunc(f.quantities, func(q *quantity) bool { return q.id == id })
	if i < 0 {
		return nil
	}
	return f.quantities[i]
}

// checkBound binds the names and tries every computation in every configuration, so that none fails later.
func (f *files) checkBound() {
	silence := f.silence
	for i := range f.model.Causes {
		c := &f.model.Causes[i]
		if c.RateFrom == "" {
			continue
		}
		c.computation = f.bind(f.seen[c.ID], c.RateFrom, "rate")
		if c.computation == nil {
			continue
		}
		if c.silent = f.model.expectedRate(c, silence); !(c.silent > 0) {
			f.seen[c.ID].errorf("%s: %s gives no rate", c.ID, c.RateFrom)
		}
	}
	for _, q := range f.quantities {
		if q.from == "" {
			continue
		}
		if q.computed = f.bind(q.at, q.from, "level"); q.computed == nil {
			continue
		}
		f.configurations(q.given, func(at map[string]string) {
			if mean, spread := f.model.level(q, at, silence); !(spread > 0) || math.IsNaN(mean) {
				q.at.errorf("%s: %s gives no level", q.id, q.from)
			}
		})
	}
}

// configurations visits every combination of the variables' states, the last varying fastest.
func (f *files) configurations(names []string, visit func(at map[string]string)) {
	at := map[string]string{}
	var walk func(i int)
	walk = func(i int) {
		if i == len(names) {
			visit(at)
			return
		}
		for _, s := range f.model.variables[names[i]].states {
			at[names[i]] = s
			walk(i + 1)
		}
	}
	walk(0)
}
