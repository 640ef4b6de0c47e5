package diagnosis_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

// TestEvidenceNeverChanges: whoever made it may go on writing into the request, and it gives the same twice.
func TestEvidenceNeverChanges(t *testing.T) {
	e := engine(t)
	r := request("fault_code=E-08", "bubbles=many", "+multimeter")
	want, err := e.Assess(r)
	require.NoError(t, err)
	v, err := e.Evidence(r)
	require.NoError(t, err)
	r.Observations[1], r.Tools[0] = observation("smoke=black"), "wand"
	for range 2 {
		got, err := v.WithEngine(diagnosis.New(engineModel(t))).Assess()
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
}

// TestEvidenceIsRefusedAsARequestIs: what Check finds wrong, no evidence is made of.
func TestEvidenceIsRefusedAsARequestIs(t *testing.T) {
	r := request("smoke=purple", "gremlins=yes")
	v, err := engine(t).Evidence(r)
	assert.Nil(t, v)
	assert.Equal(t, engine(t).Check(r), err)
	var input *diagnosis.InputError
	require.ErrorAs(t, err, &input)
	assert.Equal(t, "observations[0].state", input.Violations[0].Field)
	assert.Equal(t, "observations[1].id", input.Violations[1].Field)
}

// Work that nobody wants any more ends at its next step, wherever it has got to; while it is wanted it is the same.
func TestWorkIsGivenUp(t *testing.T) {
	v, err := engine(t).Evidence(request("fault_code=E-08", "bubbles=many"))
	require.NoError(t, err)
	want, err := v.Assess()
	require.NoError(t, err)
	gone := errors.New("gone")
	for steps := 0; ; steps++ {
		left := steps
		got, err := v.WithCancel(func() error {
			if left--; left < 0 {
				return gone
			}
			return nil
		}).Assess()
		if err == nil {
			require.Equal(t, want, got)
			require.GreaterOrEqual(t, steps, 3, "it asks between several steps")
			return
		}
		require.ErrorIs(t, err, gone)
		require.Nil(t, got)
	}
}
