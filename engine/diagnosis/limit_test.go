package diagnosis

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
)

// A cause that is dangerous by itself forbids starts by the chance that it is active, however little of today's failure
// comes of it: fuel that stands in a burner burns whatever else kept it from lighting (common practice, no source).
func TestLimitsGoByWhatIsActive(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	require.NotEmpty(t, m.Limits)
	v, err := New(m).Evidence(Request{Observations: []Observation{{ID: "fault_code", State: "E-07"}}})
	require.NoError(t, err)
	s, err := v.subject()
	require.NoError(t, err)
	require.False(t, s.gates.forbidsStart())
	for _, l := range m.Limits {
		i := s.index(l.Cause)
		active, part := s.posterior[i], s.part[i]
		require.Less(t, part, active, "beside a lost link %s has no part in it", l.Cause)
		s.posterior[i], s.part[i] = l.Above+0.01, 0
		g := s.gate()
		require.True(t, g.forbidsStart(), l.Cause)
		s.posterior[i], s.part[i] = l.Above-0.01, 1
		g = s.gate()
		require.False(t, g.forbidsStart(), "%s: what is shown never counts", l.Cause)
		s.posterior[i], s.part[i] = active, part
	}
}
