package knowledge

import (
	"math"
	"slices"

	"lightoff/engine/bayes"
)

// Ablation is what holds with one finding left out.
type Ablation struct {
	Finding Finding
	Causes  []float64 // posteriors of those asked for
	// ln P(the others); 0 for a fact of the installation where only weights of some size are asked for
	LogEvidence float64
}

// LeaveOneOut tells, for each finding but the code table, what all the others say: of the causes asked for, by index,
// and how probable they are.
func (in *Inquiry) LeaveOneOut(causes ...int) ([]Ablation, error) {
	s, err := in.Survey(Ask{Weigh: causes})
	if err != nil {
		return nil, err
	}
	return s.Without, nil
}

// withoutEach leaves out one finding after the other. Most of it comes from what the survey has seen already. A fact of
// the installation, and what decides how others count, changes more than itself and takes a pass of its own, unless it
// is sure to move nothing. at gives the place of each cause among the targets of left.
func (in *Inquiry) withoutEach(a Ask, s *Survey, left []bayes.LeftOut, at []int) ([]Ablation, error) {
	w := &weighing{in: in, ask: a, survey: s}
	if err := w.ready(left, at); err != nil {
		return nil, err
	}
	out := make([]Ablation, 0, len(in.findings))
	for i, f := range in.findings {
		if f.ID == in.m.Roles.CodeTable {
			continue // it is no evidence, and without it the code could not be read
		}
		var err error
		b := Ablation{Finding: f}
		switch where := w.finds(i); where {
		case anew:
			err = w.anew(i, &b)
		case nowhere:
			b.Causes, b.LogEvidence = w.causes, w.log
		default:
			err = w.instead(where, i, &b)
		}
		if err != nil {
			return nil, err
		}
		out = append(out, b)
	}
	return out, nil
}

// weighing holds what all findings together and all but one say.
type weighing struct {
	in      *Inquiry
	ask     Ask
	survey  *Survey
	causes  []float64 // [to be weighed]
	all     []float64 // [cause], once bounds hang on it
	log     float64
	left    []bayes.LeftOut // [entry]
	targets []int           // [to be weighed] its place among the targets
}

// ready works out what all findings together say.
func (w *weighing) ready(left []bayes.LeftOut, at []int) (err error) {
	in := w.in
	if w.log, err = in.LogEvidence(); err != nil {
		return err
	}
	w.left = in.byEntry(left)
	for _, i := range w.ask.Weigh {
		p, err := in.Cause(i)
		if err != nil {
			return err
		}
		w.causes = append(w.causes, p)
		w.targets = append(w.targets, at[i])
	}
	return nil
}

// byEntry brings what a query says without each finding into the order of the entries.
func (in *Inquiry) byEntry(all []bayes.LeftOut) []bayes.LeftOut {
	out := make([]bayes.LeftOut, len(in.entered))
	for k, e := range in.entered {
		for _, l := range all {
			if e.group < 0 && l.Variable == e.variable || e.group >= 0 && l.Joint == e.group {
				out[k] = l
			}
		}
	}
	return out
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
		if in.m.variables[f.ID] == nil && !in.m.matters(f.ID) || w.unmoved(i) {
			return nowhere
		}
		return anew
	}
	if in.conditions(i) && w.changesOthers(i) {
		return anew
	}
	if in.unused[f.ID] != "" {
		return nowhere
	}
	return slices.IndexFunc(in.entered, func(e entry) bool {
		return e.id == f.ID || e.group >= 0 && in.m.variables[f.ID].reads != nil && e.group == in.m.groupOf[f.ID]
	})
}

// unmoved reports whether a fact of the installation is sure to move no odds by as much as is asked for. Without it the
// odds of some causes are multiplied beforehand. That multiplies those of any other cause by a quotient of two expected
// products, with it and without it, which are bounded by how probable the multiplied causes then are.
func (w *weighing) unmoved(i int) bool {
	in := w.in
	if w.ask.LeastBits <= 0 || in.m.variables[in.findings[i].ID] != nil || in.conditions(i) {
		return false
	}
	rest := slices.Delete(slices.Clone(in.findings), i, i+1)
	at := in.place(rest)
	if at.ground != in.at.ground {
		return false
	}
	var moved []int
	var by []float64
	for c, rate := range at.rate {
		if in.m.rootOf[c] >= 0 && rate != in.at.rate[c] {
			ratio := priorRatio(rate, in.at.rate[c])
			moved, by = append(moved, c), append(by, ratio[1]/ratio[0])
		}
	}
	if w.all == nil {
		var err error
		if w.all, err = in.Causes(nil); err != nil {
			return false
		}
	}
	without := make([]float64, len(in.m.Causes))
	for k, c := range w.ask.Weigh {
		p, with := w.causes[k], w.survey.GivenCause(c).Causes
		if p <= 0 || p >= 1 || with == nil {
			return false
		}
		for j := range without {
			without[j] = max(0, w.all[j]-p*with[j]) / (1 - p)
		}
		lowWith, highWith := expectedProduct(moved, by, with)
		low, high := expectedProduct(moved, by, without)
		if most := math.Log2(highWith / low); most >= w.ask.LeastBits*0.999 {
			return false
		}
		if least := math.Log2(lowWith / high); least <= -w.ask.LeastBits*0.999 {
			return false
		}
	}
	return true
}

// expectedProduct bounds the expectation of a product of factors, each of which counts where its cause is active. The
// bounds hold however the causes hang together. The product is one where none is active, and one factor where one is;
// where more are, which is at most as probable as any but the most probable of them, it lies between all that lower and
// all that raise.
func expectedProduct(causes []int, by, p []float64) (low, high float64) {
	up, down, sumUp, sumDown := 1.0, 1.0, 0.0, 0.0
	raised, lowered, most, any, mean := 0.0, 0.0, 0.0, 0.0, 1.0
	for k, c := range causes {
		mean += (by[k] - 1) * p[c]
		most, any = max(most, p[c]), any+p[c]
		if by[k] > 1 {
			up, sumUp, raised = up*by[k], sumUp+by[k]-1, raised+p[c]
		} else {
			down, sumDown, lowered = down*by[k], sumDown+1-by[k], lowered+p[c]
		}
	}
	several := min(1, any-most)
	low = max(1-(1-down)*min(1, lowered), mean+several*(down-1-sumUp))
	high = min(1+(up-1)*min(1, raised), mean+several*(up-1+sumDown))
	return low, high
}

// changesOthers reports whether without a finding of the heater another entry than its own would be otherwise.
func (w *weighing) changesOthers(i int) bool {
	in, f := w.in, w.in.findings[i]
	own := func(e entry) bool {
		return e.id == f.ID || e.group >= 0 && in.m.variables[f.ID] != nil && in.m.variables[f.ID].reads != nil &&
			e.group == in.m.groupOf[f.ID]
	}
	rest := in.take(in.at, slices.Delete(slices.Clone(in.findings), i, i+1)).entered
	for _, lists := range [][2][]entry{{rest, in.entered}, {in.entered, rest}} {
		for _, e := range lists[0] {
			if !own(e) && !slices.ContainsFunc(lists[1], func(o entry) bool {
				return o.same(e) &&
					slices.Equal(o.likelihood, e.likelihood)
			}) {
				return true
			}
		}
	}
	return false
}

// conditions reports whether some other finding counts otherwise without this one.
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
	log, posteriors := w.left[k].Replaced(likelihood)
	a.LogEvidence = log
	for _, t := range w.targets {
		a.Causes = append(a.Causes, posteriors[t][1])
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
	in.apply(&in.side, in.at.ground.now, entered)
	if _, setup := in.m.SetupFact(in.findings[i].ID); !setup || w.ask.LeastBits <= 0 {
		if a.LogEvidence, err = in.side.q.LogEvidence(); err != nil {
			return err
		}
	}
	a.Causes = make([]float64, len(w.ask.Weigh))
	for n, c := range w.ask.Weigh {
		if a.Causes[n], err = in.cause(&in.side, c); err != nil {
			return err
		}
	}
	return nil
}

// MarginalLogEvidence tells how probable each finding is by itself for this installation, ln P(finding | setup), and
// how probable those that are no facts of it are together, ln P(findings | setup). The former is NaN for the facts.
func (in *Inquiry) MarginalLogEvidence() (each []float64, together float64, err error) {
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

// PairwiseLogEvidence tells, for a finding by its position, how probable it is together with each other one for this
// installation: ln P(both | setup). It is NaN for facts of the installation and for the finding itself.
func (in *Inquiry) PairwiseLogEvidence(i int) ([]float64, error) {
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
		if len(own) == 1 && len(both) == 2 && slices.ContainsFunc(both,
			func(e entry) bool { return e.same(own[0]) && slices.Equal(e.likelihood, own[0].likelihood) }) {
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
		in.apply(&in.side, in.at.ground.now, slices.Concat(in.at.entered, both))
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
	in.apply(&in.bare, in.at.ground.now, slices.Concat(in.at.entered, own))
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
