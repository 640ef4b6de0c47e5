package judge

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

// Judge tries an engine on heaters of one seed. It is safe for concurrent use.
type Judge struct {
	model    *knowledge.Model
	engine   *diagnosis.Engine
	seed     uint64
	lottery  lottery
	owners   []Owner
	advisers []adviser
	brief    bool
}

// Advisers are the names of the simpler advisers, in the order of a Result's Rivals.
var Advisers = []string{"code chart", "naive Bayes", "commonest first"}

// Effort is how much a judge prepares: rounds and heaters of fitting the shares, and heaters that naive Bayes learns
// from.
type Effort struct {
	Rounds, Pilots, Lessons int

	// Each calls do for 0 … n−1, in any order and at once if it likes; nil does one after the other.
	Each func(n int, do func(i int))
}

// Usual is the effort of a full judgement.
var Usual = Effort{Rounds: 3, Pilots: 1500, Lessons: 3000}

func inTurn(n int, do func(i int)) {
	for i := range n {
		do(i)
	}
}

// New prepares a judge: the shares of causes are fitted and naive Bayes is taught, each on heaters of their own.
func New(m *knowledge.Model, seed uint64, effort Effort) *Judge {
	j := &Judge{model: m, engine: diagnosis.New(m), seed: seed, owners: owners(m), lottery: plainLottery(m)}
	want := map[string]float64{}
	for _, c := range m.Causes {
		want[c.ID] = c.PerThousand / 1000
	}
	each := effort.Each
	if each == nil {
		each = inTurn
	}
	j.lottery.fit(seed, want, effort.Rounds, effort.Pilots, each)
	lessons := make([]*Case, effort.Lessons)
	each(len(lessons), func(i int) { lessons[i] = j.lottery.draw(seed, learnt, uint64(i)) })
	lessons = slices.DeleteFunc(lessons, func(c *Case) bool { return c == nil })
	common := newPopular(m)
	j.advisers = []adviser{chart{common}, learn(m, lessons, each), common}
	return j
}

// Probability is what the engine gave a cause, and whether it was true.
type Probability struct {
	P    float64
	True bool
}

// Result is how one case went. Slices by step hold what stood after 0, 1, … checks.
type Result struct {
	Undrawn bool // the causes led to no complaint; nothing else is set
	Number  int
	Owner   string
	Code    string
	Truth   []string
	Told    []diagnosis.Observation
	Asked   []string
	Places  []int            // of the best placed true cause, from 1
	Each    []map[string]int // place of each true cause, the other true ones left out
	Rivals  [][]int          // by adviser and step
	Leaders []string
	Minutes []float64 // spent so far
	Repair  bool      // the first repair mends a true cause
	Repairs int       // up to the first that does; 0 if none did
	// the same, those left out that a standing danger asked for and that mend none: making safe comes before a repair
	Chosen   int
	Checks   int     // and the checks up to then
	Spent    float64 // and the minutes, repairs included
	Euros    float64 // and the money
	Leading  []Probability
	First    []Probability // of all causes, on what was told
	Last     []Probability // of all causes, at the end
	Taking   []Taking      // the same, by other answers to whether they take part
	Missed   []string      // dangers whose trigger was told and that were not said
	Unasked  []string      // dangers whose trigger the owner perceived or could recall, and neither told nor was asked
	Unlooked []string      // dangers whose trigger could be found by looking for it, and nobody was asked to look
	Silent   bool          // exhaust comes in and nobody could perceive it
	Wrong    []string      // checks advised though a danger forbids them, and requests that were refused
}

// MostRepairs is how many repairs an owner makes before giving up.
const MostRepairs = 4

// Brief makes a judge play no further than up to the first check, which shows the dangers that are missed.
func (j *Judge) Brief() { j.brief = true }

// Try draws case number i and plays it: a conversation as an owner has it, with up to MostChecks checks before the
// first repair, and after a repair that did not help a start that failed and the conversation going on from there.
func (j *Judge) Try(i int) Result {
	c := j.lottery.draw(j.seed, judged, uint64(i))
	if c == nil {
		return Result{Undrawn: true, Number: i}
	}
	r := rand.New(rand.NewPCG(j.seed<<20|uint64(i), 99))
	owner := j.owners[r.IntN(len(j.owners))]
	t := teller{j.model, c.Heater, r}
	out := Result{Number: i, Owner: owner.Name, Code: t.h.Observe("fault_code").State, Truth: c.Truth,
		Rivals: make([][]int, len(j.advisers))}
	p := play{j: j, t: &t, out: &out}
	p.add(diagnosis.Event{Kind: diagnosis.Opened, Tools: owner.Tools})
	p.add(diagnosis.Event{Kind: diagnosis.Answered, Observations: t.opening()})
	if err := p.search(); err != nil {
		out.Wrong = append(out.Wrong, err.Error())
	}
	out.Silent = c.Heater.Silent()
	return out
}

// play is a conversation under way.
type play struct {
	j               *Judge
	t               *teller
	out             *Result
	events          []diagnosis.Event
	minutes, euros  float64
	checks, repairs int
	chosen          int // repairs made, without those that only make safe
}

func (p *play) add(e diagnosis.Event) {
	e.Number = int64(len(p.events) + 1)
	p.events = append(p.events, e)
}

// mostSteps ends a conversation that would go round in circles.
const mostSteps = 60

// search plays until a true cause is mended or the owner gives up.
func (p *play) search() error {
	for range mostSteps {
		c := diagnosis.Fold(p.events)
		g, err := p.j.engine.Guide(c)
		if err != nil {
			return err
		}
		if len(g.Next) > 0 && p.free(g) {
			p.ask(g.Next...)
			continue
		}
		if p.repairs == 0 {
			request := c.Request()
			p.j.note(p.out, &request, g.Assessment, p.minutes)
		}
		if p.j.brief {
			p.finish(c, g.Assessment)
			return nil
		}
		if len(g.Next) > 0 && p.checks < MostChecks*(p.repairs+1) {
			i := slices.IndexFunc(g.Assessment.NextChecks,
				func(k diagnosis.AdvisedCheck) bool { return k.ObservationID == g.Next[0] })
			if i >= 0 {
				p.minutes += g.Assessment.NextChecks[i].Minutes
			}
			p.checks++
			if p.repairs == 0 {
				p.out.Asked = append(p.out.Asked, g.Next[0])
			}
			p.ask(g.Next[0])
			continue
		}
		if p.repairs == 0 {
			p.finish(c, g.Assessment)
		}
		if done := p.mend(g); done {
			return nil
		}
	}
	return nil
}

// free reports whether a question is none of the checks: the card, what the panel shows, what a danger may come to
// light by.
func (p *play) free(g *diagnosis.Guidance) bool {
	id := g.Next[0]
	if o, ok := p.j.model.Observation(id); ok && o.SafetyCard {
		return true
	}
	return g.Warns || slices.Contains([]string{"fault_code", "complaint", "co_alarm_fitted"}, id)
}

func (p *play) ask(ids ...string) {
	var told []diagnosis.Observation
	for _, id := range ids {
		told = append(told, p.t.answer(id))
	}
	p.add(diagnosis.Event{Kind: diagnosis.Answered, Observations: told})
}

// finish notes what stands before the first repair.
func (p *play) finish(c diagnosis.Conversation, a *diagnosis.Assessment) {
	p.out.Last = probabilities(a, p.out.Truth)
	p.out.Told = c.Request().Observations
	p.out.Taking = p.j.taking(c.Request(), p.out)
	p.out.Unasked, p.out.Unlooked = untold(p.t, p.out.Told, a)
}

// mend makes the first repair of the plan. One that mends no true cause leaves the heater as it was.
func (p *play) mend(g *diagnosis.Guidance) (done bool) {
	if p.repairs++; len(g.Assessment.Plan.Steps) == 0 || p.repairs > MostRepairs {
		return true
	}
	step := g.Assessment.Plan.Steps[0]
	p.minutes, p.euros = p.minutes+step.Minutes, p.euros+step.Euros
	right := p.j.mends(step, p.out.Truth)
	if p.repairs == 1 {
		p.out.Repair = right
	}
	if right || step.Danger == "" {
		p.chosen++
	}
	if right {
		p.out.Repairs, p.out.Chosen, p.out.Checks = p.repairs, p.chosen, p.checks
		p.out.Spent, p.out.Euros = p.minutes, p.euros
		return true
	}
	p.add(diagnosis.Event{Kind: diagnosis.Mended, RepairID: step.RepairID})
	p.add(diagnosis.Event{Kind: diagnosis.Started})
	return false
}

func (j *Judge) mends(step diagnosis.PlanStep, truth []string) bool {
	i := slices.IndexFunc(j.model.Repairs, func(r knowledge.Repair) bool { return r.ID == step.RepairID })
	return i >= 0 && slices.ContainsFunc(j.model.Repairs[i].Mends,
		func(id string) bool { return slices.Contains(truth, id) })
}

// note keeps what stands after a check.
func (j *Judge) note(out *Result, request *diagnosis.Request, a *diagnosis.Assessment, minutes float64) {
	ranked := make([]string, len(a.Causes))
	for i, c := range a.Causes {
		ranked[i] = c.ID
	}
	out.Places = append(out.Places, best(ranked, out.Truth))
	each := map[string]int{}
	for _, id := range out.Truth {
		others := slices.DeleteFunc(slices.Clone(ranked),
			func(x string) bool { return x != id && slices.Contains(out.Truth, x) })
		each[id] = slices.Index(others, id) + 1
	}
	out.Each = append(out.Each, each)
	for i, rival := range j.advisers {
		out.Rivals[i] = append(out.Rivals[i], best(rival.rank(request.Observations), out.Truth))
	}
	out.Leaders = append(out.Leaders, ranked[0])
	out.Leading = append(out.Leading, Probability{a.Causes[0].Probability, slices.Contains(out.Truth, ranked[0])})
	out.Minutes = append(out.Minutes, minutes)
	if len(out.Places) == 1 {
		out.First = probabilities(a, out.Truth)
	}
	out.Missed = append(out.Missed, missed(request.Observations, a)...)
	for _, check := range a.NextChecks {
		out.Wrong = append(out.Wrong, j.forbidden(check, a)...)
	}
}

func probabilities(a *diagnosis.Assessment, truth []string) []Probability {
	out := make([]Probability, len(a.Causes))
	for i, c := range a.Causes {
		out[i] = Probability{c.Probability, slices.Contains(truth, c.ID)}
	}
	return out
}

func best(ranked, truth []string) int {
	return slices.IndexFunc(ranked, func(id string) bool { return slices.Contains(truth, id) }) + 1
}

func (j *Judge) forbidden(check diagnosis.AdvisedCheck, a *diagnosis.Assessment) (out []string) {
	o, ok := j.model.Observation(check.ObservationID)
	if !ok {
		return nil
	}
	for _, d := range a.Dangers {
		i := slices.IndexFunc(j.model.Dangers, func(x knowledge.Danger) bool { return x.ID == d.ID })
		if i >= 0 && j.model.Dangers[i].Forbids.Overlaps(o.Gates) {
			out = append(out, fmt.Sprintf("%s advised against %s", o.ID, d.ID))
		}
	}
	return out
}

// trigger is a finding that the catalogue's section on dangers names, and what must be said of it. Look tells that it
// is found by looking for it only; a nose, an ear or the card tells the others.
type trigger struct {
	id, state, danger string
	look              bool
	with, is          string // another finding that must be told beside it, if any
}

var triggers = []trigger{
	{"smell_exhaust_inside", "yes", "exhaust_inside", false, "", ""},
	{"co_alarm", "sounding", "exhaust_inside", false, "", ""}, {"people_unwell", "yes", "exhaust_inside", false, "", ""},
	{"flames_or_smoke_inside", "yes", "fire_inside", false, "", ""},
	{"smell_burning", "yes", "burning_smell", false, "", ""}, {"smell_fuel", "yes", "loose_fuel", false, "", ""},
	{"complaint", "wont_stop", "will_not_stop", false, "", ""},
	{"runs_on", "flame", "runaway_burn", false, "complaint", "wont_stop"},
	{"exhaust_fire", "yes", "runaway_burn", false, "", ""},
	{"smell_gas", "yes", "gas_inside", false, "", ""}, {"bang_on_lighting", "yes", "flooded_burner", false, "", ""},
	{"failed_starts", "three_or_more", "flooded_burner", false, "", ""},
	{"co_alarm_fitted", "no", "no_tested_alarm", false, "", ""},
	{"co_alarm", "silent_untested", "no_tested_alarm", false, "", ""},
	{"primed", "well_beyond", "flooded_burner", false, "complaint", "wont_start"},
	{"smoke", "white_thick", "flooded_burner", false, "complaint", "wont_start"},
	{"intake_from", "living_space", "intake_inside", true, "", ""},
	{"intake_from", "locker", "intake_inside", true, "", ""},
	{"drips_at_rest", "yes", "siphoning_tank", true, "", ""}, {"petrol_suspected", "yes", "wrong_fuel", true, "", ""},
	{"fuel_in_exhaust", "yes", "flooded_burner", true, "", ""},
	{"wet_joint", "yes", "loose_fuel", true, "", ""}, {"exhaust_path", "snow_or_ice", "exhaust_obstructed", true, "", ""},
}

// missed lists the dangers whose trigger was told and which do not stand.
func missed(told []diagnosis.Observation, a *diagnosis.Assessment) (out []string) {
	for _, t := range triggers {
		if !says(told, t.id, t.state) || t.with != "" && !says(told, t.with, t.is) {
			continue
		}
		if !t.stands(a) && !t.lifted(told) {
			out = append(out, t.danger+" on "+t.id)
		}
	}
	return out
}

func says(told []diagnosis.Observation, id, state string) bool {
	return slices.ContainsFunc(told, func(o diagnosis.Observation) bool { return o.ID == id && o.State == state })
}

func (t trigger) stands(a *diagnosis.Assessment) bool {
	return slices.ContainsFunc(a.Dangers, func(d diagnosis.Danger) bool { return d.ID == t.danger || t.covered(d.ID) })
}

// covered reports whether a danger that sends everybody out says all that a lesser one would.
func (t trigger) covered(standing string) bool {
	return t.danger == "no_tested_alarm" && standing == "exhaust_inside"
}

// lifted reports whether more was told, by which a danger is none: a fan that cools is no flame, and where the
// exhaust's end is dry, no fuel has come with a line that is empty or with a code that is shown before any fuel comes.
func (t trigger) lifted(told []diagnosis.Observation) bool {
	has := func(id string, states ...string) bool {
		return slices.ContainsFunc(told, func(o diagnosis.Observation) bool {
			return o.ID == id && (len(states) == 0 || slices.Contains(states, o.State))
		})
	}
	switch t.id {
	case "complaint":
		return has("runs_on") || has("stops_when_off")
	case "failed_starts", "primed":
		early := has("fault_code", "E-01", "E-02", "E-03", "E-04", "E-07", "E-09", "blank_display")
		empty := has("line_at_rest", "empty") || has("bubbles", "empty_line") || has("fuel_at_burner", "none")
		return has("fuel_in_exhaust", "no") && (empty || early && t.id == "failed_starts")
	}
	return false
}

// untold lists dangers that do not stand, though their trigger is there, and was neither told nor asked for: what the
// owner perceived or could recall, and what only a look would have found.
func untold(t *teller, told []diagnosis.Observation, a *diagnosis.Assessment) (unasked, unlooked []string) {
	for _, tr := range triggers {
		if tr.stands(a) || tr.lifted(told) {
			continue
		}
		if slices.ContainsFunc(told, func(o diagnosis.Observation) bool { return o.ID == tr.id }) {
			continue
		}
		if t.answer(tr.id).State != tr.state || tr.with != "" && t.answer(tr.with).State != tr.is {
			continue
		}
		if what := tr.danger + " by " + tr.id; tr.look {
			unlooked = append(unlooked, what)
		} else {
			unasked = append(unasked, what)
		}
	}
	return unasked, unlooked
}
