package tankfile

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"isohaline/internal/problem"
)

// What a tank file may cost to read. A real one has about a hundred lines and a
// thousand tokens, five levels deep.
const (
	maxBytes  = 1 << 20
	maxTokens = 10_000
	maxDepth  = 12
)

// node is one value of a document, with its place.
type node struct {
	kind         nodeKind
	line, column int
	text         string  // of a scalar, as written, without quotes
	entries      []entry // of a mapping, in the file's order
	items        []*node // of a list
	source       ast.Node
}

type nodeKind uint8

const (
	empty nodeKind = iota // nothing, or YAML's null
	scalar
	mapping
	sequence
)

func (k nodeKind) String() string {
	return [...]string{"nothing", "a single value", "a group of keys", "a list"}[k]
}

// entry is one key of a mapping and its value.
type entry struct {
	key          string
	line, column int
	value        *node
	source       *ast.MappingValueNode
}

// parseDocument turns bytes into a tree. It takes the part of YAML that a
// person writes by hand: keys, values, lists, comments, quotes. What could make
// a small file expensive or mean something other than it shows (anchors,
// aliases, tags, merges, several documents, deep nesting) is refused from the
// token stream, before anything is built.
func parseDocument(data []byte) (root *node, wrong *problem.Problem) {
	if len(data) > maxBytes {
		return nil, &problem.Problem{Line: 1, Column: 1,
			Why: fmt.Sprintf("the file has %d bytes, more than the %d a tank file may have", len(data), maxBytes),
			Fix: "check that this is a tank file"}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if p := checkText(data); p != nil {
		return nil, p
	}
	// The YAML library is given whatever bytes come. Should one of them make it
	// panic, that is a syntax error here, not the end of the process.
	defer func() {
		if recover() != nil {
			root, wrong = nil, &problem.Problem{Line: 1, Column: 1, Why: "the file is not valid YAML",
				Fix: "check indentation, quotes and brackets"}
		}
	}()
	tokens := lexer.Tokenize(string(data))
	if p := checkTokens(tokens); p != nil {
		return nil, p
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, syntaxProblem(err)
	}
	root = &node{kind: empty, line: 1, column: 1}
	for i, doc := range file.Docs {
		if doc.Body == nil {
			continue
		}
		root = convert(doc.Body)
		if i > 0 {
			return nil, &problem.Problem{Line: root.line, Column: root.column,
				Why: "a second document starts here", Fix: "keep one tank to a file"}
		}
	}
	return root, nil
}

// checkText refuses bytes that are no text: broken UTF-8 and control characters
// other than tab and line ends.
func checkText(data []byte) *problem.Problem {
	line, column := 1, 1
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			return &problem.Problem{Line: line, Column: column, Value: fmt.Sprintf("byte 0x%02x", data[i]),
				Why: "is not UTF-8 text", Fix: "save the file as UTF-8"}
		case r < ' ' && r != '\t' && r != '\n' && r != '\r', r == 0x7f:
			return &problem.Problem{Line: line, Column: column, Value: fmt.Sprintf("byte 0x%02x", data[i]),
				Why: "is a control character", Fix: "remove it"}
		}
		if column++; r == '\n' {
			line, column = line+1, 1
		}
		i += size
	}
	return nil
}

// refused are the tokens that a tank file has no use for.
var refused = map[token.Type]string{
	token.AnchorType:     "is an anchor",
	token.AliasType:      "is an alias",
	token.MergeKeyType:   "is a merge key",
	token.TagType:        "is a tag",
	token.DirectiveType:  "is a directive",
	token.MappingKeyType: "starts a key of its own shape",
	token.LiteralType:    "starts a block of text",
	token.FoldedType:     "starts a block of text",
}

func checkTokens(tokens token.Tokens) *problem.Problem {
	if len(tokens) > maxTokens {
		return placed(tokens[maxTokens], fmt.Sprintf("the file has %d parts, more than the %d a tank file may have", len(tokens), maxTokens),
			"check that this is a tank file")
	}
	var columns []int // of the open blocks, ascending
	brackets := 0
	for _, tk := range tokens {
		if reason, ok := refused[tk.Type]; ok {
			p := placed(tk, reason+", which tank files do not use", "write the value itself, in quotes if it starts with a sign")
			p.Value = strings.TrimSpace(tk.Value)
			return p
		}
		switch tk.Type {
		case token.MappingStartType, token.SequenceStartType:
			brackets++
		case token.MappingEndType, token.SequenceEndType:
			brackets--
		case token.SequenceEntryType, token.MappingValueType:
			// A key opens its block at the key, a list at the dash.
			column := tk.Position.Column
			if tk.Type == token.MappingValueType && tk.Prev != nil {
				column = tk.Prev.Position.Column
			}
			for len(columns) > 0 && columns[len(columns)-1] >= column {
				columns = columns[:len(columns)-1]
			}
			if brackets == 0 {
				columns = append(columns, column)
			}
		}
		if brackets+len(columns) > maxDepth {
			return placed(tk, fmt.Sprintf("is nested more than %d deep", maxDepth), "check indentation and brackets")
		}
	}
	return nil
}

// convert copies the library's tree into ours; the depth is bounded already.
func convert(n ast.Node) *node {
	tk := n.GetToken()
	out := &node{line: tk.Position.Line, column: tk.Position.Column, source: n}
	switch n := n.(type) {
	case *ast.MappingNode:
		out.kind = mapping
		for _, v := range n.Values {
			out.entries = append(out.entries, convertEntry(v))
		}
	case *ast.MappingValueNode:
		out.kind = mapping
		out.entries = []entry{convertEntry(n)}
	case *ast.SequenceNode:
		out.kind = sequence
		for _, v := range n.Values {
			out.items = append(out.items, convert(v))
		}
	case *ast.NullNode:
		out.kind = empty
	default:
		out.kind = scalar
		out.text = tk.Value
	}
	if len(out.entries) > 0 && out.line == out.entries[0].line {
		// The library's token of a block mapping is its first colon.
		out.column = min(out.column, out.entries[0].column)
	}
	return out
}

func convertEntry(v *ast.MappingValueNode) entry {
	tk := v.Key.GetToken()
	return entry{key: tk.Value, line: tk.Position.Line, column: tk.Position.Column, value: convert(v.Value), source: v}
}

// placed is a problem at a token.
func placed(tk *token.Token, reason, fix string) *problem.Problem {
	return &problem.Problem{Line: tk.Position.Line, Column: tk.Position.Column, Why: reason, Fix: fix}
}

func syntaxProblem(err error) *problem.Problem {
	p := &problem.Problem{Line: 1, Column: 1, Why: "the file is not valid YAML", Fix: "check indentation, quotes and brackets"}
	var e yaml.Error
	if errors.As(err, &e) && e.GetToken() != nil {
		p.Line, p.Column = e.GetToken().Position.Line, e.GetToken().Position.Column
		p.Why += ": " + e.GetMessage()
	}
	return p
}
