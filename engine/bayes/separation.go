package bayes

// Numbers alone can't tell that two variables are independent: rounding leaves a mutual information of 1e-17. The graph
// can, and it also saves the work of spreading a clamp to where it makes no difference.

// trails finds the variables that a finding on one variable can bear on, by the rules of d-separation: a trail passes a
// variable unless that is observed, and passes a common effect only if there is a finding on it or below it. A
// likelihood counts as a finding on an unseen child, so it opens trails but closes none; a joint likelihood is such a
// child of all its variables.
type trails struct {
	q          *Query
	children   [][]VarID
	informed   []bool // a finding on the variable or below it
	hard       []bool // the finding leaves one state
	up, down   []bool // reached from a child, reached from a parent
	reached    []bool
	queue      []arrival
	jointsHere [][]int // joint findings by variable
}

// arrival is a variable and whether the trail came up to it from a child.
type arrival struct {
	v  VarID
	up bool
}

// newTrails looks at the findings once for all targets.
func (q *Query) newTrails() *trails {
	n := len(q.findings)
	s := &trails{q: q, children: make([][]VarID, n), informed: make([]bool, n), hard: make([]bool, n), up: make([]bool, n),
		down: make([]bool, n), reached: make([]bool, n), jointsHere: make([][]int, n)}
	for v := range q.t.net.dists {
		for _, p := range q.t.net.dists[v].parents {
			s.children[p] = append(s.children[p], VarID(v))
		}
	}
	for v := range q.findings {
		if f := &q.findings[v]; f.set {
			s.hard[v] = positive(f.likelihood) == 1
			s.inform(VarID(v))
		}
	}
	for set := range q.joints {
		if !q.joints[set].set {
			continue
		}
		for _, v := range q.t.together[set].variables {
			s.jointsHere[v] = append(s.jointsHere[v], set)
			s.inform(v)
		}
	}
	return s
}

// positive counts the states that a likelihood leaves.
func positive(l []float64) (count int) {
	for _, x := range l {
		if x > 0 {
			count++
		}
	}
	return count
}

// inform marks a variable and its ancestors.
func (s *trails) inform(v VarID) {
	if s.informed[v] {
		return
	}
	s.informed[v] = true
	for _, p := range s.q.t.net.dists[v].parents {
		s.inform(p)
	}
}

// follow sets reached for every variable that is not separated from v.
func (s *trails) follow(v VarID) {
	clear(s.up)
	clear(s.down)
	clear(s.reached)
	s.arrive(v, true)
	for len(s.queue) > 0 {
		a := s.queue[len(s.queue)-1]
		s.queue = s.queue[:len(s.queue)-1]
		s.pass(a)
	}
}

// arrive takes each variable at most twice, once from either side, which bounds the search.
func (s *trails) arrive(v VarID, up bool) {
	seen := s.down
	if up {
		seen = s.up
	}
	if !seen[v] {
		seen[v] = true
		s.queue = append(s.queue, arrival{v, up})
	}
}

// pass goes on from a variable by the rules above.
func (s *trails) pass(a arrival) {
	parents := s.q.t.net.dists[a.v].parents
	if a.up && !s.hard[a.v] || !a.up && s.informed[a.v] {
		for _, p := range parents {
			s.arrive(p, true)
		}
	}
	if s.hard[a.v] {
		return
	}
	s.reached[a.v] = true
	for _, c := range s.children[a.v] {
		s.arrive(c, false)
	}
	for _, set := range s.jointsHere[a.v] {
		for _, member := range s.q.t.together[set].variables {
			s.arrive(member, true)
		}
	}
}
