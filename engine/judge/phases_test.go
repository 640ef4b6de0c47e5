package judge_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/simulation"
)

// The clock that an owner watches a start by says within which window each phase should come. Every simulated heater
// without a fault keeps to it, whatever the weather.
func TestPhasesOfAStart(t *testing.T) {
	phases := loaded(t).StartPhases
	require.Len(t, phases, 5)
	r := rand.New(rand.NewPCG(7, 1))
	for seed := range uint64(60) {
		h, err := simulation.NewIn(simulation.Draw(r), seed)
		require.NoError(t, err)
		start := h.Run(simulation.Attempt{Seconds: 1500})
		require.Equal(t, "none", start.Code)
		came := map[string]float64{"fan": start.Turns, "glow": start.Glows, "tick": start.Ticks, "flame": start.Lit,
			"steady": start.Ready}
		require.Len(t, came, len(phases))
		for _, p := range phases {
			assert.True(t, came[p.ID] >= p.From && came[p.ID] <= p.Until, "%s came after %g s, at %g °C", p.ID, came[p.ID],
				h.Installation().Ambient)
		}
	}
}
