package knowledge

import (
	"io/fs"
	"maps"
	"math"
	"path"
	"slices"
	"strings"

	"lightoff/engine/bayes"
)

// variable is a cause's, effect's or observation's place in the network, before compilation.
type variable struct {
	id     string
	states []string
	at     node
	worst  []link // noisy-MAX
	leak   []float64
	rules  []rule
	slips  float64
	learnt []float64 // what was learnt of what happens otherwise, slips included; nil: nothing
	reads  *reading
	bandOf []int // for an effect that reads: the state that each band stands for
}

// link is one parent's contribution to a noisy-MAX: for each of its states the distribution that it alone brings about.
type link struct {
	parent string
	at     node
	rows   map[string]map[string]float64 // parent state → child state → probability; missing: nothing
}

// rule is a row of a decision list: the first whose conditions all hold gives the distribution.
type rule struct {
	at   node
	when []condition
	then map[string]float64
}

type condition struct {
	parent string
	states []string
	at     node
}

// files collects what the model files say until it can be compiled.
type files struct {
	errs       *Error
	model      *Model
	binding    Binding
	silence    *situation // nothing known of the installation; while loading only
	children   map[string][]string
	variables  []*variable
	quantities []*quantity
	// observation → state that stands for several → likelihood of each
	covers    map[string]map[string]map[string]float64
	complaint struct{ effect, quiet string }
	learned   []learntEntry
	anyway    float64 // if positive, how often somebody complains of nothing; the computed cause then follows
	sequences []*watching
	together  [][]bayes.VarID // what each group of readings depends on
	seen      map[string]node
	lexica    []worded
	paired    []node
	answered  []node
	followed  []node
	worded    []worded
	textFiles map[string]bool // the text files that were read, as language/name
	grammars  []worded
	measured  []node
	alarms    []alarmPlace
	places    map[string]node
	// In which sequence the network's variables are best eliminated, as Model.Elimination finds it; may be empty.
	elimination []string
	shape       *bayes.Shape // of the model's tree; nil: to be searched for
}

// eachFile visits the model files of a folder that can be read.
func eachFile(fsys fs.FS, errs *Error, visit func(path string, root node)) {
	err := fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path.Ext(p) != ".yaml" {
			return err
		}
		text, err := fs.ReadFile(fsys, p)
		if err != nil {
			return err
		}
		if root, ok := parseFile(p, text, errs); ok {
			visit(p, root)
		}
		return nil
	})
	if err != nil {
		errs.add(".", 0, 0, "reading the model: %v", err)
	}
}

// read takes in a file: every one outside text/ holds sections, in any mixture.
func (f *files) read(p string, root node) {
	if locale, file, ok := textFile(p); ok {
		f.textFiles[locale+"/"+file] = true
		f.readTexts(locale, file, root)
		return
	}
	if path.Base(p) == "repairs.yaml" {
		f.each(root, f.repair)
		return
	}
	f.sections(root)
}

func (f *files) sections(root node) {
	sections := map[string]func(node){
		"causes": f.cause, "setup": f.setup, "effects": f.effect, "sequences": f.sequence, "observations": f.observation,
		"quantities": f.quantity, "dangers": f.danger, "limits": f.limit, "code_tables": f.codeTable, "measures": f.measure,
		"pairs": f.pair, "answers": f.answer, "follows": f.entailed, "endings": f.ending, "watch": f.watch, "phases": f.phase,
		"learned": f.learnedEntry,
	}
	for _, p := range root.pairs() {
		switch p.id {
		case "tools":
			f.model.Tools = p.val.texts()
		case "parts":
			f.model.Parts = p.val.texts()
		case "backdrop":
			f.model.Backdrop = p.val.texts()
		case "elimination":
			f.elimination = p.val.texts()
		case "roles":
			f.roles(p.val)
		case "complaint":
			m := p.val.fields("effect", "quiet")
			f.complaint.effect, f.complaint.quiet = m["effect"].text(), m["quiet"].text()
		default:
			read, ok := sections[p.id]
			if !ok {
				p.key.errorf("unknown section %q", p.id)
				continue
			}
			f.each(p.val, read)
		}
	}
}

// roles reads which identifiers general code speaks of; check.go looks whether the model has them.
func (f *files) roles(n node) {
	r, m := &f.model.Roles, n.fields("code", "earlier_code", "code_table", "complaint", "fails_when", "alarm",
		"alarm_fitted")
	for name, field := range map[string]*string{"code": &r.Code, "earlier_code": &r.EarlierCode,
		"code_table": &r.CodeTable,
		"complaint":  &r.Complaint, "fails_when": &r.FailsWhen, "alarm": &r.Alarm, "alarm_fitted": &r.AlarmFitted} {
		if m[name].ok() {
			*field = m[name].text()
			f.places["role/"+name] = m[name]
		}
	}
}

func (f *files) each(list node, read func(node)) {
	for _, it := range list.items() {
		read(it)
	}
}

// claim records an identifier; the second use of one is an error that says where the first stands.
func (f *files) claim(id string, at node) bool {
	if id == "" {
		at.errorf("entry without id")
		return false
	}
	if strings.Trim(id, "abcdefghijklmnopqrstuvwxyz0123456789_") != "" {
		at.errorf("%q: identifiers are written in lower_snake_case", id)
	}
	if first, ok := f.seen[id]; ok {
		line, _ := first.position()
		at.errorf("%s is defined twice; first in %s line %d", id, first.file, line)
		return false
	}
	f.seen[id] = at
	return true
}

func (f *files) basis(n node, m map[string]node) string {
	if !m["basis"].ok() || m["basis"].text() == "" {
		n.errorf("basis is missing: a published source, or common practice, no source")
	}
	return m["basis"].text()
}

func (f *files) cause(n node) {
	m := n.fields("id", "group", "part", "per_1000", "computed", "raised_by", "rate_from", "brought_about_by",
		"unconfirmed", "basis")
	id := m["id"].text()
	if !f.claim(id, n) {
		return
	}
	c := Cause{ID: id, Group: m["group"].text(), Part: m["part"].text(), PerThousand: m["per_1000"].numberOr(math.NaN()),
		Basis: f.basis(n, m), Computed: m["computed"].flag(), RateFrom: m["rate_from"].text(),
		Unconfirmed: m["unconfirmed"].text()}
	if !(c.PerThousand > 0 && c.PerThousand < 1000) {
		n.errorf("%s: per_1000 must lie between 0 and 1000", id)
	}
	if c.Group == "" {
		n.errorf("%s: group is missing: the kind of fault, as in electrics or fuel", id)
	}
	for _, p := range m["raised_by"].pairs() {
		for _, s := range p.val.pairs() {
			c.Raised = append(c.Raised, Raise{Setup: p.id, State: s.id, Factor: s.val.factor()})
			f.places[raisePlace(id, p.id, s.id)] = s.key
		}
	}
	f.places["part/"+id] = n
	if m["part"].ok() {
		f.places["part/"+id] = m["part"]
	}
	f.model.byID[id] = ref{refCause, len(f.model.Causes)}
	f.model.Causes = append(f.model.Causes, c)
	if c.Computed {
		return
	}
	v := &variable{id: id, states: []string{"no", "yes"}, at: n}
	v.worst = f.links(m["brought_about_by"], v.states)
	f.variables = append(f.variables, v)
}

func raisePlace(cause, setup, state string) string { return cause + "/" + setup + "/" + state }

func (f *files) setup(n node) {
	m := n.fields("id", "states", "bands", "unit", "min", "max", "variable", "habit", "basis")
	id := m["id"].text()
	if !f.claim(id, n) {
		return
	}
	s := SetupFact{ID: id, Unit: m["unit"].text(), Min: m["min"].numberOr(math.Inf(-1)),
		Max:      m["max"].numberOr(math.Inf(1)),
		Variable: m["variable"].flag(), Habit: m["habit"].text()}
	total := 0.0
	for _, p := range m["states"].pairs() {
		s.States = append(s.States, SetupState{ID: p.id, Share: p.val.number()})
		total += p.val.number()
	}
	for _, b := range m["bands"].items() {
		bm := b.fields("id", "below", "share", "typical")
		st := SetupState{ID: bm["id"].text(), Share: bm["share"].number(), Below: bm["below"].numberOr(math.Inf(1))}
		f.typical(&st, &s, bm["typical"])
		s.States = append(s.States, st)
		total += st.Share
	}
	f.basis(n, m)
	if s.Habit != "" && !slices.ContainsFunc(s.States, func(st SetupState) bool { return st.ID == s.Habit }) {
		m["habit"].errorf("%s has no state %q to be a habit", id, s.Habit)
	}
	if len(s.States) > 0 && math.Abs(total-1) > 1e-6 {
		n.errorf("%s: the shares of its states add up to %.6g, not to 1", id, total)
	}
	f.model.byID[id] = ref{refSetup, len(f.model.Setup)}
	f.model.Setup = append(f.model.Setup, s)
	if s.Variable {
		v := &variable{id: id, at: n}
		for _, st := range s.States {
			v.states, v.leak = append(v.states, st.ID), append(v.leak, st.Share)
		}
		f.variables = append(f.variables, v)
	}
}

// typical reads the values that stand for a band, which must lie in it.
func (f *files) typical(st *SetupState, s *SetupFact, n node) {
	from := s.Min
	if len(s.States) > 0 {
		from = s.States[len(s.States)-1].Below
	}
	for _, it := range n.items() {
		x := it.number()
		if x < from || x >= st.Below || x > s.Max {
			it.errorf("%s: %g lies outside the band %s", s.ID, x, st.ID)
		}
		st.Typical = append(st.Typical, x)
	}
}

func (f *files) effect(n node) {
	m := n.fields("id", "states", "worst_of", "otherwise", "rules", "reads", "error", "bands", "basis")
	id := m["id"].text()
	if !f.claim(id, n) {
		return
	}
	f.basis(n, m)
	f.model.byID[id] = ref{refEffect, 0}
	v := &variable{id: id, states: m["states"].texts(), at: n}
	if m["reads"].ok() {
		f.sumEffect(v, m)
	} else {
		f.distribution(v, m)
	}
	f.variables = append(f.variables, v)
}

func (f *files) distribution(v *variable, m map[string]node) {
	if len(v.states) < 2 {
		v.at.errorf("%s needs at least two states", v.id)
		return
	}
	v.worst = f.links(m["worst_of"], v.states)
	v.leak = completed(f.mixture(m["otherwise"], v.states), v.states)
	for _, r := range m["rules"].items() {
		rm := r.fields("when", "then")
		row := rule{at: r, then: f.mixture(rm["then"], v.states)}
		for _, c := range rm["when"].pairs() {
			row.when = append(row.when, condition{c.id, c.val.texts(), c.key})
		}
		v.rules = append(v.rules, row)
	}
	if len(v.rules) > 0 && len(v.worst) > 0 {
		v.at.errorf("%s has both rules and worst_of; choose one", v.id)
	}
	if n := len(v.rules); n > 0 && len(v.rules[n-1].when) > 0 {
		v.rules[n-1].at.errorf("%s: the last rule must hold always, so leave its when away", v.id)
	}
}

// links reads "parent: strength", "parent: {child state: strength}" or "parent: {parent state: {child state:
// strength}}".
func (f *files) links(n node, states []string) []link {
	var out []link
	for _, p := range n.pairs() {
		l := link{parent: p.id, at: p.key, rows: map[string]map[string]float64{}}
		nested := false
		if p.val.isMapping() {
			for _, s := range p.val.pairs() {
				nested = nested || s.val.isMapping() || !slices.Contains(states, s.id)
			}
		}
		if !nested {
			l.rows["yes"] = f.mixture(p.val, states)
		} else {
			for _, s := range p.val.pairs() {
				l.rows[s.id] = f.mixture(s.val, states)
			}
		}
		out = append(out, l)
	}
	return out
}

// mixture reads a distribution over states: one strength for the last state of two, or a mapping; "rest" marks the
// state that takes what is left, the first state otherwise.
func (f *files) mixture(n node, states []string) map[string]float64 {
	out := map[string]float64{}
	if !n.ok() {
		return out
	}
	if !n.isMapping() {
		out[states[len(states)-1]] = n.strength()
		if len(states) != 2 {
			n.errorf("a single strength fits two states only; name the state, for example {%s: often}", states[1])
		}
		return out
	}
	sum, rest := 0.0, ""
	for _, p := range n.pairs() {
		if !slices.Contains(states, p.id) {
			p.key.errorf("%q is not one of the states %s", p.id, strings.Join(states, ", "))
			continue
		}
		if p.val.text() == "rest" {
			if rest != "" {
				p.key.errorf("what is left can go to one state only, and %s has it already", rest)
			}
			rest = p.id
			continue
		}
		out[p.id] = p.val.strength()
		sum += out[p.id]
	}
	if sum > 1+1e-9 {
		n.errorf("the strengths add up to %.3g, more than 1", sum)
	}
	if rest != "" {
		out[rest] = max(0, 1-sum)
	}
	return out
}

// completed turns a mixture into a row over states, what is left going to the first.
func completed(mix map[string]float64, states []string) []float64 {
	row := make([]float64, len(states))
	sum := 0.0
	for i, s := range states {
		row[i] = mix[s]
		sum += mix[s]
	}
	row[0] += max(0, 1-sum)
	return row
}

func (f *files) observation(n node) {
	m := n.fields("id", "states", "covers", "worst_of", "otherwise", "rules", "slips", "unit", "min", "max", "reads",
		"error",
		"log", "bands", "doubt", "tool", "minutes", "difficulty", "gates", "safety_card", "recalled", "since", "at_once",
		"denies", "does",
		"only_if", "unless", "void_if", "sure_if", "basis")
	id := m["id"].text()
	if !f.claim(id, n) {
		return
	}
	f.basis(n, m)
	o := Observation{ID: id, States: m["states"].texts(), Unit: m["unit"].text(), Min: m["min"].numberOr(0),
		Max:  m["max"].numberOr(0),
		Tool: m["tool"].text(), Minutes: m["minutes"].numberOr(0), Difficulty: int(m["difficulty"].numberOr(1)),
		Gates: f.gates(m["gates"]), SafetyCard: m["safety_card"].flag(), Recalled: m["recalled"].flag(),
		Since: m["since"].flag(), AtOnce: m["at_once"].flag(), Does: m["does"].text()}
	if m["denies"].ok() {
		o.Denies = m["denies"].texts()
	}
	for _, p := range m["only_if"].pairs() {
		o.OnlyIf = append(o.OnlyIf, Condition{ID: p.id, States: p.val.texts()})
	}
	for _, p := range m["unless"].pairs() {
		o.OnlyIf = append(o.OnlyIf, Condition{ID: p.id, States: p.val.texts(), Unless: true})
	}
	for _, p := range m["void_if"].pairs() {
		o.VoidIf = append(o.VoidIf, Condition{ID: p.id, States: p.val.texts()})
	}
	for _, p := range m["sure_if"].pairs() {
		o.SureIf = append(o.SureIf, Condition{ID: p.id, States: p.val.texts()})
	}
	v := &variable{id: id, states: slices.Clone(o.States), at: n, slips: m["slips"].numberOr(0.01)}
	if v.slips < 0 || v.slips > 1 {
		n.errorf("%s: slips must lie between 0 and 1", id)
	}
	for _, p := range m["covers"].pairs() {
		f.cover(v, p)
	}
	f.model.byID[id] = ref{refObservation, len(f.model.Observations)}
	f.model.Observations = append(f.model.Observations, o)
	if len(o.States) == 0 {
		f.numberObservation(v, n, m)
	} else if m["worst_of"].ok() || m["rules"].ok() {
		f.distribution(v, m)
		f.variables = append(f.variables, v)
	}
}

// cover reads what a state stands for: others, equally, or with the likelihood that somebody says it of each. One of
// those may be a state that nobody can name.
func (f *files) cover(v *variable, p pair) {
	if f.covers[v.id] == nil {
		f.covers[v.id] = map[string]map[string]float64{}
	}
	of := map[string]float64{}
	if p.val.isMapping() {
		for _, s := range p.val.pairs() {
			of[s.id] = s.val.strength()
		}
	} else {
		for _, s := range p.val.texts() {
			if of[s] = 1; !slices.Contains(v.states, s) {
				p.key.errorf("%s: %s covers %q, which is no state", v.id, p.id, s)
			}
		}
	}
	f.covers[v.id][p.id] = of
	v.states = slices.DeleteFunc(v.states, func(s string) bool { return s == p.id })
	for _, s := range slices.Sorted(maps.Keys(of)) {
		if !slices.Contains(v.states, s) {
			v.states = append(v.states, s)
		}
	}
}

func (f *files) repair(n node) {
	m := n.fields("id", "mends", "minutes", "euros", "gates", "after", "behind", "points", "against", "disturbs", "basis")
	r := Repair{ID: m["id"].text(), Mends: m["mends"].texts(), Minutes: m["minutes"].number(), Euros: m["euros"].number(),
		Gates: f.gates(m["gates"]), After: m["after"].texts(), Behind: m["behind"].texts(),
		Points: f.triggers(m["points"]), Against: f.triggers(m["against"]), Basis: f.basis(n, m)}
	for _, p := range m["disturbs"].pairs() {
		r.Disturbs = append(r.Disturbs, Disturbance{p.id, p.val.strength()})
	}
	if !f.claim(r.ID, n) {
		return
	}
	f.model.byID[r.ID] = ref{refRepair, len(f.model.Repairs)}
	f.model.Repairs = append(f.model.Repairs, r)
}

func (f *files) ending(n node) {
	m := n.fields("kind", "minutes", "euros", "groups", "mends", "everything", "basis")
	f.basis(n, m)
	e := Ending{Kind: m["kind"].text(), Minutes: m["minutes"].number(), Euros: m["euros"].number(),
		Everything: m["everything"].flag(),
		Groups:     m["groups"].texts(), Mends: m["mends"].texts()}
	if !slices.Contains([]string{Replace, Licensed}, e.Kind) {
		n.errorf("kind must be %s or %s, not %q", Replace, Licensed, e.Kind)
	}
	if e.Minutes < 0 || e.Euros < 0 {
		n.errorf("%s: minutes and euros cannot be negative", e.Kind)
	}
	if _, twice := f.places["ending/"+e.Kind]; twice {
		n.errorf("ending %s is defined twice", e.Kind)
	}
	f.places["ending/"+e.Kind] = n
	f.model.Endings = append(f.model.Endings, e)
}

func (f *files) watch(n node) {
	f.places["watch/"+n.text()] = n
	f.model.Watch = append(f.model.Watch, n.text())
}

// phase is a phase of a start. Each comes no earlier and lasts no shorter than the one before.
func (f *files) phase(n node) {
	m := n.fields("id", "from", "until")
	p := StartPhase{ID: m["id"].text(), From: m["from"].number(), Until: m["until"].number()}
	last := StartPhase{}
	if k := len(f.model.StartPhases); k > 0 {
		last = f.model.StartPhases[k-1]
	}
	if p.From < last.From || p.Until <= max(p.From, last.Until) {
		n.errorf("%s lasts from %g to %g s; a phase ends after it begins, begins no earlier than %q before it, and ends "+
			"after it",
			p.ID, p.From, p.Until, last.ID)
	}
	f.model.StartPhases = append(f.model.StartPhases, p)
}

func (f *files) codeTable(n node) {
	m := n.fields("id", "codes", "basis")
	f.basis(n, m)
	t := CodeTable{ID: m["id"].text(), Codes: map[string]string{}}
	for _, p := range m["codes"].pairs() {
		t.Codes[strings.ToLower(p.id)] = p.val.text()
	}
	f.places["table/"+t.ID] = n
	f.model.CodeTables = append(f.model.CodeTables, t)
}
