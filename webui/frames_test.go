package webui

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

var update = flag.Bool("update", false, "write the table in FRAMES.md anew from the calls that the bridge makes")

// TestFramesTable: the table that integrators read is the one that the bridge goes by.
func TestFramesTable(t *testing.T) {
	const begin, end = "<!-- table: go test ./webui -run TestFramesTable -update -->\n", "<!-- end of table -->\n"
	text, err := os.ReadFile("FRAMES.md")
	require.NoError(t, err)
	before, rest, found := strings.Cut(string(text), begin)
	require.True(t, found)
	was, after, found := strings.Cut(rest, end)
	require.True(t, found)
	now := framesTable(t, newClients(nil))
	if *update {
		require.NoError(t, os.WriteFile("FRAMES.md", []byte(before+begin+now+end+after), 0o644))
		return
	}
	assert.Equal(t, now, was, "go test ./webui -run TestFramesTable -update writes it anew")
}

func framesTable(t *testing.T, c clients) string {
	byRequest := methods()
	var b strings.Builder
	row := func(do, mark string, takes protoreflect.MessageDescriptor) {
		m := byRequest[takes.FullName()]
		require.NotNil(t, m, do)
		var fields []string
		for i := range takes.Fields().Len() {
			fields = append(fields, "`"+takes.Fields().Get(i).JSONName()+"`")
		}
		fmt.Fprintf(&b, "| `%s` | %s/%s%s | %s |\n", do, m.Parent().Name(), m.Name(), mark, strings.Join(fields, ", "))
	}
	b.WriteString("| `do` | call | fields of `request` |\n|---|---|---|\n")
	for _, do := range slices.Sorted(maps.Keys(c.calls)) {
		row(do, "", c.calls[do].takes)
	}
	for _, do := range slices.Sorted(maps.Keys(c.streams)) {
		row(do, ", followed", c.streams[do].takes)
	}
	return b.String()
}

// methods are all calls of the service by what they take: no two take the same.
func methods() map[protoreflect.FullName]protoreflect.MethodDescriptor {
	out := map[protoreflect.FullName]protoreflect.MethodDescriptor{}
	protoregistry.GlobalFiles.RangeFilesByPackage("lightoff.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				out[s.Methods().Get(j).Input().FullName()] = s.Methods().Get(j)
			}
		}
		return true
	})
	return out
}
