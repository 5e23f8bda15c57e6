package tankfile

import (
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"isohaline/internal/problem"
)

// splicer changes a text at one place at a time. The YAML library says where
// things stand; the text between is never rewritten. Each change is made in
// the tree and in the text, and counts only if the text then reads as the tree:
// whatever YAML allows, no change does anything but what it says.
type splicer struct {
	text string
	root *node
	// lines are where the lines begin, in bytes.
	lines []int
}

// spot is a place in the document.
type spot struct {
	n *node
	// in is the mapping or list that it is an entry or item of, nil for the file
	// itself; i is which.
	in *node
	i  int
	// flow: it stands between brackets or braces.
	flow bool
}

// splice replaces a stretch of the text.
type splice struct {
	from, to int
	with     string
}

// parse reads the text and notes where its lines begin.
func (s *splicer) parse() error {
	root, wrong := parseDocument([]byte(s.text))
	if wrong != nil {
		return problem.List{*wrong}
	}
	s.root, s.lines = root, []int{0}
	for i := range len(s.text) {
		if s.text[i] == '\n' {
			s.lines = append(s.lines, i+1)
		}
	}
	return nil
}

// commit makes a change, which has been made in the tree already, in the text.
func (s *splicer) commit(e Edit, c splice) error {
	cannot := func() error {
		return refuse(e, "is written in a way that the form cannot change", "change it in the text")
	}
	if c.from < 0 || c.to < c.from || c.to > len(s.text) {
		return cannot()
	}
	want := s.root
	s.text = s.text[:c.from] + c.with + s.text[c.to:]
	if err := s.parse(); err != nil || !want.reads(s.root) {
		return cannot()
	}
	return nil
}

// reads says whether two trees mean the same. Nothing, {} and [] do.
func (n *node) reads(m *node) bool {
	bare := func(n *node) bool { return n.kind != scalar && len(n.entries)+len(n.items) == 0 }
	if bare(n) || bare(m) {
		return bare(n) && bare(m)
	}
	return n.kind == m.kind && n.text == m.text &&
		slices.EqualFunc(n.entries, m.entries, func(a, b entry) bool { return a.key == b.key && a.value.reads(b.value) }) &&
		slices.EqualFunc(n.items, m.items, (*node).reads)
}

// find is the place of a path, if the file has it.
func (s *splicer) find(steps []step) (spot, bool) {
	at := spot{n: s.root}
	for _, st := range steps {
		i := st.item - 1
		if st.item == 0 {
			i = slices.IndexFunc(at.n.entries, func(e entry) bool { return e.key == st.key })
		}
		if i < 0 || st.item > len(at.n.items) {
			return spot{}, false
		}
		at = s.below(at, i)
	}
	return at, true
}

// below is the place of an entry or an item.
func (s *splicer) below(at spot, i int) spot {
	inner := spot{in: at.n, i: i, flow: at.flow || at.n.flow()}
	if at.n.kind == mapping {
		inner.n = at.n.entries[i].value
	} else {
		inner.n = at.n.items[i]
	}
	return inner
}

// replace puts another value in the place of one.
func (s *splicer) replace(at spot, value *node, raw string) splice {
	c := s.replacing(at, raw)
	*at.n = *value
	return c
}

// insert adds an entry to a group, after those that are usually written before.
func (s *splicer) insert(group spot, key string, order []string, value *node, raw string) splice {
	i := 0
	place := slices.Index(order, key)
	for j, e := range group.n.entries {
		if k := slices.Index(order, e.key); k >= 0 && k < place {
			i = j + 1
		}
	}
	c := s.insertion(group, i, key+": "+raw, "")
	group.n.kind = mapping
	group.n.entries = slices.Insert(group.n.entries, i, entry{key: key, value: value})
	return c
}

// append adds an item to the end of a list.
func (s *splicer) append(list spot, value *node, raw string) splice {
	c := s.insertion(list, len(list.n.items), raw, "- ")
	list.n.kind = sequence
	list.n.items = append(list.n.items, value)
	return c
}

// insertion is the change of the text that puts a member at place i of a group
// or a list; dash is what begins one outside of brackets.
func (s *splicer) insertion(in spot, i int, raw, dash string) splice {
	n := in.n
	members := len(n.entries) + len(n.items)
	switch {
	case n.kind == scalar || members > 0 && (n.kind == sequence) != (dash != ""):
		return nowhere // something else stands there
	case n.flow() && members > 0 && i > 0:
		return s.put(s.end(s.below(in, i-1)), ", "+raw)
	case n.flow() && members > 0:
		return s.put(s.first(n, 0), raw+", ")
	case members > 0 && i > 0:
		before := s.below(in, i-1)
		at := s.nextLine(s.end(before))
		air := ""
		if in.in == nil && s.line(s.start(before)) != s.line(s.first(n, i-1)) {
			air = "\n" // groups of several lines stand apart
		}
		return s.put(at, s.fresh(at)+air+s.margin(n)+dash+raw+"\n")
	case members > 0:
		return s.put(s.first(n, 0), raw+"\n"+s.margin(n))
	case s.bracketed(in):
		return s.within(in, raw, dash != "")
	case in.in == nil:
		return s.put(len(s.text), s.fresh(len(s.text))+raw+"\n")
	case in.in.kind == sequence: // "- {}" becomes "- key: value"
		return s.replacing(in, raw)
	}
	return s.unfold(in, dash+raw)
}

// bracketed says whether a member that is put into a group or list comes to
// stand in brackets. Empty ones that stand on lines are unfolded instead, unless
// there is a comment in them.
func (s *splicer) bracketed(in spot) bool {
	if in.flow || !in.n.flow() || in.in == nil {
		return in.flow || in.n.flow()
	}
	return len(in.n.entries)+len(in.n.items) > 0 || strings.TrimSpace(s.between(s.start(in)+1, s.end(in)-1)) != ""
}

// nowhere is a change that cannot be made.
var nowhere = splice{from: -1}

func (s *splicer) put(at int, with string) splice { return splice{at, at, with} }

// replacing is the change that puts another text in the place of a value.
func (s *splicer) replacing(at spot, raw string) splice {
	if at.n.implicit() {
		raw = " " + raw
	}
	return splice{s.start(at), s.end(at), raw}
}

// within puts the first member into brackets, where they are or new ones.
func (s *splicer) within(in spot, raw string, list bool) splice {
	open, end := "{", "}"
	if list {
		open, end = "[", "]"
	}
	if from := s.start(in); in.n.flow() && strings.HasPrefix(s.text[from:], open) {
		return s.put(from+1, raw)
	}
	return s.replacing(in, open+raw+end)
}

// unfold makes lines of an entry that has nothing yet: "key: {}  # why" becomes
// "key:  # why" with the member below it.
func (s *splicer) unfold(in spot, raw string) splice {
	key := s.at(in.in.entries[in.i].source.Key.GetToken())
	margin := strings.Repeat(" ", s.column(key)-1) + indent
	from, to := s.start(in), s.end(in)
	next := s.nextLine(to)
	rest := strings.TrimSuffix(s.between(to, next), "\n")
	if strings.TrimSpace(rest) == "" {
		rest, from = "", s.at(in.in.entries[in.i].source.Start)+1
	}
	return splice{from, next, rest + "\n" + margin + raw + "\n"}
}

// remove takes a member out of its group or list.
func (s *splicer) remove(at spot) splice {
	in, i := at.in, at.i
	if in == nil {
		return nowhere
	}
	last := len(in.entries) + len(in.items) - 1
	from, to, with := s.first(in, i), s.end(at), ""
	switch {
	case in.flow() && i < last:
		to = s.first(in, i+1)
	case in.flow() && i > 0:
		// The comma goes, a comment behind it stays.
		before := s.end(s.below(spot{n: in}, i-1))
		if with = strings.Replace(s.between(before, from), ",", "", 1); strings.TrimSpace(with) == "" {
			with = ""
		}
		from = before
	case in.flow():
	default:
		begin := s.lines[s.line(from)]
		switch {
		case strings.TrimSpace(s.between(begin, from)) == "": // it has lines of its own
			from, to = begin, s.nextLine(to)
			if strings.HasSuffix(s.text[:from], "\n\n") && (to == len(s.text) || s.text[to] == '\n') {
				from-- // one of two blank lines
			}
		case i < last: // "- key: value": the next one moves up behind the dash
			to = s.nextLine(to)
			to += len(s.text[to:]) - len(strings.TrimLeft(s.text[to:], " "))
		}
	}
	if in.kind == mapping {
		in.entries = slices.Delete(in.entries, i, i+1)
		if last == 0 && from != s.lines[s.line(from)] && !in.flow() {
			with = "{}"
		}
	} else {
		in.items = slices.Delete(in.items, i, i+1)
	}
	return splice{from, to, with}
}

// flow says whether a group or list is written in braces or brackets.
func (n *node) flow() bool { return n.close() != nil }

// close is the token that ends such a one.
func (n *node) close() *token.Token {
	switch source := n.source.(type) {
	case *ast.MappingNode:
		if source.IsFlowStyle {
			return source.End
		}
	case *ast.SequenceNode:
		if source.IsFlowStyle {
			return source.End
		}
	}
	return nil
}

// implicit says whether a value is nothing at all, not even a word for it.
func (n *node) implicit() bool {
	return n.kind == empty && (n.source == nil || n.source.GetToken().Type == token.ImplicitNullType)
}

// first is where a member begins: its key, its dash, or in brackets itself.
func (s *splicer) first(in *node, i int) int {
	if in.kind == mapping {
		return s.at(in.entries[i].source.Key.GetToken())
	}
	if list, ok := in.source.(*ast.SequenceNode); ok && !list.IsFlowStyle && i < len(list.Entries) {
		return s.at(list.Entries[i].Start)
	}
	return s.start(s.below(spot{n: in}, i))
}

// start is where a value begins.
func (s *splicer) start(at spot) int {
	n := at.n
	switch {
	case n.implicit():
		return s.end(at)
	case len(n.entries) > 0 && !n.flow() || n.kind == sequence && !n.flow():
		return s.first(n, 0)
	}
	return s.at(n.source.GetToken())
}

// end is just after a value's last character.
func (s *splicer) end(at spot) int {
	n := at.n
	switch {
	case n.implicit() && at.in == nil:
		return len(s.text)
	case n.implicit() && at.in.kind == mapping:
		return s.at(at.in.entries[at.i].source.Start) + 1 // after the colon
	case n.implicit():
		return s.first(at.in, at.i) + 1 // after the dash
	case n.flow():
		return s.at(n.close()) + 1
	case len(n.entries) > 0:
		return s.end(s.below(at, len(n.entries)-1))
	case len(n.items) > 0:
		return s.end(s.below(at, len(n.items)-1))
	}
	return s.scalarEnd(n.source.GetToken())
}

// scalarEnd is just after a single value, which may be quoted.
func (s *splicer) scalarEnd(tk *token.Token) int {
	from := s.at(tk)
	to := len(s.text)
	if tk.Next != nil {
		to = s.at(tk.Next)
	}
	return from + len(strings.TrimRight(s.between(from, to), " \t\r\n"))
}

// between is a stretch of the text, empty if it ends before it begins.
func (s *splicer) between(from, to int) string { return s.text[from:max(from, to)] }

// at is where a token stands.
func (s *splicer) at(tk *token.Token) int {
	line, column := tk.Position.Line-1, tk.Position.Column-1
	at := s.lines[min(max(line, 0), len(s.lines)-1)]
	for ; column > 0 && at < len(s.text); column-- {
		_, size := utf8.DecodeRuneInString(s.text[at:])
		at += size
	}
	return at
}

// line is which line a place is in, from 0.
func (s *splicer) line(at int) int {
	i, exact := slices.BinarySearch(s.lines, at)
	if !exact {
		i--
	}
	return i
}

// column is the column of a place, from 1.
func (s *splicer) column(at int) int {
	return utf8.RuneCountInString(s.text[s.lines[s.line(at)]:at]) + 1
}

// nextLine is where the line after a place begins.
func (s *splicer) nextLine(at int) int {
	if next := s.line(at) + 1; next < len(s.lines) {
		return s.lines[next]
	}
	return len(s.text)
}

// margin is the blanks before the members of a group or list on lines.
func (s *splicer) margin(n *node) string { return strings.Repeat(" ", s.column(s.first(n, 0))-1) }

// fresh is what a new line needs before it at a place: the end of a last line
// that has none.
func (s *splicer) fresh(at int) string {
	if at > 0 && s.text[at-1] != '\n' {
		return "\n"
	}
	return ""
}

// encode writes a single value: as it is where YAML reads it so, else in quotes.
// It is in quotes, too, where YAML would read it right and people might not.
func encode(value string, flow bool) string {
	frame := func(v string) string {
		if flow {
			return "a: {b: " + v + ", c: d}\n"
		}
		return "a:\n  b: " + v + " # c\n"
	}
	const first = "%@`&*!|>'\"#{}[],?:~" // the indicators of YAML 1.2.2, section 5.3, but for the minus
	anywhere := ":#\r\n"
	if flow {
		anywhere += ",[]{}"
	}
	if strings.ContainsAny(value, anywhere) || value != "" && strings.Contains(first, value[:1]) {
		return quoted(value)
	}
	root, wrong := parseDocument([]byte(frame(value)))
	if wrong != nil {
		return quoted(value)
	}
	want := &node{kind: mapping, entries: []entry{{key: "a", value: &node{kind: mapping,
		entries: []entry{{key: "b", value: &node{kind: scalar, text: value}}}}}}}
	if flow {
		inner := want.entries[0].value
		inner.entries = append(inner.entries, entry{key: "c", value: &node{kind: scalar, text: "d"}})
	}
	if !want.reads(root) {
		return quoted(value)
	}
	return value
}
