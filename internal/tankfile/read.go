package tankfile

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"

	"isohaline/internal/problem"
	"isohaline/internal/units"
)

// Read reads and validates a tank file. The name is for messages only; nothing
// is opened. A file that can be read but holds something a practitioner should
// look at comes with warnings, which are in the order of its lines.
//
// On failure the error is a problem.List: every problem found, in the order of the
// lines, and neither a tank nor warnings. Read accepts any bytes and never
// panics.
func Read(name string, data []byte) (s *Tank, warnings problem.List, err error) {
	r := &reader{file: name, places: map[string]place{"": {line: 1, column: 1}}}
	root, wrong := parseDocument(data)
	if wrong != nil {
		wrong.File = name
		return nil, nil, problem.List{*wrong}
	}
	s = new(Tank)
	r.group("", root, tankFields(s))
	check(r, s)
	if len(r.problems) > 0 {
		return nil, nil, problem.List(inOrder(r.problems))
	}
	return s, inOrder(r.warnings), nil
}

var nan = math.NaN()

// same compares two values of a field; not stated equals not stated.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// reader collects what is wrong with a document while the fields take their
// values from it. A value that could not be read is left as NaN, which no later
// comparison finds fault with, so one mistake gives one problem.
type reader struct {
	file               string
	problems, warnings problem.List
	places             map[string]place // by field path
	// muted: the group is wrong as a whole, and its keys need no problem each.
	muted bool
}

// place is where a field stands and what is written there.
type place struct {
	line, column int
	text         string
	kind         nodeKind
}

func (r *reader) mark(path string, line, column int, n *node) {
	r.places[path] = place{line, column, n.text, n.kind}
}

// has says whether the file gives the field.
func (r *reader) has(path string) bool {
	_, ok := r.places[path]
	return ok
}

// hasGroup says whether the file gives keys at the path. Where it does not,
// the group is a problem already and its keys are none of their own.
func (r *reader) hasGroup(path string) bool {
	kind := r.places[path].kind
	return r.has(path) && (kind == mapping || kind == empty)
}

// at is the problem's place: the field's own or that of the group it is
// missing from.
func (r *reader) at(path string) place {
	for {
		if p, ok := r.places[path]; ok {
			return p
		}
		path = path[:max(0, strings.LastIndexByte(path, '.'))]
	}
}

func (r *reader) problem(path, reason, fix string) problem.Problem {
	p := r.at(path)
	value := ""
	if r.has(path) {
		value = p.text
	}
	return problem.Problem{File: r.file, Line: p.line, Column: p.column, Field: path, Value: value, Why: reason, Fix: fix}
}

// report adds a problem with the value of a field.
func (r *reader) report(path, reason, fix string) {
	if !r.muted {
		r.problems = append(r.problems, r.problem(path, reason, fix))
	}
}

// warn adds a warning about the value of a field.
func (r *reader) warn(path, reason, fix string) {
	r.warnings = append(r.warnings, r.problem(path, reason, fix))
}

func (r *reader) missing(path, what, example string) {
	key := path[strings.LastIndexByte(path, '.')+1:]
	fix := fmt.Sprintf("add %q, %s", key+":", what)
	if example != "" {
		fix = fmt.Sprintf("add it (%s), like %q", what, key+": "+example)
	}
	r.report(path, "is missing", fix)
}

// group lets fields take their values from a mapping.
func (r *reader) group(path string, n *node, fields []field) {
	if n.kind != mapping && n.kind != empty {
		r.report(path, "is "+n.kind.String()+", not a group of keys", "write its keys below it: "+list(keysOf(fields)))
		r.unset(path, fields)
		return
	}
	values := map[string]*node{}
	misspelt := map[string]bool{} // keys that are there under another name
	for _, e := range n.entries {
		at := keyPath(path, e.key)
		if values[e.key] != nil {
			r.problems = append(r.problems, problem.Problem{File: r.file, Line: e.line, Column: e.column, Field: at, Value: e.value.text,
				Why: fmt.Sprintf("is here a second time (first in line %d)", r.places[at].line), Fix: "keep one of them"})
			continue
		}
		if !slices.Contains(keysOf(fields), e.key) {
			meant := r.unknownKey(path, e, keysOf(fields))
			misspelt[meant] = true
			continue
		}
		values[e.key] = e.value
		if e.value.kind == scalar {
			r.mark(at, e.value.line, e.value.column, e.value)
		} else {
			r.mark(at, e.line, e.column, e.value)
		}
	}
	for _, f := range fields {
		at := keyPath(path, f.name())
		switch v := values[f.name()]; {
		case v != nil:
			f.read(r, at, v)
		case misspelt[f.name()]:
			r.unset(path, []field{f})
		default:
			f.absent(r, at)
		}
	}
}

// unknownKey reports a key that no field has, and returns the one that it was
// meant to be, if that can be told.
func (r *reader) unknownKey(path string, e entry, valid []string) (meant string) {
	meant = nearest(e.key, valid)
	fix := suggest(e.key, valid)
	if e.value.kind == empty && e.key != "" && unicode.IsDigit(rune(e.key[0])) {
		fix = "a comma separates keys here: write a point for decimals, or the value in quotes"
	}
	r.problems = append(r.problems, problem.Problem{File: r.file, Line: e.line, Column: e.column, Field: keyPath(path, problem.Shown(e.key)),
		Why: "is not a key of this group", Fix: fix})
	return meant
}

// unset gives every field its absent value without a word.
func (r *reader) unset(path string, fields []field) {
	before := r.muted
	r.muted = true
	for _, f := range fields {
		f.absent(r, keyPath(path, f.name()))
	}
	r.muted = before
}

// items checks that a node is a list of one to most items.
func (r *reader) items(path string, n *node, most int) bool {
	switch {
	case n.kind != sequence:
		r.report(path, "is "+n.kind.String()+", not a list", "write one item to a line, each after a dash, or in square brackets")
	case len(n.items) == 0 || len(n.items) > most:
		r.report(path, fmt.Sprintf("has %d items", len(n.items)), fmt.Sprintf("give 1 to %d", most))
	default:
		return true
	}
	return false
}

// scalar is the text of a single value.
func (r *reader) scalar(path string, n *node, example string) (string, bool) {
	switch n.kind {
	case scalar:
		return n.text, true
	case empty:
		r.report(path, "is empty", fmt.Sprintf("give a value, like %q, or remove the key", example))
	default:
		r.report(path, "is "+n.kind.String()+", not a single value", fmt.Sprintf("write one value, like %q", example))
	}
	return "", false
}

// quantity parses a text at a path and checks its range; NaN if either fails.
func (r *reader) quantity(path, text string, k *units.Kind, lo, hi float64) float64 {
	reason, fix := "", ""
	v, err := k.Parse(text)
	switch e := err.(type) {
	case *problem.Problem:
		reason, fix = e.Why, e.Fix
	case nil:
		if v >= lo && v <= hi {
			return v
		}
		reason = fmt.Sprintf("is outside %s to %s", k.Exact(lo), k.Exact(hi))
		fix = "give " + k.Name() + " in that range"
		if usual, err := k.Parse(k.Example()); err == nil && usual >= lo && usual <= hi {
			fix += fmt.Sprintf(", like %q", k.Example())
		}
	}
	p := r.problem(path, reason, fix)
	p.Value = text
	r.problems = append(r.problems, p)
	return nan
}

// keyPath is the path of a key in a group.
func keyPath(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func keysOf(fields []field) []string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.name()
	}
	return keys
}

// nearest is the valid word that a word was meant to be, empty if none is near.
func nearest(word string, valid []string) string {
	// A slip of the pen is a letter in three, and never a page long.
	const lettersPerSlip = 3
	best, bestDistance := "", utf8.RuneCountInString(word)/lettersPerSlip+2
	if len(word) > maxTextLen {
		return ""
	}
	for _, v := range valid {
		if d := levenshtein.ComputeDistance(strings.ToLower(word), v); d < bestDistance {
			best, bestDistance = v, d
		}
	}
	return best
}

// suggest names the nearest of the valid words, or all of them.
func suggest(word string, valid []string) string {
	if best := nearest(word, valid); best != "" {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return "valid here: " + list(valid)
}
