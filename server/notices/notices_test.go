package notices

import (
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNoticesAreCurrent: what the go command says is built in is what there are notices of, in these versions.
func TestNoticesAreCurrent(t *testing.T) {
	list, err := exec.Command("go", "list", "-deps", "-f",
		"{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}{{end}}{{end}}", "lightoff/server").Output()
	require.NoError(t, err)
	want := append(strings.Fields(strings.ReplaceAll(string(list), " ", "@")), "Go")
	slices.Sort(want)
	var got []string
	for _, module := range Modules() {
		got = append(got, strings.ReplaceAll(module, " ", "@"))
	}
	slices.Sort(got)
	assert.Equal(t, slices.Compact(want), got, "go generate ./server/notices")
	for _, part := range strings.Split(Text, "==== ")[1:] {
		head, text, _ := strings.Cut(part, "\n")
		assert.Greater(t, len(text), 50, head)
	}
}
