package store_test

import (
	"context"
	"errors"
	"math"
	"math/big"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/store"
)

func contains(err error, text string) bool { return err != nil && strings.Contains(err.Error(), text) }

// dump is every reading of a channel.
func dump(t testing.TB, s *store.Store, channel int64) []store.Reading {
	t.Helper()
	var list []store.Reading
	must(t, s.Readings(t.Context(), channel, t0.Add(-1e5*time.Hour), t0.Add(1e5*time.Hour), func(r store.Reading) error {
		list = append(list, r)
		return nil
	}))
	return list
}

func TestAddReadings(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		c := makeChannels(t, s, 2)
		at := func(seconds int) time.Time { return t0.Add(time.Duration(seconds)*time.Second + time.Microsecond) }
		batch := []store.Reading{
			{Channel: c[1], At: at(5), Value: 0.1},
			{Channel: c[0], At: at(2), Value: math.Nextafter(35, 36)},
			{Channel: c[0], At: at(1), Value: -5e-324},
			{Channel: c[0], At: at(1), Value: 99}, // the first counts
		}
		for _, row := range []struct {
			name string
			add  []store.Reading
			want store.Added
		}{
			{"new", batch, store.Added{New: 3, Duplicate: 1}},
			{"sent again", batch, store.Added{Duplicate: 4}},
			{"another value at the same time", []store.Reading{{Channel: c[0], At: at(2), Value: 7}}, store.Added{Duplicate: 1}},
			{"less than a microsecond later", []store.Reading{{Channel: c[0], At: at(2).Add(999), Value: 7}}, store.Added{Duplicate: 1}},
			{"late", []store.Reading{{Channel: c[0], At: at(-9000), Value: 1}}, store.Added{New: 1}},
			{"in another zone", []store.Reading{{Channel: c[0], At: at(-9000).In(time.FixedZone("", 7200)), Value: 1}}, store.Added{Duplicate: 1}},
			{"none", nil, store.Added{}},
		} {
			if added := got(s.AddReadings(t.Context(), row.add))(t); added != row.want {
				t.Errorf("%s: %+v, want %+v", row.name, added, row.want)
			}
		}
		want := []store.Reading{
			{Channel: c[0], At: at(-9000), Value: 1},
			{Channel: c[0], At: at(1), Value: -5e-324},
			{Channel: c[0], At: at(2), Value: math.Nextafter(35, 36)},
		}
		if d := cmp.Diff(want, dump(t, s, c[0])); d != "" {
			t.Errorf("want (-), got (+):\n%s", d)
		}
		checkRollups(t, s, c)
		latest := got(s.Latest(t.Context(), append(c, 4711)))(t)
		if d := cmp.Diff(map[int64]store.Reading{c[0]: want[2], c[1]: batch[0]}, latest); d != "" {
			t.Errorf("latest: want (-), got (+):\n%s", d)
		}
	})
}

// TestAddReadingsRefuses: a batch with one bad reading is not taken at all.
func TestAddReadingsRefuses(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		c := makeChannels(t, s, 1)[0]
		for _, row := range []struct {
			name string
			bad  store.Reading
			want string
		}{
			{"not a number", store.Reading{Channel: c, At: t0, Value: math.NaN()}, "value NaN"},
			{"infinite", store.Reading{Channel: c, At: t0, Value: math.Inf(1)}, "value +Inf"},
			{"too large", store.Reading{Channel: c, At: t0, Value: -1.1e100}, "value -1.1e+100"},
			{"before 1970", store.Reading{Channel: c, At: time.Unix(0, -1), Value: 1}, "use one from 1970 to 9999"},
			{"no time", store.Reading{Channel: c, Value: 1}, "use one from 1970 to 9999"},
			{"far future", store.Reading{Channel: c, At: time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC), Value: 1}, "use one from 1970 to 9999"},
			{"no such channel", store.Reading{Channel: c + 1, At: t0, Value: 1}, "not found"},
		} {
			_, err := s.AddReadings(t.Context(), []store.Reading{{Channel: c, At: t0.Add(time.Hour), Value: 1}, row.bad})
			if !contains(err, row.want) || !contains(err, "adding") {
				t.Errorf("%s: %v, want %q", row.name, err, row.want)
			}
		}
		if _, err := s.AddReadings(t.Context(), make([]store.Reading, store.BatchMax+1)); !contains(err, "use at most 100000 at a time") {
			t.Errorf("too many at once: %v", err)
		}
		if list := dump(t, s, c); len(list) > 0 {
			t.Errorf("something was taken: %v", list)
		}
		edge := []store.Reading{{Channel: c, At: time.Unix(0, 0), Value: 1e100}, {Channel: c, At: time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), Value: -1e100}}
		if added := got(s.AddReadings(t.Context(), edge))(t); added.New != 2 {
			t.Errorf("at the edges: %+v", added)
		}
	})
}

// TestStoppedContext: a call whose context has ended changes nothing.
func TestStoppedContext(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		c := makeChannels(t, s, 1)[0]
		ctx, stop := context.WithCancel(t.Context())
		stop()
		_, err := s.AddReadings(ctx, []store.Reading{{Channel: c, At: t0, Value: 1}})
		wantError(t, err, context.Canceled, "adding 1 readings")
		if list := dump(t, s, c); len(list) > 0 {
			t.Errorf("it was taken: %v", list)
		}
		stopped := errors.New("enough")
		_, err = s.AddReadings(t.Context(), []store.Reading{{Channel: c, At: t0, Value: 1}})
		must(t, err)
		if err := s.Readings(t.Context(), c, t0, t0.Add(time.Second), func(store.Reading) error { return stopped }); err != stopped {
			t.Errorf("the callback's error comes back as %v", err)
		}
	})
}

// checkRollups works out every roll-up from the readings, with exact sums
// (math/big), and compares it with what charts are drawn from: low, high, last
// and count to the last bit, the mean within what a sum in two parts keeps.
func checkRollups(t testing.TB, s *store.Store, channels []int64) {
	t.Helper()
	for _, channel := range channels {
		readings := dump(t, s, channel)
		for _, span := range []time.Duration{time.Minute, time.Hour, 24 * time.Hour} {
			want := exactRollups(readings, span)
			for start, p := range want {
				stored := got(store.RollupAt(t.Context(), s, channel, span, start))(t)
				if math.Abs(stored.Mean-p.Mean) > p.tolerance {
					t.Fatalf("channel %d, %v from %v: mean %v, exactly %v, which is more than %g off", channel, span, start, stored.Mean, p.Mean, p.tolerance)
				}
				stored.Mean = p.Mean
				if d := cmp.Diff(p.Point, stored); d != "" {
					t.Fatalf("channel %d, %v: from the readings (-), stored (+):\n%s", channel, span, d)
				}
			}
			if n := got(store.CountRollups(t.Context(), s, channel, span))(t); n != int64(len(want)) {
				t.Fatalf("channel %d has %d spans of %v, want %d", channel, n, span, len(want))
			}
		}
	}
}

// exactRollup is a roll-up with its exact mean, rounded once.
type exactRollup struct {
	store.Point
	tolerance float64 // of the mean
}

// exactRollups rolls readings up with exact sums. The tolerance is the error
// bound of a compensated sum, u|s| + (n·u)²·Σ|x| with u = 2^-53 (Ogita, Rump and
// Oishi 2005, "Accurate sum and dot product", proposition 4.5, from memory), and
// a last rounding of the quotient.
func exactRollups(readings []store.Reading, span time.Duration) map[time.Time]exactRollup {
	const u = 1.0 / (1 << 53)
	rollups := map[time.Time]exactRollup{}
	sums, sizes := map[time.Time]*big.Float{}, map[time.Time]float64{}
	for _, r := range readings {
		start := r.At.Truncate(span)
		p, ok := rollups[start]
		if !ok {
			p.Point = store.Point{At: start, Low: r.Value, High: r.Value}
			const enough = 2500 // bits, for every value of a float64 beside every other
			sums[start] = new(big.Float).SetPrec(enough)
		}
		p.Low, p.High, p.Last = min(p.Low, r.Value), max(p.High, r.Value), r.Value
		p.N++
		sums[start].Add(sums[start], new(big.Float).SetFloat64(r.Value))
		sizes[start] += math.Abs(r.Value)
		rollups[start] = p
	}
	for start, p := range rollups {
		n := float64(p.N)
		p.Mean, _ = sums[start].Quo(sums[start], new(big.Float).SetInt64(p.N)).Float64()
		p.tolerance = 2*u*math.Abs(p.Mean) + n*u*n*u*sizes[start]/n + math.SmallestNonzeroFloat64
		rollups[start] = p
	}
	return rollups
}

// TestRollupsAreExact: whatever the batches, their order, what is sent again and
// what is late, the roll-ups are those of the readings. The values are chosen to
// lose digits when added plainly.
func TestRollupsAreExact(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		channels := makeChannels(t, s, 2)
		plain := 0 // how often a plain sum would have been wrong
		rapid.Check(t, func(r *rapid.T) {
			var all []store.Reading
			for range rapid.IntRange(1, 4).Draw(r, "batches") {
				batch := rapid.SliceOfN(rapid.Custom(func(r *rapid.T) store.Reading {
					return store.Reading{
						Channel: rapid.SampledFrom(channels).Draw(r, "channel"),
						At:      t0.Add(time.Duration(rapid.IntRange(-4000, 4000).Draw(r, "second")) * 97 * time.Second),
						Value:   rapid.SampledFrom([]float64{0.1, -0.1, 1e16, -1e16, 3, 1e-9, 35.00001}).Draw(r, "value"),
					}
				}), 1, 40).Draw(r, "batch")
				_, err := s.AddReadings(t.Context(), batch)
				must(t, err)
				all = append(all, batch...)
			}
			sum, exact := 0.0, new(big.Float).SetPrec(2000)
			for _, reading := range all {
				sum += reading.Value
				exact.Add(exact, new(big.Float).SetFloat64(reading.Value))
			}
			if x, _ := exact.Float64(); math.Abs(x-sum) > 1e-9 {
				plain++
			}
		})
		checkRollups(t, s, channels)
		if plain == 0 {
			t.Error("the values are too tame: a plain sum would do")
		}
	})
}

// TestWritersTogether: several write the same readings at once, in different
// orders and batches; all of them arrive once, and nobody waits for ever.
func TestWritersTogether(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		channels := makeChannels(t, s, 5)
		var all []store.Reading
		for i := range 400 {
			all = append(all, store.Reading{Channel: channels[i%5], At: t0.Add(time.Duration(i) * 31 * time.Second), Value: float64(i) / 3})
		}
		var wait sync.WaitGroup
		var mu sync.Mutex
		added := 0
		for w := range 4 {
			wait.Go(func() {
				for i := range 20 {
					from := (i*7 + w*3) % 20 * 20
					one, err := s.AddReadings(t.Context(), all[from:from+20])
					if err != nil {
						t.Error(err)
					}
					mu.Lock()
					added += one.New
					mu.Unlock()
				}
			})
			wait.Go(func() { // and somebody looks at charts
				for range 10 {
					if _, err := s.Chart(t.Context(), channels[w], t0, t0.Add(24*time.Hour)); err != nil {
						t.Error(err)
					}
				}
			})
		}
		wait.Wait()
		if added != len(all) {
			t.Errorf("%d were new to somebody, want %d", added, len(all))
		}
		checkRollups(t, s, channels)
	})
}

// TestTwoProcesses: two that have the same file open, as a server and a command
// beside it have, wait for each other and lose nothing; and what only reads
// cannot write.
func TestTwoProcesses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "isohaline.db")
	var stores [2]*store.Store
	for i := range stores {
		s, err := store.Open(t.Context(), path, store.Kill)
		must(t, err)
		defer s.Close()
		stores[i] = s
	}
	channels := makeChannels(t, stores[0], 3)
	var wait sync.WaitGroup
	for i, s := range stores {
		wait.Go(func() {
			for n := range 10 {
				if _, err := s.AddReadings(t.Context(), batchOf(2*n+i, channels)); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
	count := 0
	for _, c := range channels {
		count += len(dump(t, stores[0], c))
	}
	if count != 20*crashBatch {
		t.Errorf("%d readings, want %d", count, 20*crashBatch)
	}
	if err := store.ReaderWrites(t.Context(), stores[0]); !contains(err, "readonly") {
		t.Errorf("a reader wrote: %v", err)
	}
}
