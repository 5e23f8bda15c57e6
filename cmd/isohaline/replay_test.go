package main

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/longtest"
)

// TestReplayLarge: a recording with more readings than are held at once is replayed
// the same in any order, from a file or from standard input, and leaves no scratch
// file behind.
func TestReplayLarge(t *testing.T) {
	longtest.Only(t, "it replays two recordings of half a year")
	const rows, start = heldReplayed + 1000, 1_772_600_000
	lines := make([]string, rows)
	for i := range lines {
		lines[i] = fmt.Sprintf("%d,%.2f\n", start+60*i, 25+float64(i%7)/100)
	}
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	replayed := func(file string, in io.Reader) string {
		var out bytes.Buffer
		r := &replayCommand{File: file, Tank: "../../examples/window-nano.yaml", Zone: "UTC", Column: []string{"2=temperature"}}
		if err := r.Run(t.Context(), &console{In: in, Out: &out, Err: io.Discard}); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	want := replayed("-", strings.NewReader(strings.Join(lines, "")))
	if first := fmt.Sprintf("Window nano: %d readings from 2026-03-04 04:53 to ", rows); !strings.HasPrefix(want, first) {
		t.Fatalf("got %s, want %s", want, first)
	}
	rand.New(rand.NewPCG(1, 2)).Shuffle(rows, func(i, j int) { lines[i], lines[j] = lines[j], lines[i] })
	table := filepath.Join(folder, "shuffled.csv")
	if err := os.WriteFile(table, []byte(strings.Join(lines, "")), 0o600); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, replayed(table, nil)); d != "" {
		t.Errorf("in order and in any order (-want +got):\n%s", d)
	}
	if left, err := filepath.Glob(filepath.Join(folder, "*")); err != nil || len(left) != 1 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
