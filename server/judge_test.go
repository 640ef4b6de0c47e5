package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
)

func TestJudge(t *testing.T) {
	picture := filepath.Join(t.TempDir(), "judge.svg")
	var out, errs bytes.Buffer
	c := command{out: &out, err: &errs, model: heater.Model}
	require.Equal(t, exitDone, c.run(t.Context(),
		[]string{"judge", "-cases", "3", "-seed", "1", "-pilots", "20", "-lessons", "20", "-picture", picture, "-misses"}),
		errs.String())
	assert.Contains(t, out.String(), "simulated heaters judged")
	drawn, err := os.ReadFile(picture)
	require.NoError(t, err)
	assert.Contains(t, string(drawn), "</svg>")
}

func TestJudgeCompares(t *testing.T) {
	var out, errs bytes.Buffer
	c := command{out: &out, err: &errs, model: heater.Model}
	require.Equal(t, exitDone, c.run(t.Context(), []string{"judge", "-compare", "-cases", "10", "-seed", "1"}),
		errs.String())
	assert.Contains(t, out.String(), "simulated/model")
	assert.Contains(t, out.String(), "burner_coked, complaint")
}

func TestJudgeRefuses(t *testing.T) {
	for _, args := range [][]string{{"judge", "-cases", "0"}, {"judge", "-cases", "x"}, {"judge", "now"},
		{"judge", "-lessons", "-1"}} {
		var errs bytes.Buffer
		c := command{out: &errs, err: &errs, model: heater.Model}
		assert.Equal(t, exitUse, c.run(t.Context(), args), args)
		assert.Contains(t, errs.String(), "judge takes")
	}
}
