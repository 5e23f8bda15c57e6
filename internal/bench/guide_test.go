package bench

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"isohaline/internal/bench/salts"
)

// TestGuide holds docs/bench.md to the code: every question, every salt.
func TestGuide(t *testing.T) {
	text, err := os.ReadFile("../../docs/bench.md")
	if err != nil {
		t.Fatal(err)
	}
	for name := range questions() {
		row := fmt.Sprintf("| `isohaline water %s` | `POST /api/bench/%s` |", name, name)
		if name == "hand" { // of a tank, not of a bucket
			row = "| `isohaline water hand TANK` | `POST /api/tanks/{tank}/bench/hand` |"
		}
		if !strings.Contains(string(text), row) {
			t.Errorf("no row %s", row)
		}
	}
	for _, s := range salts.All() {
		if row := fmt.Sprintf("| %s | %s | %.3f |", s.Name, s.Formula, s.GramsPerMol); !strings.Contains(string(text), row) {
			t.Errorf("no row %s", row)
		}
	}
}
