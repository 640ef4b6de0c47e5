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
	c, err := q.Clamp(Clamp{Targets: targets, Candidates: candidates})
	if err != nil {
		return nil, err
	}
	return c.Information, nil
}

// Clamp says what is wanted of clamping targets, one at a time, to their states.
type Clamp struct {
	Targets    []VarID
	Candidates []VarID // information about each target is wanted
	Others     []VarID // only to be read where a target is given
	Given      []int   // those targets, by their positions, for which posteriors with the target in each state are wanted
	LeftOut    []int   // those for which it is wanted what all findings but one say
}

// Clamped is what clamping has told.
type Clamped struct {
	Information [][]float64     // [target][candidate] as MutualInformation gives it
	Given       [][][][]float64 // [target][state][candidate, then others] its posterior with the target in that state
	LeftOut     []LeftOut       // as LeaveOneOut gives it for the targets left out of
}

// Size is about what it takes to keep.
func (c *Clamped) Size() (n int64) {
	row := func(x []float64) { n += 24 + 8*int64(len(x)) }
	for _, x := range c.Information {
		row(x)
	}
	for _, states := range c.Given {
		for _, vars := range states {
			for _, x := range vars {
				row(x)
			}
		}
	}
	for i := range c.LeftOut {
		row(c.LeftOut[i].Others)
		for _, x := range slices.Concat(c.LeftOut[i].Posteriors, c.LeftOut[i].tables) {
			row(x)
		}
	}
	return n
}

// Clamp gives in one walk over the network what MutualInformation and LeaveOneOut give, and the posteriors that
// information is made of: of the candidates and others with a target in each of its states. These are nil for a state
// that the findings exclude, and for targets that need not be given. The findings stay as they were. It panics on a
// variable out of range, and fails with *ImpossibleError.
func (q *Query) Clamp(w Clamp) (*Clamped, error) {
	for _, list := range [][]VarID{w.Targets, w.Candidates, w.Others} {
		for _, v := range list {
			q.t.net.check(v)
		}
	}
	if err := q.possible(); err != nil {
		return nil, err
	}
	c := q.newClamp(slices.Concat(w.Candidates, w.Others))
	c.measured = len(w.Candidates)
	out := &Clamped{Information: make([][]float64, len(w.Targets)), Given: make([][][][]float64, len(w.Targets))}
	if len(w.LeftOut) > 0 {
		c.left, out.LeftOut = q.others()
	}
	aims := make([]*aim, len(w.Targets))
	for _, i := range q.alongTree(w.Targets) {
		aims[i] = c.aim(w.Targets[i], slices.Contains(w.Given, i), slices.Contains(w.LeftOut, i))
	}
	c.run()
	for i, a := range aims {
		out.Information[i] = c.finish(a)
		out.Given[i] = a.given
	}
	for k := range out.LeftOut {
		for _, i := range w.LeftOut {
			out.LeftOut[k].tell(q.tableWithout(aims[i], k, c.left[k], out.LeftOut[k].Others))
		}
		q.asGiven(&out.LeftOut[k])
	}
	return out, nil
}

// alongTree orders the targets by a walk over the tree, so that clamps that go the same way cross together.
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
// stay as they are; those that would change lead away from the target, and are kept on the side, for a few clamps at a
// time. Within a clique, bridges carry what arrives on.
type clamp struct {
	q          *Query
	candidates []VarID
	measured   int         // how many of the candidates information is wanted about; the others are only read
	base       [][]float64 // [candidate][state] posterior
	at         [][]int32   // [clique]: candidates read there
	trails     *trails
	bridges    map[[2]int32]*bridge
	left       []placed // findings whose variables are read without them
	pending    []shot
	batch      []shot // the clamps under way, each in its lane
	all        uint8  // the lanes in use
	round      int32
	current    []int32   // [edge]: the round in which its message was made
	messages   [][]lanes // [edge]
	behind     []uint8   // [edge]: lanes whose target lies on the side it comes from
	scratch    []float64
}

// aim is a target and what the clamps to its states have told so far. The rest is what they leave of the posteriors for
// the most probable state, which needs no clamp of its own.
type aim struct {
	v       VarID
	last    int
	prior   []float64
	reached []bool
	rest    [][]float64
	info    []float64
	given   [][][]float64 // [state][candidate] if somebody wants them
	seen    [][][]float64 // [state][finding left out], if any are
}

// shot is a clamp of a target to a state.
type shot struct {
	*aim
	state int
}

// newClamp makes the posteriors of the candidates current; the clamps leave the messages behind them alone. The memory
// is that of the last clamp of this query, whose bridges are made anew in their old places.
func (q *Query) newClamp(candidates []VarID) *clamp {
	c := q.clamping
	if c == nil {
		c = &clamp{
			q:        q,
			at:       make([][]int32, len(q.t.cliques)),
			bridges:  map[[2]int32]*bridge{},
			current:  make([]int32, q.t.edges),
			messages: make([][]lanes, q.t.edges),
			behind:   make([]uint8, q.t.edges),
			scratch:  make([]float64, q.t.scratch),
		}
		q.clamping = c
	}
	c.candidates, c.measured, c.left = candidates, len(candidates), nil
	c.base, c.trails = c.base[:0], q.newTrails()
	for i := range c.at {
		c.at[i] = c.at[i][:0]
	}
	for i, v := range candidates {
		home := q.t.home[v]
		c.at[home] = append(c.at[home], int32(i))
		q.refresh(home)
		c.base = append(c.base, q.post[v])
	}
	return c
}

// aim plans the clamps of a target.
func (c *clamp) aim(v VarID, given, left bool) *aim {
	c.q.refresh(c.q.t.home[v])
	c.trails.follow(v)
	a := &aim{v: v, prior: slices.Clone(c.q.post[v]), reached: slices.Clone(c.trails.reached),
		info: make([]float64, c.measured)}
	a.last = mostProbable(a.prior)
	rest := slices.Concat(c.base...)
	for _, p := range c.base {
		a.rest = append(a.rest, rest[:len(p):len(p)])
		rest = rest[len(p):]
	}
	if given {
		a.give(c.base)
	}
	if left {
		a.seen = make([][][]float64, len(a.prior))
	}
	for s, p := range a.prior {
		if s != a.last && p > 0 {
			if left {
				a.seen[s] = make([][]float64, len(c.left))
			}
			c.pending = append(c.pending, shot{a, s})
		}
	}
	return a
}

// give makes room for the posteriors in each possible state of the target. Those of variables that the findings
// separate from it stay what they are.
func (a *aim) give(base [][]float64) {
	a.given = make([][][]float64, len(a.prior))
	for s, p := range a.prior {
		if p > 0 {
			a.given[s] = slices.Clone(base)
			for k, b := range base {
				a.given[s][k] = slices.Clone(b)
			}
		}
	}
}

// run carries out the planned clamps, as many at a time as there are lanes.
func (c *clamp) run() {
	for batch := range slices.Chunk(c.pending, len(lanes{})) {
		c.batch = batch
		c.round++
		c.all = 1<<len(batch) - 1
		for _, r := range c.q.t.roots {
			c.locate(r, -1, -1)
		}
		for i := range c.at {
			for _, k := range c.at[i] {
				c.read(int32(i), k)
			}
		}
		if slices.ContainsFunc(batch, func(s shot) bool { return s.seen != nil }) {
			for k := range c.left {
				c.readWithout(k)
			}
		}
	}
	c.pending = nil
}

// locate finds the lanes behind every edge of a component, and returns those of the side that was walked. up is the
// edge that leads back to where the walk came from.
func (c *clamp) locate(i, from, up int32) (here uint8) {
	for j, s := range c.batch {
		if c.q.t.home[s.v] == i {
			here |= 1 << j
		}
	}
	for _, l := range c.q.t.cliques[i].links {
		if l.to != from {
			here |= c.locate(l.to, i, l.out^1)
		}
	}
	if up >= 0 {
		c.behind[up], c.behind[up^1] = here, c.all&^here
	}
	return here
}

// read takes in the clamped posteriors of a candidate.
func (c *clamp) read(i, k int32) {
	v := c.candidates[k]
	wants := func(s shot) bool { return s.reached[v] && (int(k) < c.measured || s.given != nil) }
	if !slices.ContainsFunc(c.batch, wants) {
		return
	}
	all := make([]lanes, len(c.base[k]))
	c.gather(all, i, c.q.t.variableEnd(v))
	post := make([]float64, len(all))
	for j, s := range c.batch {
		if !wants(s) {
			continue
		}
		for x := range post {
			post[x] = all[x][j]
		}
		c.learn(s, k, post)
	}
}

// gather adds up what leaves clique i at an end: what arrives over each link that has clamps behind it, and the clamps
// of the clique's own variables. Each lane is in one of these alone.
func (c *clamp) gather(dst []lanes, i int32, out end) {
	t := c.q.t
	for _, l := range t.cliques[i].links {
		if l.to != out.skip && c.behind[l.out^1] != 0 {
			c.message(l.to, i, l)
			c.cross(dst, i, t.linkEnd(l.out, l.to, l.separator), out, c.messages[l.out^1])
		}
	}
	for j, s := range c.batch {
		if t.home[s.v] == i {
			point := make([]lanes, len(s.prior))
			point[s.state][j] = 1
			c.cross(dst, i, t.variableEnd(s.v), out, point)
		}
	}
}

// message makes the clamped message into clique i over its link l, unless this round already has it.
func (c *clamp) message(from, i int32, l link) {
	e := l.out ^ 1
	if c.current[e] == c.round {
		return
	}
	c.current[e] = c.round
	if c.messages[e] == nil {
		c.messages[e] = make([]lanes, l.plan.small)
	}
	m := c.messages[e]
	clear(m)
	c.gather(m, from, c.q.t.linkEnd(e, i, l.separator))
	rescaleLanes(m)
}

// rescaleLanes keeps the total of every lane away from the ends of the range, by powers of two.
func rescaleLanes(m []lanes) {
	for j, h := range sumLanes(m) {
		if h == 0 || h > 0x1p-100 && h < 0x1p100 {
			continue
		}
		_, first, second := inverse(h)
		for i := range m {
			m[i][j] = m[i][j] * first * second
		}
	}
}

// cross carries what arrives at clique i at one end to another, over the bridge that serves both directions.
func (c *clamp) cross(dst []lanes, i int32, in, out end, src []lanes) {
	back := in.key > out.key
	if back {
		in, out = out, in
	}
	key := [2]int32{in.key, out.key}
	b := c.bridges[key]
	if b == nil {
		b = c.q.t.bridge(i, in, out)
		c.bridges[key] = b
	}
	if b.findings != c.q.version {
		b.findings = c.q.version
		var product []float64
		if out.without != nil {
			product = c.q.without(i, out.without, c.apart(in))
		} else {
			product, _ = c.q.product(i, c.apart(in), c.apart(out))
		}
		b.build(product, &c.scratch)
	}
	b.carry(dst, src, back)
}

// apart is the neighbour whose message must stay out of a bridge. Leaving out a message of ones changes nothing, and
// the full product may be at hand.
func (c *clamp) apart(e end) int32 {
	if int(e.key) < c.q.t.edges && c.q.messages[e.key^1].unit {
		return -1
	}
	return e.skip
}

// learn takes in the clamped posterior of a candidate.
func (c *clamp) learn(s shot, k int32, post []float64) {
	normalise(post)
	p := s.prior[s.state]
	if int(k) < c.measured {
		s.info[k] += gain(post, c.base[k], p)
	}
	if s.given != nil {
		copy(s.given[s.state][k], post)
	}
	for o, x := range post {
		s.rest[k][o] -= p * x
	}
}

// finish adds the most probable state, whose joint distribution with a candidate is what the others leave of the total.
func (c *clamp) finish(a *aim) []float64 {
	p := a.prior[a.last]
	for i, v := range c.candidates {
		if !a.reached[v] || i >= c.measured && a.given == nil {
			continue
		}
		rest := a.rest[i]
		for k, x := range rest {
			rest[k] = max(0, x/p)
		}
		if i < c.measured {
			a.info[i] = max(0, a.info[i]+gain(rest, c.base[i], p))
		}
		if a.given != nil {
			copy(a.given[a.last][i], rest)
		}
	}
	return a.info
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
