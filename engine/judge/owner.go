package judge

import (
	"math/rand/v2"
	"slices"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/simulation"
)

// Owner is who asks: the name of a kind and the tools at hand.
type Owner struct {
	Name  string
	Tools []string
}

// owners are the three kinds, met equally often (judgement, no source).
func owners(m *knowledge.Model) []Owner {
	return []Owner{{"few", nil}, {"some", []string{"multimeter", "hand_tools"}}, {"workshop", m.Tools}}
}

// teller answers for a heater.
type teller struct {
	m *knowledge.Model
	h *simulation.Heater
	r *rand.Rand
}

// answer is what the owner tells of an observation or setup fact.
func (t *teller) answer(id string) diagnosis.Observation {
	a := simulation.Answer{Unknown: true}
	low, high := 0.0, 0.0
	if o, ok := t.m.Observation(id); ok {
		a, low, high = t.h.Observe(id), o.Min, o.Max
	} else if s, ok := t.m.SetupFact(id); ok {
		a, low, high = t.h.Setup(id), s.Min, s.Max
	}
	switch {
	case a.Unknown:
		return diagnosis.Observation{ID: id, Kind: diagnosis.UnknownValue}
	case a.IsNumber:
		return diagnosis.Observation{ID: id, Kind: diagnosis.NumberValue, Number: max(low, min(high, a.Number))}
	}
	return diagnosis.Observation{ID: id, State: a.State}
}

// volunteered are facts that owners tell unasked: how often whatever they are, and how often if they are as named.
// Judgement, no source.
var volunteered = []struct {
	id, only string
	rate     float64
}{
	{"installation", "", 0.8}, {"nominal_voltage", "", 0.5}, {"ambient_temperature", "", 0.4},
	{"battery_chemistry", "", 0.2},
	{"just_installed", "yes", 0.8}, {"recent_work", "yes", 0.6}, {"controller_changed", "yes", 0.7},
	{"ran_dry", "yes", 0.7},
	{"runs_while_driving", "yes", 0.3}, {"stood_over_summer", "yes", 0.5}, {"remote_fitted", "yes", 0.3},
	{"bang_on_lighting", "yes", 0.9}, {"smoke", "white_thick", 0.8}, {"smoke", "black", 0.8}, {"smoke", "steam", 0.3},
	{"failed_starts", "three_or_more", 0.7}, {"failed_starts", "one_or_two", 0.4}, {"primed", "well_beyond", 0.5},
	{"fails_when", "", 0.5},
	{"petrol_suspected", "yes", 0.6}, {"fan_noise", "scraping", 0.6}, {"fan_noise", "whine", 0.5}, {"altitude", "", 0.1},
}

// behind is what an owner who complains of something tells of it, nearly always (judgement, no source).
var behind = map[string]string{"smoke_or_smell": "smoke", "noise": "fan_noise"}

const telling = 0.85

// opening is what the owner tells unasked, with the answers to the card of dangers that everybody is shown.
func (t *teller) opening() []diagnosis.Observation {
	var told []diagnosis.Observation
	add := func(o diagnosis.Observation) {
		if o.Kind != diagnosis.UnknownValue && !slices.ContainsFunc(told,
			func(x diagnosis.Observation) bool { return x.ID == o.ID }) {
			told = append(told, o)
		}
	}
	for _, o := range t.m.Observations {
		if o.SafetyCard {
			add(t.answer(o.ID))
		}
	}
	for _, id := range []string{"co_alarm_fitted", "fault_code", "complaint"} {
		add(t.answer(id))
	}
	if id := behind[t.answer("complaint").State]; id != "" && t.r.Float64() < telling {
		add(t.answer(id))
	}
	for _, v := range volunteered {
		o := t.answer(v.id)
		x := t.r.Float64()
		if x < v.rate && (v.only == "" || o.State == v.only) && o.State != "keeps_running" {
			add(o)
		}
	}
	return told
}

// Caller is a simulated owner to talk to: the tools at hand, and an answer to every question.
type Caller struct {
	Tools []string
	Truth []string // what is truly wrong
	t     teller
}

// NewCaller draws one from a stream of seeds that no judgement uses; the causes have the chances that the model states.
func NewCaller(m *knowledge.Model, seed, number uint64) *Caller {
	l := plainLottery(m)
	r := rand.New(rand.NewPCG(seed<<20|number, 98))
	all := owners(m)
	for n := number << 8; ; n++ {
		if c := l.draw(seed, shown, n); c != nil {
			return &Caller{all[r.IntN(len(all))].Tools, c.Truth, teller{m, c.Heater, r}}
		}
	}
}

// Answer is the caller's answer to a question, "can't tell" included.
func (c *Caller) Answer(id string) diagnosis.Observation { return c.t.answer(id) }

// Runs reports whether the heater is well once repairs were made: one that mends a cause mends it wholly.
func (c *Caller) Runs(repairs []string) bool { return len(c.Found(repairs)) == len(c.Truth) }

// Found lists the true causes that repairs mend.
func (c *Caller) Found(repairs []string) (causes []string) {
	for _, id := range c.Truth {
		if slices.ContainsFunc(c.t.m.Repairs, func(r knowledge.Repair) bool {
			return slices.Contains(repairs, r.ID) &&
				slices.Contains(r.Mends, id)
		}) {
			causes = append(causes, id)
		}
	}
	return causes
}
