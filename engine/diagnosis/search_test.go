package diagnosis

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

// sets is how many random sets of findings are searched; LIGHTOFF_LONG searches as many as the project promises.
func sets(usual int) int {
	if os.Getenv("LIGHTOFF_LONG") != "" {
		return 100_000
	}
	return usual
}

// seeker draws sets of findings and looks for what must not be advised.
type seeker struct {
	e        *Engine
	in       *knowledge.Inquiry         // of nothing told
	involved map[string]knowledge.Gates // by check and repair: its gates and those that its words speak of
}

func newSeeker(t *testing.T) *seeker {
	m, err := heater.Model()
	require.NoError(t, err)
	s := &seeker{New(m), m.NewInquiry(), map[string]knowledge.Gates{}}
	s.in.Enter(nil)
	note := func(id string, g knowledge.Gates) {
		for _, locale := range m.Locales() {
			for gate := range m.Text(locale).GatesOf(id) {
				g = g.With(gate)
			}
		}
		s.involved[id] = g
	}
	for _, o := range m.Observations {
		note(o.ID, o.Gates)
	}
	for _, r := range m.Repairs {
		note(r.ID, r.Gates)
	}
	return s
}

// request draws what somebody tells: some danger's trigger in four of five, and up to a dozen other findings.
func (s *seeker) request(r *rand.Rand) Request {
	m := s.e.model
	out := Request{Tools: m.Tools, Willing: r.IntN(4)}
	if r.IntN(3) == 0 {
		out.Order = map[string]int{}
	}
	add := func(id string, o Observation) {
		if o.ID = id; !slices.ContainsFunc(out.Observations, func(x Observation) bool { return x.ID == id }) {
			out.Observations = append(out.Observations, o)
			if out.Order != nil {
				out.Order[id] = 1 + r.IntN(9)
			}
		}
	}
	if r.IntN(5) > 0 {
		d := m.Dangers[r.IntN(len(m.Dangers))]
		for _, trip := range d.Any[r.IntN(len(d.Any))].All {
			if len(trip.States) > 0 {
				add(trip.ID, Observation{State: trip.States[r.IntN(len(trip.States))]})
			}
		}
	}
	for range r.IntN(13) {
		if k := r.IntN(len(m.Observations) + len(m.Setup)); k < len(m.Observations) {
			o := m.Observations[k]
			if len(o.States) > 0 {
				add(o.ID, Observation{State: o.States[r.IntN(len(o.States))]})
			} else {
				add(o.ID, Observation{Kind: NumberValue, Number: o.Min + r.Float64()*(o.Max-o.Min)})
			}
		} else if f := m.Setup[k-len(m.Observations)]; f.Unit != "" {
			add(f.ID, Observation{Kind: NumberValue, Number: f.Min + r.Float64()*(f.Max-f.Min)})
		} else if f.ID != m.Roles.CodeTable {
			add(f.ID, Observation{State: f.States[r.IntN(len(f.States))].ID})
		}
	}
	for range r.IntN(3) {
		out.Mended = append(out.Mended, m.Repairs[r.IntN(len(m.Repairs))].ID)
	}
	return out
}

// subject is a request without inference: causes are as probable as chance has it, which puts more of them above their
// limits, and more repairs into plans, than any evidence would.
func (s *seeker) subject(r *rand.Rand, request Request) *subject {
	m := s.e.model
	x := &subject{Engine: s.e, Evidence: s.e.evidence(request), in: s.in, texts: m.Text("en")}
	for _, c := range m.Causes {
		base := c.PerThousand / 1000
		x.base = append(x.base, base)
		x.posterior = append(x.posterior, max(base, r.Float64()*r.Float64()*r.Float64()))
	}
	x.blame = blames(x.posterior, x.base)
	x.part = x.posterior
	x.dangers = x.Evidence.Dangers()
	x.gates = x.gate()
	return x
}

// wrong names a check or a repair that is advised though a danger that stands, or a cause that is too probable, forbids
// what it or its words involve.
func (s *seeker) wrong(x *subject, checks []string, repairs []string) (problem string) {
	for _, ban := range x.gates.bans {
		for _, id := range checks {
			if s.involved[id].Overlaps(ban.forbids) {
				return fmt.Sprintf("%s is asked for although %s forbids it", id, ban.ID)
			}
		}
		for _, id := range repairs {
			if s.involved[id].Overlaps(ban.forbids) && !ban.Permits(id) {
				return fmt.Sprintf("%s is planned although %s forbids it", id, ban.ID)
			}
		}
	}
	return ""
}

// A search over many random sets of findings for a check or repair that a danger or its own words forbid.
func TestNothingForbiddenIsAdvisedWhateverIsTold(t *testing.T) {
	s := newSeeker(t)
	r := rand.New(rand.NewPCG(20261128, 14))
	standing, advised, planned := map[string]int{}, 0, 0
	n := sets(20_000)
	for range n {
		x := s.subject(r, s.request(r))
		var checks, repairs []string
		for _, c := range x.unmade() {
			if !c.setup {
				checks = append(checks, c.id)
			}
		}
		checks = append(checks, x.watchableIfStarted()...)
		if !x.gates.leave {
			p := &planning{s: x, rate: 1}
			p.pin()
			p.chooseCauses()
			p.chooseRepairs()
			for _, repair := range p.repairs {
				repairs = append(repairs, repair.ID)
			}
			for _, step := range p.pinnedSteps() {
				if step.HeldBack == "" {
					repairs = append(repairs, step.RepairID)
				}
			}
		}
		advised, planned = advised+len(checks), planned+len(repairs)
		for _, d := range x.dangers {
			standing[d.ID]++
		}
		require.Empty(t, s.wrong(x, checks, repairs), "%+v", x.request)
	}
	for _, d := range s.e.model.Dangers {
		require.Positive(t, standing[d.ID], "%s never stood", d.ID)
	}
	t.Logf("%d sets: %d checks and %d repairs looked at", n, advised, planned)
}

// watchableIfStarted is what would be watched of a start, if one may be made.
func (s *subject) watchableIfStarted() []string {
	if s.gates.forbidsStart() {
		return nil
	}
	return s.watchable()
}

// The same with all of inference, for fewer sets: what an assessment advises and a conversation asks for.
func TestNothingForbiddenIsAdvisedByAnAssessment(t *testing.T) {
	s := newSeeker(t)
	r := rand.New(rand.NewPCG(20261128, 15))
	for range sets(100) {
		request := s.request(r)
		request.Order, request.Mended = nil, nil
		v, err := s.e.Evidence(request)
		require.NoError(t, err)
		x, err := v.subject()
		require.NoError(t, err)
		a, err := x.assess()
		require.NoError(t, err)
		var checks, repairs []string
		for _, c := range a.NextChecks {
			checks = append(checks, c.ObservationID)
		}
		for _, step := range a.Plan.Steps {
			if step.HeldBack == "" {
				repairs = append(repairs, step.RepairID)
			}
		}
		c := Conversation{Tools: request.Tools, Willing: request.Willing}
		for _, o := range request.Observations {
			c.Told = append(c.Told, Told{Observation: o})
		}
		g := &Guidance{Assessment: a, Recovery: &Recovery{}}
		require.NoError(t, x.next(c, g))
		checks = append(checks, g.Next...)
		if g.Repair != "" {
			repairs = append(repairs, g.Repair)
		}
		require.Empty(t, s.wrong(x, checks, repairs), "%+v", request)
		s.e.pool.Put(x.in)
	}
}

// What is answered from memory, and so asked whatever stands, involves nothing.
func TestWhatIsRecalledInvolvesNothing(t *testing.T) {
	s := newSeeker(t)
	for _, o := range s.e.model.Observations {
		if o.Recalled {
			require.Empty(t, s.involved[o.ID].Names(), o.ID)
		}
	}
}
