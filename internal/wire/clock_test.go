package wire

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// A time is believed up to MaxAhead and not a microsecond longer, and back to the
// first instant that any clock of ours knew.
func TestRestampAtTheEdges(t *testing.T) {
	for _, row := range []struct {
		what     string
		device   time.Time
		believed bool
	}{
		{"now", arrival, true},
		{"as far ahead as is believed", arrival.Add(MaxAhead), true},
		{"a microsecond further", arrival.Add(MaxAhead + time.Microsecond), false},
		{"a year ahead", arrival.AddDate(1, 0, 0), false},
		{"the end of the calendar", time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), false},
		{"years late", neverSet, true},
		{"before any clock was set", neverSet.Add(-time.Microsecond), false},
		{"a clock that starts at 2000", time.Date(2000, 1, 1, 0, 0, 9, 0, time.UTC), false},
	} {
		t.Run(row.what, func(t *testing.T) {
			readings := []Reading{{At: row.device, Received: arrival}}
			restamp(readings, arrival)
			r := readings[0]
			switch {
			case row.believed && (r.Clock != ByDevice || !r.At.Equal(row.device) || r.Skew != 0):
				t.Errorf("not believed: %+v", r)
			case !row.believed && (r.Clock != Restamped || !r.At.Equal(arrival)):
				t.Errorf("became %+v, want its arrival", r)
			case !row.believed && r.Skew != row.device.Sub(arrival):
				t.Errorf("skew is %v, want %v", r.Skew, row.device.Sub(arrival))
			}
		})
	}
}

// A device an hour ahead sends a minute's readings: what lies between them stays.
func TestRestampKeepsIntervals(t *testing.T) {
	var b strings.Builder
	for i := range 6 {
		fmt.Fprintf(&b, `{"n":"level","u":"m","v":%d,"t":%d},`, i%2, arrival.Add(time.Hour).Unix()-int64(10*i))
	}
	got, err := ReadBody(lobby, testProfile, []byte("["+strings.TrimSuffix(b.String(), ",")+"]"), arrival)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range got {
		if want := arrival.Add(-time.Duration(10*i) * time.Second); !r.At.Equal(want) || r.Skew != time.Hour || r.Clock != Restamped {
			t.Errorf("reading %d is of %v, skew %v, by %v; want %v, 1h, restamped", i, r.At, r.Skew, r.Clock, want)
		}
	}
}

// Seconds since the device was switched on, sent as a time, are relative to now by
// RFC 8428 section 4.5.3: in the future, so not believed.
func TestUptimeAsTime(t *testing.T) {
	got, err := ReadBody(lobby, testProfile, []byte(`[{"n":"level","u":"m","v":1,"t":86400}]`), arrival)
	if err != nil {
		t.Fatal(err)
	}
	if r := got[0]; r.Clock != Restamped || !r.At.Equal(arrival) || r.Skew != 24*time.Hour {
		t.Errorf("is %+v", r)
	}
}

func TestRestampProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		micros := rapid.Int64Range(-62_135_596_800_000_000, 253_402_300_799_000_000)
		times := rapid.SliceOfN(rapid.OneOf(micros, rapid.Map(rapid.Int64Range(-1e10, 1e10), func(d int64) int64 {
			return arrival.UnixMicro() + d
		})), 1, 6).Draw(t, "times")
		readings := make([]Reading, len(times))
		for i, us := range times {
			readings[i].At = time.UnixMicro(us).UTC()
		}
		restamp(readings, arrival)
		for i, r := range readings {
			if r.At.After(arrival.Add(MaxAhead)) {
				t.Errorf("%v became %v: ahead of time", time.UnixMicro(times[i]).UTC(), r.At)
			}
			if r.At.Before(neverSet.Add(-maxSpread)) {
				t.Errorf("%v became %v: before any clock", time.UnixMicro(times[i]).UTC(), r.At)
			}
			if r.Clock != Restamped && r.At.UnixMicro() != times[i] {
				t.Errorf("%v became %v and is said to be the device's", times[i], r.At)
			}
		}
	})
}
