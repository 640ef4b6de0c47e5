package main

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

func broken() (*knowledge.Model, error) {
	return nil, &knowledge.Error{Problems: []knowledge.Problem{
		{File: "causes.yaml", Line: 3, Column: 5, Message: "what is wrong"},
		{File: "causes.yaml", Line: 9, Column: 1, Message: "what else"},
	}}
}

const pretty = `{
  "observations": [
    {"id": "lamp", "state": "off"},
    {"id": "age", "number": 7}
  ],
  "tools": ["multimeter"]
}
`

func TestAssess(t *testing.T) {
	got := run(t, pretty, "assess")
	require.Equal(t, exitDone, got.code, got.err)
	assert.Empty(t, got.err)
	require.Equal(t, 1, strings.Count(got.out, "\n"), "one line for one value")
	var answer lightoffv1.AssessResponse
	require.NoError(t, protojson.Unmarshal([]byte(got.out), &answer))
	assert.Len(t, answer.Causes, 4)
	assert.NotEmpty(t, answer.ModelVersion)
}

func TestAssessBatch(t *testing.T) {
	lamp, none := `{"observations":[{"id":"lamp","state":"off"}]}`, `{}`
	got := run(t, lamp+"\n"+none+"\n\n"+lamp+"\n"+pretty, "assess")
	require.Equal(t, exitDone, got.code, got.err)
	lines := strings.Split(strings.TrimSuffix(got.out, "\n"), "\n")
	require.Len(t, lines, 4)
	assert.Equal(t, lines[0], lines[2], "the same request gives the same bytes")
	assert.Equal(t, run(t, none, "assess").out, lines[1]+"\n", "neighbours do not matter")
}

func TestAssessRefuses(t *testing.T) {
	tests := []struct{ name, in, want string }{
		{"nothing", "  \n", "no request on standard input"},
		{"no JSON", "lamp: off", "request 1: not JSON"},
		{"cut off", `{"observations": [`, "request 1: not JSON"},
		{"unknown field", `{"observation": []}`, `observation`},
		{"wrong type", `{"observations": [{"id": "age", "number": "old"}]}`, "request 1: "},
		{"no object", `[]`, "request 1: "},
		{"unknown id", `{"observations": [{"id": "lampe", "state": "on"}]}`, "request 1: observations[0].id: "},
		{"impossible state", `{"observations": [{"id": "lamp", "state": "green"}]}`, "request 1: observations[0].state: "},
		{"impossible number", `{"observations": [{"id": "age", "number": "Infinity"}]}`,
			"request 1: observations[0].number: "},
		{"unknown is false", `{"observations": [{"id": "lamp", "unknown": false}]}`, "request 1: observations[0].unknown: "},
		{"no value", `{"observations": [{"id": "lamp"}]}`, "request 1: observations[0].value: "},
		{"unknown tool", `{"tools": ["wand"]}`, "request 1: tools[0]: "},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			assert.Contains(t, run(t, test.in, "assess").oneLineOf(t, exitInput), test.want)
		})
	}
	got := run(t, "{}\n"+`{"observations": [{"id": "", "state": "on"}, {"id": "lamp"}]}`+"\n{}", "assess")
	assert.Equal(t, exitInput, got.code)
	assert.Equal(t, 1, strings.Count(got.out, "\n"), "what came before stands, what comes after is not read")
	assert.Equal(t, "lightoff: request 2: observations[0].id: is empty\n"+
		"lightoff: request 2: observations[1].value: is not set: give a state, a number or unknown\n", got.err)

	assert.Contains(t, runWith(t.Context(), broken, "{}", "assess").oneLineOf(t, exitInput), "causes.yaml:3:5")
	var errs strings.Builder
	c := command{in: strings.NewReader("{}"), out: brokenPipe{}, err: &errs, model: kettle}
	assert.Equal(t, exitUse, c.run(t.Context(), []string{"assess"}))
	assert.Contains(t, errs.String(), "write an assessment")
}

func TestModelCheck(t *testing.T) {
	got := run(t, "", "model", "check")
	require.Equal(t, exitDone, got.code, got.err)
	for _, want := range []string{`causes +4\n`, `setup facts +3\n`, `observations +4\n`, `languages +en\n`,
		`entries in the largest clique +\d+\n`, `worst miss of a stated base rate +\d`} {
		assert.Regexp(t, want, got.out)
	}
	assert.Equal(t, got, run(t, "", "model", "check", "-cases"), "the kettle has none")
	got = runWith(t.Context(), broken, "", "model", "check")
	assert.Equal(t, exitInput, got.code)
	assert.Empty(t, got.out)
	assert.Equal(t, "causes.yaml:3:5: what is wrong\ncauses.yaml:9:1: what else\n", got.err)
}

func TestHelp(t *testing.T) {
	for _, args := range [][]string{{"help"}, {"-help"}, {"serve", "-h"}} {
		got := run(t, "", args...)
		assert.Equal(t, ran{code: exitDone, out: usage}, got)
	}
}

func TestUnknownCommand(t *testing.T) {
	for _, args := range [][]string{{"asess"}, {"model"}, {"model", "burn"}, {"model", "check", "all"},
		{"assess", "file.json"}, {"help", "me"}} {
		line := run(t, "", args...).oneLineOf(t, exitUse)
		assert.Contains(t, line, strings.Join(args, " "))
		assert.Contains(t, line, "help")
	}
}

func TestModelErrorsUnwrap(t *testing.T) {
	cause := errors.New("cause")
	assert.ErrorIs(t, &modelError{cause}, cause)
}

// TestLicences: whoever has the program alone has what its parts ask to be handed on with them (for example the second
// condition of the BSD licence, and section 4 of the Apache licence, which asks for NOTICE files too).
func TestLicences(t *testing.T) {
	got := run(t, "", "licences")
	require.Equal(t, exitDone, got.code, got.err)
	for _, part := range []string{"==== Go: LICENSE", "==== google.golang.org/grpc ", ": NOTICE.txt",
		"==== modernc.org/sqlite "} {
		assert.Contains(t, got.out, part)
	}
}
