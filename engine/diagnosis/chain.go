package diagnosis

import (
	"slices"

	"lightoff/engine/knowledge"
)

// A cause that stands at the end of a chain comes back if only it is mended: the flooded burner of somebody who primed
// again and again because of air in the line. So what has probably brought a likely cause about is named with it.

// Chain leads from a root to a cause that it brought about.
type Chain struct {
	Links       []ChainLink
	Probability float64 // that the root is active, if the last of the causes is
	Advice      string
	RepairIDs   []string // that mend the root
}

// ChainLink is a cause, a habit of the owner, or what happens in between. ID is empty for the latter.
type ChainLink struct {
	ID    string
	Title string
}

// From where on a cause is likely enough to ask what brought it about, and a root likely enough to be named: by itself,
// and against how likely it would be without the cause at the end.
const (
	chainEnd   = 0.25
	chainRoot  = 0.30
	chainRaise = 1.3
)

// ends are the likely causes that something else can bring about.
func (s *subject) ends() []int {
	return slices.DeleteFunc(s.model.SecondaryCauses(),
		func(i int) bool { return s.posterior[i] < chainEnd || s.blame[i] < chainEnd/2 })
}

// chains finds what has probably brought about the likely causes. These must have been surveyed.
func (s *subject) chains() []Chain {
	var out []Chain
	for _, end := range s.ends() {
		given := s.survey.GivenCause(end).Causes
		root := -1
		for i, p := range given {
			if i == end || p < chainRoot || p < chainRaise*s.base[i] || root >= 0 && p <= given[root] {
				continue
			}
			if _, ok := s.model.Path(s.model.Causes[i].ID, s.model.Causes[end].ID); ok {
				root = i
			}
		}
		if root >= 0 {
			out = append(out, s.chain(root, end, given[root]))
		}
	}
	return append(out, s.habits()...)
}

// chain spells out the way from a root to a cause, with those steps that the texts have words for.
func (s *subject) chain(root, end int, p float64) Chain {
	from, to := s.model.Causes[root].ID, s.model.Causes[end].ID
	c := Chain{Links: []ChainLink{{from, s.texts.Causes[from].Title}}, Probability: p}
	between, _ := s.model.Path(from, to)
	for _, id := range between {
		if words := s.texts.Phrases["chain_"+id]; words != "" {
			c.Links = append(c.Links, ChainLink{"", words})
		}
	}
	c.Links = append(c.Links, ChainLink{to, s.texts.Causes[to].Title})
	c.Advice = s.texts.Phrases["chain_advice"] + s.texts.Causes[from].Title
	c.RepairIDs = s.mending(from)
	return c
}

func (s *subject) mending(cause string) (ids []string) {
	for _, r := range s.model.Repairs {
		if slices.Contains(r.Mends, cause) {
			ids = append(ids, r.ID)
		}
	}
	return ids
}

// habitRaise is from which factor on a habit that was told counts as having brought about a likely cause.
const habitRaise = 1.5

// habits are chains that begin with what the owner does.
func (s *subject) habits() (out []Chain) {
	for _, f := range s.findings {
		fact, ok := s.model.SetupFact(f.ID)
		if !ok || fact.Habit == "" || f.State != fact.Habit {
			continue
		}
		best := -1
		for i, c := range s.model.Causes {
			raised := slices.ContainsFunc(c.Raised, func(r knowledge.Raise) bool {
				return r.Setup == f.ID && r.State == f.State && r.Factor >= habitRaise
			})
			if raised && s.posterior[i] >= chainEnd && (best < 0 || s.posterior[i] > s.posterior[best]) {
				best = i
			}
		}
		if best >= 0 {
			id := s.model.Causes[best].ID
			out = append(out, Chain{Probability: s.posterior[best],
				Advice: s.texts.Phrases["chain_habit"] + s.texts.Observations[f.ID].Title,
				Links:  []ChainLink{{f.ID, s.texts.Observations[f.ID].Title}, {id, s.texts.Causes[id].Title}}})
		}
	}
	return out
}
