// Package engine_test holds the house rules that concern all of the code.
package engine_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// may lists what each package may import of ours, directly or not. The contributor's guide draws the same picture.
var may = map[string][]string{
	"engine/bayes":        {},
	"engine/physics":      {},
	"engine/knowledge":    {"engine/bayes"},
	"engine/heater":       {"engine/knowledge", "engine/bayes", "engine/physics"},
	"engine/cases":        {"engine/troubleshoot", "engine/diagnosis", "engine/knowledge", "engine/bayes"},
	"engine/words":        {"engine/knowledge", "engine/bayes"},
	"engine/words/train":  {"engine/"},
	"engine/troubleshoot": {},
	"engine/learning":     {"engine/knowledge", "engine/bayes"},
	"engine/diagnosis":    {"engine/troubleshoot", "engine/knowledge", "engine/bayes"},
	"proto/lightoff/v1":   {},
	"webui":               {"proto/lightoff/v1", "webui/frame"},
	"webui/frame":         {},
	"webui/pagetest":      {},
	"server/browser":      {},
	"server":              {"engine/", "proto/lightoff/v1", "server/", "webui", "webui/frame"},
	"server/notices":      {},
	"server/api": {"engine/", "proto/lightoff/v1", "server/calculation", "server/statistics",
		"server/store", "webui/frame"},
	"server/calculation":  {"engine/", "proto/lightoff/v1"},
	"server/statistics":   {"engine/troubleshoot", "engine/diagnosis", "engine/knowledge", "engine/bayes"},
	"server/store/pgtest": {},
	"server/store":        {"engine/troubleshoot", "engine/diagnosis", "engine/knowledge", "engine/bayes"},
	"engine/simulation":   {"engine/physics"},
	"engine/judge":        {"engine/"},
}

// mayUse lists the modules besides the standard library that an engine package may use, standardOnly those that use
// none.
var (
	mayUse       = []string{"github.com/goccy/go-yaml", "github.com/blevesearch/snowballstem"}
	standardOnly = []string{"engine/bayes", "engine/physics", "engine/troubleshoot"}
)

func deps(t *testing.T, pkg string) []string {
	t.Helper()
	out, err := exec.Command("go", "list", "-deps", "lightoff/"+pkg).Output()
	require.NoError(t, err, pkg)
	return strings.Fields(string(out))
}

func packages(t *testing.T) []string {
	t.Helper()
	out, err := exec.Command("go", "list", "-f", "{{if .GoFiles}}{{.ImportPath}}{{end}}", "lightoff/...").Output()
	require.NoError(t, err)
	return strings.Fields(string(out))
}

func allowed(list []string, dep string) bool {
	return slices.ContainsFunc(list, func(a string) bool {
		return a == dep || strings.HasSuffix(a, "/") &&
			strings.HasPrefix(dep, a)
	})
}

func TestImportsRunDownwards(t *testing.T) {
	for _, path := range packages(t) {
		pkg := strings.TrimPrefix(path, "lightoff/")
		list, ok := may[pkg]
		require.True(t, ok, "%s is not in the picture of who may import whom", pkg)
		for _, dep := range deps(t, pkg) {
			ours, isOurs := strings.CutPrefix(dep, "lightoff/")
			switch {
			case isOurs:
				assert.True(t, ours == pkg || allowed(list, ours), "%s imports %s", pkg, ours)
			case strings.HasPrefix(pkg, "engine/") && strings.Contains(strings.Split(dep, "/")[0], "."):
				// a host's name: not the standard library
				assert.NotContains(t, standardOnly, pkg, "%s uses %s", pkg, dep)
				assert.True(t, slices.ContainsFunc(mayUse, func(m string) bool { return strings.HasPrefix(dep, m) }), "%s uses %s",
					pkg, dep)
			}
		}
	}
}

// The engine is a function: what could make two runs differ, or touch the world, is not imported. The simulation and
// its judge may use math/rand/v2, and only its generators that are given a seed: their seeds are arguments.
func TestEngineIsAFunction(t *testing.T) {
	for _, pattern := range []string{"bayes", "physics", "knowledge", "heater", "words", "troubleshoot", "diagnosis",
		"learning", "simulation", "judge"} {
		files, err := filepath.Glob(filepath.Join(pattern, "*.go"))
		require.NoError(t, err)
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			require.NoError(t, err)
			for _, i := range f.Imports {
				if i.Path.Value == `"math/rand/v2"` && (pattern == "simulation" || pattern == "judge") {
					assert.True(t, seeded(f), "%s draws without a seed", file)
					continue
				}
				assert.NotContains(t, []string{`"time"`, `"math/rand"`, `"math/rand/v2"`, `"crypto/rand"`, `"net"`, `"net/http"`,
					`"os"`, `"os/exec"`}, i.Path.Value, file)
			}
			ast.Inspect(f, func(n ast.Node) bool {
				_, starts := n.(*ast.GoStmt)
				assert.False(t, starts, "%s starts a goroutine", file)
				return true
			})
		}
	}
}

// seeded reports whether all that a file uses of math/rand/v2 are its types and the makers of generators from a seed.
func seeded(f *ast.File) bool {
	ok := true
	ast.Inspect(f, func(n ast.Node) bool {
		if s, is := n.(*ast.SelectorExpr); is {
			if p, is := s.X.(*ast.Ident); is && p.Name == "rand" && p.Obj == nil {
				ok = ok && slices.Contains([]string{"Rand", "New", "NewPCG", "Source"}, s.Sel.Name)
			}
		}
		return true
	})
	return ok
}

func TestExportedNamesAreDocumented(t *testing.T) {
	for _, path := range packages(t) {
		dir := filepath.Join("..", strings.TrimPrefix(path, "lightoff/"))
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") || strings.HasSuffix(file, ".pb.go") {
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
			require.NoError(t, err)
			for _, d := range f.Decls {
				assert.Empty(t, undocumented(d), "%s", file)
			}
		}
	}
}

// undocumented lists the exported names of a declaration that lack a comment. Methods of unexported types are not seen
// from outside; in a group, the group's comment serves all.
func undocumented(d ast.Decl) []string {
	var out []string
	switch d := d.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) {
			out = append(out, d.Name.Name)
		}
	case *ast.GenDecl:
		for _, s := range d.Specs {
			switch s := s.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() && s.Doc == nil && d.Doc == nil {
					out = append(out, s.Name.Name)
				}
			case *ast.ValueSpec:
				if s.Names[0].IsExported() && s.Doc == nil && s.Comment == nil && d.Doc == nil {
					out = append(out, s.Names[0].Name)
				}
			}
		}
	}
	return out
}

func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	switch t := d.Recv.List[0].Type.(type) {
	case *ast.Ident:
		return t.IsExported()
	case *ast.StarExpr:
		id, ok := t.X.(*ast.Ident)
		return ok && id.IsExported()
	}
	return false
}
