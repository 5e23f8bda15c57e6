package store_test

import (
	"fmt"
	"testing"
	"time"

	"isohaline/internal/store"
)

// BenchmarkAddReadings is batches of readings of many channels: in the worst
// case every reading is in a minute, hour and day of its own, as when each
// channel reports once a minute; in the other each channel reports every second
// and a batch holds ten seconds of each.
func BenchmarkAddReadings(b *testing.B) {
	for _, row := range []struct {
		name           string
		channels, each int
		every          time.Duration
	}{
		{"a minute apart", 5000, 1, time.Minute},
		{"a second apart", 500, 10, time.Second},
	} {
		for survives, durability := range map[string]store.Durability{"a kill": store.Kill, "a power cut": store.PowerCut} {
			b.Run(fmt.Sprintf("%s, survives %s", row.name, survives), func(b *testing.B) {
				s := openSQLite(b, durability)
				ids := makeChannels(b, s, row.channels)
				readings := make([]store.Reading, 0, row.channels*row.each)
				at := t0
				n := 0
				for b.Loop() {
					readings = readings[:0]
					for i := range row.each {
						for _, id := range ids {
							readings = append(readings, store.Reading{Channel: id, At: at.Add(time.Duration(i) * row.every), Value: float64(id) + 0.1})
						}
					}
					at = at.Add(time.Duration(row.each) * row.every)
					added, err := s.AddReadings(b.Context(), readings)
					if err != nil || added.New != len(readings) {
						b.Fatal(added, err)
					}
					n += len(readings)
				}
				b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "readings/s")
			})
		}
	}
}

// BenchmarkChart draws ranges of a channel with two years of readings, one a
// minute. The goal is 200 ms for any.
func BenchmarkChart(b *testing.B) {
	s := openSQLite(b, store.Kill)
	c := makeChannels(b, s, 1)[0]
	const n = 2 * 365 * 24 * 60
	fill(b, s, c, t0, time.Minute, n)
	end := t0.Add(n * time.Minute)
	for _, row := range []struct {
		name   string
		length time.Duration
	}{
		{"1 hour", time.Hour},
		{"1 day", day},
		{"33 hours", 33 * time.Hour},
		{"1 week", 7 * day},
		{"41 days", 41 * day}, // the most minutes
		{"83 days", 83 * day},
		{"1 year", 365 * day},
		{"2 years", 730 * day}, // the most hours
	} {
		b.Run(row.name, func(b *testing.B) {
			points := 0
			for b.Loop() {
				series, err := s.Chart(b.Context(), c, end.Add(-row.length), end)
				if err != nil || len(series.Points) > store.ChartPoints {
					b.Fatal(len(series.Points), err)
				}
				points = len(series.Points)
			}
			b.ReportMetric(float64(points), "points")
		})
	}
}
