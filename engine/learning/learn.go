package learning

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sync"

	"lightoff/engine/bayes"
	"lightoff/engine/knowledge"
)

// Options say how to learn; the zero value of each means its default.
type Options struct {
	EquivalentSampleSize float64 // cases that an expert's row is worth; 50
	RateSampleSize       float64 // cases that the experts' figures per 1,000 are worth; 1000
	Limit                float64 // most that one source can move a number, as a probability; 0.2
	Rounds               int     // of expectation-maximisation; 3
	HeldBack             float64 // share of the cases, the latest, that is kept to judge by; 0.2
	MostJudged           int     // of these, evenly spread; 2000

	// Each calls do for 0 … n−1, in any order and at once if it likes; nil does one after the other.
	Each func(n int, do func(i int))
	// Progress is told how much of a step is done; nil tells nobody.
	Progress func(step string, done, of int)
}

func (o Options) filled() Options {
	o.EquivalentSampleSize = cmp.Or(o.EquivalentSampleSize, 50)
	o.RateSampleSize = cmp.Or(o.RateSampleSize, 1000)
	o.Limit = cmp.Or(o.Limit, 0.2)
	o.Rounds = cmp.Or(o.Rounds, 3)
	o.HeldBack = cmp.Or(o.HeldBack, 0.2)
	o.MostJudged = cmp.Or(o.MostJudged, 2000)
	if o.Each == nil {
		o.Each = func(n int, do func(i int)) {
			for i := range n {
				do(i)
			}
		}
	}
	if o.Progress == nil {
		o.Progress = func(string, int, int) {}
	}
	return o
}

func (o Options) check() error {
	switch {
	case !(o.EquivalentSampleSize > 0 && o.EquivalentSampleSize < 1e9), !(o.RateSampleSize > 0 && o.RateSampleSize < 1e9):
		return errors.New("an equivalent sample size is a positive number of cases")
	case !(o.Limit > 0 && o.Limit < 1):
		return errors.New("the limit lies between 0 and 1")
	case !(o.HeldBack > 0 && o.HeldBack < 1):
		return errors.New("the share held back lies between 0 and 1")
	case o.Rounds < 1 || o.Rounds > 100 || o.MostJudged < 1:
		return errors.New("there are from 1 to 100 rounds, and at least one case to judge by")
	}
	return nil
}

// Result is a new model with what is to be known of it.
type Result struct {
	Model         *knowledge.Model
	Overlay       []byte // its numbers, for knowledge.LoadWith beside the files of the old one
	Options       Options
	Cases         int        // that taught
	Guesses       int        // set aside: nobody found out
	HeldBack      int        // kept to judge by
	HeldFrom      string     // their first date
	Sources       int        // of those that taught
	Scaled        int        // rows in which a source was scaled down
	LinksKept     float64    // likewise for the links
	RatesKept     float64    // share of the way that the figures per 1,000 could go; 1 unless the links do not allow them
	Moved         []MovedRow // largest first
	Before, After Scores
	WrongNow      []NewlyWrong // right before
	RightNow      int          // wrong before
	LogLikelihood []float64    // mean, nats a case, of the findings in each round: of the model that the round began with
	NotUnderstood int          // cases that the model holds impossible
}

// MovedRow is a number before and after.
type MovedRow struct {
	Key           string
	State         string // whose probability moved most
	Before, After float64
	Cases         float64 // that bear on it, expected, after scaling
	Sources       int
}

// NewlyWrong is a case that the new model gets wrong and the old one did not.
type NewlyWrong struct {
	Date, Source string
	Causes       []string
	Now          string // what leads
}

// ErrTooFew means that nothing is left to learn from or to judge by.
var ErrTooFew = errors.New("too few settled cases")

// Learn learns. The order of the cases never matters.
func Learn(m *knowledge.Model, cases []Case, o Options) (*Result, error) {
	o = o.filled()
	if err := o.check(); err != nil {
		return nil, err
	}
	r := &Result{Options: o}
	teach, held := r.divide(m, cases)
	if len(teach) == 0 || len(held) == 0 {
		return nil, fmt.Errorf("%w: %d to learn from, %d to judge by", ErrTooFew, len(teach), len(held))
	}
	l := &learner{m: m, o: o, r: r, prior: m.Numbers(), cases: teach}
	l.index()
	first, err := l.round(m, l.prior.Rows, 1)
	if err != nil {
		return nil, err
	}
	rows, tally := first, l.tally
	for k := 2; k <= o.Rounds; k++ {
		model, err := m.WithNumbers(knowledge.Numbers{Rows: rows})
		if err != nil {
			return nil, fmt.Errorf("round %d: %w", k, err)
		}
		if rows, err = l.round(model, rows, k); err != nil {
			return nil, err
		}
	}
	for i := range rows {
		rows[i].P = towards(first[i].P, rows[i].P, o.Limit/4)
		rows[i].P = l.seen(rows[i])
	}
	if err := l.finish(rows, tally); err != nil {
		return nil, err
	}
	return r, r.judge(m, held)
}

// fewCases is from how many cases on a source keeps back the latest of its own. Those with fewer are taken together. So
// no large source has a say in what is learnt from others.
const fewCases = 5

// divide puts the latest cases aside, and guesses away.
func (r *Result) divide(m *knowledge.Model, cases []Case) (teach, held []Case) {
	type keyed struct {
		Case
		key string
	}
	var good []keyed
	bySource := map[string][]string{}
	for _, c := range cases {
		if c.Teaches() {
			good = append(good, keyed{c, c.key(m)})
			bySource[c.Source] = append(bySource[c.Source], c.Date)
		}
	}
	r.Guesses = len(cases) - len(good)
	var few []string
	for _, dates := range bySource {
		if len(dates) < fewCases {
			few = append(few, dates...)
		}
	}
	latest := func(dates []string) string {
		dates = slices.Sorted(slices.Values(dates))
		return dates[min(len(dates)-1, int(float64(len(dates))*(1-r.Options.HeldBack)))]
	}
	from := map[string]string{}
	for source, dates := range bySource {
		if len(dates) < fewCases {
			dates = few
		}
		from[source] = latest(dates)
	}
	slices.SortFunc(good, func(a, b keyed) int {
		return cmp.Or(cmp.Compare(a.Source, b.Source), cmp.Compare(a.key, b.key))
	})
	sources := map[string]bool{}
	for _, c := range good {
		if c.Date < from[c.Source] {
			teach = append(teach, c.Case)
			sources[c.Source] = true
			continue
		}
		held = append(held, c.Case)
		if r.HeldFrom == "" || c.Date < r.HeldFrom {
			r.HeldFrom = c.Date
		}
	}
	r.Cases, r.HeldBack, r.Sources = len(teach), len(held), len(sources)
	return teach, held
}

// learner holds what all rounds share.
type learner struct {
	m      *knowledge.Model
	o      Options
	r      *Result
	prior  knowledge.Numbers
	cases  []Case
	chunks []chunk
	causes map[string]int
	tally  []tally // [row] of the first round
}

// chunk is a stretch of one source's cases, small enough to share out work.
type chunk struct{ from, to int }

// tally is what taught a row.
type tally struct {
	cases   float64
	sources int
}

const chunkCases = 200

// window is how many chunks' counts are held at once, which bounds the memory.
const window = 64

func (l *learner) index() {
	l.causes = map[string]int{}
	for i, c := range l.m.Causes {
		l.causes[c.ID] = i
	}
	for from := 0; from < len(l.cases); {
		to := from
		for to < len(l.cases) && to-from < chunkCases && l.cases[to].Source == l.cases[from].Source {
			to++
		}
		l.chunks = append(l.chunks, chunk{from, to})
		from = to
	}
}

// counted is what one chunk comes to.
type counted struct {
	rows    [][]float64
	logP    float64
	strange int
}

// round makes expected counts with a model, and of them the rows that the experts' become. Chunks are counted in any
// order and added up in theirs.
func (l *learner) round(m *knowledge.Model, current []knowledge.Row, number int) ([]knowledge.Row, error) {
	pool := sync.Pool{New: func() any { return m.NewInquiry() }}
	width := func() [][]float64 {
		out := make([][]float64, len(current))
		for i, r := range current {
			out[i] = make([]float64, len(r.P))
		}
		return out
	}
	total, source := width(), width()
	l.tally = make([]tally, len(current))
	l.r.Scaled, l.r.NotUnderstood = 0, 0
	logP := 0.0
	for start := 0; start < len(l.chunks); start += window {
		part := l.chunks[start:min(start+window, len(l.chunks))]
		results := make([]counted, len(part))
		l.o.Each(len(part), func(i int) {
			in := pool.Get().(*knowledge.Inquiry)
			defer pool.Put(in)
			results[i] = l.count(m, in, part[i])
		})
		for i, c := range results {
			add(source, c.rows)
			logP += c.logP
			l.r.NotUnderstood += c.strange
			next := start + i + 1
			if next == len(l.chunks) || l.cases[l.chunks[next].from].Source != l.cases[part[i].from].Source {
				l.merge(total, source)
			}
		}
		l.o.Progress(fmt.Sprintf("round %d of %d", number, l.o.Rounds), part[len(part)-1].to, len(l.cases))
	}
	l.r.LogLikelihood = append(l.r.LogLikelihood, logP/float64(len(l.cases)))
	out := make([]knowledge.Row, len(current))
	for i, r := range l.prior.Rows {
		r.P = updated(r.P, total[i], l.o.EquivalentSampleSize)
		out[i] = r
	}
	return out, nil
}

func (l *learner) count(m *knowledge.Model, in *knowledge.Inquiry, c chunk) counted {
	counts := m.NewCounts()
	out := counted{}
	var turnedOut []knowledge.Confirmed
	for _, one := range l.cases[c.from:c.to] {
		turnedOut = turnedOut[:0]
		for _, id := range one.Causes {
			turnedOut = append(turnedOut, knowledge.Confirmed{Cause: l.causes[id], Sure: min(one.Sure, surest)})
		}
		err := in.Count(one.Told, turnedOut, counts)
		if impossible := (*bayes.ImpossibleError)(nil); errors.As(err, &impossible) {
			out.strange++
		} else if err != nil {
			panic(err) // nothing else can be wrong with findings that passed the check
		}
	}
	out.rows, out.logP = m.RowCounts(counts), counts.LogP
	return out
}

// surest keeps anybody's word from making a cause certain.
const surest = 0.999

func add(to, what [][]float64) {
	for i, row := range what {
		for k, x := range row {
			to[i][k] += x
		}
	}
}

// most is how many cases of one source may count where a prior is worth size cases, so that they move a probability by
// share at most: with n of them, (size·p + n·q) / (size + n) lies within n / (size + n) of p, whatever others add.
func most(share, size float64) float64 { return share / (1 - share) * size }

// merge adds a source's counts to the total, scaled down where they would move a row too far, and clears them.
func (l *learner) merge(total, source [][]float64) {
	limit := most(l.o.Limit/2, l.o.EquivalentSampleSize)
	for i, row := range source {
		n := 0.0
		for _, x := range row {
			n += x
		}
		if n > 0.01 {
			l.tally[i].sources++
		}
		scale := 1.0
		if n > limit {
			scale = limit / n
			l.r.Scaled++
		}
		l.tally[i].cases += n * scale
		for k, x := range row {
			total[i][k] += scale * x
			row[k] = 0
		}
	}
}

// updated is the mean of the Dirichlet distribution with the prior's mean and size, after counts.
func updated(prior, counts []float64, size float64) []float64 {
	out := make([]float64, len(prior))
	n := size
	for _, x := range counts {
		n += x
	}
	if n == 0 {
		return slices.Clone(prior)
	}
	total := 0.0
	for k := range out {
		out[k] = (size*prior[k] + counts[k]) / n
		total += out[k]
	}
	for k := range out {
		out[k] /= total
	}
	return out
}

// towards goes from one distribution to another, as far as no probability moves by more than limit.
func towards(from, to []float64, limit float64) []float64 {
	widest := 0.0
	for k := range from {
		widest = max(widest, max(to[k]-from[k], from[k]-to[k]))
	}
	if widest <= limit {
		return to
	}
	out := make([]float64, len(from))
	for k := range out {
		out[k] = from[k] + (to[k]-from[k])*limit/widest
	}
	return out
}

// seen keeps the chance that people overlook what is there.
func (l *learner) seen(r knowledge.Row) []float64 {
	least := l.m.LeastOverlooked(r.Of)
	if r.From == "" || r.P[0] >= least {
		return r.P
	}
	out := slices.Clone(r.P)
	out[0] = least
	rest := 1 - r.P[0]
	for k := 1; k < len(out); k++ {
		out[k] *= (1 - least) / rest
	}
	return out
}

// rates counts what cases turned out to be, source by source, against the experts' figures.
func (l *learner) rates() map[string]float64 {
	limit := most(l.o.Limit/10, l.o.RateSampleSize)
	counts, total := make([]float64, len(l.m.Causes)), 0.0
	for from := 0; from < len(l.cases); {
		to := from
		own := make([]float64, len(counts))
		for ; to < len(l.cases) && l.cases[to].Source == l.cases[from].Source; to++ {
			for _, id := range l.cases[to].Causes {
				own[l.causes[id]] += l.cases[to].Sure
			}
		}
		n := float64(to - from)
		scale := min(1, limit/n)
		for i, x := range own {
			counts[i] += scale * x
		}
		total += scale * n
		from = to
	}
	out := map[string]float64{}
	for i, c := range l.m.Causes {
		share := (l.o.RateSampleSize*c.PerThousand/1000 + counts[i]) / (l.o.RateSampleSize + total)
		if slices.ContainsFunc(l.m.Limits, func(k knowledge.Limit) bool { return k.Cause == c.ID }) {
			share = max(share, c.PerThousand/1000)
		}
		out[c.ID] = 1000 * share
	}
	return out
}

// finish makes the model. That nothing is the matter follows from the rest, where the links and the other figures do
// not allow what was counted. Where these do not fit together, first the figures go only part of the way, and then the
// links too.
func (l *learner) finish(rows []knowledge.Row, tally []tally) error {
	rates := l.rates()
	var err error
	for k, part := range [][2]float64{{1, 1}, {1, 1}, {1, 0.5}, {1, 0}, {0.5, 0.5}, {0.5, 0}, {0, 0}} {
		n := knowledge.Numbers{Rates: map[string]float64{}}
		for i, r := range rows {
			r.P = slices.Clone(r.P)
			for s, was := range l.prior.Rows[i].P {
				r.P[s] = was + part[0]*(r.P[s]-was)
			}
			n.Rows = append(n.Rows, r)
		}
		for _, c := range l.m.Causes {
			if !c.Computed || k == 0 {
				n.Rates[c.ID] = c.PerThousand + part[1]*(rates[c.ID]-c.PerThousand)
			}
		}
		var model *knowledge.Model
		if model, err = l.m.WithNumbers(n); err != nil {
			continue
		}
		n.Rates = model.Numbers().Rates
		l.r.Model, l.r.Overlay, l.r.LinksKept, l.r.RatesKept = model, l.m.Overlay(n), part[0], part[1]
		l.r.Moved = l.moved(n, tally)
		return nil
	}
	return fmt.Errorf("the learnt links do not fit together: %w", err)
}

func (l *learner) moved(n knowledge.Numbers, tally []tally) (out []MovedRow) {
	for i, r := range n.Rows {
		was, best := l.prior.Rows[i].P, 0
		for k := range r.P {
			if gap(r.P[k], was[k]) > gap(r.P[best], was[best]) {
				best = k
			}
		}
		if gap(r.P[best], was[best]) > 1e-9 {
			out = append(out, MovedRow{r.Name(), l.m.Outcomes(r.Of)[best], was[best], r.P[best], tally[i].cases,
				tally[i].sources})
		}
	}
	for _, c := range l.m.Causes {
		if now := n.Rates[c.ID]; gap(now, c.PerThousand) > 1e-9 {
			out = append(out, MovedRow{Key: c.ID + " per 1,000", Before: c.PerThousand / 1000, After: now / 1000,
				Cases: float64(len(l.cases)), Sources: l.r.Sources})
		}
	}
	slices.SortStableFunc(out, func(a, b MovedRow) int {
		return cmp.Compare(gap(b.After, b.Before),
			gap(a.After, a.Before))
	})
	return out
}

func gap(a, b float64) float64 { return max(a-b, b-a) }
