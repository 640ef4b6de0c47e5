package knowledge

import (
	"slices"
)

// Some numbers no file can list, because they follow from facts of the installation by physics: what a cable loses,
// what a battery reads when full. A file names the computation, the appliance's package binds the name to a function,
// and here the facts that nobody told are integrated over: each fact's states stand with their shares, a number's bands
// with their typical values. So a fact shifts the answer as far as it matters, a rough one less, and silence not at
// all.

// Binding holds the computations that model files may name.
type Binding map[string]Computation

// Computation works from setup facts. Either function may be nil.
type Computation struct {
	// Facts are the setup facts that the functions look at.
	Facts []string
	// Optional facts are given to the functions where somebody told them, and not integrated over.
	Optional []string
	// Rate is how likely a cause is with these facts, on any scale, for its base rate to be multiplied with.
	Rate func(f Facts) float64
	// Level is a quantity's mean and standard deviation with these facts, given states of the network's variables.
	Level func(states map[string]string, f Facts) (mean, spread float64)
}

// Facts are one combination of setup facts: a state each, and a value for those that are numbers.
type Facts struct {
	State  map[string]string
	Number map[string]float64
}

// mostRemembered bounds a memo that serves many heaters.
const mostRemembered = 5000

// looksAt reports whether the computation depends on a setup fact.
func (c *Computation) looksAt(id string) bool {
	return c != nil && (slices.Contains(c.Facts, id) || slices.Contains(c.Optional, id))
}

// bind looks up what a file names, and checks it against the facts of the model.
func (f *files) bind(at node, name, what string) *Computation {
	c, ok := f.binding[name]
	if !ok {
		at.errorf("%s is no computation that this appliance has", name)
		return nil
	}
	if what == "rate" && c.Rate == nil || what == "level" && c.Level == nil {
		at.errorf("%s computes no %s", name, what)
		return nil
	}
	for _, id := range c.Optional {
		if _, ok := f.model.SetupFact(id); !ok {
			at.errorf("%s looks at %s, which is no setup fact", name, id)
			return nil
		}
	}
	for _, id := range c.Facts {
		s, ok := f.model.SetupFact(id)
		if !ok {
			at.errorf("%s looks at %s, which is no setup fact", name, id)
			return nil
		}
		if s.Unit != "" && (len(s.States) == 0 || slices.ContainsFunc(s.States,
			func(st SetupState) bool { return len(st.Typical) == 0 })) {
			at.errorf("%s looks at %s, whose bands need typical values", name, id)
			return nil
		}
	}
	return &c
}
