package knowledge

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"lightoff/engine/bayes"
)

// compiled is what a model knows about its network.
type compiled struct {
	rootOf             []bayes.VarID // by cause: the root variable that carries its base rate; −1 for the computed cause
	outcome            bayes.VarID   // what the machine did, of which people complain
	causeVar           []bayes.VarID
	isCause            []bool        // [variable]
	rate               []float64     // by cause: fitted base rate, before anybody complains
	average            []setupFactor // by cause: how setup facts change its rate
	covers             map[string]map[string]map[string]float64
	groups             []*readingGroup // of readings that share what they depend on
	groupOf            map[string]int
	complained, anyway bayes.VarID
	anywayRate         float64
	deviation          float64

	tree          *bayes.JoinTree // the network
	plain         *ground         // where nothing was told that a quantity is computed from
	grounds       *recent[*ground]
	installations *recent[*installation]
	clamps        *recent[clamped] // answers before anything was found but on the safety card
}

// setupFactor holds, for each setup fact that matters to a cause, the mean of its factors over the states' shares.
type setupFactor map[string]float64

// readingGroup is a set of readings with the variables that they depend on; their likelihood is one joint table.
type readingGroup struct {
	readings []*reading
	scope    []bayes.VarID
	names    []string
}

const anywayName = "complains_anyway"

// Load reads the model files of a folder, checks them and compiles them. The error, if any, is an *Error that lists
// everything wrong with file and line. The binding holds the computations that the files name; it may be nil.
func Load(fsys fs.FS, binding Binding) (*Model, error) { return LoadWith(fsys, nil, binding) }

// LoadWith is Load with numbers that were learnt, as Overlay writes them, in the place of those that the files say. The
// version tells them apart.
func LoadWith(fsys fs.FS, learned []byte, binding Binding) (*Model, error) {
	f := newFiles(binding)
	eachFile(fsys, f.errs, f.read)
	if learned != nil {
		if root, ok := parseFile(learnedFile, learned, f.errs); ok {
			f.readLearned(root)
		}
	}
	if err := f.complete(); err != nil {
		return nil, err
	}
	f.model.Version = version(fsys, learned)
	f.model.Hunches, _ = fs.ReadFile(fsys, hunchesFile) // a model need not have any
	if err := f.compile(); err != nil {
		return nil, f.asError(err)
	}
	return f.model, nil
}

func newFiles(binding Binding) *files {
	m := &Model{texts: map[string]*Texts{}, byID: map[string]ref{}}
	m.covers = map[string]map[string]map[string]float64{}
	m.files = &files{errs: &Error{}, model: m, binding: binding, silence: newSituation(nil, memo{}), covers: m.covers,
		seen: map[string]node{}, places: map[string]node{}, textFiles: map[string]bool{}}
	return m.files
}

func (f *files) readLearned(root node) {
	fields := root.fields("learnt_from", "learned")
	f.model.LearntFrom = fields["learnt_from"].text()
	f.each(fields["learned"], f.learnedEntry)
}

// complete checks what was read and puts it together, all but the network.
func (f *files) complete() error {
	m := f.model
	m.locales = slices.Sorted(maps.Keys(m.texts))
	m.variables = map[string]*variable{}
	for _, v := range f.variables {
		m.variables[v.id] = v
	}
	f.check()
	if len(f.errs.Problems) == 0 {
		f.applyLearned()
	}
	if err := f.errs.orNil(); err != nil {
		return err
	}
	f.spreads()
	return nil
}

// asError turns what the network's builder objects to, such as a circle of causes, into problems of the model.
func (f *files) asError(err error) *Error {
	var e *Error
	if errors.As(err, &e) {
		return e
	}
	for line := range strings.Lines(err.Error()) {
		f.errs.add(".", 0, 0, "the network cannot be built: %s", strings.TrimSpace(line))
	}
	return f.errs
}

// learnedFile is what learnt numbers are called in problems.
const learnedFile = "learned.yaml"

// hunchesFile holds the weights of the second reader of texts. They are no part of the version: nothing is reasoned
// with them.
const hunchesFile = "hunches.bin"

func version(fsys fs.FS, learned []byte) string {
	h := sha256.New()
	_ = fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && path.Ext(p) == ".yaml" {
			text, _ := fs.ReadFile(fsys, p)
			h.Write([]byte(p))
			h.Write(text)
		}
		return nil
	})
	h.Write(learned)
	return hex.EncodeToString(h.Sum(nil))[:12]
}

// compile builds the network twice: once to fit the base rates, once with them.
func (f *files) compile() error {
	m := f.model
	m.rate = make([]float64, len(m.Causes))
	for i, c := range m.Causes {
		m.rate[i] = c.PerThousand / 2000
	}
	m.setAverages()
	m.anywayRate = 0.05
	if f.anyway > 0 {
		m.anywayRate = f.anyway
	}
	if err := f.build(); err != nil {
		return err
	}
	if err := f.fit(); err != nil {
		return err
	}
	if f.anyway > 0 {
		f.anyway = 0
		if err := f.follow(); err != nil {
			return err
		}
	}
	return f.build()
}

func (m *Model) setAverages() {
	m.average = make([]setupFactor, len(m.Causes))
	for i, c := range m.Causes {
		m.average[i] = m.averages(c)
	}
}

// averages are the means of a cause's factors over each setup fact's shares; a state without factor counts 1.
func (m *Model) averages(c Cause) setupFactor {
	out := setupFactor{}
	for _, r := range c.Raised {
		s, _ := m.SetupFact(r.Setup)
		if _, done := out[r.Setup]; done {
			continue
		}
		for _, st := range s.States {
			out[r.Setup] += st.Share * m.rawFactor(c, r.Setup, st.ID)
		}
	}
	return out
}

func (m *Model) rawFactor(c Cause, setup, state string) float64 {
	for _, r := range c.Raised {
		if r.Setup == setup && r.State == state {
			return r.Factor
		}
	}
	return 1
}

// build makes the network from the files and the current rates, and compiles it.
func (f *files) build() error {
	m := f.model
	b := &bayes.Builder{}
	ids := map[string]bayes.VarID{}
	add := func(name string, states ...string) bayes.VarID {
		ids[name] = b.Add(name, states...)
		return ids[name]
	}
	m.anyway = add(anywayName, "no", "yes")
	b.Table(m.anyway, nil, []float64{1 - m.anywayRate, m.anywayRate})
	m.rootOf = make([]bayes.VarID, len(m.Causes))
	m.causeVar = make([]bayes.VarID, len(m.Causes))
	for i, c := range m.Causes {
		m.rootOf[i], m.causeVar[i] = -1, -1
		if c.Computed {
			continue
		}
		m.causeVar[i] = add(c.ID, "no", "yes")
		m.rootOf[i] = m.causeVar[i]
		if len(m.variables[c.ID].worst) > 0 {
			m.rootOf[i] = add(c.ID+"_of_itself", "no", "yes")
			m.variables[c.ID].leak = []float64{1, 0}
		}
		b.Table(m.rootOf[i], nil, []float64{1 - m.rate[i], m.rate[i]})
	}
	for _, v := range f.variables {
		if _, done := ids[v.id]; !done {
			add(v.id, v.states...)
		}
	}
	for i, c := range m.Causes {
		if !c.Computed && m.rootOf[i] != m.causeVar[i] {
			f.noisyMax(b, ids, m.variables[c.ID], bayes.Link{Parent: m.rootOf[i], P: [][]float64{{1, 0}, {0, 1}}})
		}
	}
	for _, v := range f.variables {
		if r := m.byID[v.id]; r.kind != refCause {
			f.distribute(b, ids, v)
		}
	}
	m.complained = add("complained", "no", "yes")
	m.outcome = ids[f.complaint.effect]
	b.Deterministic(m.complained, []bayes.VarID{m.outcome, m.anyway}, func(s []int) int { return min(1, s[0]+s[1]) })
	for i, c := range m.Causes {
		if c.Computed { // nothing was the matter
			m.causeVar[i] = add(c.ID, "no", "yes")
			b.Deterministic(m.causeVar[i], []bayes.VarID{m.outcome}, func(s []int) int { return 1 - min(1, s[0]) })
		}
	}
	net, err := b.Build()
	if err != nil {
		return err
	}
	m.network = net
	m.isCause = make([]bool, net.NumVariables())
	for _, v := range m.causeVar {
		m.isCause[v] = true
	}
	m.groups, m.groupOf = f.readingGroups(ids)
	f.together = nil
	for _, g := range m.groups {
		f.together = append(f.together, g.scope)
	}
	if m.tree, err = f.treeOf(net); err != nil {
		return err
	}
	m.plain = &ground{m.tree, f.levelsOf(m.groups, f.silence)}
	m.grounds, m.installations = newRecent(mostGrounds, (*ground).size), newRecent(mostInstallations, m.installationBytes)
	m.clamps = newRecent(mostClamped, clamped.size)
	return nil
}

// treeOf compiles the network, by the shape that is known of its tree, if one is.
func (f *files) treeOf(net *bayes.Network) (*bayes.JoinTree, error) {
	switch {
	case f.shape != nil:
		return bayes.CompileAs(net, *f.shape, f.together...)
	case len(f.elimination) > 0:
		return bayes.CompileAlong(net, f.elimination, f.together...)
	}
	return bayes.Compile(net, f.together...)
}

// Elimination looks for a sequence in which the network's variables are better eliminated, in so many steps from the
// one that the files give. They name it in their section elimination. It changes only how fast the model answers.
func (m *Model) Elimination(steps int) []string {
	return bayes.Improve(m.network, m.files.elimination, steps, m.files.together...)
}

func (f *files) distribute(b *bayes.Builder, ids map[string]bayes.VarID, v *variable) {
	switch {
	case v.reads != nil:
		f.bandTable(b, ids, v)
	case len(v.rules) > 0:
		f.ruleTable(b, ids, v)
	case len(v.worst) > 0:
		f.noisyMax(b, ids, v)
	default:
		b.Table(ids[v.id], nil, v.leak)
	}
}

func (f *files) noisyMax(b *bayes.Builder, ids map[string]bayes.VarID, v *variable, more ...bayes.Link) {
	links := more
	for _, l := range v.worst {
		parent := f.model.variables[l.parent]
		link := bayes.Link{Parent: ids[l.parent]}
		for _, s := range parent.states {
			link.P = append(link.P, completed(l.rows[s], v.states))
		}
		links = append(links, link)
	}
	b.NoisyMax(ids[v.id], links, f.leakOf(v)) // people misread and misremember: nothing seen is ever impossible
}

func slipped(row []float64, slips float64) []float64 {
	out := make([]float64, len(row))
	for i, p := range row {
		out[i] = (1-slips)*p + slips/float64(len(row))
	}
	return out
}

// parentsOf lists a decision list's parents in the order in which its rules name them.
func parentsOf(rules []rule) []string {
	var out []string
	for _, r := range rules {
		for _, c := range r.when {
			if !slices.Contains(out, c.parent) {
				out = append(out, c.parent)
			}
		}
	}
	return out
}

func (f *files) ruleTable(b *bayes.Builder, ids map[string]bayes.VarID, v *variable) {
	parents := parentsOf(v.rules)
	var table []float64
	f.configurations(parents, func(at map[string]string) {
		for _, r := range v.rules {
			if holds(r.when, at) {
				row := completed(r.then, v.states)
				if f.isObservation(v.id) {
					row = slipped(row, v.slips)
				}
				table = append(table, row...)
				return
			}
		}
	})
	b.Table(ids[v.id], vars(ids, parents), table)
}

func vars(ids map[string]bayes.VarID, names []string) []bayes.VarID {
	out := make([]bayes.VarID, len(names))
	for i, n := range names {
		out[i] = ids[n]
	}
	return out
}

func holds(when []condition, at map[string]string) bool {
	for _, c := range when {
		if !slices.Contains(c.states, at[c.parent]) {
			return false
		}
	}
	return true
}

// dependsOn lists the variables behind a reading.
func (f *files) dependsOn(r *reading) []string {
	var out []string
	note := func(id string) {
		if id != "" && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	for _, t := range r.terms {
		q := f.quantityByID(t.quantity)
		for _, l := range q.levels {
			for _, c := range l.when {
				note(c.parent)
			}
		}
		for _, g := range q.given {
			note(g)
		}
		if !f.isEffect(r.observation) {
			note(q.scaleBy)
		}
	}
	return out
}

// quantityIn gives a quantity's level in a configuration, and what it is scaled by. Where the configuration doesn't say
// by what, as for an effect, it is not scaled.
func (f *files) quantityIn(q *quantity, at map[string]string, s *situation) (mean, spread, scale float64) {
	scale = 1
	if x, ok := q.scales[at[q.scaleBy]]; ok {
		scale = x
	}
	if q.computed != nil {
		mean, spread = f.model.level(q, at, s)
		return mean * scale, spread * scale, scale
	}
	for _, l := range q.levels {
		if holds(l.when, at) {
			return l.mean * scale, l.spread * scale, scale
		}
	}
	return 0, 1, scale
}

// joint adds the distribution of readings in one configuration: quantities are independent given it, meters err on
// their own, and readings that share a quantity vary together.
func (f *files) joint(rs []*reading, at map[string]string, s *situation, l *levels) {
	mean, cov := make([]float64, len(rs)), make([]float64, len(rs)*len(rs))
	for i, r := range rs {
		cov[i*len(rs)+i] = r.errorSD * r.errorSD
	}
	for i, r := range rs {
		for _, t := range r.terms {
			m, spread, _ := f.quantityIn(f.quantityByID(t.quantity), at, s)
			mean[i] += t.factor * m
			for j, other := range rs {
				for _, u := range other.terms {
					if u.quantity == t.quantity {
						cov[i*len(rs)+j] += t.factor * u.factor * spread * spread
					}
				}
			}
		}
	}
	l.mean, l.cov = append(l.mean, mean...), append(l.cov, cov...)
}

// bandTable gives a reading's bands, or the effect that they stand for. Where a quantity is computed from setup facts
// the table is made anew for each situation.
func (f *files) bandTable(b *bayes.Builder, ids map[string]bayes.VarID, v *variable) {
	parents := f.dependsOn(v.reads)
	computed := slices.ContainsFunc(v.reads.terms, func(t term) bool { return f.quantityByID(t.quantity).computed != nil })
	if computed {
		b.Computed(ids[v.id], vars(ids, parents), func(context bayes.Context, states []int) []float64 {
			s, ok := context.(*situation)
			if !ok {
				s = f.silence
			}
			at := map[string]string{}
			for i, p := range parents {
				at[p] = f.model.variables[p].states[states[i]]
			}
			return f.bandRow(v, at, s)
		})
		return
	}
	var table []float64
	f.configurations(parents, func(at map[string]string) { table = append(table, f.bandRow(v, at, nil)...) })
	b.Table(ids[v.id], vars(ids, parents), table)
}

func (f *files) bandRow(v *variable, at map[string]string, s *situation) []float64 {
	var l levels
	f.joint([]*reading{v.reads}, at, s, &l)
	scale := 1.0
	if !v.reads.log {
		for _, t := range v.reads.terms {
			_, _, x := f.quantityIn(f.quantityByID(t.quantity), at, s)
			if scale == 1 {
				scale = x
			}
		}
	}
	row := v.reads.bandRow(l.mean[0], l.cov[0], scale)
	if v.bandOf == nil {
		return row
	}
	out := make([]float64, len(v.states))
	for i, p := range row {
		out[v.bandOf[i]] = p
	}
	return out
}

// readingGroups joins readings that share a quantity, however indirectly.
func (f *files) readingGroups(ids map[string]bayes.VarID) ([]*readingGroup, map[string]int) {
	var groups []*readingGroup
	quantityGroup := map[string]*readingGroup{}
	for _, v := range f.variables {
		if v.reads == nil || f.isEffect(v.id) {
			continue
		}
		g := &readingGroup{readings: []*reading{v.reads}}
		for _, t := range v.reads.terms {
			old := quantityGroup[t.quantity]
			if old == nil || old == g {
				quantityGroup[t.quantity] = g
				continue
			}
			g.readings = append(old.readings, g.readings...)
			for q, of := range quantityGroup {
				if of == old {
					quantityGroup[q] = g
				}
			}
			groups = slices.DeleteFunc(groups, func(o *readingGroup) bool { return o == old })
		}
		groups = append(groups, g)
	}
	of := map[string]int{}
	for i, g := range groups {
		for _, r := range g.readings {
			of[r.observation] = i
			for _, name := range f.dependsOn(r) {
				if !slices.Contains(g.names, name) {
					g.names = append(g.names, name)
				}
			}
		}
		g.scope = vars(ids, g.names)
	}
	return groups, of
}
