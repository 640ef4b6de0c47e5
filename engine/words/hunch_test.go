package words

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
)

// The weights that ship are small, whole, and of nothing that the model does not know.
func TestHunchesThatShip(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	assert.Less(t, len(m.Hunches), 1_000_000)
	h, err := readHunches(m.Hunches)
	require.NoError(t, err)
	require.NotEmpty(t, h.Labels)
	require.NotEmpty(t, h.Usual)
	r := New(m)
	for _, l := range h.Labels {
		if l.ID == DangerSaid {
			assert.NotEmpty(t, r.fears[l.State], "%s is no danger that forbids a start", l.State)
			continue
		}
		states, unit := r.states(l.ID)
		if l.State == NumberSaid && (unit != "" || l.ID == m.Roles.Code || l.ID == m.Roles.EarlierCode) {
			continue
		}
		if l.State != NumberSaid || len(states) == 0 { // a number may be told of what has bands of them
			assert.Contains(t, states, l.State, l.ID)
		}
	}
}

// Damaged weights are refused or lack something, and never bring the reader down.
func TestDamagedHunches(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	labels := []HunchLabel{{ID: "smoke", State: "black", Bias: -160}, {ID: "fuse", State: "blown", Bias: -150}}
	whole := WriteHunches(labels, []string{"whenever"}, Weights{7: {0: 12, 1: -3}, 4_000_000_000: {1: 127}})
	h, err := readHunches(whole)
	require.NoError(t, err)
	require.Equal(t, labels, h.Labels)
	require.Equal(t, []string{"whenever"}, h.Usual)
	sums := make([]int32, 2)
	h.weigh([]uint32{7, 4_000_000_000, 5}, sums)
	require.Equal(t, []int32{-148, -26}, sums)
	damaged := *m
	for n := 0; n < len(whole); n += 8 {
		damaged.Hunches = whole[:n]
		New(&damaged).Read("the fuse is blown and it smokes black", Context{Locale: "en"})
	}
	for n := 0; n < len(m.Hunches); n += 1 + len(m.Hunches)/60 {
		if h, err := readHunches(m.Hunches[:n]); err == nil {
			h.weigh([]uint32{1, 2, 3}, make([]int32, len(h.Labels)))
		}
	}
}

// Without weights the reader by rules reads alone.
func TestWithoutHunches(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	bare := *m
	bare.Hunches = nil
	out := New(&bare).Read("the fuse is blown", Context{Locale: "en"})
	require.Len(t, out.Readings, 1)
	assert.Equal(t, "blown", out.Readings[0].State)
}
