package learning

import (
	"math"
	"slices"
	"sync"

	"lightoff/engine/knowledge"
)

// LogScore is the price of a forecast p of something that happened or did not, in nats: −ln of the probability given
// to what was (Good 1952, Rational decisions).
func LogScore(p float64, happened bool) float64 {
	if !happened {
		p = 1 - p
	}
	return -math.Log(p)
}

// BrierScore is the square of what a forecast p misses, one-sided (half of what Brier 1950 sums over both outcomes).
func BrierScore(p float64, happened bool) float64 {
	if happened {
		p = 1 - p
	}
	return p * p
}

// Forecast is a probability with what came of it.
type Forecast struct {
	P        float64
	Happened bool
}

// Bin is one point of a calibration curve: forecasts of about the same probability.
type Bin struct {
	From, To  float64
	Count     int
	Mean      float64 // of the forecasts
	Share     float64 // of what happened
	Low, High float64 // interval for the share that the true probability may have
}

// Calibrated reports whether the mean forecast lies in the interval.
func (b Bin) Calibrated() bool { return b.Mean >= b.Low && b.Mean <= b.High }

// edges of the bins: finer where most causes lie.
var edges = []float64{0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1}

// Calibrate makes a calibration curve, of the bins that hold something, with intervals of z standard errors (Wilson
// 1927, Probable inference, the law of succession, and statistical inference; from memory).
func Calibrate(forecasts []Forecast, z float64) []Bin {
	bins := make([]Bin, len(edges)-1)
	for i := range bins {
		bins[i].From, bins[i].To = edges[i], edges[i+1]
	}
	for _, f := range forecasts {
		i := min(len(bins)-1, max(0, upper(f.P)-1))
		bins[i].Count++
		bins[i].Mean += f.P
		if f.Happened {
			bins[i].Share++
		}
	}
	bins = slices.DeleteFunc(bins, func(b Bin) bool { return b.Count == 0 })
	for i := range bins {
		b := &bins[i]
		n := float64(b.Count)
		b.Mean, b.Share = b.Mean/n, b.Share/n
		b.Low, b.High = WilsonInterval(b.Share, n, z)
	}
	return bins
}

func upper(p float64) int {
	i, found := slices.BinarySearch(edges, p)
	if found {
		i++
	}
	return i
}

// WilsonInterval is the interval for a probability of which a share of n trials was seen.
func WilsonInterval(share, n, z float64) (low, high float64) {
	centre := (share + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(share*(1-share)/n+z*z/(4*n*n))
	return max(0, centre-half), min(1, centre+half)
}

// SpiegelhalterZ's statistic is standard normal if each forecast is the true probability (Spiegelhalter 1986,
// Probabilistic prediction in patient management and clinical trials; from memory).
func SpiegelhalterZ(forecasts []Forecast) float64 {
	sum, variance := 0.0, 0.0
	for _, f := range forecasts {
		o := 0.0
		if f.Happened {
			o = 1
		}
		sum += (o - f.P) * (1 - 2*f.P)
		variance += (1 - 2*f.P) * (1 - 2*f.P) * f.P * (1 - f.P)
	}
	if variance == 0 {
		return 0
	}
	return sum / math.Sqrt(variance)
}

// DecomposeBrierScore splits the mean Brier score into reliability − resolution + uncertainty, for forecasts of equal
// probability taken together (Murphy 1973, A new vector partition of the probability score).
func DecomposeBrierScore(forecasts []Forecast) (reliability, resolution, uncertainty float64) {
	type group struct{ n, happened float64 }
	groups := map[float64]*group{}
	base, n := 0.0, float64(len(forecasts))
	for _, f := range forecasts {
		g := groups[f.P]
		if g == nil {
			g = &group{}
			groups[f.P] = g
		}
		g.n++
		if f.Happened {
			g.happened++
			base += 1 / n
		}
	}
	order := make([]float64, 0, len(groups))
	for p := range groups {
		order = append(order, p)
	}
	slices.Sort(order)
	for _, p := range order {
		g := groups[p]
		share := g.happened / g.n
		reliability += g.n / n * (p - share) * (p - share)
		resolution += g.n / n * (share - base) * (share - base)
	}
	return reliability, resolution, base * (1 - base)
}

// Scores tell how good a model's forecasts are. A cause that a case did not turn out to be counts as not active.
type Scores struct {
	Cases    int
	LogScore float64 // mean over the cases of the sum over the causes, nats
	Brier    float64 // likewise
	Led      float64 // share in which what it turned out to be led
	Bins     []Bin
	Z        float64 // Spiegelhalter's
}

// interval is the standard errors of a 95 % interval.
const interval = 1.959964

// Evaluate lets a model forecast the causes of cases from what was told. leaders are the causes that led.
func Evaluate(m *knowledge.Model, cases []Case, o Options) (s Scores, leaders []string, err error) {
	o = o.filled()
	s.Cases = len(cases)
	pool := sync.Pool{New: func() any { return m.NewInquiry() }}
	posteriors := make([][]float64, len(cases))
	errs := make([]error, len(cases))
	const at = 256
	for start := 0; start < len(cases); start += at {
		n := min(at, len(cases)-start)
		o.Each(n, func(i int) {
			in := pool.Get().(*knowledge.Inquiry)
			defer pool.Put(in)
			in.Enter(cases[start+i].Told)
			posteriors[start+i], errs[start+i] = in.Causes(nil)
		})
		o.Progress("judging", start+n, len(cases))
	}
	var forecasts []Forecast
	for k, c := range cases {
		if errs[k] != nil {
			return s, nil, errs[k]
		}
		best := 0
		for i, p := range posteriors[k] {
			f := Forecast{p, slices.Contains(c.Causes, m.Causes[i].ID)}
			forecasts = append(forecasts, f)
			s.LogScore += LogScore(p, f.Happened) / float64(len(cases))
			s.Brier += BrierScore(p, f.Happened) / float64(len(cases))
			if p > posteriors[k][best] {
				best = i
			}
		}
		leaders = append(leaders, m.Causes[best].ID)
		if slices.Contains(c.Causes, m.Causes[best].ID) {
			s.Led += 1 / float64(len(cases))
		}
	}
	s.Bins, s.Z = Calibrate(forecasts, interval), SpiegelhalterZ(forecasts)
	return s, leaders, nil
}

// judge compares the new model with the old one on what was held back.
func (r *Result) judge(old *knowledge.Model, held []Case) error {
	judged := held
	if n := r.Options.MostJudged; len(held) > n {
		judged = nil
		for i := range n {
			judged = append(judged, held[i*len(held)/n])
		}
	}
	var was, is []string
	var err error
	if r.Before, was, err = Evaluate(old, judged, r.Options); err != nil {
		return err
	}
	if r.After, is, err = Evaluate(r.Model, judged, r.Options); err != nil {
		return err
	}
	for i, c := range judged {
		before, after := slices.Contains(c.Causes, was[i]), slices.Contains(c.Causes, is[i])
		if before && !after {
			r.WrongNow = append(r.WrongNow, NewlyWrong{c.Date, c.Source, c.Causes, is[i]})
		} else if after && !before {
			r.RightNow++
		}
	}
	return nil
}
