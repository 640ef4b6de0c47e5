package bayes

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"
)

// Logic and noisy families fill tables with zeros that no finding ever lifts, and tables far apart rule out each
// other's entries. Which entries can be positive follows from the network alone: a clique's own tables, and what the
// cliques around it leave of its separators. A sweep towards the root and one back find them for all cliques, without a
// table ever being laid out whole. Where they are few, only they are kept (zero compression, Jensen & Andersen 1990;
// here nothing but exact zeros is left out). A computed distribution may be anything in another context, so all of it
// counts as positive.

// thrift says where only the positive entries are kept: in cliques of so many entries or more, if they are no larger a
// share than this.
type thrift struct {
	least int
	share float64
}

// usual is where keeping the positive entries alone is faster. Reading one costs about twice as much as in a whole
// table, whose entries need no places, and in small tables there is nothing to save.
var usual = thrift{least: 64, share: 0.5}

// What a tree may take. An entry read costs about a nanosecond, so the last is a second or so. The whole tables, which
// are searched and not kept, are bounded too, for the search visits their positive entries.
const (
	mostBytes   = 1 << 30
	mostTouched = 1 << 30
	mostWhole   = 1 << 30
)

// listed is how many positive entries of a clique are listed although they may turn out too many to be worth it: what
// they rule out elsewhere is worth more.
const listed = 1 << 22

// sieve lists the entries of a clique's whole table that pass all its checks. A check is made as soon as its last
// variable has a state, so that nothing behind a failed one is visited.
type sieve struct {
	cards  []int
	stages [][]stage // [position in the scope]
	last   int       // the position after which nothing is checked any more
	inner  int32     // entries behind one state at that position
	offset []int32
	kept   []int32
	most   int
}

// check says which entries of a table over a part of a scope are positive.
type check struct {
	scope    []int32 // in the order of the tree
	positive []bool
}

// stage is what one variable adds to a check: the stride of its states, and whether the check is then complete.
type stage struct {
	check
	stride   int32
	from, to int // places of the offsets before and after; 0 holds zero
	last     bool
}

// positive lists the entries of a clique that the checks allow, in rising order. It says true if they allow all, or too
// many to be told apart.
func (u *support) positive(c *clique, checks []check) (kept []int32, all bool) {
	t := u.t
	if len(checks) == 0 {
		return nil, true
	}
	s := &sieve{stages: make([][]stage, len(c.scope)), last: -1, inner: 1, offset: []int32{0},
		most: max(listed, int(t.thrift.share*float64(c.entries)))}
	for _, v := range c.scope {
		s.cards = append(s.cards, t.x.cards[v])
	}
	for _, k := range checks {
		s.add(t, c.scope, k)
	}
	for _, card := range s.cards[s.last+1:] {
		s.inner *= int32(card)
	}
	s.kept = u.kept[:0]
	s.walk(0, 0)
	u.kept = s.kept
	if len(s.kept) == c.entries || len(s.kept) > s.most {
		return nil, true
	}
	return slices.Clone(s.kept), false
}

func (s *sieve) add(t *JoinTree, scope []int32, k check) {
	stride := int32(len(k.positive))
	from, next := 0, 0
	for at, v := range scope {
		if next == len(k.scope) || k.scope[next] != v {
			continue
		}
		next++
		stride /= int32(t.x.cards[v])
		s.offset = append(s.offset, 0)
		to := len(s.offset) - 1
		s.stages[at] = append(s.stages[at], stage{k, stride, from, to, next == len(k.scope)})
		s.last = max(s.last, at)
		from = to
	}
}

// walk gives states to the variables from the given position on; base is where their entries begin.
func (s *sieve) walk(at int, base int32) {
	stages := s.stages[at]
states:
	for state := range int32(s.cards[at]) {
		for i := range stages {
			k := &stages[i]
			o := s.offset[k.from] + state*k.stride
			if k.last && !k.positive[o] {
				continue states
			}
			s.offset[k.to] = o
		}
		switch {
		case len(s.kept) > s.most:
			return
		case at < s.last:
			s.walk(at+1, (base+state)*int32(s.cards[at+1]))
		default:
			first := (base + state) * s.inner
			for i := range s.inner {
				s.kept = append(s.kept, first+i)
			}
		}
	}
}

// compress finds the entries that can be positive, decides where only they are kept, and lays out the messages. The
// tables are those of the families, in the order of the tree.
func (t *JoinTree) compress(tables [][]float64) error {
	u := &support{t: t, checks: make([][]check, len(t.cliques)),
		between: make([][]bool, t.edges/2), counts: make([]int, t.edges/2)}
	if slices.ContainsFunc(t.cliques, func(c clique) bool { return c.entries >= t.thrift.least }) {
		for i, f := range t.x.families {
			u.family(i, f, tables[i])
		}
		for _, r := range t.roots {
			u.collect(r, -1, -1)
		}
		for _, r := range t.roots {
			u.distribute(r, -1)
		}
	}
	for i := range t.cliques {
		if c := &t.cliques[i]; c.entries < t.thrift.least || float64(len(c.kept)) > t.thrift.share*float64(c.entries) {
			c.kept = nil
		}
	}
	if s := t.Stats(); s.Bytes > mostBytes || s.Touched > mostTouched {
		return t.tooLarge()
	}
	t.sizes, t.leaving = make([]int, t.edges), make([]*plan, t.edges)
	for i := range t.cliques {
		for k := range t.cliques[i].links {
			t.layOut(&u.places, &t.cliques[i], &t.cliques[i].links[k], u.between)
		}
	}
	return nil
}

// support is the search for positive entries.
type support struct {
	t       *JoinTree
	checks  [][]check // [clique] of its own tables that hold zeros
	between [][]bool  // [pair of edges] which entries of the separator can be positive; nil for all
	counts  []int     // [pair of edges] how many
	kept    []int32   // room for the entries of one clique
	places  places
}

// family notes where a table holds zeros.
func (u *support) family(i int, f family, table []float64) {
	if u.t.net.dists[f.of].compute != nil || !slices.Contains(table, 0) {
		return
	}
	positive := make([]bool, len(table))
	for k, x := range table {
		positive[k] = x > 0
	}
	at := u.t.placed[i]
	u.checks[at] = append(u.checks[at], check{sortedBy(f.scope, u.t.rank), positive})
}

// collect finds what a clique's own tables and the cliques behind it allow.
func (u *support) collect(i, from, edge int32) {
	c := &u.t.cliques[i]
	checks := u.checks[i]
	var back *link
	for k := range c.links {
		l := &c.links[k]
		if l.to == from {
			back = l
			continue
		}
		u.collect(l.to, i, l.out^1)
		if p := u.between[l.out/2]; p != nil {
			checks = append(checks, check{l.separator, p})
		}
	}
	kept, all := u.positive(c, checks)
	if !all {
		c.kept = kept
	}
	if back != nil && !all {
		u.between[edge/2], u.counts[edge/2] = u.project(c, back.separator)
	}
}

// distribute takes away what the clique before it rules out.
func (u *support) distribute(i, from int32) {
	c := &u.t.cliques[i]
	for k := range c.links {
		l := &c.links[k]
		if l.to == from {
			continue
		}
		if c.kept != nil {
			p, n := u.project(c, l.separator)
			if before := u.between[l.out/2]; p != nil && (before == nil || n < u.counts[l.out/2]) {
				u.restrict(&u.t.cliques[l.to], check{l.separator, p})
			}
			u.between[l.out/2], u.counts[l.out/2] = p, n
		}
		u.distribute(l.to, i)
	}
}

// restrict leaves only the entries that one check more allows.
func (u *support) restrict(c *clique, k check) {
	if c.kept == nil {
		c.kept, _ = u.positive(c, []check{k})
		return
	}
	at, _ := u.places.positions(u.t, c, k.scope)
	left := c.kept[:0]
	for i, p := range at {
		if k.positive[p] {
			left = append(left, c.kept[i])
		}
	}
	c.kept = left
}

// project finds which entries of a part of a clique's scope have a kept entry behind them, and how many; nil for all.
func (u *support) project(c *clique, part []int32) (positive []bool, count int) {
	at, small := u.places.positions(u.t, c, part)
	positive = make([]bool, small)
	for _, p := range at {
		if !positive[p] {
			positive[p] = true
			count++
		}
	}
	if count == small {
		return nil, count
	}
	return positive, count
}

// places is where the entries of a clique lie in a smaller table, and room to find that out.
type places struct {
	at, high, low []int32
	strides       []int32
}

// positions gives, for each kept entry of a clique, its place in a table over those variables of part that the clique
// has, and the entries of that table. The scope is cut in two, so that two small tables hold all sums of strides. What
// it gives is good until the next call.
func (p *places) positions(t *JoinTree, c *clique, part []int32) (at []int32, small int) {
	p.strides = append(p.strides[:0], c.scope...)
	small = 1
	for i := len(c.scope) - 1; i >= 0; i-- {
		p.strides[i] = 0
		if slices.Contains(part, c.scope[i]) {
			p.strides[i] = int32(small)
			small *= t.x.cards[c.scope[i]]
		}
	}
	cut, inner := len(c.scope), 1
	for cut > 0 && inner*inner < c.entries {
		cut--
		inner *= t.x.cards[c.scope[cut]]
	}
	p.high = appendSums(p.high[:0], c.scope[:cut], p.strides[:cut], t.x.cards)
	p.low = appendSums(p.low[:0], c.scope[cut:], p.strides[cut:], t.x.cards)
	p.at = slices.Grow(p.at[:0], len(c.kept))[:len(c.kept)]
	block, first, next := 0, 0, inner
	for i, k := range c.kept {
		for int(k) >= next {
			block, first, next = block+1, next, next+inner
		}
		p.at[i] = p.high[block] + p.low[int(k)-first]
	}
	return p.at, small
}

// layOut plans one direction of a link. A message holds only the entries that can be positive if both cliques do.
func (t *JoinTree) layOut(p *places, c *clique, l *link, between [][]bool) {
	l.plan = t.planIn(p, c, l.separator)
	positive := between[l.out/2]
	if positive != nil && c.kept != nil && t.cliques[l.to].kept != nil {
		place := slices.Grow(p.low[:0], len(positive))[:len(positive)]
		p.low = place
		next := int32(0)
		for i, can := range positive {
			if place[i] = next; can {
				next++
			}
		}
		for i, at := range l.plan.at {
			l.plan.at[i] = place[at]
		}
		l.plan.small = int(next)
	}
	t.sizes[l.out], t.leaving[l.out] = l.plan.small, l.plan
}

// size is how many entries are kept.
func (c *clique) size() int {
	if c.kept != nil {
		return len(c.kept)
	}
	return c.entries
}

// bytes is the memory that a clique takes in a tree and once more in a query: tables, and positions for each way to
// read it.
func (c *clique) bytes() int64 {
	if c.kept == nil {
		return 16 * int64(c.size())
	}
	return int64(c.size()) * int64(16+4*(1+len(c.links)+len(c.homes)+len(c.joints)))
}

// touched is how many entries a clique reads to send a message over each link and to give its variables' posteriors.
func (c *clique) touched() int64 {
	n := len(c.links)
	return int64(c.size()) * int64(n*n+n+len(c.homes))
}

// tooLarge names the variables of the largest clique, because an author can cut those families and no others help.
func (t *JoinTree) tooLarge() error {
	largest := 0
	for i := range t.cliques {
		if t.cliques[i].size() > t.cliques[largest].size() {
			largest = i
		}
	}
	s := t.Stats()
	return fmt.Errorf("network too dense: 2^%.1f entries can be positive, 2^%.1f of them in the largest clique; "+
		"that takes %d MiB and the reading of 2^%.1f entries for all posteriors, limits %d and 2^%d; its variables: %s",
		math.Log2(float64(s.TotalEntries)), math.Log2(float64(s.LargestClique)), s.Bytes>>20, math.Log2(float64(s.Touched)),
		mostBytes>>20, bits.Len(mostTouched)-1, strings.Join(scopeNames(t.net, t.x, t.cliques[largest].scope), ", "))
}

// hopelesslyLarge is the same before the search for positive entries, where their number could not save the tree.
func hopelesslyLarge(n *Network, x *expansion, e *elimination) error {
	if e.largest <= mostWhole/2 && e.total <= mostWhole {
		return nil
	}
	var largest []int32
	size := 0.0
	for _, c := range e.cliques {
		entries := 1.0
		for _, v := range c {
			entries *= float64(x.cards[v])
		}
		if entries > size {
			largest, size = c, entries
		}
	}
	return fmt.Errorf("network too dense: largest clique 2^%.1f entries, all cliques 2^%.1f, limits 2^%d and 2^%d; its "+
		"variables: %s",
		math.Log2(e.largest), math.Log2(e.total), bits.Len(mostWhole)-2, bits.Len(mostWhole)-1,
		strings.Join(scopeNames(n, x, largest), ", "))
}
