package knowledge

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"lightoff/engine/bayes"
)

// What is known of the installation changes rarely during a conversation, and many heaters are installed alike. All
// that follows from it alone is worked out once and kept for whoever asks next: rates, tables, levels of the readings,
// and the posteriors before anything was found.

// How many bytes are kept at most, of a model, of each kind.
const (
	mostGrounds       = 4 << 20
	mostInstallations = 2 << 20
	mostClamped       = 4 << 20
)

// ground is what the computed quantities come to: trees with their tables, and the levels of the readings.
type ground struct {
	now    *bayes.JoinTree
	levels []levels // [group of readings]
}

// installation is what follows from the setup facts that were told.
type installation struct {
	key     string    // of the facts
	told    []Finding // setup facts, sorted by id
	table   string    // the code table that was told
	ground  *ground
	rate    []float64 // [cause]
	entered []entry   // of the facts that are variables

	// What takes longer is worked out once somebody asks.
	onlyPrior sync.Once
	prior     *prior
	priorErr  error
	rates     sync.Mutex
	rateWith  map[string][][]float64 // [fact][state][cause] rate; NaN where the fact does not touch the cause
}

// clamped is an answer of the network that is kept.
type clamped struct {
	told *bayes.Clamped
	err  error
}

func (c clamped) size() int64 {
	if c.told == nil {
		return 0
	}
	return c.told.Size()
}

// size is how many bytes there are beside the model's own.
func (g *ground) size() int64 {
	n := g.now.OwnSize()
	for _, l := range g.levels {
		n += 8 * int64(len(l.mean)+len(l.cov))
	}
	return n
}

// size is about how many bytes an installation takes once somebody has asked for all that it holds.
func (m *Model) installationBytes(*installation) int64 {
	n := 24 * int64(len(m.Causes))
	for _, s := range m.Setup {
		n += int64(len(s.States)) * (24 + 8*int64(len(m.Causes)))
	}
	for _, v := range m.variables {
		n += 24 + 8*int64(len(v.states))
	}
	return n
}

// prior is what holds before anything was found but that somebody complained.
type prior struct {
	causes      []float64
	parts       Parts
	logEvidence float64
	variables   [][]float64 // [variable][state]
	groups      [][]float64 // [group of readings] over its scope
}

// place finds or works out the installation that findings, sorted by id, tell of.
func (in *Inquiry) place(findings []Finding) *installation {
	var told []Finding
	var key, bearing strings.Builder
	for _, f := range findings {
		if r := in.m.byID[f.ID]; r.kind != refSetup {
			continue
		}
		told = append(told, f)
		fmt.Fprintf(&key, "%s=%s%v ", f.ID, f.State, f.Number)
		if in.m.bears(f.ID) {
			fmt.Fprintf(&bearing, "%s=%s%v ", f.ID, f.State, f.Number)
		}
	}
	work := func() *installation {
		s := newSituation(told, in.memo)
		p := &installation{key: key.String(), told: told, table: stateOf(told, in.m.Roles.CodeTable),
			rate:     make([]float64, len(in.m.Causes)),
			rateWith: map[string][][]float64{}}
		if bearing.Len() == 0 {
			p.ground = in.m.plain
		} else {
			p.ground = in.m.grounds.get(bearing.String(), func() *ground { return in.m.ground(s) })
		}
		for i := range p.rate {
			p.rate[i] = in.m.rateIn(i, s)
		}
		for _, f := range told {
			if v := in.m.variables[f.ID]; v != nil {
				fact, _ := in.m.SetupFact(f.ID)
				p.entered = append(p.entered, entry{f.ID, in.m.varOf(f.ID), in.m.likelihood(v, fact.state(f)), -1})
			}
		}
		return p
	}
	if in.fitting {
		return work()
	}
	return in.m.installations.get(key.String(), work)
}

// ground makes trees and levels for a situation.
func (m *Model) ground(s *situation) *ground {
	now, err := m.tree.InContext(s)
	if err != nil {
		panic(err) // loading has tried every configuration, and a band's probabilities always sum to one
	}
	return &ground{now, m.files.levelsOf(m.groups, s)}
}

// bears reports whether a quantity is computed from the setup fact.
func (m *Model) bears(id string) bool {
	return slices.ContainsFunc(m.files.quantities, func(q *quantity) bool {
		return q.computed.looksAt(id)
	})
}

// before is what holds for the installation before anything was found, with what has been done since.
func (in *Inquiry) before() (*prior, error) {
	p := in.at
	if in.odds == nil && !in.fitting {
		p.onlyPrior.Do(func() { p.prior, p.priorErr = in.newPrior() })
		return p.prior, p.priorErr
	}
	if in.done == nil || in.doneAt != p || !slices.Equal(in.doneOdds, in.odds) {
		done, err := in.newPrior()
		if err != nil {
			return nil, err
		}
		in.done, in.doneAt, in.doneOdds = done, p, slices.Clone(in.odds)
	}
	return in.done, nil
}

// newPrior works it out.
func (in *Inquiry) newPrior() (*prior, error) {
	in.apply(&in.bare, in.at.ground.now, in.at.entered)
	q := in.bare.q
	p := &prior{causes: make([]float64, len(in.m.Causes)), groups: make([][]float64, len(in.m.groups))}
	var err error
	if p.logEvidence, err = q.LogEvidence(); err != nil {
		return nil, err
	}
	if p.variables, err = q.Marginals(nil); err != nil {
		return nil, err
	}
	for g := range p.groups {
		if p.groups[g], err = q.JointMarginal(g); err != nil {
			return nil, err
		}
	}
	for i, v := range in.m.causeVar {
		p.causes[i] = p.variables[v][1]
	}
	if p.parts, err = in.partsIn(&in.bare); err != nil {
		return nil, err
	}
	return p, nil
}

// Priors gives each cause's probability, in the model's order, for the installation and what was done, before anything
// was found but that somebody complained. The slice is shared and must not be changed.
func (in *Inquiry) Priors() ([]float64, error) {
	p, err := in.before()
	if err != nil {
		return nil, err
	}
	return p.causes, nil
}

// PriorParts gives what Parts gives, before anything was found but that somebody complained. Its slice is shared and
// must not be changed.
func (in *Inquiry) PriorParts() (Parts, error) {
	p, err := in.before()
	if err != nil {
		return Parts{}, err
	}
	return p.parts, nil
}

// rateWith is each cause's rate if a setup fact were in a state: [state][cause], NaN for causes that it does not touch.
// It is nil for what changes nothing or is a variable of the network.
func (in *Inquiry) rateWith(id string) [][]float64 {
	p := in.at
	p.rates.Lock()
	defer p.rates.Unlock()
	if rates, ok := p.rateWith[id]; ok {
		return rates
	}
	fact, ok := in.m.SetupFact(id)
	if !ok || fact.Variable || !in.m.matters(id) {
		return nil
	}
	s := newSituation(p.told, in.memo)
	rates := make([][]float64, len(fact.States))
	for k, st := range fact.States {
		with := s.with(Finding{ID: id, State: st.ID})
		rates[k] = make([]float64, len(in.m.Causes))
		for i, c := range in.m.Causes {
			_, touched := in.m.average[i][id]
			if rates[k][i] = math.NaN(); (touched || c.computation.looksAt(id)) && !c.Computed {
				rates[k][i] = in.m.rateIn(i, with)
			}
		}
	}
	p.rateWith[id] = rates
	return rates
}
