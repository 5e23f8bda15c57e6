package tankfile_test

import (
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"
)

// TestLibraryEditsLoseText is why the edits of a tank file are our own: the YAML
// library's, by path, write the whole file again, and lose what people wrote
// (docs/decisions/0202-edits-are-cut-into-the-text.md). Where a case fails here
// the library has become better: look at the decision again.
func TestLibraryEditsLoseText(t *testing.T) {
	for _, row := range []struct{ what, text, path, value, want, got string }{
		{"the comment at the value is lost",
			"display:\n  height: 24 in  # inside\n", "$.display.height", "25 in",
			"display:\n  height: 25 in  # inside\n", "display:\n  height: 25 in\n"},
		{"comments elsewhere move",
			"a: 1\nb: 2     # two\nlonger: 3  # three\n", "$.a", "9",
			"a: 9\nb: 2     # two\nlonger: 3  # three\n", "a: 9\nb: 2 # two\nlonger: 3 # three\n"},
		{"blank lines elsewhere go",
			"a: 1\n\n\nb: 2\n", "$.a", "9",
			"a: 9\n\n\nb: 2\n", "a: 9\n\nb: 2\n"},
		{"a comment between braces takes the brace, and the file is no YAML any more",
			"a: 1\nwater: {\n  salinity: 35 ppt,  # weekly\n  temperature: 25 °C\n}\n", "$.a", "9",
			"a: 9\nwater: {\n  salinity: 35 ppt,  # weekly\n  temperature: 25 °C\n}\n", "a: 9\nwater: {salinity: 35 ppt, temperature: 25 °C # weekly}\n"},
	} {
		file, err := parser.ParseBytes([]byte(row.text), parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		path, err := yaml.PathString(row.path)
		if err != nil {
			t.Fatal(err)
		}
		if err := path.ReplaceWithReader(file, strings.NewReader(row.value)); err != nil {
			t.Fatal(err)
		}
		switch got := file.String(); {
		case got == row.want:
			t.Errorf("%s: no longer", row.what)
		case got != row.got:
			t.Errorf("%s: now it writes %q", row.what, got)
		}
		if strings.Contains(row.got, "weekly}") {
			if _, err := parser.ParseBytes([]byte(row.got), 0); err == nil {
				t.Errorf("%s: %q is YAML now", row.what, row.got)
			}
		}
	}
}
