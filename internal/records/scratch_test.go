package records_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/channel"
	"isohaline/internal/records"
)

func scratch(t *testing.T) *os.File {
	f, err := os.Create(filepath.Join(t.TempDir(), "scratch"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// shuffled is a table of readings in any order, some of them there twice with
// another value.
func shuffled(t *rapid.T) string {
	const times = 40 // few, so that many are met again
	var text strings.Builder
	text.WriteString("time,channel,value\n")
	for range rapid.IntRange(0, 120).Draw(t, "rows") {
		name := rapid.SampledFrom([]string{channel.Level, channel.WaterTemp, channel.Floor}).Draw(t, "channel")
		fmt.Fprintf(&text, "2026-03-04 05:%02d,%s,%d\n", rapid.IntRange(0, times-1).Draw(t, "minute"), name, rapid.IntRange(0, 1).Draw(t, "value"))
	}
	return text.String()
}

// TestScratch: a table that does not fit in memory is read as one that does: the same
// readings, in the same order, and the same problems.
func TestScratch(t *testing.T) {
	file := scratch(t)
	rapid.Check(t, func(t *rapid.T) {
		text := shuffled(t)
		m := records.Guess(in(text))
		want := read(t, text, &m, bounds)
		if err := file.Truncate(0); err != nil {
			t.Fatal(err)
		}
		within := bounds
		within.Scratch, within.Held = file, rapid.IntRange(1, 130).Draw(t, "held")
		got := read(t, text, &m, within)
		if d := cmp.Diff(slices.Collect(want.Readings.All()), slices.Collect(got.Readings.All())); d != "" || got.Readings.Err() != nil {
			t.Fatalf("readings (-held +in the scratch file), %v:\n%s", got.Readings.Err(), d)
		}
		if d := cmp.Diff(want.Problems, got.Problems); d != "" || got.ProblemCount != want.ProblemCount {
			t.Fatalf("problems (-held +in the scratch file):\n%s", d)
		}
		from, to := got.Readings.Span()
		if f, l := want.Readings.Span(); !f.Equal(from) || !l.Equal(to) || got.Readings.Len() != want.Readings.Len() {
			t.Fatalf("%d from %v to %v, want %d from %v to %v", got.Readings.Len(), from, to, want.Readings.Len(), f, l)
		}
	})
}

// TestScratchFails: a scratch file that takes nothing, or gives nothing back, is an
// error, and never a shorter recording.
func TestScratchFails(t *testing.T) {
	const text = "time,level\n2026-03-04 05:00,0.1\n2026-03-04 05:01,0.2\n2026-03-04 05:02,0.3\n"
	m := records.Guess(in(text))
	within := bounds
	within.Scratch, within.Held = scratch(t), 1
	got := read(t, text, &m, within)
	if err := within.Scratch.Truncate(0); err != nil {
		t.Fatal(err)
	}
	if n := len(slices.Collect(got.Readings.All())); n != 0 || !errors.Is(got.Readings.Err(), io.EOF) {
		t.Errorf("%d readings of an emptied file, %v", n, got.Readings.Err())
	}
	if err := within.Scratch.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := records.Read(in(text), &m, within); !errors.Is(err, os.ErrClosed) {
		t.Errorf("a closed file gives %v", err)
	}
}

// broken is a text that ends with an error.
type broken struct {
	text  string
	until int
}

var errBroken = errors.New("the disk is broken")

func (b broken) ReadAt(p []byte, off int64) (int, error) {
	if off >= int64(b.until) {
		return 0, errBroken
	}
	return copy(p, b.text[off:b.until]), errBroken
}

// TestReadingFails: a recording that cannot be read to its end is an error, wherever
// reading stops.
func TestReadingFails(t *testing.T) {
	const table, lines = "time,level\n2026-03-04 05:00,0.1\n", `{"n":"level","t":1772600767,"u":"m","v":0.3}` + "\n"
	m := records.Guess(in(table))
	for until := range len(table) {
		file := io.NewSectionReader(broken{table, until}, 0, int64(len(table)))
		if got, err := records.Read(file, &m, bounds); !errors.Is(err, errBroken) {
			t.Errorf("after %d bytes: %v, %v", until, got, err)
		}
		records.Guess(file) // must end
	}
	for until := range len(lines) {
		if got, err := records.ReadLines(io.NewSectionReader(broken{lines, until}, 0, int64(len(lines))), bounds); !errors.Is(err, errBroken) {
			t.Errorf("after %d bytes: %v, %v", until, got, err)
		}
	}
}

// TestCharactersAcrossReads: a text that is read in pieces is text wherever they
// meet.
func TestCharactersAcrossReads(t *testing.T) {
	m := records.Mapping{Separator: ',', TimeFormat: records.YearMonthDay, Columns: []records.Column{{Use: records.Time}, {Use: records.Value, Channel: channel.Level}}}
	for _, character := range []string{"é", "水", "🌊"} {
		for shift := range 4 {
			row := "2026-03-04,0.2," + strings.Repeat("x", shift) + strings.Repeat(character, 70_000)
			if got := read(t, row+"\n", &m, bounds); got.ProblemCount != 0 || got.Readings.Len() != 1 {
				t.Errorf("%s after %d: %v", character, shift, got.Problems)
			}
			if got := read(t, row[:len(row)-1]+"\n", &m, bounds); got.ProblemCount != 1 || got.Readings.Len() != 0 {
				t.Errorf("half of %s after %d: %v", character, shift, got.Problems)
			}
		}
	}
}
