package words

import "strings"

// shortestPart is how many letters a part of a compound has at least.
const shortestPart = 3

// parts splits a word into words of a lexicon that were written together, with the letters that may join them, or
// returns nil: Kraftstoffpumpe is Kraftstoff and Pumpe. The longest last part wins, since it names the thing.
func (l *language) parts(word string, in *tongue) []string {
	if len(word) < 2*shortestPart || len(word) > 40 {
		return nil
	}
	for at := shortestPart; at <= len(word)-shortestPart; at++ {
		tail := word[at:]
		if !in.stems[in.stem(tail)] {
			continue
		}
		head := word[:at]
		for _, link := range append([]string{""}, l.linking...) {
			first, ok := strings.CutSuffix(head, link)
			if !ok || len(first) < shortestPart {
				continue
			}
			if in.stems[in.stem(first)] {
				return []string{first, tail}
			}
			if more := l.parts(first, in); more != nil {
				return append(more, tail)
			}
		}
	}
	return nil
}

// shortestTail is how many letters the last part of a compound has whose first part is unknown.
const shortestTail = 5

// tail is the thing that a compound of an unknown word names, or empty: a Nachbarsheizung is a heater.
func (l *tongue) tail(word string) string {
	if !l.compounds || len(word) > 40 {
		return ""
	}
	for at := shortestPart; at <= len(word)-shortestTail; at++ {
		if l.nouns[l.stem(word[at:])] {
			return word[at:]
		}
	}
	return ""
}
