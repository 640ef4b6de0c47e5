package words

import "slices"

// Words shorter than this are never taken for misspellings: too many short words differ in one letter.
const (
	shortestTarget = 5
	longTarget     = 9 // from here on two letters may be wrong
)

// spell readies the words that misspellings are matched with.
func (l *language) spell(targets []string) {
	slices.Sort(targets)
	for _, w := range slices.Compact(targets) {
		l.known[w] = true
		if len(w) >= shortestTarget {
			l.vocabulary[w[0]] = append(l.vocabulary[w[0]], w)
		}
	}
}

// misspelt lists the known words that a word may be a misspelling of: the nearest, if they are near enough for their
// length. A word that is known itself is spelt as meant.
func (l *language) misspelt(w string) []string {
	if l.known[w] || l.usual[w] || len(w) < shortestTarget-1 || len(w) > 30 {
		return nil
	}
	best, out := 3, []string(nil)
	try := func(target string) {
		allowed := 1
		if len(target) >= longTarget {
			allowed = 2
		}
		if d := len(target) - len(w); d > allowed || -d > allowed {
			return
		}
		switch d := distance(w, target, allowed); {
		case d > allowed || d > best:
		case d == best:
			out = append(out, target)
		default:
			best, out = d, []string{target}
		}
	}
	for _, target := range l.vocabulary[w[0]] {
		try(target)
	}
	if len(w) > 1 && w[1] != w[0] {
		for _, target := range l.vocabulary[w[1]] {
			if target[1] == w[0] { // the first two letters changed places
				try(target)
			}
		}
	}
	return out
}

// distance counts the letters to insert, leave out, replace or swap with their neighbour to get from a to b (optimal
// string alignment), or gives up with limit+1.
func distance(a, b string, limit int) int {
	var rows [3][64]int
	for j := 0; j <= len(b); j++ {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		row, above, before := &rows[i%3], &rows[(i+2)%3], &rows[(i+1)%3]
		row[0] = i
		least := i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			d := min(above[j]+1, row[j-1]+1, above[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d = min(d, before[j-2]+1)
			}
			row[j] = d
			least = min(least, d)
		}
		if least > limit {
			return limit + 1
		}
	}
	return rows[len(a)%3][len(b)]
}
