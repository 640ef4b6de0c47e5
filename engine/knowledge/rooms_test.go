package knowledge_test

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// format are the files that read, check and word what people wrote. All others make the network of it and ask it.
var format = []string{"alarm.go", "binding.go", "check.go", "danger.go", "finding.go", "gatewords.go", "grammar.go",
	"learnt.go",
	"lexicon.go", "model.go", "node.go", "parse.go", "phrase.go", "reading.go", "sequence.go", "text.go", "yaml.go"}

// doors are what the format may name of the network: a model holds its network, and the check tries every computation
// once.
var doors = map[string][]string{
	"model.go": {"compiled", "deviation", "network", "tree"},
	"check.go": {"expectedRate", "level"},
	"parse.go": {"situation"},
}

type noImports struct{}

func (noImports) Import(string) (*types.Package, error) { return nil, errors.New("not needed") }

// TestFormatKnowsNoNetwork holds the border between the two rooms of the package: files of the format name nothing that
// a file of the network declares. Imported packages are not looked into, so the types are known as far as they are our
// own.
func TestFormatKnowsNoNetwork(t *testing.T) {
	paths, err := filepath.Glob("*.go")
	require.NoError(t, err)
	set := token.NewFileSet()
	var files []*ast.File
	for _, path := range paths {
		if !strings.HasSuffix(path, "_test.go") {
			f, err := parser.ParseFile(set, path, nil, 0)
			require.NoError(t, err)
			files = append(files, f)
		}
	}
	info := &types.Info{Uses: map[*ast.Ident]types.Object{}}
	config := types.Config{Importer: noImports{}, Error: func(error) {}}
	own, _ := config.Check("knowledge", set, files, info)
	for id, object := range info.Uses {
		if object.Pkg() != own {
			continue
		}
		if v, ok := object.(*types.Var); ok && !v.IsField() && object.Parent() != own.Scope() {
			continue // of a function
		}
		from, to := set.Position(id.Pos()).Filename, set.Position(object.Pos()).Filename
		if slices.Contains(format, from) && !slices.Contains(format, to) && !slices.Contains(doors[from], object.Name()) {
			assert.Fail(t, "the format names the network", "%s: %s of %s", set.Position(id.Pos()), object.Name(), to)
		}
	}
	for _, name := range format {
		assert.Contains(t, paths, name)
	}
}
