package store_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"isohaline/internal/store"
)

const day = 24 * time.Hour

// TestStepFor: the finest round step that makes at most 2000 points, at the
// edges where it changes.
func TestStepFor(t *testing.T) {
	for _, row := range []struct {
		length, step, base time.Duration
	}{
		{time.Second, time.Minute, time.Minute},
		{1999 * time.Minute, time.Minute, time.Minute},
		{1999*time.Minute + 1, 2 * time.Minute, time.Minute},
		{7 * day, 10 * time.Minute, time.Minute},
		{1999 * 30 * time.Minute, 30 * time.Minute, time.Minute},
		{1999*30*time.Minute + 1, time.Hour, time.Hour},
		{1999 * time.Hour, time.Hour, time.Hour},
		{1999*time.Hour + 1, 2 * time.Hour, time.Hour},
		{365 * day, 6 * time.Hour, time.Hour},
		{731 * day, 12 * time.Hour, time.Hour},
		{1999 * 12 * time.Hour, 12 * time.Hour, time.Hour},
		{1999*12*time.Hour + 1, day, day},
		{50 * 365 * day, 28 * day, day},
	} {
		step, base := store.StepFor(row.length)
		if step != row.step || base != row.base {
			t.Errorf("%v: steps of %v from %v, want %v from %v", row.length, step, base, row.step, row.base)
		}
	}
}

// fill puts readings of a slow wave into a channel, one every so often.
func fill(t testing.TB, s *store.Store, channel int64, from time.Time, every time.Duration, n int) {
	t.Helper()
	const batch = 20000
	for first := 0; first < n; first += batch {
		var readings []store.Reading
		for i := first; i < min(first+batch, n); i++ {
			readings = append(readings, store.Reading{Channel: channel, At: from.Add(time.Duration(i) * every), Value: wave(i)})
		}
		got(s.AddReadings(t.Context(), readings))(t)
	}
}

func wave(i int) float64 { return 35 + math.Sin(float64(i)/1000) + float64(i%7)/100 }

// TestChart: whatever the range, at most 2000 points, in order and within it,
// and together they hold every reading once: by count, lowest, highest and mean.
func TestChart(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		c := makeChannels(t, s, 2)[0]
		const n = 6000
		const every = 46 * time.Minute // 192 days
		fill(t, s, c, t0, every, n)
		for _, row := range []struct {
			from, length, step time.Duration
		}{
			{0, time.Hour, 0},
			{13 * time.Minute, 2000 * every, 0},
			{0, 2000*every + 1000, time.Hour},
			{5 * time.Hour, 80 * day, time.Hour},
			{0, 100 * day, 2 * time.Hour},
			{-400 * day, 600 * day, 12 * time.Hour},
			{-400 * day, 1400 * day, day},
		} {
			from := t0.Add(row.from)
			to := from.Add(row.length)
			series := got(s.Chart(t.Context(), c, from.In(berlin), to))(t)
			if series.Step != row.step || len(series.Points) > 2000 {
				t.Errorf("%v from %v: steps of %v, want %v; %d points", row.length, row.from, series.Step, row.step, len(series.Points))
			}
			// What the points ought to hold: the steps that the range touches.
			begin := from
			if row.step > 0 {
				begin = from.Truncate(row.step)
				to = to.Add(row.step - 1).Truncate(row.step)
			}
			var count int64
			low, high, sum := math.Inf(1), math.Inf(-1), 0.0
			for i := range n {
				if at := t0.Add(time.Duration(i) * every); !at.Before(begin) && at.Before(to) {
					count++
					low, high, sum = min(low, wave(i)), max(high, wave(i)), sum+wave(i)
				}
			}
			var points int64
			gotLow, gotHigh, gotSum := math.Inf(1), math.Inf(-1), 0.0
			last := begin.Add(-1)
			for _, p := range series.Points {
				if !p.At.After(last) || !p.At.Before(to) || p.At.Location() != time.UTC {
					t.Fatalf("%v from %v: a point at %v after one at %v", row.length, row.from, p.At, last)
				}
				if p.Mean < p.Low || p.Mean > p.High || p.Last < p.Low || p.Last > p.High {
					t.Fatalf("%v from %v: %+v", row.length, row.from, p)
				}
				last = p.At
				points += p.N
				gotLow, gotHigh, gotSum = min(gotLow, p.Low), max(gotHigh, p.High), gotSum+p.Mean*float64(p.N)
			}
			if points != count || gotLow != low || gotHigh != high || math.Abs(gotSum-sum) > 1e-9*sum {
				t.Errorf("%v from %v: %d readings %v to %v sum %v, want %d, %v to %v, %v", row.length, row.from, points, gotLow, gotHigh, gotSum, count, low, high, sum)
			}
		}
		empty := got(s.Chart(t.Context(), c+1, t0, t0.Add(day)))(t)
		if len(empty.Points) != 0 {
			t.Errorf("a channel without readings: %+v", empty)
		}
		for _, to := range []time.Time{t0, t0.Add(-time.Hour)} {
			if _, err := s.Chart(t.Context(), c, t0, to); !contains(err, "the end must be after the beginning") {
				t.Errorf("to %v: %v", to, err)
			}
		}
	})
}

// TestPrune: each resolution is dropped at its own age, charts of old times are
// drawn from what is left, and a reading that comes too late is not counted
// twice.
func TestPrune(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		c := makeChannels(t, s, 1)[0]
		fill(t, s, c, t0, time.Hour/2, 48*30) // 30 days
		now := t0.Add(30 * day)
		keep := store.Retention{Readings: 2 * day, Minutes: 5 * day, Hours: 10 * day, Days: 20 * day}
		if at := got(store.Horizon(ctx, s))(t); !at.IsZero() {
			t.Errorf("nothing was pruned, yet the horizon is %v", at)
		}
		must(t, s.Prune(ctx, keep, now))
		must(t, s.Prune(ctx, keep, now.Add(-5*day))) // a clock set back changes nothing

		horizon := now.Add(-2 * day)
		if at := got(store.Horizon(ctx, s))(t); !at.Equal(horizon) {
			t.Errorf("horizon %v, want %v", at, horizon)
		}
		if list := dump(t, s, c); len(list) != 96 || !list[0].At.Equal(horizon) {
			t.Errorf("%d readings left, from %v", len(list), list[0].At)
		}
		for _, level := range []struct {
			span  time.Duration
			count int64
		}{{time.Minute, 5 * 48}, {time.Hour, 10 * 24}, {day, 21}} { // 20 days back is within a day, which stays whole
			if n := got(store.CountRollups(ctx, s, c, level.span))(t); n != level.count {
				t.Errorf("%d spans of %v left, want %d", n, level.span, level.count)
			}
		}
		for _, row := range []struct {
			name     string
			from, to time.Time
			step     time.Duration
			readings int64
		}{
			{"kept whole", now.Add(-2 * day), now, 0, 96},
			{"minutes", now.Add(-4 * day), now.Add(-3 * day), time.Minute, 48},
			{"hours", now.Add(-9 * day), now.Add(-8 * day), time.Hour, 48},
			{"days", now.Add(-18 * day).Truncate(day), now.Add(-17 * day).Truncate(day), day, 48},
			{"gone", now.Add(-28 * day), now.Add(-25 * day), day, 0},
		} {
			series := got(s.Chart(ctx, c, row.from, row.to))(t)
			var n int64
			for _, p := range series.Points {
				n += p.N
			}
			if series.Step != row.step || n != row.readings {
				t.Errorf("%s: steps of %v, %d readings; want %v, %d", row.name, series.Step, n, row.step, row.readings)
			}
		}

		added := got(s.AddReadings(ctx, []store.Reading{
			{Channel: c, At: horizon.Add(-time.Microsecond), Value: 1},
			{Channel: c, At: horizon.Add(-day), Value: 1},
			{Channel: c, At: horizon, Value: 1},
			{Channel: c, At: horizon.Add(time.Second), Value: 1},
		}))(t)
		if want := (store.Added{New: 1, Duplicate: 1, TooOld: 2}); added != want {
			t.Errorf("late: %+v, want %+v", added, want)
		}
		must(t, s.Prune(ctx, store.Retention{}, now.Add(1000*day)))
		if list := dump(t, s, c); len(list) != 97 {
			t.Errorf("kept for ever, yet %d readings are left", len(list))
		}
	})
}

// TestRetention is set and read, and what is absurd is not set.
func TestRetention(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		e := s.Edit("Ines", t0)
		same(t, "at first", store.Retention{}, got(s.Retention(ctx))(t))
		want := store.Retention{Readings: 30 * day, Minutes: 400 * day}
		must(t, e.SetRetention(ctx, want))
		if err := e.SetRetention(ctx, store.Retention{Readings: time.Hour}); !contains(err, "use at least a day") {
			t.Errorf("an hour: %v", err)
		}
		same(t, "set", want, got(s.Retention(ctx))(t))
		line := got(s.Audit(ctx, store.AuditQuery{Limit: 1}))(t)[0]
		if line.Who != "Ines" || line.Subject != "setting/readings.retention" || !strings.Contains(line.Detail, "2592000") {
			t.Errorf("the audit log says %+v", line)
		}

		if at := got(s.Newest(ctx))(t); !at.IsZero() {
			t.Errorf("without readings the newest is of %v", at)
		}
		c := makeChannels(t, s, 2)
		fill(t, s, c[0], t0, time.Hour, 30)
		fill(t, s, c[1], t0, time.Hour, 20)
		if at := got(s.Newest(ctx))(t); !at.Equal(t0.Add(29 * time.Hour)) {
			t.Errorf("the newest reading is of %v", at)
		}
	})
}

func TestRetentionCheck(t *testing.T) {
	for _, row := range []struct {
		keep store.Retention
		want string
	}{
		{store.Retention{}, ""},
		{store.Retention{Readings: day, Minutes: day, Hours: day, Days: day}, ""},
		{store.Retention{Readings: day}, ""},
		{store.Retention{Readings: day - 1}, "retention of readings: 23h59m59"},
		{store.Retention{Readings: -day}, "use at least a day"},
		{store.Retention{Days: 36_501 * day}, "at most 100 years"},
		{store.Retention{Readings: 2 * day, Minutes: day}, "minutes: 24h0m0s is shorter than that of readings"},
		{store.Retention{Minutes: day}, "shorter than that of readings"},
		{store.Retention{Readings: day, Minutes: day, Days: day}, "days: 24h0m0s is shorter than that of hours"},
	} {
		err := row.keep.Check()
		if row.want == "" && err != nil || row.want != "" && !contains(err, row.want) {
			t.Errorf("%+v: %v, want %q", row.keep, err, row.want)
		}
	}
	err := openSQLite(t, store.Kill).Prune(t.Context(), store.Retention{Readings: 1}, t0)
	if !contains(err, "pruning: retention of readings") {
		t.Errorf("pruning by a bad retention: %v", err)
	}
}
