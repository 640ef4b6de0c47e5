package knowledge

import (
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

func parseFile(file string, text []byte, errs *Error) (node, bool) {
	f, err := parser.ParseBytes(text, 0)
	if err != nil {
		errs.add(file, yamlErrorLine(err), 1, "not readable as YAML: %s", firstLine(err.Error()))
		return node{}, false
	}
	if len(f.Docs) == 0 || f.Docs[0].Body == nil {
		errs.add(file, 1, 1, "empty file")
		return node{}, false
	}
	for _, doc := range f.Docs[1:] {
		if doc.Body != nil {
			node{file: file, errs: errs, n: treeOf(doc.Body)}.errorf(
				"a second document in one file is not read; take the line --- away")
		}
	}
	return node{file: file, errs: errs, n: treeOf(f.Docs[0].Body)}, true
}

// yamlErrorLine digs the line out of the parser's "[line:column] message".
func yamlErrorLine(err error) int {
	s := strings.TrimPrefix(err.Error(), "[")
	line, err := strconv.Atoi(s[:max(0, strings.IndexByte(s, ':'))])
	if err != nil {
		return 1
	}
	return line
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}

// treeOf is what a piece of YAML says.
func treeOf(n ast.Node) *tree {
	if n == nil {
		return &tree{}
	}
	t := &tree{kind: foreign}
	if at := n.GetToken(); at != nil {
		t.line, t.column = at.Position.Line, at.Position.Column
	}
	entry := func(v *ast.MappingValueNode) {
		t.kind = mapping
		t.keys, t.values = append(t.keys, treeOf(v.Key)), append(t.values, treeOf(v.Value))
	}
	switch n := n.(type) {
	case *ast.NullNode:
		t.kind = nothing
	case *ast.StringNode:
		t.kind, t.text = scalar, n.Value
	case *ast.LiteralNode:
		t.kind, t.text = scalar, n.Value.Value
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		t.kind, t.text = scalar, n.GetToken().Value
	case *ast.SequenceNode:
		t.kind = sequence
		for _, v := range n.Values {
			t.values = append(t.values, treeOf(v))
		}
	case *ast.MappingNode:
		t.kind = mapping
		for _, v := range n.Values {
			entry(v)
		}
		if len(t.keys) > 0 { // a block mapping's own token is its first colon
			t.line, t.column = t.keys[0].line, t.keys[0].column
		}
	case *ast.MappingValueNode:
		entry(n)
	}
	return t
}
