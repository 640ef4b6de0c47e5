package judge

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// played are four cases as a judge would have played them, and one that was never a case.
func played() []Result {
	right, wrong := Probability{0.9, true}, Probability{0.6, false}
	return []Result{
		{Number: 0, Owner: "few", Code: "E-10", Truth: []string{"battery_low"}, Places: []int{1, 1},
			Each:   []map[string]int{{"battery_low": 1}, {"battery_low": 1}},
			Rivals: [][]int{{1, 1}, {2, 1}, {9, 9}}, Leaders: []string{"battery_low", "battery_low"}, Minutes: []float64{0, 5},
			Repair: true, Repairs: 1, Checks: 1, Spent: 20, Euros: 10,
			Leading: []Probability{right, right}, First: []Probability{right}, Last: []Probability{right}},
		{Number: 1, Owner: "few", Code: "E-10", Truth: []string{"tank_low"}, Places: []int{4, 2, 1},
			Each:   []map[string]int{{"tank_low": 4}, {"tank_low": 2}, {"tank_low": 1}},
			Rivals: [][]int{{3, 3, 3}, {1, 1, 1}, {9, 9, 9}}, Leaders: []string{"battery_low", "battery_low", "tank_low"},
			Minutes: []float64{0, 3, 9}, Repair: false, Repairs: 3, Checks: 4, Spent: 60, Euros: 0,
			Leading: []Probability{wrong, wrong, right}, First: []Probability{wrong}, Last: []Probability{right},
			Missed:  []string{"loose_fuel on smell_fuel", "loose_fuel on smell_fuel"},
			Unasked: []string{"siphoning_tank by drips_at_rest"}},
		{Number: 2, Owner: "workshop", Code: "E-04", Truth: []string{"pump_stuck", "tank_low"}, Places: []int{1, 3},
			Each:   []map[string]int{{"pump_stuck": 1, "tank_low": 5}, {"pump_stuck": 3, "tank_low": 4}},
			Rivals: [][]int{{1, 1}, {1, 1}, {1, 1}}, Leaders: []string{"pump_stuck", "battery_low"}, Minutes: []float64{0, 8},
			Repair: false, Repairs: 0,
			Leading: []Probability{right, wrong}, First: []Probability{right}, Last: []Probability{wrong}, Silent: true,
			Wrong: []string{"refused"}},
		{Undrawn: true, Number: 3},
		{Number: 4, Wrong: []string{"refused"}}, // it came to nothing
	}
}

func summed(t *testing.T) *Report {
	t.Helper()
	j := &Judge{model: theModel(t), advisers: make([]adviser, len(Advisers))}
	return j.Sum(played())
}

// Everything counted by hand.
func TestSumByHand(t *testing.T) {
	r := summed(t)
	assert.Equal(t, 3, r.Cases)
	assert.Equal(t, 1, r.Undrawn)
	assert.Equal(t, map[string]int{"refused": 2}, r.Wrong)
	assert.Equal(t, Share{2, 3}, r.All.First)
	assert.Equal(t, Share{2, 3}, r.All.Third)
	assert.Equal(t, Share{2, 3}, r.All.FirstAfter)
	assert.Equal(t, Share{3, 3}, r.All.ThirdAfter)
	assert.Equal(t, Share{2, 3}, r.All.Led, "the third lost its lead")
	assert.Equal(t, Share{1, 3}, r.All.Mend)
	assert.Equal(t, []float64{0, 2}, r.All.checks, "led from the start, and from the second check on")
	assert.Equal(t, []float64{0, 9}, r.All.minutes)
	assert.Equal(t, []Share{{2, 3}, {3, 3}, {1, 3}}, r.All.Rivals)
	assert.Equal(t, []Share{{2, 3}, {2, 3}, {1, 3}}, r.RivalsFirst)
	assert.Equal(t, []Share{{2, 3}, {3, 3}, {1, 3}}, r.RivalsAfter)
	assert.Equal(t, map[int]int{1: 2, 2: 1}, r.Faults)
	assert.Equal(t, map[int]int{0: 1, 1: 1, 3: 1}, r.Repairs)
	assert.Equal(t, map[[2]string]int{{"pump_stuck", "battery_low"}: 1, {"tank_low", "battery_low"}: 1}, r.Confusions)
	assert.Equal(t, []int{1, 1, 1}, []int{r.MissedIn, r.UnaskedIn, r.SilentIn})
	assert.Equal(t, map[string]int{"loose_fuel on smell_fuel": 1}, r.Missed, "twice in one case is once")
	assert.Equal(t, []Probability{{0.9, true}, {0.9, true}, {0.6, false}}, r.Leading, "what led at the end")

	require.Len(t, r.Owners, 2)
	assert.Equal(t, []string{"few", "workshop"}, []string{r.Owners[0].Name, r.Owners[1].Name},
		"those with most cases first")
	require.Len(t, r.Causes, 3)
	assert.Equal(t, "tank_low", r.Causes[0].Name)
	assert.Equal(t, Share{1, 2}, r.Causes[0].FirstAfter, "its own place, the other true ones left out")
}

func TestReportSaysWhatWasCounted(t *testing.T) {
	r := summed(t)
	text := r.Text()
	for _, part := range []string{
		"3 simulated heaters judged, 1 drawn whose faults led to no complaint",
		"1 in 2; 2 in 1;",
		"1 or fewer in 33.3 %", "3 or fewer in 66.7 %", "none of 4 in 33.3 %",
		"Where it was found, median (mean): 4 (2.5) checks, 60 (40) minutes, 10 (5) euros",
		"Dangers missed, their trigger told: in 1 of 3 cases",
		"Exhaust inside that nobody could perceive: 1 cases",
		"2  refused",
		"Dangers to be found by looking, which nobody was asked to look for before the first repair:\n  none",
		"pump_stuck taken for battery_low",
		"behind naive Bayes at E-04",
		"  E-04\n    pump_stuck 1: battery_low 1\n    tank_low 1: battery_low 1\n",
		"  E-10\n    battery_low 1: battery_low 1\n    tank_low 1: tank_low 1\n",
	} {
		assert.Contains(t, text, part)
	}
	assert.NotContains(t, text, "Never drawn")
	assert.NotContains(t, text, "behind naive Bayes at E-10", "all right after the checks")
	assert.True(t, strings.HasPrefix(r.Dangers(), "3 simulated heaters, up to the first check.\nDangers missed"))
}

// By hand: 0.2 twice, once true, and 0.8 once, true: |0.2 − 0.5|·2/3 + |0.8 − 1|·1/3 = 0.2667. The ends lie in
// the outer bins.
func TestReliabilityByHand(t *testing.T) {
	bins, expected := Reliability([]Probability{{0.2, true}, {0.2, false}, {0.8, true}})
	assert.InDelta(t, 0.8/3, expected, 1e-12)
	assert.Equal(t, Share{1, 2}, bins[2].Share)
	assert.InDelta(t, 0.8, bins[8].Said, 1e-12)
	bins, expected = Reliability([]Probability{{0, false}, {1, true}})
	assert.Zero(t, expected)
	assert.Equal(t, []int{1, 1}, []int{bins[0].Of, bins[9].Of})
}

func TestShares(t *testing.T) {
	assert.Zero(t, Share{}.P())
	low, high := Share{}.Interval()
	assert.Equal(t, []float64{0, 1}, []float64{low, high}, "nothing seen says nothing")
	assert.Equal(t, "50.0 % (9.5 to 90.5)", Share{1, 2}.String()) // Wilson for 1 of 2: (0.5 ± 0.405) by his formula
	low, high = Share{3, 3}.Interval()
	assert.Equal(t, 1.0, high)
	assert.InDelta(t, 1/(1+1.959964*1.959964/3), low, 1e-9, "all of n: 1/(1+z²/n), by his formula")
	assert.Equal(t, 3.0, median([]float64{9, 3, 1}))
	assert.Equal(t, 2.0, mean([]float64{1, 3}))
}

// A bar is as long as the share, and its line as the interval.
func TestWhiskers(t *testing.T) {
	var b strings.Builder
	whisker(&b, 100, 20, 200, 10, Share{1, 2}, "red")
	assert.Equal(t, `<rect x="100.0" y="20.0" width="100.0" height="10.0" fill="red"/><line x1="118.9" y1="25.0" `+
		`x2="281.1" y2="25.0" stroke="black"/>`+"\n", b.String())
	b.Reset()
	text(&b, 1, 2, "a < b & c")
	assert.Equal(t, `<text x="1.0" y="2.0">a &lt; b &amp; c</text>`+"\n", b.String())
	svg := summed(t).SVG()
	assert.Contains(t, svg, "First place in 3 cases")
	assert.Contains(t, svg, "E-10 (2)")
	last := -1.0
	for _, name := range append([]string{"this engine"}, Advisers...) { // one below the other
		_, rest, found := strings.Cut(svg, `<text x="20.0" y="`)
		for found && !strings.HasPrefix(rest[strings.Index(rest, ">")+1:], name+"<") {
			_, rest, found = strings.Cut(rest, `<text x="20.0" y="`)
		}
		require.True(t, found, name)
		y, err := strconv.ParseFloat(rest[:strings.Index(rest, `"`)], 64)
		require.NoError(t, err)
		assert.Greater(t, y, last+20, name)
		last = y
	}
	assert.Contains(t, svg, "<title>2 cases</title>", "two that were said with 0.9")
}
