package diagnosis_test

import (
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
		got, err := v.For(diagnosis.New(engineModel(t))).Assess()
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
