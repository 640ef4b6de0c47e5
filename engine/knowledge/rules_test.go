package knowledge

import (
	"regexp"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestGatesOverlapOnlyInTheSame(t *testing.T) {
	for i, name := range gateNames {
		one := Gates{}.With(name)
		require.Equal(t, []string{name}, one.Names())
		for k, other := range gateNames {
			assert.Equal(t, i == k, one.Overlaps(Gates{}.With(other)), "%s and %s", name, other)
		}
		both := one.With("touches_hot").With("needs_start")
		assert.True(t, both.Overlaps(one))
		assert.False(t, one.Overlaps(Gates{}), "nothing is involved in nothing")
	}
	assert.Equal(t, Gates{}, Gates{}.With("no such gate"))
	assert.Empty(t, Gates{}.Names())
}

// A lift takes away the triggers that name what it is of, or all of them; a danger allows what it names and what mends
// it.
func TestLiftsAndPermits(t *testing.T) {
	wet := Trigger{[]Trip{{ID: "puddle", States: []string{"yes"}}, {ID: "hum", States: []string{"rough"}}}}
	assert.True(t, Lift{}.Lifts(wet))
	assert.True(t, Lift{Of: []string{"mains", "hum"}}.Lifts(wet))
	assert.False(t, Lift{Of: []string{"mains"}}.Lifts(wet))
	d := Danger{Allows: []string{"renew_hose"}, MendedBy: []Mend{{Repair: "renew_motor", Of: []string{"hum"}}}}
	assert.True(t, d.Permits("renew_hose"))
	assert.True(t, d.Permits("renew_motor"))
	assert.False(t, d.Permits("explain_pump"))
}

func TestDangersAreReadWhole(t *testing.T) {
	files := good(t)
	replace(t, files, seen, "    any: [{puddle_at_plug: \"yes\"}]\n",
		`    any: [{puddle_at_plug: "yes"}, {motor_current: {below: 1, above: 0.5}}]
    lifted_by: [{hum: [even, rough], of: [puddle_at_plug]}, {colour_of_hose: {not: green}}]
    mended_by: [renew_motor, {repair: renew_hose, of: puddle_at_plug}]
    allows: [wait_for_rain]
`)
	m, err := Load(files, nil)
	require.NoError(t, err)
	d := m.Dangers[0]
	assert.Equal(t, 3, d.Severity)
	assert.InDelta(t, 1, *d.Any[1].All[0].Below, 0)
	assert.InDelta(t, 0.5, *d.Any[1].All[0].Above, 0)
	assert.Equal(t, []Lift{{All: []Trip{{ID: "hum", States: []string{"even", "rough"}}}, Of: []string{"puddle_at_plug"}},
		{All: []Trip{{ID: "colour_of_hose", States: []string{"green"}, Not: true}}}}, d.LiftedBy)
	assert.Equal(t, []Mend{{Repair: "renew_motor"}, {"renew_hose", []string{"puddle_at_plug"}}}, d.MendedBy)
	assert.True(t, d.Permits("wait_for_rain"))
	assert.True(t, d.Forbids.NeedsStart)
}

func TestARepairThatADangerAsksForMustNotNeedWhatItForbids(t *testing.T) {
	files := good(t)
	replace(t, files, seen, "    any: [{puddle_at_plug: \"yes\"}]\n",
		"    any: [{puddle_at_plug: \"yes\"}]\n    mended_by: [renew_motor]\n")
	replace(t, files, mends, "  behind: [renew_hose]\n", "  behind: [renew_hose]\n  gates: [needs_start]\n")
	requireProblems(t, files, []wanted{{seen, "id: wet_plug",
		"danger wet_plug: renew_motor needs a start, which it forbids"}})
}

// How one cause brings about another is a shortest way along what the files link.
func TestPaths(t *testing.T) {
	m := pump(t)
	between, ok := m.Path("well_dry", "motor_worn")
	require.True(t, ok)
	assert.Empty(t, between, "a dry well wears the motor itself")
	between, ok = m.Path("hose_split", "water_at_tap")
	require.True(t, ok)
	assert.Equal(t, []string{"flow"}, between)
	between, ok = m.Path("motor_worn", "motor_current")
	require.True(t, ok)
	assert.Empty(t, between, "what a reading reads hangs on the motor")
	for _, none := range [][2]string{{"motor_worn", "well_dry"}, {"water_at_tap", "flow"},
		{"well_dry", "colour_of_hose"}} {
		_, ok = m.Path(none[0], none[1])
		assert.False(t, ok, none)
	}
	assert.Equal(t, []int{2}, m.SecondaryCauses(), "the motor alone")
}

const endings = `
endings:
  - {kind: replace, minutes: 90, euros: 300, groups: [water], mends: [motor_worn], basis: invented for the tests}
  - {kind: licensed, minutes: 60, euros: 120, everything: true, basis: invented for the tests}
watch: [hum, water_at_tap]
`

// An ending mends the causes of its groups, those it names, or whatever it is.
func TestEndings(t *testing.T) {
	files := good(t)
	files["endings.yaml"] = &fstest.MapFile{Data: []byte(endings)}
	m, err := Load(files, nil)
	require.NoError(t, err)
	require.Len(t, m.Endings, 2)
	var replaced, licensed []string
	for _, c := range m.Causes {
		if m.Endings[0].Ends(c) {
			replaced = append(replaced, c.ID)
		}
		if m.Endings[1].Ends(c) {
			licensed = append(licensed, c.ID)
		}
	}
	assert.Equal(t, []string{"well_dry", "hose_split", "motor_worn"}, replaced)
	assert.Len(t, licensed, 4)
	assert.Equal(t, []string{"hum", "water_at_tap"}, m.Watch)
	assert.InDelta(t, 300, m.Endings[0].Euros, 0)
}

func TestBadEndings(t *testing.T) {
	for name, tt := range map[string]struct{ old, new, at, message string }{
		"unknown kind":  {"kind: replace", "kind: scrap", "scrap", "kind must be replace or licensed"},
		"negative":      {"euros: 300", "euros: -3", "kind: replace", "cannot be negative"},
		"twice":         {"kind: licensed", "kind: replace", "kind: replace, minutes: 60", "ending replace is defined twice"},
		"unknown cause": {"mends: [motor_worn]", "mends: [motor_torn]", "kind: replace", "motor_torn is no cause"},
		"unknown watch": {"watch: [hum", "watch: [ham", "ham", "ham"},
	} {
		t.Run(name, func(t *testing.T) {
			files := good(t)
			files["endings.yaml"] = &fstest.MapFile{Data: []byte(endings)}
			replace(t, files, "endings.yaml", tt.old, tt.new)
			requireProblems(t, files, []wanted{{"endings.yaml", tt.at, tt.message}})
		})
	}
}

const alarms = `
grammar:
  negate: ["no", never]
  negate_last: [not]
  spent: ["won't hum"]
  fillers: [any]
  doubt: [perhaps]
  lists: [and]
  breaks: [but]
alarms:
  - {id: puddle_at_plug, state: "yes", "no": "no", words: [[wet, "under water"], ["(mains )?plug"]], within: 5, doubt: [rain], ask: Is the plug wet?}
  - {id: hum, choices: [even, rough], asks: true, words: [[hums]], ask: How does it hum?}
`

// Alarms are found by expressions that mean the same to the service and to the page.
func TestAlarms(t *testing.T) {
	files := good(t)
	files["text/en/alarms.yaml"] = &fstest.MapFile{Data: []byte(alarms)}
	m, err := Load(files, nil)
	require.NoError(t, err)
	texts := m.Text("en")
	require.Len(t, texts.Alarms, 2)
	wet := texts.Alarms[0]
	assert.Equal(t, []any{"puddle_at_plug", "yes", "no", 5, false}, []any{wet.ID, wet.State, wet.No, wet.Within, wet.Asks})
	assert.Equal(t, defaultWithin, texts.Alarms[1].Within)
	assert.Equal(t, []string{"even", "rough"}, texts.Alarms[1].Choices)
	for text, want := range map[string]string{"the plug is wet ": "wet ", "it is under water ": "under water ",
		"it is dry ": ""} {
		assert.Equal(t, want, regexp.MustCompile(AnyOf(wet.Groups[0])).FindString(text), text)
	}
	assert.Equal(t, "mains plug ", regexp.MustCompile(AnyOf(wet.Groups[1])).FindString("my mains plug hums "))
	assert.Equal(t, "plug ", regexp.MustCompile(AnyOf(wet.Groups[1])).FindString("my plug hums "))
	g := texts.AlarmGrammar
	assert.Equal(t, []int{2, 1, 1, 1, 1, 1, 1}, []int{len(g.Negate), len(g.NegateLast), len(g.Spent), len(g.Fillers),
		len(g.Doubt), len(g.Lists), len(g.Breaks)})
	assert.Equal(t, "wont hum ", g.Spent[0].Expression(), "an apostrophe is folded away")
}

func TestBadAlarms(t *testing.T) {
	file := "text/en/alarms.yaml"
	for name, tt := range map[string]struct{ old, new, at, message string }{
		"nothing to ask": {", ask: Is the plug wet?", "", "id: puddle_at_plug", "say under ask what to ask"},
		"no words": {`words: [[wet, "under water"], ["(mains )?plug"]], `, "", "id: puddle_at_plug",
			"say under words what is said"},
		"within nothing": {"within: 5", "within: 0", "id: puddle_at_plug", "within how many words"},
		"an empty group": {`[wet, "under water"]`, "[]", "id: puddle_at_plug", "a group of words is empty"},
		"state and choices": {`state: "yes"`, `state: "yes", choices: ["no"]`, "id: puddle_at_plug",
			"either a state or choices"},
		"neither":              {"choices: [even, rough], ", "", "id: hum", "either a state or choices"},
		"unknown state":        {`"no": "no"`, `"no": dry`, "id: puddle_at_plug", `puddle_at_plug has no state "dry"`},
		"unknown choice":       {"[even, rough]", "[even, loud]", "id: hum", `hum has no state "loud"`},
		"choices without asks": {"asks: true, ", "", "id: hum", "with choices it can only be asked about"},
	} {
		t.Run(name, func(t *testing.T) {
			files := good(t)
			files[file] = &fstest.MapFile{Data: []byte(alarms)}
			replace(t, files, file, tt.old, tt.new)
			requireProblems(t, files, []wanted{{file, tt.at, tt.message}})
		})
	}
}

// Each language warns of the same.
func TestAlarmsOfEveryLanguage(t *testing.T) {
	files := good(t)
	for p, f := range good(t) {
		if len(p) > 8 && p[:8] == "text/en/" {
			files["text/de/"+p[8:]] = f
		}
	}
	files["text/en/alarms.yaml"] = &fstest.MapFile{Data: []byte(alarms)}
	files["text/de/alarms.yaml"] = &fstest.MapFile{Data: []byte(alarms)}
	replace(t, files, "text/de/alarms.yaml",
		"  - {id: hum, choices: [even, rough], asks: true, words: [[hums]], ask: How does it hum?}\n", "")
	requireProblems(t, files, []wanted{{"text/en/alarms.yaml", "id: hum", "the language de has no words that warn of it"}})
}

// What words say of gates: the sentence that does, unless it says that there is none of it.
func TestWordsSayGates(t *testing.T) {
	texts := &Texts{
		GateWords: map[string]GateWords{"needs_start": {Words: []*regexp.Regexp{regexp.MustCompile("(?i)start")},
			Not: []*regexp.Regexp{regexp.MustCompile("(?i)without a start")}}},
		Observations: map[string]ObservationText{"hum": {Question: "How does it hum?", How: "Wait. Start the pump! Listen."}},
		Repairs: map[string]RepairText{"renew_motor": {Title: "Renew the motor",
			Cautions: []Caution{{Before, "Do it without a start."}}}},
	}
	assert.Equal(t, map[string]string{"needs_start": "Start the pump"}, texts.GatesOf("hum"))
	assert.Empty(t, texts.GatesOf("renew_motor"))
	assert.Empty(t, texts.GatesOf("nothing_known"))
}
