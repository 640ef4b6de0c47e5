package knowledge

import (
	"maps"
	"math"
	"slices"

	"lightoff/engine/bayes"
)

// Inquiry answers questions about one heater at a time. It owns scratch memory, so it is for one goroutine; reuse it.
type Inquiry struct {
	m               *Model
	now, bare, side loaded    // the findings; none of them; variations of them
	base            []float64 // rates that the compiled network holds
	baseAnyway      float64
	at              *installation
	findings        []Finding // as they were entered
	evidence                  // what became of them
	read            []*taken  // what has become of readings since then
	memo            memo
	odds            []float64 // by cause: what has been done since changes its odds by; nil for nothing done
	done            *prior    // what holds before anything was found, for the installation and odds beside it
	doneAt          *installation
	doneOdds        []float64
	fitting         bool         // rates are not settled yet, so that nothing may be kept
	taught          [][2]float64 // by cause: the likelihood that counting has entered; nil before
}

// loaded is a query with what it has been given, so that the next findings cost only where they differ.
type loaded struct {
	q      *bayes.Query
	tree   *bayes.JoinTree
	anyway float64
	rate   []float64 // NaN: nothing given yet
	odds   []float64
	in     []entry
}

// evidence is what becomes of findings in one installation.
type evidence struct {
	known   map[string]bool
	unused  map[string]string // why a finding changes nothing
	entered []entry
}

// entry is a finding as it went into the network.
type entry struct {
	id         string
	variable   bayes.VarID
	likelihood []float64
	group      int // of readings; −1 for a finding on one variable
}

// taken is what becomes of a group's readings in the light of some levels. It takes long to work out, and leaving out
// one finding after another mostly asks for the same.
type taken struct {
	levels   *levels
	numbers  []Finding
	entered  []entry  // one, or none where nothing explains any of them
	doubtful []string // those that nothing explains
}

// NewInquiry returns an Inquiry on the model.
func (m *Model) NewInquiry() *Inquiry {
	return &Inquiry{m: m, now: m.load(m.tree), bare: m.load(m.tree), side: m.load(m.tree),
		base: m.rate, baseAnyway: m.anywayRate, memo: memo{}}
}

// load readies a query for the findings of somebody who complained. It takes no memory to speak of before it is asked.
func (m *Model) load(tree *bayes.JoinTree) loaded {
	l := loaded{q: tree.NewQuery(), tree: tree, anyway: m.anywayRate, rate: make([]float64, len(m.rate))}
	l.q.Observe(m.complained, 1)
	for i := range l.rate {
		l.rate[i], l.odds = math.NaN(), append(l.odds, 1)
	}
	return l
}

// Why a finding changed nothing; keys of the texts' phrases.
const (
	UnusedNoBearing = "unused_no_bearing" // the model draws nothing from it
	UnusedDoubtful  = "unused_doubtful"   // no state of the heater explains the reading
	UnusedVoid      = "unused_void"       // the start ended before this part operated
)

// Enter forgets what was entered before and enters these findings, which must have passed Check. That somebody
// complained is always part of it.
func (in *Inquiry) Enter(findings []Finding) {
	in.findings = findings
	in.at = in.place(findings)
	in.read = in.read[:0]
	in.evidence = in.take(in.at, findings)
	in.apply(&in.now, in.at.ground.now, in.entered)
}

// take makes entries of findings in an installation.
func (in *Inquiry) take(at *installation, findings []Finding) evidence {
	e := evidence{known: make(map[string]bool, len(findings)), unused: map[string]string{}}
	numbers := map[int][]Finding{}
	for _, f := range findings {
		e.known[f.ID] = true
		r, v := in.m.byID[f.ID], in.m.variables[f.ID]
		switch {
		case r.kind == refSetup:
			if v == nil && !in.m.matters(f.ID) && f.ID != in.m.Roles.CodeTable {
				e.unused[f.ID] = UnusedNoBearing
			}
		case v == nil:
			e.unused[f.ID] = UnusedNoBearing
		case in.m.anyHolds(in.m.Observations[r.index].VoidIf, findings, at.table):
			e.unused[f.ID] = UnusedVoid
		case v.reads != nil:
			g := in.m.groupOf[f.ID]
			numbers[g] = append(numbers[g], f)
		default:
			e.entered = append(e.entered, in.stated(at, f, findings))
		}
	}
	e.entered = append(e.entered, at.entered...)
	for _, g := range slices.Sorted(maps.Keys(numbers)) {
		in.readings(at, g, numbers[g], &e)
	}
	return e
}

// stated is the entry of an observation's state, in the light of all findings.
func (in *Inquiry) stated(at *installation, f Finding, findings []Finding) entry {
	l := in.m.likelihood(in.m.variables[f.ID], in.m.translate(f, at.table))
	if sure := in.m.Observations[in.m.byID[f.ID].index].SureIf; len(sure) > 0 && !in.m.anyHolds(sure, findings, at.table) {
		soften(l)
	}
	return entry{f.ID, in.m.varOf(f.ID), l, -1}
}

// ScaleOdds says by how much each cause's odds have changed, in the model's order, through what was done to the heater
// since it was found as Enter will say; nil for nothing. It holds until it is said anew.
func (in *Inquiry) ScaleOdds(odds []float64) { in.odds = odds }

func (in *Inquiry) oddsOf(cause int) float64 {
	if in.odds == nil {
		return 1
	}
	return in.odds[cause]
}

// Void reports whether what was found makes an observation tell nothing, so that there is no sense in making it. It
// panics if the model has no such observation.
func (in *Inquiry) Void(id string) bool {
	return in.m.anyHolds(in.m.Observations[in.m.byID[id].index].VoidIf, in.findings, in.at.table)
}

func (m *Model) anyHolds(conditions []Condition, findings []Finding, table string) bool {
	return slices.ContainsFunc(conditions, func(c Condition) bool {
		return slices.ContainsFunc(findings, func(f Finding) bool {
			return f.ID == c.ID && slices.Contains(c.States, m.translate(f, table))
		})
	})
}

func (m *Model) varOf(id string) bayes.VarID {
	v, _ := m.network.Lookup(id)
	return v
}

// likelihood is 1 for the state, or what is said of the states that it covers.
func (m *Model) likelihood(v *variable, state string) []float64 {
	l := make([]float64, len(v.states))
	covered := m.covers[v.id][state]
	for i, s := range v.states {
		if l[i] = covered[s]; s == state {
			l[i] = 1
		}
	}
	return l
}

// soften makes a likelihood that of a finding which as likely as not tells nothing.
func soften(l []float64) {
	for i := range l {
		l[i] = 0.5*l[i] + 0.5/float64(len(l))
	}
}

// matters reports whether a setup fact changes anything.
func (m *Model) matters(setup string) bool {
	return m.bears(setup) ||
		slices.ContainsFunc(m.average, func(a setupFactor) bool { _, ok := a[setup]; return ok }) ||
		slices.ContainsFunc(m.Causes, func(c Cause) bool { return c.computation.looksAt(setup) })
}

// maxRate keeps several raising facts together from making a cause certain before anything was looked at.
const maxRate = 0.6

// rateIn is a cause's base rate in a situation.
func (m *Model) rateIn(i int, s *situation) float64 {
	c, rate := &m.Causes[i], m.rate[i]
	for k, r := range c.Raised {
		// Each fact once, in the order of the file, so that equal facts give equal bytes.
		if slices.ContainsFunc(c.Raised[:k], func(before Raise) bool { return before.Setup == r.Setup }) {
			continue
		}
		if f, ok := s.told[r.Setup]; ok {
			fact, _ := m.SetupFact(r.Setup)
			rate *= m.rawFactor(*c, r.Setup, fact.state(f)) / m.average[i][r.Setup]
		}
	}
	if c.computation != nil {
		rate *= m.expectedRate(c, s) / c.silent
	}
	return min(rate, max(maxRate, m.rate[i]))
}

// state is the finding's state, or the band that its number lies in.
func (s *SetupFact) state(f Finding) string {
	if !f.IsNumber {
		return f.State
	}
	for _, st := range s.States {
		if f.Number < st.Below {
			return st.ID
		}
	}
	return s.States[len(s.States)-1].ID
}

// readings turns meter readings of a group into a joint likelihood over what they depend on, and names those that
// nothing explains.
func (in *Inquiry) readings(at *installation, group int, numbers []Finding, e *evidence) {
	levels := &at.ground.levels[group]
	k := slices.IndexFunc(in.read, func(t *taken) bool { return t.levels == levels && slices.Equal(t.numbers, numbers) })
	if k < 0 {
		k = len(in.read)
		in.read = append(in.read, in.m.takeReadings(levels, group, numbers))
	}
	e.entered = append(e.entered, in.read[k].entered...)
	for _, id := range in.read[k].doubtful {
		e.unused[id] = UnusedDoubtful
	}
}

func (m *Model) takeReadings(levels *levels, group int, numbers []Finding) *taken {
	t := &taken{levels: levels, numbers: numbers}
	g := m.groups[group]
	var which []int
	x := make([]float64, len(g.readings))
	for i, r := range g.readings {
		for _, f := range numbers {
			if f.ID != r.observation {
				continue
			}
			if x[i] = r.value(f.Number); levels.explain(g, i, x) {
				which = append(which, i)
			} else {
				t.doubtful = append(t.doubtful, r.observation)
			}
		}
	}
	if len(which) > 0 {
		t.entered = []entry{{g.readings[which[0]].observation, -1, levels.likelihood(g, which, x), group}}
	}
	return t
}

// apply brings a query to entries on a tree.
func (in *Inquiry) apply(l *loaded, tree *bayes.JoinTree, entries []entry) {
	m := in.m
	if l.tree != tree {
		l.tree = tree
		l.q.MoveTo(tree)
	}
	if l.anyway != m.anywayRate {
		l.anyway = m.anywayRate
		l.q.SetLikelihood(m.anyway, priorRatio(m.anywayRate, in.baseAnyway))
	}
	for i, root := range m.rootOf {
		odds := in.oddsOf(i)
		if root < 0 || l.rate[i] == in.at.rate[i] && l.odds[i] == odds {
			continue
		}
		l.rate[i], l.odds[i] = in.at.rate[i], odds
		ratio := priorRatio(in.at.rate[i], in.base[i])
		if root != m.causeVar[i] { // it can be brought about, so what it is of itself is apart from what it comes to
			if odds == 1 {
				l.q.Withdraw(m.causeVar[i])
			} else {
				l.q.SetLikelihood(m.causeVar[i], []float64{1, odds})
			}
		} else {
			ratio[1] *= odds
		}
		if ratio[0] == 1 && ratio[1] == 1 {
			l.q.Withdraw(root)
			continue
		}
		l.q.SetLikelihood(root, ratio)
	}
	for _, old := range l.in {
		if !slices.ContainsFunc(entries, old.same) {
			old.withdraw(l.q)
		}
	}
	for _, e := range entries {
		if !slices.ContainsFunc(l.in, func(old entry) bool {
			return old.same(e) &&
				slices.Equal(old.likelihood, e.likelihood)
		}) {
			e.set(l.q)
		}
	}
	l.in = append(l.in[:0], entries...)
}

// same reports whether two entries speak of the same variable or group of readings.
func (e entry) same(o entry) bool { return e.group == o.group && e.variable == o.variable }

func (e entry) set(q *bayes.Query) {
	if e.group >= 0 {
		q.SetJointLikelihood(e.group, e.likelihood)
	} else {
		q.SetLikelihood(e.variable, e.likelihood)
	}
}

func (e entry) withdraw(q *bayes.Query) {
	if e.group >= 0 {
		q.WithdrawJoint(e.group)
	} else {
		q.Withdraw(e.variable)
	}
}

// Causes gives each cause's posterior probability, in the model's order.
func (in *Inquiry) Causes(dst []float64) ([]float64, error) {
	dst = slices.Grow(dst[:0], len(in.m.Causes))[:len(in.m.Causes)]
	for i := range dst {
		p, err := in.Cause(i)
		if err != nil {
			return nil, err
		}
		dst[i] = p
	}
	return dst, nil
}

// Cause gives one cause's posterior probability, by its index in the model's order.
func (in *Inquiry) Cause(i int) (float64, error) {
	return in.cause(&in.now, i)
}

// cause gives it as a query has it.
func (in *Inquiry) cause(l *loaded, i int) (float64, error) {
	var post [2]float64
	err := l.q.MarginalInto(in.m.causeVar[i], post[:])
	return post[1], err
}

// Unused tells which findings changed nothing, and the phrase that says why.
func (in *Inquiry) Unused() map[string]string { return in.unused }

// IsTold reports whether something was told about an observation or setup fact.
func (in *Inquiry) IsTold(id string) bool { return in.known[id] }

// LogEvidence is ln P(findings | somebody complained), up to the densities' units.
func (in *Inquiry) LogEvidence() (float64, error) { return in.now.q.LogEvidence() }

// FitError is how far the fitted model misses the worst of its stated figures, given a complaint alone.
func (m *Model) FitError() float64 { return m.deviation }
