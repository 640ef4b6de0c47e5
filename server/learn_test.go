package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/knowledge"
)

// history is of a made-up workshop whose kettles scale up more than the model says.
func history(n int) string {
	var b strings.Builder
	b.WriteString("date,source,told,causes,by,sure\n")
	for i := range n {
		told, cause := "deposit=thick; lamp=on", "scaled_up"
		if i%4 == 0 {
			told, cause = "lamp=off", "socket_dead"
		}
		fmt.Fprintf(&b, "2026-%02d-%02d,Shop %d,%s,%s,workshop,\n", 1+i%12, 1+i%28, i%30, told, cause)
	}
	return b.String()
}

func TestLearnIsTheSameOnOneCoreAndOnMany(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "history.csv")
	require.NoError(t, os.WriteFile(file, []byte(history(1500)), 0o600))
	read := func(workers string) (numbers, report string) {
		out := filepath.Join(folder, workers)
		got := run(t, "", "learn", "-out", out, "-workers", workers, file)
		require.Equal(t, exitDone, got.code, got.err)
		assert.Contains(t, got.out, "taught")
		assert.Contains(t, got.err, "round 3 of 3: ")
		a, err := os.ReadFile(filepath.Join(out, numbersFile))
		require.NoError(t, err)
		b, err := os.ReadFile(filepath.Join(out, reportFile))
		require.NoError(t, err)
		return string(a), string(b)
	}
	numbers, report := read("1")
	again, same := read("7")
	assert.Equal(t, numbers, again)
	assert.Equal(t, report, same)
	assert.Contains(t, numbers, "learned:\n  - {")
	assert.Contains(t, report, "## Calibration")
	was, err := kettle()
	require.NoError(t, err)
	is, err := knowledge.LoadWith(os.DirFS("testdata/kettle"), []byte(numbers), nil)
	require.NoError(t, err)
	assert.Greater(t, is.Numbers().Rates["scaled_up"], was.Numbers().Rates["scaled_up"])
	assert.NotEqual(t, was.Version, is.Version)
	got := run(t, history(1500), "learn", "-out", filepath.Join(folder, "in"), "-")
	assert.Equal(t, exitDone, got.code, got.err)
}

func TestLearnRefuses(t *testing.T) {
	for _, tt := range []struct {
		in, want string
		code     int
		args     []string
	}{
		{"", "wants the histories", exitUse, nil},
		{"", "no such file", exitInput, []string{"nowhere.csv"}},
		{"date,source\n", `column "told"`, exitInput, []string{"-"}},
		{"date,source,told,causes,by,sure\n2026-01-01,a,lamp=pink,scaled_up,desk,\n", "-: line 2: told: lamp has no state",
			exitInput, []string{"-"}},
		{"date,source,told,causes,by,sure\n", "too few settled cases", exitInput, []string{"-"}},
		{"", "limit", exitInput, []string{"-limit", "2", "-"}},
		{"", "-workers", exitUse, []string{"-workers", "0", "-"}},
		{"", "learn -h", exitUse, []string{"-colour", "red"}},
	} {
		if strings.Contains(tt.want, "limit") {
			tt.in = history(10)
		}
		got := run(t, tt.in, append([]string{"learn", "-out", t.TempDir()}, tt.args...)...)
		assert.Equal(t, tt.code, got.code, tt.want)
		assert.Contains(t, got.err, tt.want)
	}
	assert.Contains(t, run(t, "", "learn", "-h").out, "date,source,told,causes,by,sure")
}
