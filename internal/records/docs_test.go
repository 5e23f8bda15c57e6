package records_test

import (
	"os"
	"strings"
	"testing"

	"isohaline/internal/channel"
)

// TestDocs: the reader's guide names every channel and every unit that a table may
// have.
func TestDocs(t *testing.T) {
	text, err := os.ReadFile("../../docs/records.md")
	if err != nil {
		t.Fatal(err)
	}
	words := strings.FieldsFunc(string(text), func(c rune) bool { return strings.ContainsRune(" \n(),;`", c) })
	named := map[string]bool{}
	for _, w := range words {
		named[w] = true
	}
	for _, name := range channel.Recordable() {
		for _, word := range append([]string{name}, channel.Units(name)...) {
			if !named[word] {
				t.Errorf("docs/records.md does not name %s of %s", word, name)
			}
		}
	}
}
