package main

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestMeasure: two seconds of the whole way with the real program. What it takes is
// not looked at, since other work goes on beside a test.
func TestMeasure(t *testing.T) {
	program := filepath.Join(t.TempDir(), "isohaline")
	if out, err := exec.Command("go", "build", "-o", program, "isohaline/cmd/isohaline").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	o := options{program: program, tanks: 3, rates: []int{60}, length: 2 * time.Second, pages: 2, history: 3 * time.Hour}
	var progress bytes.Buffer
	results, err := measureAll(t.Context(), o, &progress)
	if err != nil {
		t.Fatalf("%v: %s", err, &progress)
	}
	for _, r := range results {
		if r.sent != 120 || len(r.acks) != r.sent {
			t.Errorf("%s: %d of %d readings were acknowledged, 120 were due", r.name, len(r.acks), r.sent)
		}
		// Each of two lookers has seen the last reading of each channel, and no reading
		// twice.
		if least, most := 2*len(channels), 80; len(r.seen) < least || len(r.seen) > most {
			t.Errorf("%s: %d readings were seen, want %d to %d", r.name, len(r.seen), least, most)
		}
		if quantile(r.seen, 0) <= 0 {
			t.Errorf("%s: a reading was seen %v before it was due", r.name, -r.seen[0])
		}
	}
	var text bytes.Buffer
	if err := table(&text, results); err != nil {
		t.Fatal(err)
	}
	if lines := strings.Count(text.String(), "\n"); lines != 1+len(results) {
		t.Errorf("the table has %d lines for %d results:\n%s", lines, len(results), &text)
	}
	t.Logf("%s%s", &progress, &text)
}

func TestStartHubFails(t *testing.T) {
	if _, err := startHub(t.Context(), filepath.Join(t.TempDir(), "none"), t.TempDir()); err == nil || !strings.Contains(err.Error(), "build it first") {
		t.Errorf("the error is %v", err)
	}
}

func TestQuantile(t *testing.T) {
	var d []time.Duration
	if got := quantile(d, 0.5); got != 0 {
		t.Errorf("of nothing: %v", got)
	}
	for n := range 100 {
		d = append(d, time.Duration(n+1))
	}
	for q, want := range map[float64]time.Duration{0: 1, 0.5: 51, 0.99: 100, 1: 100} {
		if got := quantile(d, q); got != want {
			t.Errorf("%v: %v, want %v", q, got, want)
		}
	}
}
