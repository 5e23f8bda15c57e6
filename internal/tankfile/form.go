package tankfile

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"isohaline/internal/problem"
)

// FieldKind is how a person fills a field in.
type FieldKind string

const (
	OneText      FieldKind = "text"
	OneChoice    FieldKind = "choice"   // one of a few words
	YesNo        FieldKind = "yes-no"   // "yes" or "no"
	OneQuantity  FieldKind = "quantity" // a number with its unit, or a plain number
	SeveralLines FieldKind = "list"     // values, one to a line
)

// Form is a tank file as groups of fields, with the values as the file has them.
// It follows the tables that Read and Write follow.
type Form struct {
	Text string
	Root FormGroup
	// Problems are those that Read has with the text, none if it is valid;
	// Warnings are Read's, too.
	Problems problem.List
	Warnings problem.List
}

// FormGroup is a group of keys, or a list of groups.
type FormGroup struct {
	// Path is empty for the file itself; items of a list count from 1.
	Path        string
	Label, Help string
	// List: its groups are items, at most Max.
	List bool
	Max  int
	// Optional: it may be left out. Present: the file has it.
	Optional, Present bool
	Fields            []FormField
	Groups            []FormGroup
}

// FormField is one key.
type FormField struct {
	Path        string
	Label, Help string
	Kind        FieldKind
	// Quantity is what is measured, with its article; Units are those that may
	// be used. Both are empty for a plain number and for what is none.
	Quantity string
	Units    []string
	Range    string // empty: none
	Choices  []string
	Example  string
	// Optional: the key may be left out, which then means Absent.
	Optional bool
	Absent   string
	Present  bool
	// Value is as the file has it, unit and all; the entries of a list are one
	// to a line. It is empty where there is none or it has another shape.
	Value string
}

// NewForm returns a text as a form; name is what problems call the file. It takes any
// text: what is wrong with it is in Form.Problems, and what cannot be read is absent
// from the groups.
func NewForm(name, text string) Form {
	f := Form{Text: text}
	_, warnings, err := Read(name, []byte(text))
	errors.As(err, &f.Problems) // Read has no other errors
	f.Warnings = warnings
	root, wrong := parseDocument([]byte(text))
	if wrong != nil {
		root = &node{}
	}
	f.Root = FormGroup{Label: "Tank file", Present: true}
	f.Root.fill(root, tankFields(new(Tank)))
	return f
}

// fill shows the fields of a group by what stands at it in the file.
func (g *FormGroup) fill(at *node, fields []field) {
	for _, f := range fields {
		r := f.describe()
		path := keyPath(g.Path, r.key)
		var value *node
		if e := at.entry(r.key); e != nil {
			value = e.value
		}
		if r.kind != "" {
			g.Fields = append(g.Fields, newField(path, &r, value))
			continue
		}
		inner := FormGroup{Path: path, Label: capital(r.key), Help: r.about, Optional: r.optional, Present: value != nil, List: r.max > 0, Max: r.max}
		if value == nil {
			value = &node{}
		}
		if inner.List {
			inner.list(value, r.below)
		} else {
			inner.fill(value, r.below)
		}
		g.Groups = append(g.Groups, inner)
	}
}

// list shows the items of a list of groups. The last one cannot be left out.
func (g *FormGroup) list(at *node, fields []field) {
	for i, item := range at.items {
		inner := FormGroup{Path: itemPath(g.Path, i), Label: fmt.Sprint(i + 1), Optional: len(at.items) > 1, Present: true}
		if name := item.entry("name"); name != nil && name.value.text != "" {
			inner.Label = name.value.text
		}
		inner.fill(item, fields)
		g.Groups = append(g.Groups, inner)
	}
}

func newField(path string, r *row, value *node) FormField {
	f := FormField{Path: path, Label: capital(r.key), Help: r.about, Kind: r.kind, Range: r.span, Choices: r.words,
		Example: r.example, Optional: r.optional, Present: value != nil}
	if r.quantity != nil && len(r.quantity.Units()) > 0 && r.quantity.Units()[0] != "" {
		f.Quantity, f.Units = r.quantity.Name(), r.quantity.Units()
	}
	if r.optional {
		f.Absent = r.standard
	}
	if value != nil {
		f.Value = value.lines()
	}
	return f
}

// lines is a value as a field shows it.
func (n *node) lines() string {
	if n.kind != sequence {
		return n.text
	}
	texts := make([]string, len(n.items))
	for i, item := range n.items {
		texts[i] = item.text
	}
	return strings.Join(texts, "\n")
}

// entry is the first entry of a key, nil if there is none.
func (n *node) entry(key string) *entry {
	for i := range n.entries {
		if n.entries[i].key == key {
			return &n.entries[i]
		}
	}
	return nil
}

// capital is a key as a label: "top-off" is "Top-off".
func capital(key string) string {
	first, size := utf8.DecodeRuneInString(key)
	return string(unicode.ToUpper(first)) + key[size:]
}
