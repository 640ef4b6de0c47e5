package knowledge

import (
	"math"
	"slices"
)

// quantity is a continuous magnitude behind meter readings: given the states of its parents it is normally distributed.
type quantity struct {
	id      string
	at      node
	levels  []level
	scaleBy string // a variable whose state multiplies mean and spread; may be empty
	scales  map[string]float64

	from     string // the computation that gives the levels instead, or empty
	given    []string
	computed *Computation
}

// reading is what a meter shows: a sum of quantities, read with an error, or (doubt) something else altogether.
type reading struct {
	observation string
	at          node
	terms       []term
	errorSD     float64
	doubt       float64
	log         bool // quantities are natural logarithms of what is read
	bands       []float64
	min, max    float64
}

type term struct {
	quantity string
	factor   float64
}

func (f *files) quantity(n node) {
	m := n.fields("id", "levels", "from", "given", "scale", "basis")
	q := &quantity{id: m["id"].text(), at: n, from: m["from"].text(), given: m["given"].texts()}
	if !f.claim(q.id, n) {
		return
	}
	f.basis(n, m)
	for _, it := range m["levels"].items() {
		lm := it.fields("when", "mean", "spread")
		l := level{mean: lm["mean"].number(), spread: lm["spread"].number()}
		if l.spread <= 0 {
			it.errorf("%s: spread must be positive", q.id)
		}
		for _, c := range lm["when"].pairs() {
			l.when = append(l.when, condition{c.id, c.val.texts(), c.key})
		}
		q.levels = append(q.levels, l)
	}
	if k := len(q.levels); q.from == "" && (k == 0 || len(q.levels[k-1].when) > 0) {
		n.errorf("%s: the last level must hold always, so leave its when away", q.id)
	}
	if q.from != "" && len(q.levels) > 0 {
		n.errorf("%s has both levels and a computation that gives them; choose one", q.id)
	}
	for _, p := range m["scale"].pairs() {
		q.scaleBy, q.scales = p.id, map[string]float64{}
		for _, s := range p.val.pairs() {
			q.scales[s.id] = s.val.number()
		}
	}
	f.quantities = append(f.quantities, q)
}

func (f *files) numberObservation(v *variable, n node, m map[string]node) {
	o := f.model.Observations[len(f.model.Observations)-1]
	if o.Unit == "" || o.Max <= o.Min {
		n.errorf("%s has no states, so it needs unit, min and max", o.ID)
	}
	if !m["reads"].ok() {
		return
	}
	r := &reading{observation: o.ID, at: n, errorSD: m["error"].numberOr(0), doubt: m["doubt"].numberOr(0.02),
		log: m["log"].flag(), min: o.Min, max: o.Max}
	if r.errorSD < 0 || r.doubt <= 0 || r.doubt >= 1 {
		n.errorf("%s: error must not be negative, and doubt must lie between 0 and 1", o.ID)
	}
	for _, p := range m["reads"].pairs() {
		r.terms = append(r.terms, term{p.id, p.val.number()})
	}
	for _, b := range m["bands"].items() {
		r.bands = append(r.bands, b.number())
	}
	if len(r.bands) == 0 || !slices.IsSorted(r.bands) {
		n.errorf("%s: bands must be rising numbers that part the readings a mechanic would tell apart", o.ID)
	}
	for i := 0; i <= len(r.bands); i++ {
		v.states = append(v.states, bandName(i))
	}
	v.reads = r
	f.variables = append(f.variables, v)
}

// leastDoubt is the chance that a sum of quantities says nothing about the state of an effect.
const leastDoubt = 0.002

// sumEffect makes an effect of the band in which a sum of quantities lies. The bands are the effect's states in rising
// order, each with the value below which it holds; the last has none.
func (f *files) sumEffect(v *variable, m map[string]node) {
	r := &reading{observation: v.id, at: v.at, errorSD: m["error"].numberOr(0), doubt: leastDoubt}
	for _, p := range m["reads"].pairs() {
		r.terms = append(r.terms, term{p.id, p.val.number()})
	}
	for _, p := range m["bands"].pairs() {
		state := slices.Index(v.states, p.id)
		if state < 0 {
			p.key.errorf("%s has no state %q", v.id, p.id)
		}
		v.bandOf = append(v.bandOf, state)
		if p.val.text() != "above" {
			r.bands = append(r.bands, p.val.number())
		}
	}
	if len(v.bandOf) != len(v.states) || len(r.bands) != len(v.states)-1 || !slices.IsSorted(r.bands) {
		v.at.errorf("%s: bands must give each state in rising order the value below which it holds, and above for the last",
			v.id)
	}
	v.reads = r
}

func bandName(i int) string { return "band_" + string(rune('a'+i)) }

// value brings a reading to the scale on which its quantities add up.
func (r *reading) value(x float64) float64 {
	if r.log {
		return math.Log(max(x, 1e-3))
	}
	return x
}

// outlier is the density of a reading that has nothing to do with the heater: even over what the meter can show.
func (r *reading) outlier() float64 { return 1 / (r.value(r.max) - r.value(r.min)) }

// bandRow gives each band's probability for a normally distributed reading, the doubt spread evenly.
func (r *reading) bandRow(mean, variance, scale float64) []float64 {
	row := make([]float64, len(r.bands)+1)
	sd, below := math.Sqrt(variance), 0.0
	for i := range row {
		upTo := 1.0
		if i < len(r.bands) {
			upTo = 0.5 * math.Erfc((mean-r.value(r.bands[i]*scale))/(sd*math.Sqrt2))
		}
		row[i] = (1-r.doubt)*(upTo-below) + r.doubt/float64(len(row))
		below = upTo
	}
	return row
}

type level struct {
	when         []condition
	mean, spread float64
}
