package tankfile

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"isohaline/internal/units"
)

// A field is one key of the tank file, in both directions. The file format is
// the tables of fields in schema.go and nothing else: reading, writing, the
// suggestions in errors and the reference in docs/tank-file.md all follow them.
type field interface {
	// name is the key.
	name() string
	// read takes the value that stands at the key.
	read(r *reader, path string, n *node)
	// absent gives the field what a missing key means: its default, or a
	// problem and NaN.
	absent(r *reader, path string)
	// write puts the key down, unless its value is the default.
	write(w *writer)
	// describe is the field's row in the reference.
	describe() row
}

// row is a field as the reference lists it and a form shows it. A group or a
// list has rows below.
type row struct {
	key, form, span, standard, about string
	below                            []field

	kind     FieldKind // empty for a group and a list of groups
	optional bool
	quantity *units.Kind // nil: no number
	words    []string    // of a choice
	example  string
	max      int // items of a list
}

// label is what all fields have.
type label struct {
	key      string
	about    string
	optional bool
}

func (l label) name() string { return l.key }

// standard is the default as the reference shows it.
func (l label) standard(text string) string {
	if !l.optional {
		return "required"
	}
	return text
}

// none is the default of a field whose absence means "not there".
const none = "none"

// quantity is a number with a unit, or a plain number.
type quantity struct {
	label
	p      *float64
	kind   *units.Kind
	lo, hi float64
	// def is the value of a missing key, defText how the reference calls it.
	def     float64
	defText string
}

// measure is a quantity that must be given; or and orNone make it optional.
func measure(key string, p *float64, k *units.Kind, lo, hi float64, about string) quantity {
	return quantity{label: label{key: key, about: about}, p: p, kind: k, lo: lo, hi: hi}
}

// or gives a quantity a default.
func (q quantity) or(def float64) quantity {
	q.optional, q.def, q.defText = true, def, q.kind.Exact(def)
	return q
}

// orNone makes a quantity optional; absent stands for its absence in the Tank.
func (q quantity) orNone(absent float64, meaning string) quantity {
	q.optional, q.def, q.defText = true, absent, meaning
	return q
}

func (q quantity) span() string { return q.kind.Exact(q.lo) + " to " + q.kind.Exact(q.hi) }

func (q quantity) read(r *reader, path string, n *node) {
	*q.p = nan
	if text, ok := r.scalar(path, n, q.kind.Example()); ok {
		*q.p = r.quantity(path, text, q.kind, q.lo, q.hi)
	}
}

func (q quantity) absent(r *reader, path string) {
	if q.optional {
		*q.p = q.def
		return
	}
	*q.p = nan
	r.missing(path, fmt.Sprintf("%s from %s", q.kind.Name(), q.span()), q.kind.Example())
}

func (q quantity) write(w *writer) {
	if !q.optional || !same(*q.p, q.def) {
		w.line(q.key, q.kind.Exact(*q.p))
	}
}

func (q quantity) describe() row {
	form := strings.Join(q.kind.Units(), ", ")
	if q.kind == units.Number {
		form = "a number"
	}
	return row{key: q.key, form: form, span: q.span(), standard: q.label.standard(q.defText), about: q.about,
		kind: OneQuantity, optional: q.optional, quantity: q.kind, example: q.example()}
}

// example is a value in its range, empty if the kind's own is not.
func (q quantity) example() string {
	if usual, err := q.kind.Parse(q.kind.Example()); err != nil || usual < q.lo || usual > q.hi {
		return ""
	}
	return q.kind.Example()
}

// number is a plain number.
func number(key string, p *float64, lo, hi float64, about string) quantity {
	return measure(key, p, units.Number, lo, hi, about)
}

// choice is one of a few words.
type choice struct {
	label
	p     *string
	words []string
	// def is the value of a missing key, defText how the reference calls it.
	def, defText string
}

func pick(key string, p *string, words []string, about string) choice {
	return choice{label: label{key: key, about: about}, p: p, words: words}
}

func (c choice) or(def string) choice {
	c.optional, c.def, c.defText = true, def, def
	return c
}

// orNone makes a choice optional; the empty word stands for its absence.
func (c choice) orNone(meaning string) choice {
	c.optional, c.defText = true, meaning
	return c
}

func (c choice) read(r *reader, path string, n *node) {
	text, ok := r.scalar(path, n, c.words[0])
	if !ok {
		return
	}
	for _, word := range c.words {
		if text == word {
			*c.p = word
			return
		}
	}
	r.report(path, "is not one of its words", suggest(text, c.words))
}

func (c choice) absent(r *reader, path string) {
	*c.p = c.def
	if !c.optional {
		r.missing(path, list(c.words), c.words[0])
	}
}

func (c choice) write(w *writer) {
	if !c.optional || *c.p != c.def {
		w.line(c.key, *c.p)
	}
}

func (c choice) describe() row {
	return row{key: c.key, form: strings.Join(c.words, ", "), standard: c.label.standard(c.defText), about: c.about,
		kind: OneChoice, optional: c.optional, words: c.words}
}

// flag is yes or no; a missing one is no.
type flag struct {
	label
	p *bool
}

func yesNo(key string, p *bool, about string) flag {
	return flag{label: label{key: key, about: about, optional: true}, p: p}
}

func (f flag) read(r *reader, path string, n *node) {
	text, ok := r.scalar(path, n, "yes")
	switch {
	case !ok:
	case text == "yes" || text == "true":
		*f.p = true
	case text == "no" || text == "false":
		*f.p = false
	default:
		r.report(path, "is neither yes nor no", "write yes or no")
	}
}

func (f flag) absent(*reader, string) { *f.p = false }

func (f flag) write(w *writer) {
	if *f.p {
		w.line(f.key, "yes")
	}
}

func (f flag) describe() row {
	return row{key: f.key, form: "yes, no", standard: f.label.standard("no"), about: f.about, kind: YesNo, optional: true}
}

// text is a name or a place: free text on one line.
type text struct {
	label
	p *string
}

// maxTextLen is the longest name, in characters.
const maxTextLen = 80

func freeText(key string, p *string, about string) text {
	return text{label: label{key: key, about: about}, p: p}
}

func (t text) orNone() text {
	t.optional = true
	return t
}

func (t text) read(r *reader, path string, n *node) {
	s, ok := r.scalar(path, n, "a name")
	switch {
	case !ok:
	case utf8.RuneCountInString(s) > maxTextLen:
		r.report(path, "is too long", fmt.Sprintf("use at most %d characters", maxTextLen))
	case strings.IndexFunc(s, func(c rune) bool { return !unicode.IsPrint(c) }) >= 0:
		r.report(path, "has a character that does not print", "write plain text on one line")
	case s != strings.TrimSpace(s) || s == "":
		r.report(path, "starts or ends with a blank, or is blank", "write the text without it")
	default:
		*t.p = s
	}
}

func (t text) absent(r *reader, path string) {
	*t.p = ""
	if !t.optional {
		r.missing(path, "a text", "a name")
	}
}

func (t text) write(w *writer) {
	if !t.optional || *t.p != "" {
		w.line(t.key, quoted(*t.p))
	}
}

// quoted is a text in double quotes. Bytes that are not UTF-8 become a control
// character, which Read refuses, instead of the letter that YAML's escape of
// such a byte would stand for.
func quoted(s string) string { return strconv.Quote(strings.ToValidUTF8(s, "\x00")) }

func (t text) describe() row {
	return row{key: t.key, form: "text", span: fmt.Sprintf("up to %d characters", maxTextLen),
		standard: t.label.standard(none), about: t.about, kind: OneText, optional: t.optional}
}
