package knowledge

import (
	"math"
	"slices"
)

// fit finds the base rates with which a complaint alone gives every cause its stated figure. How often somebody
// complains of nothing is fitted along with them.
func (f *files) fit() error {
	m := f.model
	start, anyway := slices.Clone(m.rate), m.anywayRate
	_, err := f.approach(stride)
	if err != nil || m.deviation < 1e-4 {
		return err
	}
	// Figures that cannot be fitted drive long strides apart. Even ones come to rest, and show which figures those are.
	copy(m.rate, start)
	m.anywayRate = anyway
	got, err := f.approach(func(float64, []float64, []float64) float64 { return 1 })
	if err != nil || m.deviation < 1e-4 {
		return err
	}
	return f.unfitted(got)
}

// approach moves each rate's log odds by what its posterior misses, times a stride, until nothing is missed, and gives
// the posteriors that it arrived at.
func (f *files) approach(stride func(last float64, before, now []float64) float64) (got []float64, err error) {
	m := f.model
	in := m.NewInquiry()
	in.base, in.baseAnyway, in.fitting = slices.Clone(m.rate), m.anywayRate, true
	before, now, length := make([]float64, len(m.Causes)), make([]float64, len(m.Causes)), 1.0
	for step := range 200 {
		in.Enter(nil)
		if got, err = in.Causes(got); err != nil {
			return nil, err
		}
		m.deviation = 0
		for i, c := range m.Causes {
			want := c.PerThousand / 1000
			now[i] = logit(want) - logit(got[i])
			if c.Computed && f.anyway > 0 {
				now[i] = 0
				continue
			}
			m.deviation = max(m.deviation, math.Abs(got[i]-want))
		}
		if m.deviation < 1e-9 {
			break
		}
		if step > 0 {
			length = stride(length, before, now)
		}
		for i, c := range m.Causes {
			rate := &m.rate[i]
			if c.Computed {
				rate = &m.anywayRate
			}
			*rate = min(max(sigmoid(logit(*rate)+length*now[i]), 1e-7), 0.9)
		}
		before, now = now, before
	}
	return got, nil
}

// stride is Aitken's relaxation: what a step of the last length has changed in what is missed tells how long the next
// one should be.
func stride(last float64, before, now []float64) float64 {
	along, change := 0.0, 0.0
	for i := range now {
		d := now[i] - before[i]
		along += before[i] * d
		change += d * d
	}
	if change == 0 {
		return last
	}
	return min(max(-last*along/change, 0.3), 30)
}

// follow makes the computed cause's figure what the fitted rates come to.
func (f *files) follow() error {
	m := f.model
	if err := f.build(); err != nil {
		return err
	}
	in := m.NewInquiry()
	in.Enter(nil)
	for i := range m.Causes {
		if !m.Causes[i].Computed {
			continue
		}
		p, err := in.Cause(i)
		if err != nil {
			return err
		}
		m.Causes[i].PerThousand = 1000 * p
	}
	return nil
}

func (f *files) unfitted(got []float64) error {
	for i, c := range f.model.Causes {
		if math.Abs(got[i]-c.PerThousand/1000) > 1e-4 {
			f.seen[c.ID].errorf("%s: given a complaint it comes to %.1f per 1,000, not %g, whatever its base rate: what "+
				"brings it about is too strong, or nobody complains of it",
				c.ID, 1000*got[i], c.PerThousand)
		}
	}
	if err := f.errs.orNil(); err != nil {
		return err
	}
	f.errs.add(".", 0, 0, "the base rates do not settle on the stated figures")
	return f.errs
}

func priorRatio(p, base float64) []float64 { return []float64{(1 - p) / (1 - base), p / base} }

func logit(p float64) float64   { return math.Log(p / (1 - p)) }
func sigmoid(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
