package knowledge

import "lightoff/engine/bayes"

// Parts tells who takes part in what happened.
type Parts struct {
	Causes []float64 // by cause, in the model's order
	Listed float64   // probability that what happened, if anything did, is owed to something that the model lists
}

// Parts gives, for each cause, the probability that it takes part in what happened, given that what happened is owed to
// something that the model lists. A cause that is active beside another one, and would have changed nothing, takes no
// part. The computed cause stands for nothing having happened.
//
// What takes part is followed back through the network from the outcome; see [bayes.Query.Parts]. The findings are
// those entered.
func (in *Inquiry) Parts() (Parts, error) { return in.partsIn(&in.now) }

func (in *Inquiry) partsIn(l *loaded) (p Parts, err error) {
	m := in.m
	parts, err := l.q.Parts(m.outcome, func(v bayes.VarID) bool { return m.isCause[v] })
	if err != nil {
		return p, err
	}
	p.Listed = 1 - min(parts.Unexplained, mostUnlisted)
	for i, v := range m.causeVar {
		x := parts.Of[v][1]
		if m.Causes[i].Computed {
			if x, err = in.cause(l, i); err != nil {
				return p, err
			}
		}
		p.Causes = append(p.Causes, min(x/p.Listed, 1))
	}
	return p, nil
}

// mostUnlisted keeps what no cause explains from making much of next to nothing.
const mostUnlisted = 0.9
