package cases

import (
	"fmt"
	"slices"
	"strings"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

// MostChecks is how many advised checks a caller makes before the cause must lead.
const MostChecks = 4

// Result is how an engine fared with one case.
type Result struct {
	*Case
	Places  []int    // after 0, 1, … checks: the place of the best placed true cause, from 1
	Worst   int      // in the end: the place of the worst placed true cause, from 1
	Leaders []string // the cause that led then
	Asked   []string // the checks that were advised first and made
	Unsafe  []string // dangers not flagged, forbidden checks advised
	Amiss   []string // expected checks not advised, or a check without its tool at hand
}

// First reports whether a true cause led on what was told unasked.
func (r *Result) First() bool { return r.Places[0] == 1 }

// Settled is the number of checks after which a true cause led and went on leading, or -1.
func (r *Result) Settled() int {
	at := -1
	for k := len(r.Places) - 1; k >= 0 && r.Places[k] == 1; k-- {
		at = k
	}
	return at
}

// Last is the place of the best placed true cause at the end.
func (r *Result) Last() int { return r.Places[len(r.Places)-1] }

// Run lets a caller tell the case and make the checks that are advised first.
func (s *Suite) Run(m *knowledge.Model, e *diagnosis.Engine, c *Case) (*Result, error) {
	out := &Result{Case: c}
	request := c.Request()
	for k := 0; ; k++ {
		a, err := e.Assess(request)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.ID, err)
		}
		out.place(a)
		out.forbidden(m, a)
		if k == 0 {
			out.expected(a)
		}
		if k == MostChecks || len(a.NextChecks) == 0 {
			return out, nil
		}
		next := a.NextChecks[0].ObservationID
		out.Asked = append(out.Asked, next)
		request.Observations = append(request.Observations, s.answer(c, next))
	}
}

func (r *Result) place(a *diagnosis.Assessment) {
	place := slices.IndexFunc(a.Causes, func(c diagnosis.RankedCause) bool { return slices.Contains(r.Causes, c.ID) })
	r.Places = append(r.Places, place+1)
	r.Worst = 0
	for i, c := range a.Causes {
		if slices.Contains(r.Causes, c.ID) {
			r.Worst = i + 1
		}
	}
	r.Leaders = append(r.Leaders, a.Causes[0].ID)
}

// forbidden looks for advised checks that a standing danger forbids.
func (r *Result) forbidden(m *knowledge.Model, a *diagnosis.Assessment) {
	for _, check := range a.NextChecks {
		o, ok := m.Observation(check.ObservationID)
		if !ok {
			continue // a fact of the installation
		}
		for _, standing := range a.Dangers {
			i := slices.IndexFunc(m.Dangers, func(d knowledge.Danger) bool { return d.ID == standing.ID })
			if i >= 0 && m.Dangers[i].Forbids.Overlaps(o.Gates) {
				r.Unsafe = append(r.Unsafe, fmt.Sprintf("%s was advised although %s forbids it", o.ID, standing.ID))
			}
		}
		if o.Tool != "" && !slices.Contains(r.Tools, o.Tool) {
			r.Amiss = append(r.Amiss, fmt.Sprintf("%s was advised without %s at hand", o.ID, o.Tool))
		}
	}
}

// expected looks for what the case demands on what was told.
func (r *Result) expected(a *diagnosis.Assessment) {
	for _, id := range r.Warned {
		if !slices.ContainsFunc(a.Dangers, func(d diagnosis.Danger) bool { return d.ID == id }) {
			r.Unsafe = append(r.Unsafe, "no warning of "+id)
		}
	}
	first := a.NextChecks[:min(3, len(a.NextChecks))]
	if len(r.Advised) > 0 && !slices.ContainsFunc(first,
		func(c diagnosis.AdvisedCheck) bool { return slices.Contains(r.Advised, c.ObservationID) }) {
		var ids []string
		for _, c := range first {
			ids = append(ids, c.ObservationID)
		}
		r.Amiss = append(r.Amiss, fmt.Sprintf("none of %s among the first checks %s", strings.Join(r.Advised, ", "),
			strings.Join(ids, ", ")))
	}
}

// Summary adds up results.
type Summary struct {
	Cases        int
	First        int // led on what was told
	FirstOfThree int
	Led          int // led after at most MostChecks checks
	Unplaced     int // not among the first three in the end
	Pairs        int // of two true causes
	Both         int // of these, both among the first three in the end
	Median       int // of the checks after which the true cause led, over those in which it did
	Unsafe       int // faults of safety
	Amiss        int // other faults
}

// Shares are the groups of cases that are told apart in every report.
var Shares = []struct {
	Name string
	Of   func(*Result) bool
}{
	{"tuned on", func(r *Result) bool { return !r.Hard && !r.Kept }},
	{"kept", func(r *Result) bool { return !r.Hard && r.Kept }},
	{"harder, tuned on", func(r *Result) bool { return r.Hard && !r.Kept }},
	{"harder, kept", func(r *Result) bool { return r.Hard && r.Kept }},
}

// Summarise adds up the results for which keep holds.
func Summarise(results []*Result, keep func(*Result) bool) (s Summary) {
	var needed []int
	for _, r := range results {
		if !keep(r) {
			continue
		}
		s.Cases++
		s.Unsafe += len(r.Unsafe)
		s.Amiss += len(r.Amiss)
		if r.First() {
			s.First++
		}
		if r.Places[0] <= 3 {
			s.FirstOfThree++
		}
		if k := r.Settled(); k >= 0 {
			s.Led++
			needed = append(needed, k)
		}
		if r.Last() > 3 {
			s.Unplaced++
		}
		if len(r.Causes) == 2 {
			s.Pairs++
			if r.Worst <= 3 {
				s.Both++
			}
		}
	}
	if slices.Sort(needed); len(needed) > 0 {
		s.Median = needed[len(needed)/2]
	}
	return s
}

// String is the summary in a line.
func (s Summary) String() string {
	percent := func(n int) float64 { return 100 * float64(n) / float64(max(1, s.Cases)) }
	return fmt.Sprintf("%d cases: first on what was told %.1f %%, among three %.1f %%; "+
		"first after at most %d checks %.1f %% (median %d); below third %d; "+
		"both of two among three %d of %d; unsafe %d, amiss %d",
		s.Cases, percent(s.First), percent(s.FirstOfThree), MostChecks, percent(s.Led), s.Median, s.Unplaced, s.Both, s.Pairs,
		s.Unsafe, s.Amiss)
}
