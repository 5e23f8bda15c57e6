package tankfile_test

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"isohaline/evaporation"
	"isohaline/internal/tankfile"
)

const (
	reference      = "../../docs/tank-file.md"
	referenceStart = "<!-- The tables below are made from the program: go test ./internal/tankfile -run Reference -update -->\n\n"
)

// TestReference: the reference lists every key that Read accepts, as Read
// accepts it.
func TestReference(t *testing.T) {
	data, err := os.ReadFile(reference)
	if err != nil {
		t.Fatal(err)
	}
	prose, tables, found := strings.Cut(string(data), referenceStart)
	if !found {
		t.Fatalf("%s has lost its marker %q", reference, referenceStart)
	}
	if *update {
		if err := os.WriteFile(reference, []byte(prose+referenceStart+tankfile.Reference()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(tables, tankfile.Reference()); diff != "" {
		t.Errorf("%s is behind the program (-document +program):\n%s", reference, diff)
	}
	keys := tankfile.Keys()
	if len(keys) < 100 {
		t.Errorf("the format has only %d keys", len(keys))
	}
	for _, key := range keys {
		group, name := "### The file itself\n", key
		if i := strings.LastIndexByte(key, '.'); i >= 0 {
			group, name = "### `"+key[:i]+"`\n", key[i+1:]
		}
		_, section, found := strings.Cut(tables, group)
		section, _, _ = strings.Cut(section, "\n### ")
		if !found || !strings.Contains(section, "| `"+name+"` |") {
			t.Errorf("%s does not mention %s", reference, key)
		}
	}
}

// TestEvaporationWords: the words of the file are those of package evaporation.
func TestEvaporationWords(t *testing.T) {
	s, _ := readExample(t, "reading-room.yaml")
	for _, model := range evaporation.Models() {
		s.Room.EvaporationModel = model.String()
		again(t, s)
	}
	for g := evaporation.Still; ; g++ {
		if _, err := evaporation.ParseAgitation(g.String()); err != nil {
			break
		}
		s.Display.Agitation = g.String()
		again(t, s)
	}
	if s.Display.Agitation == "still" {
		t.Error("found no agitation beyond the first")
	}
}
