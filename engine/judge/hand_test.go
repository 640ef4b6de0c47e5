package judge

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
	"lightoff/engine/simulation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var heaterModel = sync.OnceValues(heater.Model)

func theModel(t *testing.T) *knowledge.Model {
	t.Helper()
	m, err := heaterModel()
	require.NoError(t, err)
	return m
}

func told(pairs ...string) (out []diagnosis.Observation) {
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, diagnosis.Observation{ID: pairs[i], State: pairs[i+1]})
	}
	return out
}

// tennis is the table of fourteen days by which Mitchell teaches naive Bayes (Machine Learning, 1997, table 3.2; from
// memory): outlook, temperature, humidity, wind, and whether tennis was played.
const tennis = `sunny hot high weak stay
sunny hot high strong stay
overcast hot high weak play
rain mild high weak play
rain cool normal weak play
rain cool normal strong stay
overcast cool normal strong play
sunny mild high weak stay
sunny cool normal weak play
rain mild normal weak play
sunny mild normal strong play
overcast mild high strong play
overcast hot normal weak play
rain mild high strong stay`

func learntTennis() *naive {
	v := &naive{causes: []string{"play", "stay"}, all: map[string]map[string]float64{}, had: make([]float64, 2),
		with: []map[string]map[string]float64{{}, {}}}
	for _, day := range strings.Split(tennis, "\n") {
		f := strings.Fields(day)
		k := slices.Index(v.causes, f[4])
		v.n++
		v.had[k]++
		for i, id := range []string{"outlook", "temperature", "humidity", "wind"} {
			count(v.all, id, f[i])
			count(v.with[k], id, f[i])
		}
	}
	return v
}

// Mitchell, section 6.9.1: sunny, cool, humid and windy, 0.0053 for playing against 0.0206 for not. The other two by
// hand from the same table: overcast, hot, normal and calm is 9/14·4/9·2/9·6/9·6/9 = 0.028 against nothing; and
// nothing said leaves the nine days of fourteen.
func TestNaiveBayesOnAPublishedExample(t *testing.T) {
	v := learntTennis()
	for _, tt := range []struct {
		told []diagnosis.Observation
		want string
	}{
		{told("outlook", "sunny", "temperature", "cool", "humidity", "high", "wind", "strong"), "stay"},
		{told("outlook", "overcast", "temperature", "hot", "humidity", "normal", "wind", "weak"), "play"},
		{nil, "play"},
		{told("humidity", "high", "wind", "strong"), "stay"},
		{[]diagnosis.Observation{{ID: "outlook", Kind: diagnosis.UnknownValue}}, "play"},
		{told("never heard of", "so"), "play"},
	} {
		assert.Equal(t, tt.want, v.rank(tt.told)[0], "%v", tt.told)
	}
}

// Numbers are told apart by the tenths that they fall between.
func TestNaiveBayesBinsNumbers(t *testing.T) {
	v := &naive{edges: map[string][]float64{"volts": {10, 11, 12}}}
	at := func(x float64) string {
		return v.value(diagnosis.Observation{ID: "volts", Kind: diagnosis.NumberValue, Number: x})
	}
	assert.Equal(t, []string{"0", "0", "1", "2", "3"}, []string{at(3), at(10), at(10.5), at(12), at(12.01)})
	assert.Equal(t, "so", v.value(diagnosis.Observation{ID: "volts", State: "so"}))
}

// What is counted over heaters: each once, each true cause once, and of each observation as many as were told.
func TestLearningCounts(t *testing.T) {
	m := theModel(t)
	var cases []*Case
	truths := 0.0
	for i, fault := range []string{"pump_unplugged", "pump_unplugged", "fuel_valve_closed", "fan_magnet_fault"} {
		c := live(uint64(i)+1, []string{fault})
		require.NotNil(t, c)
		cases = append(cases, c)
		truths += float64(len(c.Truth))
	}
	v := learn(m, cases, inTurn)
	assert.Equal(t, 4.0, v.n)
	had := 0.0
	for _, n := range v.had {
		had += n
	}
	assert.Equal(t, truths, had)
	k := slices.Index(v.causes, "pump_unplugged")
	assert.Equal(t, 2.0, v.with[k]["fault_code"]["E-04"])
	assert.Equal(t, 2.0, v.with[k]["fault_code"][""])
	assert.Equal(t, 4.0, v.all["fault_code"][""])
	assert.True(t, slices.IsSorted(v.edges["start_current"]))
	order := v.rank(told("fault_code", "E-04", "pump_connector", "loose"))
	assert.Equal(t, "pump_unplugged", order[0])
	assert.Len(t, order, len(m.Causes))
}

// A judge's naive Bayes has learnt from every lesson that was a case, and its lottery has been fitted.
func TestNewLearnsAndFits(t *testing.T) {
	m := theModel(t)
	j := New(m, 3, Effort{Rounds: 1, Pilots: 10, Lessons: 8})
	require.Len(t, j.advisers, len(Advisers))
	assert.Greater(t, j.advisers[1].(*naive).n, 4.0)
	assert.LessOrEqual(t, j.advisers[1].(*naive).n, 8.0)
	plain := plainLottery(m)
	assert.NotEqual(t, plain.chance, j.lottery.chance)
	assert.Equal(t, plain.causes, j.lottery.causes)
}

// The chart names what stands beside the code, in its order, and then everything by how common it is.
func TestChart(t *testing.T) {
	m := theModel(t)
	common := newPopular(m)
	for i := range common[1:] {
		a, _ := m.Cause(common[i])
		b, _ := m.Cause(common[i+1])
		require.GreaterOrEqual(t, a.PerThousand, b.PerThousand)
	}
	order := chart{common}.rank(told("complaint", "wont_start", "fault_code", "E-02"))
	assert.Equal(t, []string{"supply_overvoltage", "voltage_setting_wrong"}, order[:2])
	assert.Equal(t, common[0], order[2])
	assert.Len(t, order, len(common), "nobody is named twice")
	assert.Equal(t, []string(common), chart{common}.rank(nil))
}

// A fault that takes no part is no truth: behind an open supply nothing tells of a valve. Two that each would have done
// it are both true.
func TestOnlyWhatTakesPartIsTrue(t *testing.T) {
	c := live(3, []string{"supply_open", "fuel_valve_closed"})
	require.NotNil(t, c)
	assert.Equal(t, []string{"supply_open"}, c.Truth)
	c = live(3, []string{"fuel_valve_closed", "pump_reversed"})
	require.NotNil(t, c)
	assert.Subset(t, c.Truth, []string{"fuel_valve_closed", "pump_reversed"})
	assert.Nil(t, live(3, nil), "nobody complains of a sound heater")
	c = live(3, []string{"no_fault"})
	require.NotNil(t, c)
	assert.Equal(t, []string{"no_fault"}, c.Truth)
}

// Heaters are drawn with the chances given, no more than three faults at once, and nothing is wrong only if nothing
// else is.
func TestLotteryDraws(t *testing.T) {
	sure := lottery{causes: []string{"pump_unplugged", "fan_magnet_fault", "supply_open", "fuel_valve_closed",
		"controller_mismatch"}, chance: []float64{1, 1, 1, 1, 1}}
	for i := range uint64(6) {
		c := sure.draw(5, judged, i)
		require.NotNil(t, c)
		assert.LessOrEqual(t, len(c.Heater.Faults()), mostFaults)
		again := sure.draw(5, judged, i)
		assert.Equal(t, c.Heater.Seed(), again.Heater.Seed())
		assert.NotEqual(t, c.Heater.Seed(), sure.draw(5, learnt, i).Heater.Seed(), "no heater is both learnt from and judged")
		assert.NotEqual(t, c.Heater.Seed(), sure.draw(6, judged, i).Heater.Seed())
	}
	nothing := lottery{causes: []string{"no_fault", "pump_unplugged"}, chance: []float64{1, 1}}
	assert.Equal(t, []string{"no_fault"}, nothing.draw(5, judged, 1).Truth)
	split := lottery{causes: []string{"pump_unplugged", "fan_magnet_fault"}, chance: []float64{0.4, 0.1}}
	n := map[string]int{}
	const draws = 150
	for i := range uint64(draws) {
		for _, id := range split.draw(5, judged, i).Heater.Faults() {
			n[id]++
		}
	}
	// Given that there is any: 0.4/0.46 and 0.1/0.46.
	assert.InDelta(t, 0.4/0.46, float64(n["pump_unplugged"])/draws, 0.1)
	assert.InDelta(t, 0.1/0.46, float64(n["fan_magnet_fault"])/draws, 0.12)
}

// Fitting moves a chance towards the share that is wanted, by no more than two and a half times a round.
func TestFittingMovesShares(t *testing.T) {
	l := lottery{causes: []string{"pump_unplugged", "controller_mismatch", "fan_magnet_fault"},
		chance: []float64{0.2, 0.2, 0.2}}
	want := map[string]float64{"pump_unplugged": 0.1, "controller_mismatch": 0.8, "fan_magnet_fault": 0.35}
	before := slices.Clone(l.chance)
	l.fit(1, want, 1, 60, inTurn)
	assert.Less(t, l.chance[0], before[0])
	assert.Greater(t, l.chance[1], before[1])
	for i := range before {
		assert.True(t, l.chance[i] >= 0.4*before[i]-1e-12 && l.chance[i] <= 2.5*before[i]+1e-12)
	}
	l.fit(1, want, 4, 60, inTurn)
	assert.LessOrEqual(t, slices.Max(l.chance), 0.5)
	assert.Greater(t, l.chance[1], 2*l.chance[0])
}

// Causes that the simulation does not know are barred; the others have the model's shares.
func TestPlainLottery(t *testing.T) {
	m := theModel(t)
	l := plainLottery(m)
	for i, id := range l.causes {
		c, ok := m.Cause(id)
		require.True(t, ok)
		require.InDelta(t, c.PerThousand/1000, l.chance[i], 1e-12)
		require.True(t, simulation.Knows(id))
	}
	assert.Len(t, m.Causes, len(l.causes)+len(l.barred))
}

// How trees of triggers are told missed: only what was told, only where the danger does not stand and nothing lifts it.
func TestMissedDangers(t *testing.T) {
	standing := func(ids ...string) *diagnosis.Assessment {
		a := &diagnosis.Assessment{}
		for _, id := range ids {
			a.Dangers = append(a.Dangers, diagnosis.Danger{ID: id})
		}
		return a
	}
	for name, tt := range map[string]struct {
		told     []diagnosis.Observation
		standing []string
		want     []string
	}{
		"told and not said": {told("smell_fuel", "yes"), nil, []string{"loose_fuel on smell_fuel"}},
		"said":              {told("smell_fuel", "yes"), []string{"loose_fuel"}, nil},
		"another one is said": {told("smell_fuel", "yes"), []string{"burning_smell"},
			[]string{"loose_fuel on smell_fuel"}},
		"not told":            {told("smell_fuel", "no"), nil, nil},
		"leaving says it too": {told("co_alarm_fitted", "no"), []string{"exhaust_inside"}, nil},
		"but not of fuel": {told("smell_fuel", "yes"), []string{"exhaust_inside"},
			[]string{"loose_fuel on smell_fuel"}},
		"only with another": {told("primed", "well_beyond"), nil, nil},
		"with it": {told("primed", "well_beyond", "complaint", "wont_start"), nil,
			[]string{"flooded_burner on primed"}},
		"with it but not so":        {told("primed", "well_beyond", "complaint", "noise"), nil, nil},
		"a fan that cools":          {told("complaint", "wont_stop", "runs_on", "fan_longer"), nil, nil},
		"nobody knows what runs on": {told("complaint", "wont_stop"), nil, []string{"will_not_stop on complaint"}},
		"no fuel came: code": {told("failed_starts", "three_or_more", "fuel_in_exhaust", "no", "fault_code", "E-04"),
			nil, nil},
		"no fuel came: empty line": {told("failed_starts", "three_or_more", "fuel_in_exhaust", "no", "bubbles",
			"empty_line"), nil, nil},
		"fuel may have come": {told("failed_starts", "three_or_more", "fuel_in_exhaust", "no", "fault_code", "E-10"),
			nil, []string{"flooded_burner on failed_starts"}},
		"fuel is there": {told("failed_starts", "three_or_more", "fault_code", "E-04"), nil,
			[]string{"flooded_burner on failed_starts"}},
		"primed, and an early code": {told("primed", "well_beyond", "complaint", "wont_start", "fuel_in_exhaust", "no",
			"fault_code", "E-04"), nil, []string{"flooded_burner on primed"}},
	} {
		t.Run(name, func(t *testing.T) { assert.Equal(t, tt.want, missed(tt.told, standing(tt.standing...))) })
	}
}

// A check whose gates a standing danger forbids is wrong to advise.
func TestForbiddenChecks(t *testing.T) {
	m := theModel(t)
	j := &Judge{model: m}
	wrong, right := 0, 0
	for _, d := range m.Dangers {
		for _, o := range m.Observations {
			got := j.forbidden(diagnosis.AdvisedCheck{ObservationID: o.ID},
				&diagnosis.Assessment{Dangers: []diagnosis.Danger{{ID: d.ID}}})
			if d.Forbids.NeedsStart && o.Gates.NeedsStart || d.Forbids.OpensFuel && o.Gates.OpensFuel || d.Forbids.OpensBurner &&
				o.Gates.OpensBurner ||
				d.Forbids.NeedsPower && o.Gates.NeedsPower || d.Forbids.TouchesHot && o.Gates.TouchesHot {
				require.Len(t, got, 1)
				wrong++
			} else {
				require.Empty(t, got)
				right++
			}
		}
	}
	assert.Positive(t, wrong)
	assert.Positive(t, right)
	assert.Empty(t, j.forbidden(diagnosis.AdvisedCheck{ObservationID: "no_such"}, &diagnosis.Assessment{}))
}

// An owner's opening: every answer to the card, the code and the complaint, nothing twice and no "can't tell"; numbers
// within what the model takes.
func TestOpening(t *testing.T) {
	m := theModel(t)
	volunteeredOf := map[string]int{}
	for seed := range uint64(40) {
		h, err := simulation.New(seed, "soft_line_air")
		require.NoError(t, err)
		h.Live()
		tell := teller{m, h, rand.New(rand.NewPCG(seed, 1))}
		seen := map[string]bool{}
		for _, o := range tell.opening() {
			require.False(t, seen[o.ID], "%s is told twice", o.ID)
			require.NotEqual(t, diagnosis.UnknownValue, o.Kind, o.ID)
			seen[o.ID] = true
			volunteeredOf[o.ID]++
			require.Equal(t, tell.answer(o.ID), o, "told as it would be answered")
		}
		for _, o := range m.Observations {
			if o.SafetyCard && tell.answer(o.ID).Kind != diagnosis.UnknownValue {
				require.True(t, seen[o.ID], o.ID)
			}
		}
		require.True(t, seen["fault_code"])
		a := tell.answer("ambient_temperature")
		s, _ := m.SetupFact("ambient_temperature")
		require.True(t, a.Number >= s.Min && a.Number <= s.Max)
	}
	assert.InDelta(t, 0.8*40, volunteeredOf["installation"], 11)
	assert.Zero(t, volunteeredOf["line_length"], "nobody tells that unasked")
	tell := teller{m: m, h: must(simulation.New(1))}
	assert.Equal(t, diagnosis.UnknownValue, tell.answer("no_such_thing").Kind)
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// A caller's heater runs once every true cause is mended, and not before.
func TestCallerRunsOnceAllIsMended(t *testing.T) {
	m := theModel(t)
	c := NewCaller(m, 4, 2)
	require.NotEmpty(t, c.Truth)
	assert.Empty(t, c.Found(nil))
	assert.False(t, c.Runs(nil))
	var all []string
	for _, id := range c.Truth {
		i := slices.IndexFunc(m.Repairs, func(r knowledge.Repair) bool { return slices.Contains(r.Mends, id) })
		all = append(all, m.Repairs[i].ID)
	}
	assert.ElementsMatch(t, c.Truth, c.Found(all))
	assert.True(t, c.Runs(all))
	assert.Equal(t, c.Truth, NewCaller(m, 4, 2).Truth)
	assert.Equal(t, c.Answer("fault_code"), c.Answer("fault_code"))
}

// The disagreement of the model from what was seen is the Kullback–Leibler divergence, with one heater's worth of the
// model mixed into the shares seen so that none is zero.
func TestCompareIsADivergence(t *testing.T) {
	m := theModel(t)
	k := slices.IndexFunc(m.Causes, func(c knowledge.Cause) bool { return c.ID == "pump_unplugged" })
	var heaters []*simulation.Heater
	for seed := range uint64(12) {
		h, err := simulation.New(seed, "pump_unplugged")
		require.NoError(t, err)
		h.Live()
		heaters = append(heaters, h)
	}
	list, err := compare(m, m.NewInquiry(), k, "", heaters, 50)
	require.NoError(t, err)
	require.NotEmpty(t, list)
	for _, d := range list {
		bits, n := 0.0, float64(d.Of)
		for _, e := range d.States {
			if share := (n*e.Simulated + e.Model) / (n + 1); share > 0 && e.Model > 0 {
				bits += share * math.Log2(share/e.Model)
			}
		}
		require.InDelta(t, bits, d.Bits, 1e-9, d.Observation)
		require.InDelta(t, bits*50*n/12, d.Weight, 1e-9, d.Observation)
		require.GreaterOrEqual(t, d.Of, fewest)
	}
	at := slices.IndexFunc(list, func(d Disagreement) bool { return d.Observation == "fault_code" })
	require.GreaterOrEqual(t, at, 0)
	assert.Contains(t, list[at].String(), "pump_unplugged, fault_code (12 of 12 tell)")
	assert.Contains(t, list[at].String(), "E-04 1.00/")

	const few = fewest - 1
	list, err = compare(m, m.NewInquiry(), k, "", heaters[:few], 50)
	require.NoError(t, err)
	assert.Empty(t, list, "too few to compare")
}

func TestShownAs(t *testing.T) {
	m := theModel(t)
	h, err := simulation.New(1, "pump_unplugged")
	require.NoError(t, err)
	h.Live()
	assert.Equal(t, "E-04", shownAs(m, h, "fault_code"))
	assert.Empty(t, shownAs(m, h, "no_such_thing"))
	v := h.Observe("pump_coil_resistance")
	require.True(t, v.IsNumber)
	nominal := knowledge.Finding{ID: "nominal_voltage", State: h.Setup("nominal_voltage").State}
	assert.Equal(t, m.Band("pump_coil_resistance", v.Number, []knowledge.Finding{nominal}),
		shownAs(m, h, "pump_coil_resistance"))
}
