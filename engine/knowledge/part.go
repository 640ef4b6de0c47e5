package knowledge

import "lightoff/engine/bayes"

// Parts tells who takes part in what happened.
type Parts struct {
	Causes []float64 // by cause, in the model's order
	Listed float64   // probability that what happened, if anything did, is owed to something that the model lists
}

// Parts gives, for each cause, the probability that it takes part in what happened, given that what happened is owed to
// something that the model lists. A cause that is active beside another one, and would have changed nothing, takes no
// part. For the computed cause it is the probability of that cause. The findings are those entered.
//
// What takes part is followed back through the network from the outcome; see [bayes.Query.Parts].
func (in *Inquiry) Parts() (p Parts, err error) {
	m := in.m
	parts, err := in.now.q.Parts(m.outcome, func(v bayes.VarID) bool { return m.isCause[v] })
	if err != nil {
		return p, err
	}
	p.Listed = 1 - min(parts.Unexplained, mostUnlisted)
	for i, v := range m.causeVar {
		if !m.Causes[i].Computed {
			p.Causes = append(p.Causes, min(parts.Of[v][1]/p.Listed, 1))
			continue
		}
		x, err := in.Cause(i)
		if err != nil {
			return p, err
		}
		p.Causes = append(p.Causes, x)
	}
	return p, nil
}

// mostUnlisted keeps what no cause explains from making much of next to nothing.
const mostUnlisted = 0.9
