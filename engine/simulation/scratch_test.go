package simulation

import (
	"fmt"
	"testing"
)

func TestScratch(t *testing.T) {
	for seed := uint64(1); seed < 12; seed++ {
		h, err := New(seed)
		if err != nil {
			t.Fatal(err)
		}
		l0 := h.energy()
		rec := h.Run(Attempt{Seconds: 1200})
		l := h.ledger
		fmt.Printf("%d kW%v amb%.0f code %s %s lit %.0f ready %.0f glow %.0f after %.0f tries %d V %.1f A %.1f heat %.0f out %.0f shell %.0f plug %.0f wick %.0f film %.2g lam %.1f white %.2g eff %.2f closure %.4f\n", seed, h.in.Power, h.in.Ambient, rec.Code, rec.Phase, rec.Lit, rec.Ready, rec.Glow, rec.After, rec.Tries, rec.GlowVolts, rec.GlowAmps, rec.Heat, rec.Outlet, rec.MostShell, h.plug, h.wick, h.film*1e3, rec.LeastLambda, rec.White*1e3, l.Warm/l.Chemical, (l.Chemical+l.Electric-l.Warm-l.Exhaust-l.Case-(h.energy()-l0))/l.Chemical)
	}
}
func (h *Heater) energy() float64 {
	p := h.in.Power
	return h.b.plugHeat*h.plug + (wickHeat+h.film*heatOfFuel)*(h.wick-h.in.Ambient-kelvin) + chamberHeat*p*h.chamber + exchangerHeat*p*h.shell
}
func BenchmarkStart(b *testing.B) {
	for i := range b.N {
		h, _ := New(uint64(i))
		h.Run(Attempt{Seconds: 240})
	}
}
func BenchmarkNew(b *testing.B) {
	for i := range b.N {
		New(uint64(i))
	}
}
