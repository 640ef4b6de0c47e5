package knowledge

import (
	"math"
	"slices"

	"lightoff/engine/bayes"
)

// Ablation is what holds with one finding left out.
type Ablation struct {
	Finding     Finding
	Causes      []float64 // posteriors of those asked for
	LogEvidence float64
}

// LeaveOneOut tells, for each finding but the code table, what all the others say: of the causes asked for, by index, and how
// probable they are. Most of it comes from the messages that are there already. A fact of the installation, and what
// decides how others count, changes more than itself and takes a pass of its own.
func (in *Inquiry) LeaveOneOut(causes ...int) ([]Ablation, error) {
	w, err := in.weighing(causes)
	if err != nil {
		return nil, err
	}
	out := make([]Ablation, 0, len(in.findings))
	for i, f := range in.findings {
		if f.ID == codeTable {
			continue // it is no evidence, and without it the code could not be read
		}
		a := Ablation{Finding: f}
		switch where := w.finds(i); where {
		case anew:
			err = w.anew(i, &a)
		case nowhere:
			a.Causes, a.LogEvidence = w.causes, w.log
		default:
			err = w.instead(where, i, &a)
		}
		if err != nil {
			return nil, err
		}
		out = append(out, a)
	}
	return out, nil
}

// weighing holds what all findings together and all but one say.
type weighing struct {
	in      *Inquiry
	asked   []int
	causes  []float64
	log     float64
	left    []bayes.LeftOut // [entry]
	targets []int           // [asked] its place among the targets; −1 for the computed cause
	none    []bayes.LeftOut // [entry] with every cause absent, if the computed cause is asked for and that can be
}

func (in *Inquiry) weighing(causes []int) (*weighing, error) {
	w := &weighing{in: in, asked: causes}
	var err error
	if w.log, err = in.LogEvidence(); err != nil {
		return nil, err
	}
	var targets []bayes.VarID
	computed := false
	for _, i := range causes {
		p, err := in.Cause(i)
		if err != nil {
			return nil, err
		}
		w.causes = append(w.causes, p)
		if v := in.m.causeVar[i]; v >= 0 {
			w.targets, targets = append(w.targets, len(targets)), append(targets, v)
		} else {
			w.targets, computed = append(w.targets, -1), true
		}
	}
	if w.left, err = in.leftOut(in.now.q, targets); err != nil || !computed {
		return w, err
	}
	if _, err := in.none.q.LogEvidence(); err == nil { // Cause has entered what was found
		if w.none, err = in.leftOut(in.none.q, nil); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// leftOut brings what a query says without each finding into the order of the entries.
func (in *Inquiry) leftOut(q *bayes.Query, targets []bayes.VarID) ([]bayes.LeftOut, error) {
	all, err := q.LeaveOneOut(targets...)
	if err != nil {
		return nil, err
	}
	out := make([]bayes.LeftOut, len(in.entered))
	for k, e := range in.entered {
		for _, l := range all {
			if e.group < 0 && l.Variable == e.variable || e.group >= 0 && l.Joint == e.group {
				out[k] = l
			}
		}
	}
	return out, nil
}

// Where a finding is, if not in one of the entries.
const (
	nowhere = -1 // it changed nothing
	anew    = -2 // without it other findings count otherwise
)

// finds tells in which entry a finding is.
func (w *weighing) finds(i int) int {
	in, f := w.in, w.in.findings[i]
	if _, ok := in.m.SetupFact(f.ID); ok {
		if in.m.variables[f.ID] == nil && !in.m.matters(f.ID) {
			return nowhere
		}
		return anew
	}
	if in.conditions(i) {
		return anew
	}
	if in.unused[f.ID] != "" {
		return nowhere
	}
	return slices.IndexFunc(in.entered, func(e entry) bool {
		return e.id == f.ID || e.group >= 0 && in.m.variables[f.ID].reads != nil && e.group == in.m.groupOf[f.ID]
	})
}

// conditions tells whether some other finding counts otherwise without this one.
func (in *Inquiry) conditions(i int) bool {
	f := in.findings[i]
	for k, other := range in.findings {
		o, ok := in.m.Observation(other.ID)
		if k == i || !ok {
			continue
		}
		for _, list := range [][]Condition{o.VoidIf, o.SureIf} {
			if slices.ContainsFunc(list, func(c Condition) bool { return c.ID == f.ID }) {
				return true
			}
		}
	}
	return false
}

// instead reads what holds without a finding whose entry is of it alone, or of readings that stay.
func (w *weighing) instead(k, i int, a *Ablation) error {
	in := w.in
	likelihood := ones(len(in.entered[k].likelihood))
	if e := in.entered[k]; e.group >= 0 {
		rest := slices.Delete(slices.Clone(in.findings), i, i+1)
		for _, other := range in.take(in.at, rest).entered {
			if other.same(e) {
				likelihood = other.likelihood
			}
		}
	}
	log, posteriors := w.left[k].Instead(likelihood)
	a.LogEvidence = log
	for _, t := range w.targets {
		switch {
		case t >= 0:
			a.Causes = append(a.Causes, posteriors[t][1])
		case w.none == nil:
			return w.anew(i, a) // what excludes that no cause is active may be this finding
		default:
			none, _ := w.none[k].Instead(likelihood)
			a.Causes = append(a.Causes, math.Exp(none-log))
		}
	}
	return nil
}

func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}

// anew enters all but one finding and asks.
func (w *weighing) anew(i int, a *Ablation) (err error) {
	in := w.in
	rest := slices.Delete(slices.Clone(in.findings), i, i+1)
	at := in.at
	defer func() { in.at = at }()
	in.at = in.place(rest)
	entered := in.take(in.at, rest).entered
	in.apply(&in.side, in.at.ground.now, entered, false)
	if a.LogEvidence, err = in.side.q.LogEvidence(); err != nil {
		return err
	}
	a.Causes = make([]float64, len(w.asked))
	for n, c := range w.asked {
		if a.Causes[n], err = in.cause(&in.side, entered, c); err != nil {
			return err
		}
	}
	return nil
}

// Apart tells how probable each finding is by itself for this installation, ln P(finding | setup), and how probable those that are
// no facts of it are together, ln P(findings | setup). The former is NaN for the facts.
func (in *Inquiry) Apart() (each []float64, together float64, err error) {
	p, err := in.before()
	if err != nil {
		return nil, 0, err
	}
	log, err := in.LogEvidence()
	if err != nil {
		return nil, 0, err
	}
	for _, f := range in.findings {
		x := math.NaN()
		if _, ok := in.m.SetupFact(f.ID); !ok {
			x = 0
			for _, e := range in.besides(f) {
				x += math.Log(e.probability(p.variables, p.groups))
			}
		}
		each = append(each, x)
	}
	return each, log - p.logEvidence, nil
}

// besides makes the entries of some findings alone, besides those of the installation.
func (in *Inquiry) besides(findings ...Finding) []entry {
	all := in.take(in.at, slices.Concat(in.at.told, findings)).entered
	return slices.DeleteFunc(all, func(e entry) bool { return slices.ContainsFunc(in.at.entered, e.same) })
}

// probability of an entry, given what holds without it.
func (e entry) probability(variables, groups [][]float64) (total float64) {
	p := groups
	at := e.group
	if at < 0 {
		p, at = variables, int(e.variable)
	}
	for i, l := range e.likelihood {
		total += l * p[at][i]
	}
	return total
}

// Beside tells, for a finding by its position, how probable it is together with each other one for this installation:
// ln P(both | setup). It is NaN for facts of the installation and for the finding itself.
func (in *Inquiry) Beside(i int) ([]float64, error) {
	p, err := in.before()
	if err != nil {
		return nil, err
	}
	own := in.besides(in.findings[i])
	out := make([]float64, len(in.findings))
	for k, f := range in.findings {
		if _, setup := in.m.SetupFact(f.ID); setup || k == i {
			out[k] = math.NaN()
			continue
		}
		both := in.besides(in.findings[i], f)
		// Most findings leave each other as they are, so that all the others can be read beside this one at once.
		if len(own) == 1 && len(both) == 2 && slices.ContainsFunc(both, func(e entry) bool { return e.same(own[0]) && slices.Equal(e.likelihood, own[0].likelihood) }) {
			other := both[slices.IndexFunc(both, func(e entry) bool { return !e.same(own[0]) })]
			if out[k], err = in.after(own, other, p); err != nil {
				return nil, err
			}
			continue
		}
		if len(both) == 1 {
			out[k] = math.Log(both[0].probability(p.variables, p.groups))
			continue
		}
		in.apply(&in.side, in.at.ground.now, slices.Concat(in.at.entered, both), false)
		log, err := in.side.q.LogEvidence()
		if err != nil {
			return nil, err
		}
		out[k] = log - p.logEvidence
	}
	return out, nil
}

// after is ln P(own and other | setup).
func (in *Inquiry) after(own []entry, other entry, p *prior) (float64, error) {
	in.apply(&in.bare, in.at.ground.now, slices.Concat(in.at.entered, own), false)
	log, err := in.bare.q.LogEvidence()
	if err != nil {
		return 0, err
	}
	var post []float64
	if other.group >= 0 {
		post, err = in.bare.q.JointMarginal(other.group)
	} else {
		post, err = in.bare.q.Marginal(other.variable)
	}
	if err != nil {
		return 0, err
	}
	total := 0.0
	for i, l := range other.likelihood {
		total += l * post[i]
	}
	return log - p.logEvidence + math.Log(total), nil
}
