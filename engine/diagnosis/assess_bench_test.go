package diagnosis_test

import (
	"testing"

	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
)

func BenchmarkAssess(b *testing.B) {
	m, err := heater.Model()
	if err != nil {
		b.Fatal(err)
	}
	e := diagnosis.New(m)
	for name, told := range map[string][]string{
		"FewCauses":  {"fault_code=E-08", "complaint=wont_start", "bubbles=many", "tank_level=half", "primed=until_full", "line_type=soft", "failed_starts=one_or_two"},
		"ManyCauses": {"fault_code=E-01", "+multimeter", "+hand_tools", "+test_lamp"},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := e.Assess(request(told...)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
