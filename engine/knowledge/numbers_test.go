package knowledge

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func goodModel(t *testing.T, learned string) (*Model, error) {
	t.Helper()
	var overlay []byte
	if learned != "" {
		overlay = []byte(learned)
	}
	return LoadWith(os.DirFS("testdata/good"), overlay, nil)
}

func posterior(t *testing.T, m *Model, findings ...Finding) []float64 {
	t.Helper()
	in := m.NewInquiry()
	in.Enter(findings)
	p, err := in.Causes(nil)
	require.NoError(t, err)
	return p
}

// Numbers put in while running and numbers read from the file that they are written to make the same model.
func TestOverlayIsTheSameModel(t *testing.T) {
	m, err := goodModel(t, "")
	require.NoError(t, err)
	same, err := m.WithNumbers(m.Numbers())
	require.NoError(t, err)
	tap := Finding{ID: "water_at_tap", State: m.Observations[0].States[1]}
	assert.Equal(t, posterior(t, m, tap), posterior(t, same, tap), "the present numbers change nothing")
	assert.Equal(t, "learnt_from: "+m.Version+"\nlearned:\n", string(m.Overlay(m.Numbers())))
	n := m.Numbers()
	for i, r := range n.Rows {
		r.P = append([]float64(nil), r.P...)
		for k := range r.P {
			r.P[k] = 0.9*r.P[k] + 0.1/float64(len(r.P)) // with much more, too little comes of nothing for 590 per 1,000
		}
		n.Rows[i] = r
	}
	n.Rates["hose_split"] = 170
	other, err := m.WithNumbers(n)
	require.NoError(t, err)
	assert.NotEqual(t, posterior(t, m, tap), posterior(t, other, tap))
	overlay := m.Overlay(n)
	read, err := LoadWith(os.DirFS("testdata/good"), overlay, nil)
	require.NoError(t, err)
	assert.InDeltaSlice(t, posterior(t, other, tap), posterior(t, read, tap), 1e-12)
	assert.InDelta(t, 0.170, posterior(t, read)[1], 1e-6, "the figure per 1,000 is that of a complaint alone")
	assert.NotEqual(t, m.Version, read.Version)
	assert.Equal(t, m.Version, read.LearntFrom)
	assert.Empty(t, m.LearntFrom)
	assert.Equal(t, m.Dangers, read.Dangers)
	assert.Equal(t, m.Limits, read.Limits)
}

func TestBadOverlays(t *testing.T) {
	for text, want := range map[string]string{
		"learned:\n  - {of: flow, from: well_dry, state: \"yes\", to: {full: 0.5, weak: 0.2}}":           "sum to 1",
		"learned:\n  - {of: flow, from: all_well, state: \"yes\", to: {full: 1}}":                        "does not bring about",
		"learned:\n  - {of: nothing, to: {full: 1}}":                                                     "nothing of that name",
		"learned:\n  - {cause: nothing, per_1000: 5}":                                                    "is no cause",
		"learned:\n  - {cause: hose_split, per_1000: 0}":                                                 "between 0 and 1000",
		"learned:\n  - {of: motor_worn, to: {\"no\": 1}}":                                                "per 1,000",
		"learnt_from: [x]\nlearned: []":                                                                  "expected a word",
		"dangers:\n  - {id: x}":                                                                          "unknown entry",
		"learned:\n  - {of: flow, from: well_dry, state: \"yes\", to: {full: 0.5, weak: 0.2, odd: 0.3}}": "must be over",
	} {
		_, err := goodModel(t, text)
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), want)
		assert.Contains(t, err.Error(), "learned.yaml:")
	}
}
