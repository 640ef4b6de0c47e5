package diagnosis

import (
	"cmp"
	"slices"
)

// Taking are answers to how probable it is that a cause takes part in today's failure, rather than being there beside
// it. The assessment gives Between.
type Taking struct {
	ID       string
	Active   float64 // that it is active, whether or not it takes part
	StandsUp float64 // how far that stands out from the rate given the complaint alone
	Followed float64 // how far the failure can be followed back to it, given that something listed takes part
	// The geometric mean of Active, given that something listed takes part, and Followed; StandsUp where that is more.
	Between float64
}

// TakesPart gives them for every cause, the one to which the failure can be followed furthest first. The error is an
// *InputError, unless the model itself fails.
func (e *Engine) TakesPart(r Request) ([]Taking, error) {
	v, err := e.Evidence(r)
	if err != nil {
		return nil, err
	}
	s, err := v.subject()
	if err != nil {
		return nil, err
	}
	defer e.pool.Put(s.in)
	parts, err := s.in.Parts()
	if err != nil {
		return nil, err
	}
	out := make([]Taking, len(s.model.Causes))
	for i, c := range s.model.Causes {
		out[i] = Taking{c.ID, s.posterior[i], s.blame[i], parts.Causes[i], s.part[i]}
	}
	slices.SortStableFunc(out, func(a, b Taking) int { return cmp.Compare(b.Followed, a.Followed) })
	return out, nil
}
