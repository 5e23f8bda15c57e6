package records_test

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"isohaline/internal/channel"
	"isohaline/internal/records"
	"isohaline/internal/wire"
)

// recorded draws readings of one device, each channel and time once, in the order
// of Read.
func recorded(t *rapid.T) []records.Reading {
	profile := channel.Profile()
	list := rapid.SliceOf(rapid.Custom(func(t *rapid.T) records.Reading {
		channel := rapid.SampledFrom(channel.Names()).Draw(t, "channel")
		c := profile.Channels[channel]
		// From 2000 to now, to the microsecond.
		at := time.UnixMicro(rapid.Int64Range(946_684_800_000_000, now.UnixMicro()).Draw(t, "at")).UTC()
		value := float64(rapid.IntRange(0, 1).Draw(t, "state"))
		if c.Kind == wire.Number {
			value = rapid.Float64Range(c.Min, c.Max).Draw(t, "value")
		}
		return records.Reading{At: at, Channel: channel, Value: value}
	})).Draw(t, "readings")
	byKey := func(a, b records.Reading) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Channel, b.Channel))
	}
	slices.SortStableFunc(list, byKey)
	return slices.CompactFunc(list, func(a, b records.Reading) bool { return byKey(a, b) == 0 })
}

// TestRoundTrip: what Write writes, Guess knows how to read, and Read has it all
// again, to the last bit.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := recorded(t)
		if len(want) == 0 {
			return
		}
		source := records.Source{ID: "k3f9x2ab", Name: rapid.String().Draw(t, "name")}
		var table bytes.Buffer
		w, err := records.NewWriter(&table)
		for _, r := range want {
			if err == nil {
				err = w.Write(source, r.Channel, r.At, r.Value)
			}
		}
		if err == nil {
			err = w.Flush()
		}
		if err != nil {
			t.Fatal(err)
		}
		m := records.Guess(in(table.Bytes()))
		got := read(t, table.Bytes(), &m, records.Until(now, len(want)))
		if got.ProblemCount != 0 || got.Readings.Len() != len(want) || got.ZoneMatters {
			t.Fatalf("%d readings of %d, problems %v, in\n%s", got.Readings.Len(), len(want), got.Problems, table.String())
		}
		for i, r := range slices.Collect(got.Readings.All()) {
			if !r.At.Equal(want[i].At) || r.Channel != want[i].Channel || math.Float64bits(r.Value+0) != math.Float64bits(want[i].Value+0) {
				t.Fatalf("reading %d: got %+v, want %+v", i, r, want[i])
			}
		}
	})
}

// TestNoFormulas: whatever a device is called, no cell that a spreadsheet gets is
// a formula. A negative number is no formula.
func TestNoFormulas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.OneOf(rapid.String(), rapid.StringMatching(`[=+\-@\t\r]cmd.*`)).Draw(t, "name")
		var table bytes.Buffer
		w, err := records.NewWriter(&table)
		if err == nil {
			err = w.Write(records.Source{ID: "a", Name: name}, channel.RoomTemp, now, -3)
		}
		if err == nil {
			err = w.Flush()
		}
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&table).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, cell := range rows[1] {
			first := strings.TrimSpace(cell)
			if i != 2 && first != "" && strings.ContainsRune("=+-@", rune(first[0])) {
				t.Fatalf("cell %d is %q", i+1, cell)
			}
		}
		if rows[1][2] != "-3" || utf8.RuneCountInString(strings.TrimPrefix(rows[1][5], "'")) < utf8.RuneCountInString(name)-1 {
			t.Fatalf("the row lost something: %q", rows[1])
		}
	})
}

// sound checks what must be so of a table, whatever bytes it was read from.
func sound(t *testing.T, got *records.Table, within records.Bounds) {
	t.Helper()
	profile := channel.Profile()
	if got.Readings.Len() > within.Readings || len(got.Problems) > got.ProblemCount || len(got.Problems) > 100 {
		t.Fatalf("%d readings, %d of %d problems", got.Readings.Len(), len(got.Problems), got.ProblemCount)
	}
	n, last := 0, time.Time{}
	for r := range got.Readings.All() {
		c := profile.Channels[r.Channel]
		if r.At.After(within.Latest) || r.At.Year() < 2000 || !(r.Value >= c.Min && r.Value <= max(c.Max, 1)) || r.Row < 1 {
			t.Fatalf("a reading that cannot be: %+v", r)
		}
		if r.At.Before(last) {
			t.Fatalf("reading %d is out of order", n)
		}
		n, last = n+1, r.At
	}
	if from, to := got.Readings.Span(); n != got.Readings.Len() || n > 0 && (!to.Equal(last) || from.After(to)) {
		t.Fatalf("%d readings of %d, from %v to %v", n, got.Readings.Len(), from, to)
	}
	for _, p := range got.Problems {
		if p.Why == "" || p.Row < 0 || len(p.Error()) > 4096 {
			t.Fatalf("a problem that says nothing, or too much: %+v", p)
		}
	}
}

func FuzzTable(f *testing.F) {
	f.Add([]byte("time,level (mm),watch\n2026-03-04T05:00Z,200,wet\n"), true)
	f.Add([]byte("\ufeffDate;Time;Salinity\n31.03.2026;05:00;35,1\n"), false)
	f.Add([]byte("time,channel,value,unit\n2026-03-04T05:00Z,level,31,cm\n\"\n"), true)
	f.Add([]byte("45292.5|0.2\n1772600767|x"), true)
	f.Fuzz(func(t *testing.T, data []byte, comma bool) {
		m := records.Guess(in(data))
		sound(t, read(t, data, &m, records.Until(now, 50)), records.Until(now, 50))
		m = records.Mapping{Separator: ';', Header: !comma, DecimalComma: comma, TimeFormat: records.DayMonthYear,
			Columns: []records.Column{{Use: records.Date}, {Use: records.Clock}, {Use: records.Value, Channel: channel.Level, Unit: "in"}, {}}}
		m.Columns[3].Use = records.Ignore
		sound(t, read(t, data, &m, records.Until(now, 50)), records.Until(now, 50))
	})
}

func FuzzLines(f *testing.F) {
	f.Add([]byte(`[{"bn":"lobby/sump-1/","bt":1772600767,"n":"level","u":"mm","v":312}]`))
	f.Add([]byte("{\"n\":\"watch\",\"t\":1772600700,\"vb\":true}\n[]\n{\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		records.IsLines(in(data))
		sound(t, readLines(t, data, records.Until(now, 50)), records.Until(now, 50))
	})
}

func BenchmarkRead(b *testing.B) {
	var table bytes.Buffer
	w, err := records.NewWriter(&table)
	const n = 10_000
	for i := range n {
		if err == nil {
			err = w.Write(records.Source{ID: "k3f9x2ab"}, channel.Level, now.Add(-time.Duration(i)*time.Minute), 0.2)
		}
	}
	if err == nil {
		err = w.Flush()
	}
	if err != nil {
		b.Fatal(err)
	}
	m := records.Guess(in(table.Bytes()))
	b.SetBytes(int64(table.Len()))
	for b.Loop() {
		if got := read(b, table.Bytes(), &m, records.Until(now, n)); got.Readings.Len() != n {
			b.Fatal(got.Problems)
		}
	}
}
