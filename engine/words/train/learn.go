package main

import (
	"cmp"
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"lightoff/engine/words"
)

// How the weights are learnt. Changed only with a look at what sentences that were left out give.
const (
	rounds    = 3       // of finding places
	passes    = 5       // over all stretches in each round
	step      = 0.35    // of AdaGrad
	bias      = -5.0    // log odds of a thing of which nothing is seen
	leastText = 2       // sentences in which a sign stands at least
	leastSaid = 2       // sentences that say a thing at least
	small     = 0.02    // errors below this are not learnt from
	most      = 980_000 // bytes of the file
)

// example is a stretch with what is said in it.
type example struct {
	signs   []int32
	from    int
	to      int
	said    []int // labels
	unknown []int // labels of which it is not known whether they are said here
}

// passage is a text as the trainer sees it.
type passage struct {
	*text
	examples []*example
	labels   []int
	found    map[int]*example // where a label is said, as far as known
}

type trainer struct {
	rows     map[uint32]int32 // of each sign that is learnt
	signs    []uint32
	labels   []label
	number   map[label]int
	passages []*passage
	examples []*example
	weights  [][]float32 // by sign and label
	grads    [][]float32
	bias     []float32
	usual    []string
	biasGrad []float32
}

func newTrainer(r *words.Reader, texts []*text) *trainer {
	t := &trainer{rows: map[uint32]int32{}, number: map[label]int{}}
	said := map[label]int{}
	in := map[uint32]int{}
	var stretches [][]words.Stretch
	for _, x := range texts {
		for l := range x.said {
			said[l]++
		}
		ss := r.Stretches(x.words, x.locale)
		stretches = append(stretches, ss)
		seen := map[uint32]bool{}
		for _, s := range ss {
			for _, sign := range s.Signs {
				if !seen[sign] {
					seen[sign] = true
					in[sign]++
				}
			}
		}
	}
	for _, l := range slices.SortedFunc(maps.Keys(said), func(a, b label) int {
		return cmp.Or(cmp.Compare(a.id, b.id), cmp.Compare(a.state, b.state))
	}) {
		if said[l] >= leastSaid {
			t.number[l] = len(t.labels)
			t.labels = append(t.labels, l)
		}
	}
	for _, s := range slices.Sorted(maps.Keys(in)) {
		if in[s] >= leastText {
			t.rows[s] = int32(len(t.signs))
			t.signs = append(t.signs, s)
		}
	}
	for i, x := range texts {
		t.add(r, x, stretches[i])
	}
	return t
}

// add takes up a text, with the places where the reader by rules finds what it says.
func (t *trainer) add(r *words.Reader, x *text, stretches []words.Stretch) {
	p := &passage{text: x, found: map[int]*example{}}
	for l := range x.said {
		if k, ok := t.number[l]; ok {
			p.labels = append(p.labels, k)
		}
	}
	slices.Sort(p.labels)
	for _, s := range stretches {
		p.examples = append(p.examples, &example{signs: t.known(s.Signs), from: s.From, to: s.To})
	}
	out := r.Read(x.words, words.Context{Asked: x.asked, Locale: x.locale})
	read := out.Readings
	for _, o := range out.Offers {
		read = append(append(read, o.Reading), o.Alternatives...)
	}
	for _, y := range read {
		state := y.State
		if y.IsNumber || len(state) > 2 && state[:2] == "E-" {
			state = words.NumberSaid
		}
		if k, ok := t.number[label{y.ID, state}]; ok && slices.Contains(p.labels, k) {
			if e := p.smallest(y.From, y.To); e != nil {
				p.found[k] = e
			}
		}
	}
	if x.whole && len(p.labels) == 1 {
		p.found[p.labels[0]] = p.longest()
	}
	t.passages = append(t.passages, p)
	t.examples = append(t.examples, p.examples...)
}

// smallest is the shortest stretch that covers a place.
func (p *passage) smallest(from, to int) *example {
	var best *example
	for _, e := range p.examples {
		if e.from <= from && e.to >= to && (best == nil || e.to-e.from < best.to-best.from) {
			best = e
		}
	}
	return best
}

func (p *passage) longest() *example {
	var best *example
	for _, e := range p.examples {
		if best == nil || e.to-e.from > best.to-best.from {
			best = e
		}
	}
	return best
}

// known are the rows of the signs that are learnt.
func (t *trainer) known(signs []uint32) []int32 {
	var out []int32
	for _, s := range signs {
		if r, ok := t.rows[s]; ok {
			out = append(out, r)
		}
	}
	return out
}

// mark tells each stretch what is said in it: those that hold a label's place say it, those that share some of it may.
func (p *passage) mark() {
	for _, e := range p.examples {
		e.said, e.unknown = nil, nil
		for _, k := range p.labels {
			f := p.found[k]
			switch {
			case f == nil, f.from < e.to && e.from < f.to && !(e.from <= f.from && e.to >= f.to):
				e.unknown = append(e.unknown, k)
			case e.from <= f.from && e.to >= f.to:
				e.said = append(e.said, k)
			}
		}
	}
}

func (t *trainer) learn() {
	random := rand.New(rand.NewPCG(1, 2))
	for round := range rounds {
		for _, p := range t.passages {
			p.mark()
		}
		t.reset()
		order := random.Perm(len(t.examples))
		for range passes {
			random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
			for _, i := range order {
				t.see(t.examples[i])
			}
		}
		if round < rounds-1 {
			for _, p := range t.passages {
				t.locate(p)
			}
		}
	}
}

func (t *trainer) reset() {
	n := len(t.labels)
	t.weights, t.grads = make([][]float32, len(t.signs)), make([][]float32, len(t.signs))
	t.bias, t.biasGrad = make([]float32, n), make([]float32, n)
	for i := range t.weights {
		t.weights[i], t.grads[i] = make([]float32, n), make([]float32, n)
	}
	for k := range t.bias {
		t.bias[k] = bias
	}
}

// score gives the log odds of each label.
func (t *trainer) score(signs []int32) []float32 {
	out := slices.Clone(t.bias)
	for _, s := range signs {
		for k, w := range t.weights[s] {
			out[k] += w
		}
	}
	return out
}

// see learns from one stretch.
func (t *trainer) see(e *example) {
	scores := t.score(e.signs)
	for k := range scores {
		p := float32(1 / (1 + math.Exp(-float64(scores[k]))))
		g := p
		if slices.Contains(e.said, k) {
			g = p - 1
		}
		if g > -small && g < small || slices.Contains(e.unknown, k) {
			continue
		}
		for _, s := range e.signs {
			t.grads[s][k] += g * g
			t.weights[s][k] -= step * g / float32(math.Sqrt(float64(t.grads[s][k]))+1)
		}
		t.biasGrad[k] += g * g
		t.bias[k] -= 0.3 * step * g / float32(math.Sqrt(float64(t.biasGrad[k]))+1)
	}
}

// locate finds where a passage says what it says: where the weights think it likeliest, shorter stretches first.
func (t *trainer) locate(p *passage) {
	if len(p.examples) == 0 {
		return
	}
	scores := make([][]float32, len(p.examples))
	for i, e := range p.examples {
		scores[i] = t.score(e.signs)
	}
	for _, k := range p.labels {
		best, most := -1, float32(0)
		for i, e := range p.examples {
			if v := scores[i][k] - brevity*float32(e.to-e.from); best < 0 || v > most {
				best, most = i, v
			}
		}
		p.found[k] = p.examples[best]
	}
}

// brevity is what a letter more costs a place.
const brevity = 0.01

// pack rounds the weights, leaves out the smallest until the file is small enough, and puts it together.
func (t *trainer) pack() []byte {
	var labels []words.HunchLabel
	for k, l := range t.labels {
		labels = append(labels, words.HunchLabel{ID: l.id, State: l.state, Bias: round(t.bias[k])})
	}
	for least := 2; ; least++ {
		w := words.Weights{}
		for i, row := range t.weights {
			kept := map[int]int8{}
			for k, v := range row {
				if r := round(v); r >= int32(least) || -r >= int32(least) {
					kept[k] = int8(max(min(r, 127), -127))
				}
			}
			if len(kept) > 0 {
				w[t.signs[i]] = kept
			}
		}
		if data := words.WriteHunches(labels, t.usual, w); len(data) <= most {
			return data
		}
	}
}

func round(v float32) int32 { return int32(math.Round(float64(v) / words.HunchUnit)) }
