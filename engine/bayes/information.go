package bayes

import (
	"cmp"
	"math"
	"slices"
)

// MutualInformation is I(target; candidate | e) in bits, [target][candidate]: by how much learning the candidate would
// on average reduce the uncertainty about the target. It is exactly zero for variables that the findings separate. The
// findings stay as they were. It panics on a variable out of range, and fails with *ImpossibleError.
func (q *Query) MutualInformation(targets, candidates []VarID) ([][]float64, error) {
	for _, v := range targets {
		q.t.net.check(v)
	}
	for _, v := range candidates {
		q.t.net.check(v)
	}
	if err := q.possible(); err != nil {
		return nil, err
	}
	c := q.newClamp(candidates)
	out := make([][]float64, len(targets))
	for _, i := range q.alongTree(targets) {
		out[i] = c.information(targets[i])
	}
	return out, nil
}

// alongTree orders the targets by a walk over the tree, so that most products can be kept from one to the next.
func (q *Query) alongTree(targets []VarID) []int {
	position := make([]int, len(q.t.cliques))
	next := 0
	var walk func(i, from int32)
	walk = func(i, from int32) {
		position[i] = next
		next++
		for _, l := range q.t.cliques[i].links {
			if l.to != from {
				walk(l.to, i)
			}
		}
	}
	for _, r := range q.t.roots {
		walk(r, -1)
	}
	order := make([]int, len(targets))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(position[q.t.home[targets[a]]], position[q.t.home[targets[b]]])
	})
	return order
}

// clamp answers what the candidates' posteriors would be with one target in a given state. The messages of the query
// stay as they are; those that would change lead away from the target, and are kept on the side.
// Within a clique, bridges carry what arrives on; most serve many targets.
type clamp struct {
	q          *Query
	candidates []VarID
	base, rest [][]float64 // [candidate][state]: posterior, and what is left of it for the state not clamped
	at         [][]int32   // [clique]: candidates read there
	wanted     []bool      // [clique]: whether a reachable candidate is read there or beyond
	trails     *trails
	bridges    []bridge    // [edge] that leaves, then [candidate] that is read
	messages   [][]float64 // [edge]
	scratch    []float64
	point      []float64 // certainty of one state
	state      int       // which one
	post       []float64
	joint      [][]float64 // [candidate]: with the target, [target][candidate], if somebody collects it
}

// arriving is what reaches a clique from the side of the target: a message, or the clamped state itself.
type arriving struct {
	end
	table []float64
}

// newClamp makes the posteriors of the candidates current; the clamps leave the messages behind them alone.
func (q *Query) newClamp(candidates []VarID) *clamp {
	c := &clamp{
		q:          q,
		candidates: candidates,
		at:         make([][]int32, len(q.t.cliques)),
		wanted:     make([]bool, len(q.t.cliques)),
		trails:     q.newTrails(),
		bridges:    make([]bridge, q.t.edges+len(candidates)),
		messages:   make([][]float64, q.t.edges),
		scratch:    make([]float64, 2*q.t.scratch),
	}
	if q.layouts == nil {
		q.layouts = map[[2]int32]*layout{}
	}
	for i, v := range candidates {
		home := q.t.home[v]
		c.at[home] = append(c.at[home], int32(i))
		q.refresh(home)
		c.base = append(c.base, append([]float64(nil), q.post[v]...))
		c.rest = append(c.rest, make([]float64, len(q.post[v])))
	}
	most := slices.Max(append(q.t.net.cards[:len(q.t.net.cards):len(q.t.net.cards)], 0))
	c.point, c.post = make([]float64, most), make([]float64, most)
	return c
}

// information clamps the target to each of its states but the most probable one, whose joint distribution with a
// candidate is what the others leave of the total.
func (c *clamp) information(t VarID) []float64 {
	home := c.q.t.home[t]
	c.q.refresh(home)
	c.trails.from(t)
	c.want(home, -1)
	for i := range c.rest {
		copy(c.rest[i], c.base[i])
	}
	info := make([]float64, len(c.candidates))
	prior := c.q.post[t]
	last := mostProbable(prior)
	in := arriving{end: c.q.t.variableEnd(t), table: c.point[:len(prior)]}
	for s, p := range prior {
		if s != last && p > 0 {
			clear(c.point)
			c.point[s], c.state = 1, s
			c.flow(home, in, p, info)
		}
	}
	for i, v := range c.candidates {
		if !c.trails.reached[v] {
			continue
		}
		for k, x := range c.rest[i] {
			c.rest[i][k] = max(0, x/prior[last])
		}
		info[i] = max(0, info[i]+gain(c.rest[i], c.base[i], prior[last]))
		c.keep(i, last, prior[last], c.rest[i])
	}
	return info
}

// want marks the cliques on the way to candidates that the target can bear on.
func (c *clamp) want(i, from int32) bool {
	wanted := false
	for _, k := range c.at[i] {
		wanted = wanted || c.trails.reached[c.candidates[k]]
	}
	for _, l := range c.q.t.cliques[i].links {
		if l.to != from && c.want(l.to, i) {
			wanted = true
		}
	}
	c.wanted[i] = wanted
	return wanted
}

// flow reads the candidates of clique i and goes on to those beyond. The bridges that share the full product, because
// nothing has come from their far side, are crossed first.
func (c *clamp) flow(i int32, in arriving, p float64, info []float64) {
	t := c.q.t
	for _, k := range c.at[i] {
		if v := c.candidates[k]; c.trails.reached[v] {
			post := c.post[:len(c.base[k])]
			c.cross(post, &c.bridges[t.edges+int(k)], i, in, t.variableEnd(v))
			c.learn(k, post, p, info)
		}
	}
	for _, shared := range []bool{true, false} {
		for _, l := range t.cliques[i].links {
			if c.goes(l, in) && c.q.messages[l.out^1].unit == shared {
				c.send(l, i, in)
			}
		}
	}
	for _, l := range t.cliques[i].links {
		if c.goes(l, in) {
			c.flow(l.to, arriving{end{l.out, i, l.separator}, c.messages[l.out]}, p, info)
		}
	}
}

func (c *clamp) goes(l link, in arriving) bool { return l.to != in.skip && c.wanted[l.to] }

// send makes the clamped message along l.
func (c *clamp) send(l link, i int32, in arriving) {
	m := &c.messages[l.out]
	if *m == nil {
		*m = make([]float64, l.plan.small)
	}
	out := end{key: l.out, skip: l.to, scope: l.separator}
	if c.q.messages[l.out^1].unit {
		out.skip = -1
	}
	c.cross(*m, &c.bridges[l.out], i, in, out)
	rescale(*m)
}

// cross carries what arrives at clique i over the bridge to dst. The bridge is made anew if clamps now arrive from
// another side.
func (c *clamp) cross(dst []float64, b *bridge, i int32, in arriving, out end) {
	if b.table == nil || b.from != in.key {
		b.layout, b.from = c.q.layout(i, in.end, out), in.key
		product, _ := c.q.product(i, in.skip, out.skip)
		b.build(product, c.scratch)
	}
	b.carry(dst, in.table, c.scratch)
}

// layout finds or makes the layout of a bridge. It depends on the tree alone, so it is kept for the query's lifetime.
func (q *Query) layout(clique int32, in, out end) *layout {
	key := [2]int32{in.key, out.key}
	l := q.layouts[key]
	if l == nil {
		l = q.t.newLayout(clique, in, out)
		q.layouts[key] = l
	}
	return l
}

// learn takes in the clamped posterior of a candidate.
func (c *clamp) learn(k int32, post []float64, p float64, info []float64) {
	normalise(post)
	info[k] += gain(post, c.base[k], p)
	c.keep(int(k), c.state, p, post)
	for s, x := range post {
		c.rest[k][s] -= p * x
	}
}

// gain is p times the Kullback-Leibler divergence of the posterior from the base, in bits.
func gain(post, base []float64, p float64) float64 {
	total := 0.0
	for k, x := range post {
		if x > 0 && base[k] > 0 {
			total += x * math.Log2(x/base[k])
		}
	}
	return p * total
}

// mostProbable is the first state of the greatest probability.
func mostProbable(p []float64) int {
	best := 0
	for i, x := range p {
		if x > p[best] {
			best = i
		}
	}
	return best
}
