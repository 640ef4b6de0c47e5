package knowledge

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"lightoff/engine/bayes"
)

// The observations that the format itself knows: what a panel shows is translated by the code table that was named.
const (
	faultCode   = "fault_code"
	earlierCode = "earlier_code"
	codeTable   = "code_table"
)

// Finding is one thing told: a state or a number.
type Finding struct {
	ID       string
	State    string
	Number   float64
	IsNumber bool
}

// Check says what is wrong with a finding taken by itself: an unknown id, an impossible state or number. table is the
// code table that was told, or empty. field is "id", "state" or "number".
func (m *Model) Check(f Finding, table string) (field, problem string) {
	r, ok := m.byID[f.ID]
	if !ok || (r.kind != refObservation && r.kind != refSetup) {
		return "id", fmt.Sprintf("%q is no observation or setup fact", f.ID)
	}
	states, unit, low, high := m.allowed(r)
	if unit == "" {
		return m.checkState(f, states, table)
	}
	switch {
	case !f.IsNumber && slices.Contains(states, f.State):
		return "", "" // a setup fact that is roughly known
	case !f.IsNumber && len(states) > 0:
		return "state", fmt.Sprintf("%s is a number in %s or one of %s, not %q", f.ID, unit, strings.Join(states, ", "), f.State)
	case !f.IsNumber:
		return "state", fmt.Sprintf("%s is a number in %s, not a state", f.ID, unit)
	case math.IsNaN(f.Number) || f.Number < low || f.Number > high:
		return "number", fmt.Sprintf("%s must lie between %g and %g %s", f.ID, low, high, unit)
	}
	return "", ""
}

func (m *Model) checkState(f Finding, states []string, table string) (field, problem string) {
	if f.IsNumber {
		return "number", fmt.Sprintf("%s takes one of %s, not a number", f.ID, strings.Join(states, ", "))
	}
	if slices.Contains(states, m.translate(f, table)) {
		return "", ""
	}
	return "state", fmt.Sprintf("%s has no state %q; it has %s", f.ID, f.State, strings.Join(states, ", "))
}

// allowed is what may be told: states, or a unit and the numbers between which it must lie.
func (m *Model) allowed(r ref) (states []string, unit string, low, high float64) {
	if r.kind == refObservation {
		o := m.Observations[r.index]
		return o.States, o.Unit, o.Min, o.Max
	}
	s := m.Setup[r.index]
	for _, st := range s.States {
		states = append(states, st.ID)
	}
	return states, s.Unit, s.Min, s.Max
}

// translate turns a code of the named table into a state of the fault code observation. What the table does not hold, and
// every other observation's state, stays as it is.
func (m *Model) translate(f Finding, table string) string {
	if f.ID == faultCode || f.ID == earlierCode {
		for _, t := range m.CodeTables {
			if state, ok := t.Codes[strings.ToLower(f.State)]; ok && t.ID == table {
				return state
			}
		}
	}
	return f.State
}

// Inquiry answers questions about one heater at a time. It owns scratch memory, so it is for one goroutine; reuse it.
type Inquiry struct {
	m          *Model
	now, none  loaded    // the findings as they are; the same with every cause absent
	base       []float64 // rates that the compiled network holds
	baseAnyway float64
	rate       []float64  // rates for this heater's setup
	situation  *situation // what is known of the installation
	memo       memo
	bearing    string // the part of it that quantities are computed from
	known      map[string]bool
	unused     map[string]string
	entered    []entry
	odds       []float64    // by cause: what has been done since changes its odds by; nil for nothing done
	taught     [][2]float64 // by cause: the likelihood that counting has entered; nil before
}

// loaded is a query with what it has been given, so that the next findings cost only where they differ.
type loaded struct {
	q      *bayes.Query
	anyway float64
	rate   []float64 // NaN: nothing given yet
	odds   []float64
	in     []entry
}

// entry is a finding as it went into the network.
type entry struct {
	id         string
	variable   bayes.VarID
	likelihood []float64
	group      int // of readings; −1 for a finding on one variable
}

// NewInquiry returns an Inquiry on the model.
func (m *Model) NewInquiry() *Inquiry {
	return &Inquiry{m: m, now: m.load(m.tree.NewQuery()), none: m.load(m.tree.NewQuery()), base: m.rate, baseAnyway: m.anywayRate,
		rate: make([]float64, len(m.rate)), memo: memo{}}
}

// load readies a query for the findings of somebody who complained.
func (m *Model) load(q *bayes.Query) loaded {
	l := loaded{q: q, anyway: m.anywayRate, rate: make([]float64, len(m.rate))}
	l.q.Observe(m.complained, 1)
	for i := range l.rate {
		l.rate[i], l.odds = math.NaN(), append(l.odds, 1)
	}
	return l
}

// settle takes up what is known of the installation. The network is made anew only where a quantity hangs on it.
func (in *Inquiry) settle(findings []Finding) {
	var told []Finding
	bearing := ""
	for _, f := range findings {
		if _, ok := in.m.SetupFact(f.ID); !ok {
			continue
		}
		told = append(told, f)
		if in.m.bears(f.ID) {
			bearing += fmt.Sprintf("%s=%s%v ", f.ID, f.State, f.Number)
		}
	}
	in.situation = newSituation(told, in.memo)
	if bearing == in.bearing {
		return
	}
	in.bearing = bearing
	now, err := in.m.tree.NewQueryWith(in.situation)
	if err != nil {
		panic(err) // loading has tried every configuration, and a band's probabilities always sum to one
	}
	none, _ := in.m.tree.NewQueryWith(in.situation)
	in.now, in.none = in.m.load(now), in.m.load(none)
}

// bears tells whether a quantity is computed from the setup fact.
func (m *Model) bears(id string) bool {
	return slices.ContainsFunc(m.files.quantities, func(q *quantity) bool {
		return q.computed.looksAt(id)
	})
}

// Why a finding changed nothing; keys of the texts' phrases.
const (
	UnusedNoBearing = "unused_no_bearing" // the model draws nothing from it
	UnusedDoubtful  = "unused_doubtful"   // no state of the heater explains the reading
	UnusedVoid      = "unused_void"       // what it looks at never had its turn
)

// Enter forgets what was entered before and enters these findings, which must have passed Check. That somebody
// complained is always part of it.
func (in *Inquiry) Enter(findings []Finding) {
	in.known, in.unused, in.entered = map[string]bool{}, map[string]string{}, nil
	in.settle(findings)
	in.setup()
	table := stateOf(findings, codeTable)
	var numbers []Finding
	for _, f := range findings {
		in.known[f.ID] = true
		r := in.m.byID[f.ID]
		v := in.m.variables[f.ID]
		switch {
		case r.kind == refSetup && v == nil:
			if !in.matters(f.ID) && f.ID != codeTable {
				in.unused[f.ID] = UnusedNoBearing
			}
		case v == nil:
			in.unused[f.ID] = UnusedNoBearing
		case in.m.anyHolds(in.m.observation(f.ID).VoidIf, findings, table):
			in.unused[f.ID] = UnusedVoid
		case v.reads != nil:
			numbers = append(numbers, f)
		default:
			state := in.m.translate(f, table)
			if s, ok := in.m.SetupFact(f.ID); ok {
				state = s.state(f)
			}
			l := in.m.likelihood(v, state)
			if sure := in.m.observation(f.ID).SureIf; len(sure) > 0 && !in.m.anyHolds(sure, findings, table) {
				soften(l)
			}
			in.entered = append(in.entered, entry{f.ID, in.m.varOf(f.ID), l, -1})
		}
	}
	in.readings(numbers)
	in.apply(&in.now, false)
}

// Done says by how much each cause's odds have changed, in the model's order, through what was done to the heater since it
// was found as Enter will say; nil for nothing. It holds until it is said anew.
func (in *Inquiry) Done(odds []float64) { in.odds = odds }

func (in *Inquiry) oddsOf(cause int) float64 {
	if in.odds == nil {
		return 1
	}
	return in.odds[cause]
}

// observation describes what was told; setup facts have nothing of an observation.
func (m *Model) observation(id string) Observation {
	if o, ok := m.Observation(id); ok {
		return *o
	}
	return Observation{}
}

func (m *Model) anyHolds(conditions []Condition, findings []Finding, table string) bool {
	return slices.ContainsFunc(conditions, func(c Condition) bool {
		return slices.ContainsFunc(findings, func(f Finding) bool {
			return f.ID == c.ID && slices.Contains(c.States, m.translate(f, table))
		})
	})
}

func stateOf(findings []Finding, id string) string {
	for _, f := range findings {
		if f.ID == id {
			return f.State
		}
	}
	return ""
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

// matters tells whether a setup fact changes anything.
func (in *Inquiry) matters(setup string) bool {
	return in.m.bears(setup) ||
		slices.ContainsFunc(in.m.average, func(a setupFactor) bool { _, ok := a[setup]; return ok }) ||
		slices.ContainsFunc(in.m.Causes, func(c Cause) bool { return c.computation.looksAt(setup) })
}

// maxRate keeps several raising facts together from making a cause certain before anything was looked at.
const maxRate = 0.6

// setup conditions the base rates on what is known of the installation. Unknown facts stay averaged.
func (in *Inquiry) setup() {
	for i := range in.rate {
		in.rate[i] = in.m.rateIn(i, in.situation)
	}
}

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

// readings turns meter readings into joint likelihoods over what they depend on, and names those that nothing explains.
func (in *Inquiry) readings(numbers []Finding) {
	byGroup := map[int][]Finding{}
	for _, f := range numbers {
		g := in.m.groupOf[f.ID]
		byGroup[g] = append(byGroup[g], f)
	}
	for _, gi := range slices.Sorted(maps.Keys(byGroup)) {
		g := in.m.groups[gi]
		var rs []*reading
		var x []float64
		for _, r := range g.readings {
			for _, f := range byGroup[gi] {
				if f.ID != r.observation {
					continue
				}
				if value := r.value(f.Number); in.m.explains(g, r, value, in.situation) {
					rs, x = append(rs, r), append(x, value)
				} else {
					in.unused[r.observation] = UnusedDoubtful
				}
			}
		}
		if len(rs) > 0 {
			in.entered = append(in.entered, entry{rs[0].observation, -1, in.m.likelihoodTable(g, rs, x, in.situation), gi})
		}
	}
}

// explains tells whether some configuration makes a reading noticeably denser than an outlier is. A reading that none
// explains is left out: it would shift odds by a few hundredths at most, but cast doubt on the readings beside it.
func (m *Model) explains(g *readingGroup, r *reading, value float64, s *situation) bool {
	alone := m.likelihoodTable(g, []*reading{r}, []float64{value}, s)
	return slices.Max(alone) >= 1.05*r.doubt*r.outlier()
}

func (m *Model) likelihoodTable(g *readingGroup, rs []*reading, x []float64, s *situation) []float64 {
	var table []float64
	m.files.configurations(g.names, func(at map[string]string) {
		table = append(table, m.files.joint(rs, at, s).density(rs, x))
	})
	return table
}

// apply brings a query to what was entered; absent also clamps every cause to "not active".
func (in *Inquiry) apply(l *loaded, absent bool) {
	m := in.m
	if l.anyway != m.anywayRate {
		l.anyway = m.anywayRate
		l.q.SetLikelihood(m.anyway, priorRatio(m.anywayRate, in.baseAnyway))
	}
	for i, root := range m.rootOf {
		odds := in.oddsOf(i)
		if root < 0 || l.rate[i] == in.rate[i] && l.odds[i] == odds {
			continue
		}
		l.rate[i], l.odds[i] = in.rate[i], odds
		ratio := priorRatio(in.rate[i], in.base[i])
		if root != m.causeVar[i] { // it can be brought about, so what it is of itself is apart from what it comes to
			switch {
			case absent:
				l.q.Observe(m.causeVar[i], 0)
			case odds == 1:
				l.q.Withdraw(m.causeVar[i])
			default:
				l.q.SetLikelihood(m.causeVar[i], []float64{1, odds})
			}
		} else if ratio[1] *= odds; absent {
			ratio[1] = 0
		}
		if !absent && ratio[0] == 1 && ratio[1] == 1 {
			l.q.Withdraw(root)
			continue
		}
		l.q.SetLikelihood(root, ratio)
	}
	for _, old := range l.in {
		if !slices.ContainsFunc(in.entered, old.same) {
			old.withdraw(l.q)
		}
	}
	for _, e := range in.entered {
		if !slices.ContainsFunc(l.in, func(old entry) bool { return old.same(e) && slices.Equal(old.likelihood, e.likelihood) }) {
			e.set(l.q)
		}
	}
	l.in = slices.Clone(in.entered)
}

// same tells whether two entries speak of the same variable or group of readings.
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
	if v := in.m.causeVar[i]; v >= 0 {
		post, err := in.now.q.Marginal(v)
		if err != nil {
			return 0, err
		}
		return post[1], nil
	}
	with, err := in.now.q.LogEvidence()
	if err != nil {
		return 0, err
	}
	in.apply(&in.none, true)
	without, err := in.none.q.LogEvidence()
	if impossible := (*bayes.ImpossibleError)(nil); errors.As(err, &impossible) {
		return 0, nil // what was found cannot be unless something is wrong
	}
	if err != nil {
		return 0, err
	}
	return math.Exp(without - with), nil
}

// Unused tells which findings changed nothing, and the phrase that says why.
func (in *Inquiry) Unused() map[string]string { return in.unused }

// Known tells whether something was told about an observation or setup fact.
func (in *Inquiry) Known(id string) bool { return in.known[id] }

// LogEvidence is ln P(findings | somebody complained), up to the densities' units.
func (in *Inquiry) LogEvidence() (float64, error) { return in.now.q.LogEvidence() }

// Deviation is how far the fitted model misses the worst of its stated figures, given a complaint alone.
func (m *Model) Deviation() float64 { return m.deviation }
