package edgeio

import (
	"bytes"
	"errors"
	"fmt"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"isohaline/internal/problem"
)

const (
	maxBytes = 64 << 10
	maxDepth = 4
)

// node is one value of the file, with its place: a single value, or keys with
// values.
type node struct {
	line, column int
	keyColumn    int // of its key, on the same line
	text         string
	keys         []string // nil for a single value
	values       map[string]*node
}

// parse takes the part of YAML that a wiring file needs: groups of keys and
// single values. Everything else is refused.
func parse(file string, data []byte) (root *node, err error) {
	at := func(line, column int, reason, fix string) error {
		return problem.List{{File: file, Line: line, Column: column, Why: reason, Fix: fix}}
	}
	switch {
	case len(data) > maxBytes:
		return nil, at(1, 1, fmt.Sprintf("the file has %d bytes, more than the %d a wiring file may have", len(data), maxBytes), "check that this is a wiring file")
	case !utf8.Valid(data):
		return nil, at(1, 1, "the file is not UTF-8 text", "save it as UTF-8")
	}
	const advice = "check indentation, quotes and brackets"
	defer func() { // whatever the library makes of it
		if recover() != nil {
			root, err = nil, at(1, 1, "the file is not valid YAML", advice)
		}
	}()
	parsed, err := parser.ParseBytes(bytes.TrimPrefix(data, []byte("\ufeff")), 0)
	if err != nil {
		var e yaml.Error
		if errors.As(err, &e) && e.GetToken() != nil {
			p := e.GetToken().Position
			return nil, at(p.Line, p.Column, "the file is not valid YAML: "+e.GetMessage(), advice)
		}
		return nil, at(1, 1, "the file is not valid YAML", advice)
	}
	if len(parsed.Docs) != 1 || parsed.Docs[0].Body == nil {
		return nil, at(1, 1, "the file is empty, or holds several documents", "write one wiring to a file")
	}
	c := converter{file: file}
	root = c.convert(parsed.Docs[0].Body, 0)
	if c.problem != nil {
		return nil, problem.List{*c.problem}
	}
	return root, nil
}

type converter struct {
	file    string
	problem *problem.Problem // the first
}

func (c *converter) refuse(n ast.Node, reason string) *node {
	p := n.GetToken().Position
	if c.problem == nil {
		c.problem = &problem.Problem{File: c.file, Line: p.Line, Column: p.Column, Value: n.GetToken().Value, Why: reason,
			Fix: "write keys and single values"}
	}
	return &node{line: p.Line, column: p.Column}
}

func (c *converter) convert(n ast.Node, depth int) *node {
	if depth > maxDepth {
		return c.refuse(n, "is nested too deep")
	}
	tk := n.GetToken()
	out := &node{line: tk.Position.Line, column: tk.Position.Column}
	switch n := n.(type) {
	case *ast.MappingNode:
		out.keys, out.values = []string{}, map[string]*node{}
		for _, v := range n.Values {
			c.entry(out, v, depth)
		}
	case *ast.MappingValueNode:
		out.keys, out.values = []string{}, map[string]*node{}
		c.entry(out, n, depth)
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
		out.text = tk.Value
	case *ast.NullNode:
	default:
		return c.refuse(n, "is "+n.Type().String()+", which wiring files do not use")
	}
	return out
}

// entry takes one key; the library has refused one that is there twice.
func (c *converter) entry(out *node, v *ast.MappingValueNode, depth int) {
	tk := v.Key.GetToken()
	key := tk.Value
	value := c.convert(v.Value, depth+1)
	if value.keys != nil || value.text == "" { // a group's place is its key
		value.line, value.column = tk.Position.Line, tk.Position.Column
	}
	value.keyColumn = tk.Position.Column
	out.keys, out.values[key] = append(out.keys, key), value
}
