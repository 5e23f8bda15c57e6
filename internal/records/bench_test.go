package records_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"isohaline/internal/records"
)

// BenchmarkHeld is a large table read: what its readings are held in, beside the
// table's own bytes.
func BenchmarkHeld(b *testing.B) {
	const rows = 100_000
	var text strings.Builder
	text.WriteString("time,temperature\n")
	at := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		fmt.Fprintf(&text, "%s,%.2f\n", at.Add(time.Duration(i)*time.Minute).Format(time.DateTime), 25+float64(i%20)/100)
	}
	data := []byte(text.String())
	m := records.Guess(in(data))
	held := func() float64 {
		runtime.GC()
		var s runtime.MemStats
		runtime.ReadMemStats(&s)
		return float64(s.HeapAlloc)
	}
	before := held()
	var t *records.Table
	for b.Loop() {
		if t = read(b, data, &m, records.Until(at.AddDate(10, 0, 0), rows)); t.Readings.Len() != rows {
			b.Fatalf("%d readings, %v", t.Readings.Len(), t.Problems)
		}
	}
	b.ReportMetric((held()-before)/rows, "B-held/reading")
	b.ReportMetric((held()-before)/float64(len(data)), "x-the-table")
	runtime.KeepAlive(t)
	runtime.KeepAlive(data) // else it would be counted as given back
}
