package main

import (
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// layoutRow is a row of README's table of packages.
var layoutRow = regexp.MustCompile("(?m)^\\| \\[`([a-z/]+)`\\]\\([a-z/]+\\)")

// TestLayout: every package has its row in README's table, itself or its parent's,
// and imports nothing of a row below its own. What is for tests alone has none.
func TestLayout(t *testing.T) {
	text, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]int{}
	for i, m := range layoutRow.FindAllStringSubmatch(string(text), -1) {
		rows[m[1]] = i
	}
	if len(rows) == 0 {
		t.Fatal("README has no table of packages")
	}
	rowOf := func(path string) (int, bool) {
		for p := path; p != ""; {
			if i, ok := rows[p]; ok {
				return i, true
			}
			cut := strings.LastIndexByte(p, '/')
			p = p[:max(cut, 0)]
		}
		return 0, false
	}
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "isohaline/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(out)) {
		paths := strings.Fields(line)
		own := strings.TrimPrefix(paths[0], "isohaline/")
		if slices.Contains([]string{"internal/freeport", "internal/longtest", "internal/refcheck"}, own) {
			continue
		}
		row, ok := rowOf(own)
		if !ok {
			t.Errorf("%s has no row in README's table", own)
			continue
		}
		for _, path := range paths[1:] {
			other, ours := strings.CutPrefix(path, "isohaline/")
			if !ours {
				continue
			}
			if i, ok := rowOf(other); ok && i > row {
				t.Errorf("%s imports %s, which stands lower in README's table", own, other)
			}
		}
	}
}
