package tankfile

import (
	"slices"
	"strings"

	"isohaline/internal/problem"
)

// maxProblems is how many problems one reading reports: more help nobody.
const maxProblems = 20

// inOrder sorts by place and drops what is too much.
func inOrder(ps problem.List) problem.List {
	slices.SortStableFunc(ps, func(a, b problem.Problem) int {
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

// list joins names for a sentence: "a, b or c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}
