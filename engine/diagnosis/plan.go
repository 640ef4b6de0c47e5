package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"lightoff/engine/knowledge"
	"lightoff/engine/troubleshoot"
)

// A plan is made of the causes that stand out, alone or in twos, and of what may be done about them now; what a danger
// forbids never enters it. How the cheapest order is found is the business of the package troubleshoot.

// Which causes a plan takes up, and how much it holds at most.
const (
	planFrom    = 0.05
	planCauses  = 10
	planRepairs = 8
	planChecks  = 36
	planSteps   = 6
	settled     = 0.60 // a cause this probable is mended at once, whatever is usually tried before
	leastOther  = 0.02 // probability that it is nothing of what the plan takes up
	leastEnding = 0.01 // an ending that is reached more rarely is not named
)

// What an owner's minute is worth where nobody says, in euros, and what is paid once for each time, in minutes:
// reaching fuel, the burner or hot parts, and watching a start. Common practice, no source.
const (
	defaultRate       = 1
	watchedStart      = 10
	fuelMinutes       = 5
	burnerMinutes     = 20
	coolingMinutes    = 10
	otherCause        = 63 // the bit of what the plan does not take up
	simple, handy     = 1, 2
	workshop          = 3
	unwillingNeverEnd = 1e9
)

// preparations are what gates mean for a plan: the minutes that come on top once, however much is done with it.
var preparations = []struct {
	involved func(knowledge.Gates) bool
	minutes  float64
	level    int // of willingness that a repair of this kind takes
}{
	{func(g knowledge.Gates) bool { return g.OpensFuel }, fuelMinutes, handy},
	{func(g knowledge.Gates) bool { return g.TouchesHot }, coolingMinutes, handy},
	{func(g knowledge.Gates) bool { return g.OpensBurner }, burnerMinutes, workshop},
}

// prepares tells which preparations gates ask for, their minutes, and how willing one has to be.
func prepares(g knowledge.Gates) (mask uint32, minutes float64, level int) {
	level = simple
	for i, p := range preparations {
		if p.involved(g) {
			mask, minutes, level = mask|1<<i, minutes+p.minutes, max(level, p.level)
		}
	}
	return mask, minutes, level
}

// planning is one request's problem with what its numbers stand for.
type planning struct {
	troubleshoot.Problem
	s       *subject
	rate    float64 // euros a minute
	causes  []int
	repairs []knowledge.Repair // the pinned ones first
	pinned  []pin
	held    []knowledge.Repair // forbidden now
	checks  []string
	twos    []two
	planner *troubleshoot.Planner
	start   troubleshoot.State
}

// planning chooses the causes and repairs that a plan takes up. It is nil where people must leave.
func (s *subject) planning() *planning {
	if s.gates.leave {
		return nil
	}
	p := &planning{s: s, rate: cmp.Or(s.request.EurosPerMinute, defaultRate)}
	p.pin()
	p.chooseCauses()
	p.chooseRepairs()
	return p
}

// waiting lists the checks that repairs wait for.
func (p *planning) waiting() (ids []string) {
	for _, r := range p.repairs {
		for _, id := range r.After {
			if p.s.waitsFor(id) {
				ids = append(ids, id)
			}
		}
	}
	return ids
}

// plan makes the plan and says what each check would save.
func (s *subject) plan(p *planning, checks []AdvisedCheck) Plan {
	if p == nil {
		return Plan{Note: s.texts.Phrases["plan_leave"]}
	}
	if len(p.causes) == 0 {
		out := Plan{Steps: p.pinnedSteps()}
		if len(out.Steps) == 0 {
			out.Note = s.texts.Phrases["plan_none"]
		}
		return out
	}
	p.chooseChecks(checks)
	p.weighScenarios()
	p.priceEndings()
	p.Test = p.rate * watchedStart
	p.planner = troubleshoot.NewPlanner(&p.Problem)
	p.start = p.planner.Start()
	p.makePinned()
	out := p.steps()
	out.NextCheck = p.save(checks)
	for i := range checks {
		if checks[i].ObservationID == out.NextCheck {
			checks[i].Reason = s.reason("reason_saves", "reason_saves_wide", checks[i].About)
		}
	}
	if out.NextCheck != "" && out.Ending != nil && out.Ending.After == 0 {
		out.Ending = nil // nobody gives up before a check that is worth making
	}
	for _, r := range p.held[:min(len(p.held), max(0, planSteps-len(out.Steps)))] {
		out.Steps = append(out.Steps, p.step(r))
	}
	if len(out.Steps) == 0 {
		out.Note = s.texts.Phrases["plan_none"]
	}
	return out
}

// chooseCauses takes those that stand out, the most blamed first.
func (p *planning) chooseCauses() {
	for i, a := range p.s.blame {
		if a >= planFrom {
			p.causes = append(p.causes, i)
		}
	}
	slices.SortStableFunc(p.causes, func(a, b int) int { return cmp.Compare(p.s.blame[b], p.s.blame[a]) })
	p.causes = p.causes[:min(planCauses, len(p.causes))]
}

// mends is the set of the plan's causes that fit.
func (p *planning) mends(fits func(knowledge.Cause) bool) (mask uint64) {
	for k, i := range p.causes {
		if fits(p.s.model.Causes[i]) {
			mask |= 1 << k
		}
	}
	return mask
}

func (p *planning) price(minutes, euros float64) float64 { return minutes*p.rate + euros }

// chooseRepairs takes those with the most blame for their price that were not made yet, and keeps what a danger forbids
// apart.
func (p *planning) chooseRepairs() {
	type option struct {
		knowledge.Repair
		worth float64
	}
	var options []option
	for _, r := range p.s.model.Repairs {
		_, _, level := prepares(r.Gates)
		if p.s.request.Willing > 0 && level > p.s.request.Willing || p.s.done(r.ID) || p.isPinned(r.ID) || p.s.ruledOut(r) {
			continue
		}
		blame := 0.0
		for _, i := range p.causes {
			if p.s.serves(r, p.s.model.Causes[i].ID) {
				blame += p.s.blame[i]
			}
		}
		if blame > 0 {
			options = append(options, option{r, blame / (p.price(r.Minutes+watchedStart, r.Euros))})
		}
	}
	slices.SortStableFunc(options, func(a, b option) int { return cmp.Compare(b.worth, a.worth) })
	for _, o := range options {
		switch {
		case p.s.gates.forbidsRepair(o.Repair) != "":
			p.held = append(p.held, o.Repair)
		case len(p.repairs) < planRepairs:
			p.repairs = append(p.repairs, o.Repair)
		}
	}
}

// chooseChecks takes the checks that repairs wait for, and then the most telling ones.
func (p *planning) chooseChecks(advised []AdvisedCheck) {
	add := func(id string) int {
		if i := slices.Index(p.checks, id); i >= 0 {
			return i
		}
		p.checks = append(p.checks, id)
		check := troubleshoot.Check{Cost: p.rate * setupMinutes}
		if o, ok := p.s.model.Observation(id); ok {
			mask, minutes, _ := prepares(o.Gates)
			check = troubleshoot.Check{Cost: p.rate * max(0, o.Minutes-minutes), Prepares: mask}
			if o.Gates.NeedsStart {
				check.Cost += p.rate * startEffort
			}
		}
		p.Checks = append(p.Checks, check)
		return len(p.checks) - 1
	}
	for i, x := range preparations {
		p.Preparations = append(p.Preparations, 0)
		p.Preparations[i] = p.rate * x.minutes
	}
	for _, r := range p.repairs {
		mask, minutes, _ := prepares(r.Gates)
		repair := troubleshoot.Repair{Cost: p.price(max(0, r.Minutes-minutes), r.Euros) + p.disturbance(r), Prepares: mask,
			Mends: p.mends(func(c knowledge.Cause) bool {
				return p.s.serves(r, c.ID)
			})}
		for _, id := range r.After {
			if p.s.waitsFor(id) {
				repair.First |= 1 << add(id)
			}
		}
		if best := p.s.mostBlamed(r); best >= 0 && p.s.posterior[best] < settled {
			for j, other := range p.repairs {
				if slices.Contains(r.Behind, other.ID) {
					repair.Behind |= 1 << j
				}
			}
		}
		p.Repairs = append(p.Repairs, repair)
	}
	for _, c := range advised {
		if len(p.checks) < planChecks {
			add(c.ObservationID)
		}
	}
}

// disturbance is what it costs on average to put right what a repair itself brings about: the cheapest repair of it,
// and another start to watch.
func (p *planning) disturbance(r knowledge.Repair) (cost float64) {
	for _, d := range r.Disturbs {
		least := math.Inf(1)
		for _, o := range p.s.model.Repairs {
			if o.ID != r.ID && slices.Contains(o.Mends, d.Cause) {
				least = min(least, p.price(o.Minutes+watchedStart, o.Euros))
			}
		}
		cost += d.P * least
	}
	return cost
}

// weighScenarios makes the scenarios of the causes' blame, alone and in twos, and what each check shows in them. Twos
// have the probability that either of them gives the other; what is left is none of them.
func (p *planning) weighScenarios() {
	s, n := p.s, len(p.causes)
	given := make([]knowledge.Given, n)
	for k, i := range p.causes {
		given[k] = s.survey.GivenCause(i)
	}
	twos := make([][]float64, n)
	of := make([]float64, n)
	for a := range n {
		twos[a] = make([]float64, n)
		for b := range a {
			i, j := p.causes[a], p.causes[b]
			if s.model.Causes[i].Computed || s.model.Causes[j].Computed {
				continue // where nothing has come about, nothing else is to be mended for it
			}
			w := (s.blame[i]*blame(given[a].Causes[j], s.base[j]) + s.blame[j]*blame(given[b].Causes[i], s.base[i])) / 2
			twos[a][b] = w
			of[a], of[b] = of[a]+w, of[b]+w
		}
	}
	total := 0.0
	var members [][]int
	add := func(w float64, who ...int) {
		if w <= 0 {
			return
		}
		mask := uint64(0)
		for _, k := range who {
			mask |= 1 << k
		}
		total += w
		members = append(members, who)
		p.Scenarios = append(p.Scenarios, troubleshoot.Scenario{P: w, Causes: mask})
	}
	alone := make([]float64, n)
	for a, i := range p.causes {
		alone[a] = s.blame[i]
	}
	for a := range n {
		for b := range a {
			i, j := p.causes[a], p.causes[b]
			if twos[a][b] == 0 {
				continue
			}
			w := twos[a][b] * min(1, s.blame[i]/of[a], s.blame[j]/of[b])
			p.twos = append(p.twos, two{i, j, w, s.posterior[i] * given[a].Causes[j]})
			alone[a], alone[b] = alone[a]-w, alone[b]-w
			add(w, a, b)
		}
	}
	for a, w := range alone {
		add(w, a)
	}
	add(max(leastOther, 1-total))
	p.Scenarios[len(p.Scenarios)-1].Causes = 1 << otherCause
	p.showChecks(given, members)
}

// showChecks fills in what checks show. In two causes at once either shows as often; in none of them it is what the
// others leave over.
func (p *planning) showChecks(given []knowledge.Given, members [][]int) {
	now := p.s.survey.Posterior()
	total := 0.0
	for _, sc := range p.Scenarios {
		total += sc.P
	}
	for j, id := range p.checks {
		at := p.s.surveyed[id]
		if now.Outcomes[at] == nil {
			p.Checks[j].Likelihood = p.setupShows(id, members)
			continue
		}
		for o, all := range now.Outcomes[at] {
			row := make([]float64, len(members))
			left := all * total
			for k, who := range members {
				for _, c := range who {
					row[k] += given[c].Outcomes[at][o] / float64(len(who))
				}
				left -= p.Scenarios[k].P * row[k]
			}
			row[len(row)-1] = max(left/p.Scenarios[len(row)-1].P, 0.05*all)
			p.Checks[j].Likelihood = append(p.Checks[j].Likelihood, row)
		}
		normalise(p.Checks[j].Likelihood)
	}
}

// setupShows is what a fact of the installation tells: the shares of its states, raised by what makes a cause commoner.
func (p *planning) setupShows(id string, members [][]int) (rows [][]float64) {
	shares, after := p.s.in.SetupOutcomes(id, p.s.posterior)
	if shares == nil {
		row := make([]float64, len(members))
		for k := range row {
			row[k] = 1
		}
		return [][]float64{row}
	}
	for st, share := range shares {
		row := make([]float64, len(members))
		for k, who := range members {
			for _, c := range who {
				i := p.causes[c]
				row[k] += share * after[st][i] / (p.s.posterior[i] * float64(len(who)))
			}
			if len(who) == 0 {
				row[k] = share
			}
		}
		rows = append(rows, row)
	}
	normalise(rows)
	return rows
}

// normalise makes the outcomes of each scenario sum to one.
func normalise(rows [][]float64) {
	for k := range rows[0] {
		total := 0.0
		for _, row := range rows {
			total += row[k]
		}
		for _, row := range rows {
			row[k] /= total
		}
	}
}

func (p *planning) priceEndings() {
	for _, e := range p.s.model.Endings {
		ending := troubleshoot.Ending{Cost: p.price(e.Minutes, e.Euros), Mends: troubleshoot.Everything}
		if !e.Everything {
			ending.Mends = p.mends(e.Ends)
		}
		p.Endings = append(p.Endings, ending)
	}
	if len(p.Endings) == 0 {
		p.Endings = []troubleshoot.Ending{{Cost: unwillingNeverEnd, Mends: troubleshoot.Everything}}
	}
}

// steps are the repairs up to where an ending is cheaper, and after that, for whoever would rather go on, the others.
func (p *planning) steps() (out Plan) {
	sequence := p.planner.Sequence(p.start)
	end := sequence[len(sequence)-1]
	state := p.start
	spent := 0.0
	out.Steps = p.pinnedSteps()
	for _, x := range out.Steps {
		spent = max(spent, x.ExpectedCost)
	}
	pinned := spent
	add := func(steps []troubleshoot.Step) {
		for _, step := range steps {
			for k, r := range step.Repairs {
				state.Done |= 1 << r
				x := p.step(p.repairs[r])
				x.Together, x.Fixed, x.ExpectedCost = k > 0, 1-p.planner.ProbabilityUnrepaired(state), spent+step.Cost
				out.Steps = append(out.Steps, x)
			}
		}
		if len(steps) > 0 {
			spent += steps[len(steps)-1].Cost
		}
	}
	add(sequence[:len(sequence)-1])
	before := len(out.Steps)
	if end.Reaching > leastEnding && before <= planSteps && len(p.s.model.Endings) > 0 {
		e := p.s.model.Endings[end.Ending]
		text := map[string]string{knowledge.Replace: "plan_end_replace", knowledge.Licensed: "plan_end_licensed"}[e.Kind]
		out.Ending = &Ending{Kind: e.Kind, After: before, Minutes: e.Minutes, Euros: e.Euros, Probability: end.Reaching,
			ExpectedCost: pinned + end.Cost, Text: p.s.texts.Phrases[text]}
	}
	if before < planSteps && before < len(p.repairs) {
		never := p.Problem
		never.Endings = []troubleshoot.Ending{{Cost: unwillingNeverEnd, Mends: troubleshoot.Everything}}
		on := troubleshoot.NewPlanner(&never).Sequence(state)
		add(on[:len(on)-1])
	}
	out.Steps = out.Steps[:min(planSteps, len(out.Steps))]
	return out
}

// save fills in what the advised checks would save, and names the one that saves most beyond its own price.
func (p *planning) save(checks []AdvisedCheck) (next string) {
	savings := p.planner.Savings(p.start)
	advised := make([]bool, len(p.checks))
	for i := range checks {
		if j := slices.Index(p.checks, checks[i].ObservationID); j >= 0 {
			checks[i].Saving, advised[j] = savings[j], true
		}
	}
	best := p.planner.BestCheck(p.start, savings, func(check int) bool { return advised[check] })
	if best < 0 {
		return ""
	}
	if p.s.needsStart(p.checks[best]) {
		spared := func(check int) bool {
			return advised[check] && savings[check] >= savings[best] && !p.s.needsStart(p.checks[check])
		}
		if other := p.planner.BestCheck(p.start, savings, spared); other >= 0 {
			best = other
		}
	}
	return p.checks[best]
}

// needsStart reports whether a check means starting the heater.
func (s *subject) needsStart(check string) bool {
	o, ok := s.model.Observation(check)
	return ok && o.Gates.NeedsStart
}

// mostBlamed is the cause that a repair would be made for.
func (s *subject) mostBlamed(r knowledge.Repair) int {
	best := -1
	for i, c := range s.model.Causes {
		if slices.Contains(r.Mends, c.ID) && (best < 0 || s.blame[i] > s.blame[best]) {
			best = i
		}
	}
	return best
}

// waitsFor reports whether a check that a repair comes after is still to be made, and can be.
func (s *subject) waitsFor(check string) bool {
	o, _ := s.model.Observation(check)
	return !s.in.IsTold(check) && s.gates.forbids(o.Gates) == "" &&
		(o.Tool == "" || slices.Contains(s.request.Tools, o.Tool))
}

func (p *planning) step(r knowledge.Repair) PlanStep {
	s := p.s
	x := s.texts.Repairs[r.ID]
	step := PlanStep{RepairID: r.ID, Title: x.Title, Minutes: r.Minutes, Euros: r.Euros,
		Cautions: slices.Clone(x.Cautions),
		Parts:    x.Parts, Steps: x.Steps, Proof: x.Proof, Prevention: x.Prevention}
	if cause := s.mostBlamed(r); cause >= 0 {
		step.CauseID, step.Probability = s.model.Causes[cause].ID, s.part[cause]
	}
	if by := s.gates.forbidsRepair(r); by != "" {
		step.HeldBack = s.texts.Phrases["plan_wait_danger"] + s.texts.Dangers[by].Title
		return step
	}
	if i := slices.IndexFunc(r.After, s.waitsFor); i >= 0 {
		step.HeldBack = s.texts.Phrases["plan_wait_check"] + s.texts.Observations[r.After[i]].Question
	}
	return step
}

// finiteRate says whether what an owner's minute is worth makes sense.
func finiteRate(x float64) bool { return x >= 0 && x <= 1000 && !math.IsNaN(x) }
