package heater_test

import (
	"testing"

	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

// told by a typical caller half way through.
var caller = []knowledge.Finding{stated("fault_code", "E-08"), stated("complaint", "wont_start"), stated("bubbles", "many"),
	stated("tank_level", "half"), stated("line_type", "soft"), measured("rest_voltage", 12.6)}

// Information about every cause from every observation, one finding changing each time, so that messages are re-sent.
func BenchmarkInformation(b *testing.B) {
	m, err := heater.Model()
	if err != nil {
		b.Fatal(err)
	}
	in := m.NewInquiry()
	ids := observationIDs(m)
	for i := 0; b.Loop(); i++ {
		in.Enter(caller[:len(caller)-i%2])
		if _, err := in.Information(ids, func(int) bool { return true }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(ids)*len(m.Causes)), "pairs")
}

// All causes' posteriors after one finding has changed.
func BenchmarkCauses(b *testing.B) {
	m, err := heater.Model()
	if err != nil {
		b.Fatal(err)
	}
	in := m.NewInquiry()
	var p []float64
	for i := 0; b.Loop(); i++ {
		in.Enter(caller[:len(caller)-i%2])
		if p, err = in.Causes(p); err != nil {
			b.Fatal(err)
		}
	}
}

// Reading, checking, fitting and compiling the model files.
func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		if _, err := knowledge.Load(heater.Files(), heater.Binding()); err != nil {
			b.Fatal(err)
		}
	}
}
