package heater_test

import (
	"io/fs"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

func load(t *testing.T) *knowledge.Model {
	t.Helper()
	m, err := heater.Model()
	require.NoError(t, err)
	return m
}

func stated(id, state string) knowledge.Finding { return knowledge.Finding{ID: id, State: state} }

// posteriors enters the findings and gives each cause's posterior.
func posteriors(t *testing.T, in *knowledge.Inquiry, findings ...knowledge.Finding) []float64 {
	t.Helper()
	in.Enter(findings)
	got, err := in.Causes(nil)
	require.NoError(t, err)
	return got
}

func observationIDs(m *knowledge.Model) []string {
	var ids []string
	for _, o := range m.Observations {
		ids = append(ids, o.ID)
	}
	return ids
}

func TestComplaintAloneGivesTheStatedFigures(t *testing.T) {
	m := load(t)
	require.Less(t, m.FitError(), 1e-3)
	got := posteriors(t, m.NewInquiry())
	for i, c := range m.Causes {
		require.InDelta(t, c.PerThousand/1000, got[i], 0.0005, c.ID)
	}
}

func TestIdentifiersAreTheCatalogues(t *testing.T) {
	m := load(t)
	for _, id := range causeIDs {
		c, ok := m.Cause(id)
		require.True(t, ok, id)
		require.Equal(t, id == "no_fault", c.Computed, id)
	}
	for id, want := range setupStates {
		s, ok := m.SetupFact(id)
		require.True(t, ok, id)
		var got []string
		for _, st := range s.States {
			got = append(got, st.ID)
		}
		require.ElementsMatch(t, want, got, id)
		require.Empty(t, s.Unit, id)
		require.Equal(t, id == "nominal_voltage", s.Variable, "%s: only the nominal voltage is a variable of the network", id)
	}
	for id, want := range setupUnits {
		s, ok := m.SetupFact(id)
		require.True(t, ok, id)
		require.Equal(t, want, s.Unit, id)
	}
	require.Len(t, m.Setup, len(setupStates)+len(setupUnits)+1, "and code_table")
	for id, want := range observationStates {
		o, ok := m.Observation(id)
		require.True(t, ok, id)
		require.ElementsMatch(t, want, o.States, id)
	}
	for id, want := range observationUnits {
		o, ok := m.Observation(id)
		require.True(t, ok, id)
		require.Equal(t, want, o.Unit, id)
		require.Empty(t, o.States, id)
	}
	require.Equal(t, []string{"multimeter", "clamp_meter", "test_lamp", "hand_tools", "measuring_jar", "spare_battery",
		"spare_fuel_can", "spare_panel", "spare_board"}, m.Tools)
}

// What model check bounds: entries read for all posteriors, some 3 ms of them.
func TestPosteriorsAreQuick(t *testing.T) {
	m := load(t)
	require.LessOrEqual(t, m.Tree().Stats().Touched, int64(1<<22), "%v", m.Tree().LargestCliqueNames())
}

// safetyOnly tell nothing of any cause: they keep people safe, or say what has been done since.
var safetyOnly = []string{"smell_gas", "start_signs", "fumes_now", "exhaust_proved", "gas_seen_to", "fire_out",
	"burner_seen_to", "burning_found",
	"fuel_smell_now", "petrol_drained", "siphon_ended", "burner_dried"}

func TestEveryObservationTellsSomething(t *testing.T) {
	m := load(t)
	in := m.NewInquiry()
	in.Enter(nil)
	ids := observationIDs(m)
	bits, err := in.Information(ids, func(int) bool { return true })
	require.NoError(t, err)
	for j, id := range ids {
		most := 0.0
		for i := range m.Causes {
			most = max(most, bits[i][j])
		}
		require.Equal(t, slices.Contains(safetyOnly, id), most < 1e-5, "%s tells %g bits of a cause", id, most)
	}
}

func measured(id string, x float64) knowledge.Finding {
	return knowledge.Finding{ID: id, Number: x, IsNumber: true}
}

func TestCodeTables(t *testing.T) {
	m := load(t)
	want := map[string]string{}
	for _, s := range observationStates["fault_code"] {
		want[strings.ToLower(s)] = s
	}
	tables := map[string]map[string]string{}
	for _, table := range m.CodeTables {
		tables[table.ID] = table.Codes
	}
	require.Equal(t, want, tables["common"])
	require.GreaterOrEqual(t, len(tables), 3, "nothing may hang on one table")

	fact, ok := m.SetupFact("code_table")
	require.True(t, ok)
	require.Len(t, fact.States, len(tables))
	in := m.NewInquiry()
	base := posteriors(t, in)
	for _, s := range fact.States {
		require.Contains(t, tables, s.ID)
		reached := map[string]bool{}
		for code, state := range tables[s.ID] {
			reached[state] = true
			for _, id := range []string{"fault_code", "earlier_code"} {
				f := stated(id, code)
				_, problem := m.Check(f, s.ID)
				require.Empty(t, problem)
				plain := posteriors(t, in, stated(id, state))
				require.Equal(t, plain, posteriors(t, in, f, stated("code_table", s.ID)), "%s %s", s.ID, code)
				require.NotEqual(t, base, plain)
			}
		}
		for _, state := range observationStates["fault_code"][1:11] {
			require.True(t, reached[state], "%s has no code for %s", s.ID, state)
		}
	}
}

// gates of what the catalogue says about how each check is made and which work is dangerous. What is named here
// involves exactly this.
const (
	nothing = 0
	start   = 1 << iota
	power
	fuel
	burner
	hot
)

func gatesOf(g knowledge.Gates) int {
	out := nothing
	for gate, involved := range map[int]bool{start: g.NeedsStart, power: g.NeedsPower, fuel: g.OpensFuel,
		burner: g.OpensBurner, hot: g.TouchesHot} {
		if involved {
			out |= gate
		}
	}
	return out
}

var observationGates = map[string]int{
	"fuel_at_burner": fuel | power, "fuel_per_100_strokes": fuel | power, "fuel_look": fuel,
	"temporary_can": fuel | start | power, "drips_at_rest": fuel,
	"glow_plug_look": burner | hot, "screen_look": burner | hot, "burner_look": burner | hot,
	"glow_voltage_battery": start, "glow_voltage_heater": start, "panel_voltage_glow": start, "drop_positive": start,
	"drop_negative": start,
	"start_current": start, "joint_warm": start, "lights_dim_on_start": start, "known_good_battery": start,
	"pump_ticks":  start,
	"pump_pulses": start | power, "cap_loosened": start, "exhaust_warms": start, "flame_sound": start,
	"outlet_flow": start, "outlet_heat": start,
	"fan_runs": start, "works_from_panel": start, "controller_swap": start, "board_swap": start,
	"fan_by_hand": nothing, "fan_look": nothing, "fan_magnets": hot, "rest_voltage": nothing, "fuse": nothing,
	"glow_plug_resistance": hot,
	"pump_coil_resistance": nothing, "sensor_resistance": nothing, "sensor_seated": hot, "wet_joint": nothing,
	"line_kink":      nothing,
	"exhaust_joints": hot, "exhaust_path": nothing, "intake_path": nothing, "fuel_in_exhaust": nothing,
	"connectors":     nothing,
	"pump_connector": nothing, "controller_match": nothing, "bubbles": start, "line_at_rest": nothing,
	"tank_level": nothing,
}

// repairGates: repairs may involve more than this, never less.
var repairGates = map[string]int{
	"renew_plug_and_screen": burner, "dry_burner": burner, "reassemble_burner": burner, "decoke_burner": burner,
	"renew_burner": burner,
	"renew_blower": burner, "end_siphoning": burner | fuel,
	"fill_tank": fuel, "prime_line": fuel, "renew_fuel_line": fuel, "remake_fuel_joints": fuel, "mend_leaking_line": fuel,
	"deepen_pickup":     fuel,
	"renew_fuel_filter": fuel, "change_to_winter_fuel": fuel, "drain_and_refuel": fuel, "fit_own_pickup": fuel,
	"move_pump": fuel,
	"free_pump": fuel, "renew_pump": fuel, "fit_right_pump": fuel, "turn_pump": fuel, "renew_heater": fuel | hot,
	"clear_exhaust": hot, "renew_exhaust_pipe": hot, "remake_exhaust_joints": hot, "slope_exhaust": hot,
	"move_pipe_ends": hot, "close_ways_in": hot,
	"free_hot_parts": hot, "mend_glow_wiring": hot, "clear_fan": hot, "reseat_fan": hot, "renew_board": hot,
	"renew_overheat_sensor": hot,
	"reset_lockout":         start,
}

func TestChecksAndRepairsCarryTheirGates(t *testing.T) {
	m := load(t)
	for id, want := range observationGates {
		o, ok := m.Observation(id)
		require.True(t, ok, id)
		require.Equal(t, want, gatesOf(o.Gates), id)
	}
	repairs := map[string]int{}
	for _, r := range m.Repairs {
		repairs[r.ID] = gatesOf(r.Gates)
	}
	for id, want := range repairGates {
		got, ok := repairs[id]
		require.True(t, ok, id)
		require.Equal(t, want, got&want, id)
	}
}

func TestOpenedBurnerGetsNewGasketAndAlarm(t *testing.T) {
	m := load(t)
	needed := map[string][]*regexp.Regexp{
		"en": {regexp.MustCompile(`(?i)new (burner )?gasket`), regexp.MustCompile(`(?i)tested carbon monoxide alarm`)},
		"de": {regexp.MustCompile(`(?i)neue (brenner)?dichtung`), regexp.MustCompile(`(?i)getesteter kohlenmonoxidmelder`)},
	}
	opened := 0
	for _, r := range m.Repairs {
		if !r.Gates.OpensBurner {
			continue
		}
		opened++
		for _, locale := range m.Locales() {
			cautions := strings.Join(knowledge.Cautions(m.Text(locale).Repairs[r.ID].Cautions), "\n")
			require.NotEmpty(t, needed[locale], locale)
			for _, words := range needed[locale] {
				require.Regexp(t, words, cautions, "%s: %s", locale, r.ID)
			}
		}
	}
	require.GreaterOrEqual(t, opened, 7)
}

// Words for acts that kill or burn stand in no sentence that does not forbid them first.
func TestNoForbiddenActIsAdvised(t *testing.T) {
	act := map[string]*regexp.Regexp{}
	forbids := map[string]*regexp.Regexp{}
	act["en"] = regexp.MustCompile(`(?i)start(ing)? (spray|fluid)|\bether\b|\bbridg(e|ed|ing)\b|blow-?lamp|(bigger|larger) fuse|powers? the plug|\breuse\b|without (its |the )?(casing|fan cover)`)
	forbids["en"] = regexp.MustCompile(`(?i)\b(never|not|don't|no)\b`)
	act["de"] = regexp.MustCompile(`(?i)startspray|starthilfespray|äther|überbrück|lötlampe|größere (sicherung|einsetzen)|unter strom setzen|wiederverwenden|freibrennen|wegzubrennen|ohne (ihr |sein )?(gehäuse|gebläseabdeckung)|mit dem mund`)
	forbids["de"] = regexp.MustCompile(`(?i)\b(nie|niemals|nicht|keine?n?)\b`)
	sentence := regexp.MustCompile(`[.!?;:"]+(\s|$)`)
	acts := map[string]int{}
	require.NoError(t, fs.WalkDir(heater.Files(), "text", func(p string, d fs.DirEntry, err error) error {
		notAdvice := []string{"lexicon.yaml", "grammar.yaml", "gates.yaml"} // words to be found, not to be followed
		if err != nil || path.Ext(p) != ".yaml" || slices.Contains(notAdvice, path.Base(p)) {
			return err
		}
		locale := path.Base(path.Dir(p))
		require.NotNil(t, act[locale], "say here which acts %s forbids", locale)
		text, err := fs.ReadFile(heater.Files(), p)
		for n, line := range strings.Split(string(text), "\n") {
			for _, s := range sentence.Split(line, -1) {
				for _, at := range act[locale].FindAllStringIndex(s, -1) {
					acts[locale]++
					if !forbids[locale].MatchString(s[:at[0]]) {
						t.Errorf("%s:%d: %s", p, n+1, s)
					}
				}
			}
		}
		return err
	}))
	for locale := range act {
		require.Greater(t, acts[locale], 20, "%s: the texts name what must never be done", locale)
	}
}

// A tool that a check asks for, and a repair's first checks, are things that the model knows; the loader sees to that.
// What it cannot see: a check for which another is told first must not hang on itself.
func TestConditionsDoNotGoRound(t *testing.T) {
	m := load(t)
	var reaches func(id, goal string, depth int) bool
	reaches = func(id, goal string, depth int) bool {
		o, ok := m.Observation(id)
		return ok && depth < 9 && slices.ContainsFunc(o.OnlyIf, func(c knowledge.Condition) bool {
			return !c.Unless && (c.ID == goal || reaches(c.ID, goal, depth+1))
		})
	}
	for _, o := range m.Observations {
		require.False(t, reaches(o.ID, o.ID, 0), o.ID)
	}
}

// The readings whose group is largest: a sweep over each meter's range gives probabilities, and the sum of what is told
// never makes a cause certain.
func TestNoReadingMakesACauseCertain(t *testing.T) {
	m := load(t)
	in := m.NewInquiry()
	for id := range observationUnits {
		o, _ := m.Observation(id)
		for k := range 9 {
			x := o.Min + (o.Max-o.Min)*math.Pow(float64(k)/8, 3)
			for i, p := range posteriors(t, in, knowledge.Finding{ID: id, Number: x, IsNumber: true}) {
				require.True(t, p > 0 && p < 0.9999, "%s at %g: %s %v", id, x, m.Causes[i].ID, p)
			}
		}
	}
}

// Figures that owners are told; common practice, no source.
func TestTextsGiveTheUsualFigures(t *testing.T) {
	text := load(t).Text("en")
	require.Contains(t, text.Observations["start_current"].Normal, "9 to 13 A in all")
	require.Contains(t, text.Observations["start_current"].Normal, "half")
	require.Contains(t, text.Observations["cable_area"].Normal, "6 mm²")
	require.Contains(t, strings.Join(text.Repairs["fit_thicker_cable"].Parts, " "), "6 mm²")
	require.Regexp(t, `(?i)at least (three|3)`,
		text.Observations["inlet_clearance"].Normal+text.Observations["inlet_clearance"].How)
	require.Regexp(t, `45`, text.Observations["pump_angle"].Normal+text.Observations["pump_angle"].How+text.Observations["pump_angle"].Why)
}

// Every caution says when it is to be minded, and each of the four phases is used: a sentence that only stands in a
// list would be shown before the work, wherever it belongs.
func TestCautionsHavePhases(t *testing.T) {
	for _, locale := range []string{"en", "de"} {
		for _, file := range []string{"observations", "repairs"} {
			text, err := fs.ReadFile(heater.Files(), "text/"+locale+"/"+file+".yaml")
			require.NoError(t, err)
			require.NotRegexp(t, `(?m)^  cautions:\n    - |^  cautions: \["`, string(text), "%s/%s: a caution without a phase",
				locale, file)
		}
	}
	m := load(t)
	for _, r := range m.Repairs {
		var en, de [4]int
		for _, c := range m.Text("en").Repairs[r.ID].Cautions {
			en[c.When]++
		}
		for _, c := range m.Text("de").Repairs[r.ID].Cautions {
			de[c.When]++
		}
		require.Equal(t, en, de, "%s: the same phases in both languages", r.ID)
	}
}
