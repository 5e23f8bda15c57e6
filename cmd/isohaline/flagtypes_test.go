package main

import (
	"strings"
	"testing"
	"time"

	"isohaline/internal/bench"
)

func TestReadTable(t *testing.T) {
	if _, err := readTable[bench.LogEntry](strings.NewReader("at,what,amount,at\n")); err == nil || !strings.Contains(err.Error(), `"at" is there twice`) {
		t.Errorf("got %v", err)
	}
	rows, err := readTable[bench.LogEntry](strings.NewReader("\uFEFF# an invented tank\nat, what ,amount,sd\n2026-11-01,alkalinity,8.5,\n2026-11-02 14:30,alkalinity, 8.1 ,0.1\n2026-11-03T00:00:00+01:00,water-change,40,\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := []bench.LogEntry{
		{At: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), What: "alkalinity", Amount: 8.5},
		{At: time.Date(2026, 11, 2, 14, 30, 0, 0, time.UTC), What: "alkalinity", Amount: 8.1, SD: 0.1},
		{At: time.Date(2026, 11, 2, 23, 0, 0, 0, time.UTC), What: "water-change", Amount: 40},
	}
	for i, w := range want {
		if r := rows[i]; !r.At.Equal(w.At) || r.What != w.What || r.Amount != w.Amount || r.SD != w.SD {
			t.Errorf("row %d: %+v, want %+v", i, r, w)
		}
	}
}

// FuzzReadTable: whatever the bytes, a table is read or refused.
func FuzzReadTable(f *testing.F) {
	for _, seed := range []string{"at,what,amount\n2026-11-01,alkalinity,8\n", "instrument,value,tempC\nhydrometer,1.026,25\n", "a\n", "\"", "at,what,amount,at\n2026-11-01,a,1,\n", ""} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if rows, err := readTable[bench.LogEntry](strings.NewReader(text)); err == nil && len(rows) > strings.Count(text, "\n")+1 {
			t.Errorf("%d rows of %q", len(rows), text)
		}
		_, _ = readTable[bench.InstrumentReading](strings.NewReader(text))
	})
}
