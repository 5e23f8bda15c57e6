package tankfile

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// maxProblems is how many problems one reading reports: more help nobody.
const maxProblems = 20

// maxShownLen cuts a value that a problem quotes.
const maxShownLen = 40

// Problem is one thing in a tank file that has to be mended, or, as a warning,
// looked at. Reason continues the sentence that the value begins; Fix says what
// would be valid.
type Problem struct {
	File string
	// Line and Column count from 1; the column counts characters.
	Line, Column int
	// Field is the path of keys, like "top-off.watch.height". Items of a list
	// count from 1: "room.seasons[2].air".
	Field string
	// Value is what stands there; empty where nothing does.
	Value  string
	Reason string
	Fix    string
}

// Error is the problem on one line: file:line:column: field: value reason; fix.
func (p Problem) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", p.File, p.Line, p.Column)
	if p.Field != "" {
		b.WriteString(p.Field + ": ")
	}
	if p.Value != "" {
		fmt.Fprintf(&b, "%q ", shown(p.Value))
	}
	b.WriteString(p.Reason)
	if p.Fix != "" {
		b.WriteString("; " + p.Fix)
	}
	return b.String()
}

// Problems is every problem of one file, in the order of its lines, at most
// the first twenty.
type Problems []Problem

func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// inOrder sorts by place and drops what is too much.
func inOrder(ps []Problem) []Problem {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	if len(ps) > maxProblems {
		ps = slices.Clip(ps[:maxProblems])
	}
	return ps
}

// shown shortens a value for a message.
func shown(value string) string {
	if utf8.RuneCountInString(value) <= maxShownLen {
		return value
	}
	return string([]rune(value)[:maxShownLen]) + "…"
}

// list joins names for a sentence: "a, b or c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}
