package diagnosis_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
)

// Common practice, no source: what is asked next, and what is not, for what callers say.
func TestWhatIsAskedInWhichOrder(t *testing.T) {
	for _, tt := range []struct {
		name       string
		told       []string
		next       string   // "" for whatever
		never      []string // among what is offered
		behind     [2]string
		firstThing string // repair
		unplanned  []string
	}{
		{name: "an open coil at E-04: the plug, not a start",
			told: []string{"fault_code=E-04", "pump_coil_resistance=9000000", "+multimeter"},
			next: "pump_connector", never: []string{"pump_ticks"}, firstThing: "renew_pump"},
		{name: "a dead panel has no glowing plug and no flame",
			told: []string{"fault_code=blank_display", "complaint=dead", "+multimeter", "+clamp_meter"},
			never: []string{"glow_voltage_battery", "glow_voltage_heater", "panel_voltage_glow",
				"start_current", "flame_sound", "smoke", "pump_ticks"}},
		{name: "at a dead panel the heater's own plug is measured at rest",
			told: []string{"fault_code=blank_display", "complaint=dead", "+multimeter"},
			next: "heater_rest_voltage"},
		{name: "E-10: the exhaust before a start",
			told: []string{"fault_code=E-10", "just_installed=no"}, behind: [2]string{"fuel_in_exhaust", "bubbles"}},
		{name: "E-07: pins before any purchase",
			told: []string{"fault_code=E-07", "controller_changed=no"}, next: "connectors"},
		{name: "E-07, a good panel tried in vain",
			told: []string{"fault_code=E-07", "controller_changed=no", "controller_swap=not_cured"},
			next: "connectors", unplanned: []string{"renew_panel", "match_panel_and_board"}},
		{name: "a lost magnet",
			told: []string{"fan_magnets=missing_or_loose"}, firstThing: "renew_fan_magnets", unplanned: []string{"reseat_fan"}},
		{name: "a flat battery",
			told: []string{"fault_code=E-01", "rest_voltage=11.6"}, firstThing: "charge_battery"},
		{name: "a warm joint",
			told: []string{"fault_code=E-01", "joint_warm=yes"}, firstThing: "clean_electrical_joints"},
		{name: "a code shows",
			told: []string{"fault_code=E-08", "complaint=little_heat"}, unplanned: []string{"explain_normal_behaviour"}},
		{name: "a full tank", told: []string{"fault_code=E-08", "tank_level=full"}, unplanned: []string{"fill_tank"}},
		{name: "petrol",
			told:  []string{"fault_code=E-10", "petrol_suspected=yes", "fuel_look=clear", "tank_level=quarter"},
			never: []string{"bubbles", "fuel_at_burner", "fuel_per_100_strokes"}, firstThing: "drain_and_refuel"},
		{name: "a loose exhaust",
			told: []string{"exhaust_joints=loose", "complaint=little_heat"}, firstThing: "remake_exhaust_joints"},
		{name: "a siphon before the burner",
			told: []string{"tank_position=above_heater", "fuel_in_exhaust=yes"}, firstThing: "end_siphoning"},
		{name: "three failed starts with an empty line",
			told: []string{"fault_code=E-10", "failed_starts=three_or_more", "fuel_in_exhaust=no", "bubbles=empty_line",
				"just_installed=yes"}, firstThing: "prime_line"},
		{name: "summer fuel in deep frost",
			told:       []string{"fault_code=E-08", "fuel_kind=summer_diesel", "ambient_temperature=-25"},
			firstThing: "change_to_winter_fuel"},
		{name: "fuel in the exhaust",
			told: []string{"fault_code=E-10", "fuel_in_exhaust=yes"}, firstThing: "dry_burner"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a := assess(t, tt.told...)
			offered := checks(a)
			if tt.next != "" {
				assert.Equal(t, tt.next, a.Plan.NextCheck)
			}
			for _, id := range tt.never {
				_, known := engineModel(t).Observation(id)
				require.True(t, known, id)
				assert.NotContains(t, offered, id)
			}
			if tt.behind[0] != "" {
				first, second := slices.Index(offered, tt.behind[0]), slices.Index(offered, tt.behind[1])
				require.GreaterOrEqual(t, first, 0)
				assert.True(t, second < 0 || first < second, "%v", offered)
			}
			if tt.firstThing != "" {
				require.NotEmpty(t, a.Plan.Steps)
				assert.Equal(t, tt.firstThing, a.Plan.Steps[0].RepairID)
			}
			for _, id := range tt.unplanned {
				assert.Equal(t, id, repairOf(engineModel(t), id).ID)
				assert.NotContains(t, repairs(a), id)
			}
		})
	}
}

// toldAtRandom are up to six findings, half of them with a code.
func toldAtRandom(m *knowledge.Model, r *rand.Rand) (out diagnosis.Request) {
	out.Tools = m.Tools
	add := func(o *knowledge.Observation) {
		if len(o.States) == 0 || slices.ContainsFunc(out.Observations,
			func(x diagnosis.Observation) bool { return x.ID == o.ID }) {
			return
		}
		out.Observations = append(out.Observations, diagnosis.Observation{ID: o.ID, State: o.States[r.IntN(len(o.States))]})
	}
	if code, ok := m.Observation(m.Roles.Code); ok && r.IntN(2) == 0 {
		add(code)
	}
	for range 1 + r.IntN(5) {
		add(&m.Observations[r.IntN(len(m.Observations))])
	}
	return out
}

// Whatever is told: no start is asked for while something without one tells as much, nothing that cannot be, and
// nothing whose answer is plain already.
func TestNoCheckIsAskedOutOfOrder(t *testing.T) {
	m, e := engineModel(t), engine(t)
	r := rand.New(rand.NewPCG(20261128, 17))
	in := m.NewInquiry()
	starts, looked := 0, 0
	for range 60 {
		request := toldAtRandom(m, r)
		a, err := e.Assess(request)
		require.NoError(t, err)
		told := map[string]string{}
		var findings []knowledge.Finding
		for _, o := range request.Observations {
			told[o.ID] = o.State
			findings = append(findings, knowledge.Finding{ID: o.ID, State: o.State})
		}
		holds := func(list []knowledge.Condition) bool {
			return slices.ContainsFunc(list, func(c knowledge.Condition) bool { return slices.Contains(c.States, told[c.ID]) })
		}
		needs := func(id string) bool {
			o, ok := m.Observation(id)
			return ok && o.Gates.NeedsStart
		}
		in.Enter(findings)
		for i, c := range a.NextChecks {
			o, ok := m.Observation(c.ObservationID)
			if !ok {
				continue
			}
			looked++
			assert.False(t, holds(o.VoidIf), "%s after %v", o.ID, told)
			for _, x := range o.OnlyIf {
				assert.False(t, x.Unless && slices.Contains(x.States, told[x.ID]), "%s after %v", o.ID, told)
			}
			for _, state := range o.States {
				if i > 0 && o.ID != a.Plan.NextCheck {
					break
				}
				p, err := in.Probability(o.ID, state)
				require.NoError(t, err)
				assert.LessOrEqual(t, p, 0.99+1e-9, "%s is %s after %v", o.ID, state, told)
			}
			if !needs(o.ID) {
				continue
			}
			starts++
			for _, later := range a.NextChecks[i+1:] {
				assert.False(t, !needs(later.ObservationID) && later.GainBits >= c.GainBits && later.Minutes <= c.Minutes+10,
					"%s before %s after %v", o.ID, later.ObservationID, told)
			}
		}
		if next := a.Plan.NextCheck; next != "" && needs(next) {
			saving := a.NextChecks[slices.IndexFunc(a.NextChecks,
				func(c diagnosis.AdvisedCheck) bool { return c.ObservationID == next })].Saving
			for _, c := range a.NextChecks {
				assert.False(t, !needs(c.ObservationID) && c.Saving-c.Minutes >= saving, "%s before %s after %v", next,
					c.ObservationID, told)
			}
		}
	}
	require.Positive(t, starts)
	t.Logf("%d checks looked at, %d need a start", looked, starts)
}
