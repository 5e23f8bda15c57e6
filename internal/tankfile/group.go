package tankfile

import (
	"fmt"
	"strings"

	"isohaline/internal/units"
)

// group is a key with keys below it.
type group struct {
	label
	fields []field
}

func section(key, about string, fields ...field) group {
	return group{label: label{key: key, about: about}, fields: fields}
}

// orDefaults makes the whole group optional: without it, every field below takes its
// own default.
func (g group) orDefaults() group {
	g.optional = true
	return g
}

func (g group) read(r *reader, path string, n *node) { r.group(path, n, g.fields) }

func (g group) absent(r *reader, path string) {
	if !g.optional {
		r.missing(path, "a group of keys", "")
	}
	r.unset(path, g.fields)
}

func (g group) write(w *writer) {
	w.group(g.key, g.optional, func() { w.fields(g.fields) })
}

func (g group) describe() row {
	return row{key: g.key, form: "keys", standard: g.label.standard("the defaults below"), about: g.about, below: g.fields, optional: g.optional}
}

// part is a group whose absence means that the tank has no such part.
type part[T any] struct {
	label
	p      **T
	fields func(*T) []field
}

func optionalPart[T any](key string, p **T, about string, fields func(*T) []field) part[T] {
	return part[T]{label: label{key: key, about: about, optional: true}, p: p, fields: fields}
}

func (o part[T]) read(r *reader, path string, n *node) {
	*o.p = new(T)
	r.group(path, n, o.fields(*o.p))
}

func (o part[T]) absent(*reader, string) { *o.p = nil }

func (o part[T]) write(w *writer) {
	if *o.p != nil {
		w.group(o.key, false, func() { w.fields(o.fields(*o.p)) })
	}
}

func (o part[T]) describe() row {
	return row{key: o.key, form: "keys", standard: o.label.standard(none), about: o.about, below: o.fields(new(T)), optional: true}
}

// held is a quantity in a part that has no other field.
type held[T any] struct {
	quantity
	p  **T
	at func(*T) *float64
}

func (h held[T]) read(r *reader, path string, n *node) {
	*h.p = new(T)
	h.quantity.p = h.at(*h.p)
	h.quantity.read(r, path, n)
}

func (h held[T]) absent(*reader, string) { *h.p = nil }

func (h held[T]) write(w *writer) {
	if *h.p != nil {
		w.line(h.key, h.kind.Exact(*h.at(*h.p)))
	}
}

// items is a list of groups.
type items[T any] struct {
	label
	p      *[]T
	max    int
	fields func(*T) []field
}

func (l items[T]) read(r *reader, path string, n *node) {
	*l.p = nil
	if !r.items(path, n, l.max) {
		return
	}
	*l.p = make([]T, len(n.items))
	for i, item := range n.items {
		at := itemPath(path, i)
		r.mark(at, item.line, item.column, item)
		r.group(at, item, l.fields(&(*l.p)[i]))
	}
}

func (l items[T]) absent(r *reader, path string) {
	*l.p = nil
	if l.optional {
		return
	}
	r.missing(path, "a list of groups, each starting with a dash", "")
}

func (l items[T]) write(w *writer) {
	w.group(l.key, l.optional, func() {
		for i := range *l.p {
			w.item(func() { w.fields(l.fields(&(*l.p)[i])) })
		}
	})
}

func (l items[T]) describe() row {
	return row{key: l.key, form: "list", span: fmt.Sprintf("1 to %d", l.max), standard: l.label.standard(none),
		about: l.about, below: l.fields(new(T)), max: l.max, optional: l.optional}
}

// pairs is a list of points of a curve, each written "this at that".
type pairs[T any] struct {
	label
	example     string
	p           *[]T
	of, against axis
	max         int
	join        func(of, against float64) T
	split       func(T) (of, against float64)
	// elsewhere says that another key has written the same values.
	elsewhere func([]T) bool
}

// axis is the quantity on one side of a pair.
type axis struct {
	kind   *units.Kind
	lo, hi float64
}

const pairWord = " at "

func (c pairs[T]) read(r *reader, path string, n *node) {
	*c.p = nil
	if !r.items(path, n, c.max) {
		return
	}
	for i, item := range n.items {
		at := itemPath(path, i)
		r.mark(at, item.line, item.column, item)
		point := c.join(nan, nan)
		if text, ok := r.scalar(at, item, c.example); ok {
			of, against, found := strings.Cut(text, pairWord)
			if !found {
				r.report(at, "is not a pair", fmt.Sprintf("write it like %q", c.example))
			} else {
				point = c.join(r.quantity(at, of, c.of.kind, c.of.lo, c.of.hi),
					r.quantity(at, against, c.against.kind, c.against.lo, c.against.hi))
			}
		}
		*c.p = append(*c.p, point)
	}
}

// absent is no problem by itself: another key may say the same.
func (c pairs[T]) absent(*reader, string) {}

func (c pairs[T]) write(w *writer) {
	if len(*c.p) == 0 || c.elsewhere(*c.p) {
		return
	}
	w.group(c.key, false, func() {
		for _, point := range *c.p {
			of, against := c.split(point)
			w.item(func() { w.raw(c.of.kind.Exact(of) + pairWord + c.against.kind.Exact(against)) })
		}
	})
}

func (c pairs[T]) describe() row {
	return row{key: c.key, form: fmt.Sprintf("list of `%s`", c.example),
		span: fmt.Sprintf("2 to %d", c.max), standard: c.label.standard(none), about: c.about,
		kind: SeveralLines, optional: c.optional, example: c.example, max: c.max}
}

// borders is the list of four quantities at which the harm classes begin.
type borders struct {
	label
	p    *[4]float64
	axis axis
	def  [4]float64
}

func (b borders) read(r *reader, path string, n *node) {
	*b.p = b.def
	if !r.items(path, n, len(b.p)) {
		return
	}
	if len(n.items) != len(b.p) {
		r.report(path, fmt.Sprintf("has %d values", len(n.items)), "give four, where class 1, 2, 3 and 4 begin")
		return
	}
	for i, item := range n.items {
		at := itemPath(path, i)
		r.mark(at, item.line, item.column, item)
		b.p[i] = nan
		if text, ok := r.scalar(at, item, b.axis.kind.Example()); ok {
			b.p[i] = r.quantity(at, text, b.axis.kind, b.axis.lo, b.axis.hi)
		}
		if i > 0 && b.p[i] <= b.p[i-1] {
			r.report(at, "does not rise", "let each harm class begin above the one before")
		}
	}
}

func (b borders) absent(*reader, string) { *b.p = b.def }

func (b borders) write(w *writer) {
	if *b.p != b.def {
		w.line(b.key, "["+b.text(*b.p)+"]")
	}
}

func (b borders) text(values [4]float64) string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = b.axis.kind.Exact(v)
	}
	return strings.Join(texts, ", ")
}

func (b borders) describe() row {
	return row{key: b.key, form: "list of four: " + strings.Join(b.axis.kind.Units(), ", "),
		span:     b.axis.kind.Exact(b.axis.lo) + " to " + b.axis.kind.Exact(b.axis.hi) + ", rising",
		standard: b.text(b.def), about: b.about,
		kind: SeveralLines, optional: b.optional, quantity: b.axis.kind, example: b.axis.kind.Example(), max: len(b.def)}
}

// itemPath is the path of an item; people count from 1.
func itemPath(path string, i int) string { return fmt.Sprintf("%s[%d]", path, i+1) }
