package heater_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

// told by two callers in the order of a conversation; the facts of the installation come last, so that a prefix is of
// few.
var callers = [2][]knowledge.Finding{
	{stated("fault_code", "E-08"), stated("complaint", "wont_start"), stated("bubbles", "many"),
		stated("tank_level", "half"),
		stated("pump_ticks", "regular"), measured("rest_voltage", 12.6), stated("smoke", "none"),
		stated("flame_sound", "none"),
		stated("exhaust_warms", "no"), stated("outlet_heat", "cold"), stated("primed", "no"), stated("fuel_in_exhaust", "no"),
		stated("failed_starts", "three_or_more"), stated("fails_when", "no_flame"), stated("fan_runs", "yes"),
		stated("wet_joint", "no"),
		measured("glow_plug_resistance", 0.7), measured("glow_voltage_heater", 11.4), stated("pump_arrow", "right"),
		stated("fan_noise", "normal"),
		stated("exhaust_joints", "tight"), stated("exhaust_path", "clear"), stated("intake_path", "clear"),
		stated("fuse", "intact"),
		stated("display", "steady"), stated("line_kink", "no"), stated("fuel_valve", "open"), stated("fuel_look", "clear"),
		stated("line_type", "soft"), stated("installation", "van")},
	{stated("fault_code", "E-01"), stated("complaint", "wont_start"), stated("display", "restarts"),
		stated("fails_when", "during_glow"),
		measured("panel_voltage_glow", 9.2), measured("rest_voltage", 12.1), measured("glow_voltage_battery", 9.8),
		stated("pump_ticks", "none"),
		measured("drop_positive", 1.4), measured("drop_negative", 0.4), stated("fuse", "intact"),
		stated("failed_starts", "one_or_two"),
		stated("outlet_heat", "cold"), stated("exhaust_warms", "no"), stated("smoke", "none"), stated("flame_sound", "none"),
		stated("tank_level", "half"), stated("fan_runs", "no"), stated("joint_warm", "yes"), stated("connectors", "dry"),
		stated("lights_dim_on_start", "yes"), measured("start_current", 6), stated("primed", "no"),
		stated("fuel_in_exhaust", "no"),
		stated("wet_joint", "no"), stated("bubbles", "none"), stated("pump_arrow", "right"), stated("fan_by_hand", "free"),
		stated("installation", "boat"), stated("feed_point", "battery")},
}

// forms runs a benchmark over conversations of several lengths, of the two callers in turn.
func forms(b *testing.B, run func(b *testing.B, m *knowledge.Model, enter func(in *knowledge.Inquiry, i int))) {
	m, err := heater.Model()
	require.NoError(b, err)
	for _, n := range []int{1, 7, 17, 30} {
		b.Run(fmt.Sprintf("findings=%d", n), func(b *testing.B) {
			run(b, m, func(in *knowledge.Inquiry, i int) { in.Enter(callers[i%2][:n]) })
		})
	}
}

// BenchmarkInformation is the information about every cause in every observation not told, for another caller each
// time.
func BenchmarkInformation(b *testing.B) {
	forms(b, func(b *testing.B, m *knowledge.Model, enter func(*knowledge.Inquiry, int)) {
		in := m.NewInquiry()
		for i := 0; b.Loop(); i++ {
			enter(in, i)
			var ids []string
			for _, id := range observationIDs(m) {
				if !in.IsTold(id) {
					ids = append(ids, id)
				}
			}
			_, err := in.Information(ids, func(int) bool { return true })
			require.NoError(b, err)
		}
	})
}

// BenchmarkPosteriors is the posteriors of all causes and of all observations, for another caller each time; entries/op
// are what model check bounds.
func BenchmarkPosteriors(b *testing.B) {
	forms(b, func(b *testing.B, m *knowledge.Model, enter func(*knowledge.Inquiry, int)) {
		in := m.NewInquiry()
		ids := observationIDs(m)
		var p []float64
		for i := 0; b.Loop(); i++ {
			enter(in, i)
			var err error
			p, err = in.Causes(p)
			require.NoError(b, err)
			_, err = in.Entropies(ids)
			require.NoError(b, err)
		}
		b.ReportMetric(float64(m.Tree().Stats().Touched), "entries/op")
	})
}

// BenchmarkWarmQuery asks the network itself for all posteriors, one finding changing each time: the memory is there
// already.
func BenchmarkWarmQuery(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	q := m.Tree().NewQuery()
	v, ok := m.Network().Lookup("bubbles")
	require.True(b, ok)
	var dst [][]float64
	ask := func(state int) {
		q.Observe(v, state)
		if dst, err = q.Marginals(dst); err != nil {
			b.Fatal(err)
		}
	}
	ask(0) // takes the memory
	require.Zero(b, testing.AllocsPerRun(20, func() { ask(1); ask(0) }))
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		ask(i % 2)
	}
}

// BenchmarkLoad is reading, checking, fitting and compiling the model files.
func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		_, err := knowledge.Load(heater.Files(), heater.Binding())
		require.NoError(b, err)
	}
}
