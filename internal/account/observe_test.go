package account_test

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
)

// TestRefused: what cannot be is refused by its field, and changes nothing.
func TestRefused(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{})
	s := a.Begin(start)
	before, _ := json.Marshal(s)
	at := start.Add(time.Hour)
	for _, row := range []struct {
		o    account.Observation
		says string
	}{
		{account.Observation{At: at}, "Kind is 0"},
		{account.Observation{At: at, Kind: 200}, "Kind is 200"},
		{account.Observation{Kind: account.Heartbeat}, "At is"},
		{account.Observation{At: time.Date(1999, 12, 31, 23, 59, 59, 0, time.UTC), Kind: account.Heartbeat}, "At is"},
		{account.Observation{At: time.Date(2200, 1, 1, 0, 0, 1, 0, time.UTC), Kind: account.Heartbeat}, "At is"},
		{account.Observation{At: at, Kind: account.Salinity, Value: math.NaN()}, "Value is NaN"},
		{account.Observation{At: at, Kind: account.Salinity, Value: 60.001}, "Value is 60.001"},
		{account.Observation{At: at, Kind: account.PumpRan, Value: -1}, "Value is -1"},
		{account.Observation{At: at, Kind: account.Watch, Value: 0.5}, "give 0 or 1"},
		{account.Observation{At: at, Kind: account.RoomAir, Value: 21, Second: 45}, "Second is 45"},
		{account.Observation{At: at, Kind: account.Salinity, Value: 35, SD: -1}, "SD is -1"},
		{account.Observation{At: at, Kind: account.Salinity, Value: 35, SD: math.Inf(1)}, "SD is +Inf"},
		{account.Observation{At: at, Kind: account.Salinity, Value: 35, Instrument: strings.Repeat("x", 65)}, "65 bytes"},
	} {
		if _, err := a.Observe(&s, row.o); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%+v: error %v, want one that says %q", row.o, err, row.says)
		}
	}
	if after, _ := json.Marshal(s); string(after) != string(before) {
		t.Error("a refused observation changed the state")
	}
	for _, edge := range []account.Observation{
		{At: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC), Kind: account.Heartbeat},
		{At: at, Kind: account.Salinity, Value: 60, Instrument: strings.Repeat("x", 64)},
		{At: at, Kind: account.RoomAir, Value: -30, Second: 1},
	} {
		if _, err := a.Observe(&s, edge); err != nil {
			t.Errorf("%+v: %v", edge, err)
		}
	}
}

// TestSettingsRefused: a setting that cannot be is named.
func TestSettingsRefused(t *testing.T) {
	s := example(t, "reading-room")
	for _, row := range []struct {
		settings account.Settings
		says     string
	}{
		{account.Settings{RunLimit: -time.Second}, "RunLimit is -1s"},
		{account.Settings{DailyBudget: 25 * time.Hour}, "DailyBudget is 25h"},
		{account.Settings{WatchM: math.NaN()}, "WatchM is NaN"},
		{account.Settings{WatchM: 10}, "WatchM is 10"},
	} {
		if _, err := account.New(s, row.settings); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%+v: error %v, want one that says %q", row.settings, err, row.says)
		}
	}
}

// TestKindWords: every kind's word reads back as the kind.
func TestKindWords(t *testing.T) {
	seen := map[string]bool{}
	for k := account.Kind(1); k <= account.Heartbeat; k++ {
		text, err := k.MarshalText()
		var back account.Kind
		if err != nil || back.UnmarshalText(text) != nil || back != k || seen[string(text)] {
			t.Errorf("kind %d is %q and reads back as %d", k, text, back)
		}
		seen[string(text)] = true
	}
	var k account.Kind
	if err := k.UnmarshalText([]byte("pump on")); err == nil {
		t.Error("a word that no kind has was taken")
	}
}

// TestEverySite: every example can be kept books of, a plumbed line too, whose
// litres nobody counts, and salinity readings are then all there is.
func TestEverySite(t *testing.T) {
	for _, name := range []string{"reading-room", "window-nano", "grand-lobby", "plumbed-line"} {
		a := newAccount(t, name, account.Settings{Heartbeat: 15 * time.Minute})
		s := a.Begin(start)
		all := someDays(rand.New(rand.NewPCG(4, 4)), 10)
		if name == "plumbed-line" {
			all = all[:0]
			for d := range 20 {
				all = append(all, account.Observation{At: start.Add(time.Duration(d) * 24 * time.Hour), Kind: account.Salinity, Value: 34.2, SD: 0.2})
			}
		}
		feed(t, a, &s, all)
		e := a.Estimate(&s)
		if !(e.SalinityPSU > 33 && e.SalinityPSU < 36.5 && e.SalinitySD > 0 && e.SalinitySD < 1) || !(e.InLDay > 0) ||
			!(e.ExpectedLowL < e.ExpectedLDay && e.ExpectedLDay < e.ExpectedHiL) {
			t.Errorf("%s: %+v", name, e)
		}
	}
}

// TestLearnsTheTank: a tank that fills like clockwork is learned to a few per
// cent of what litres its clockwork says: one band every ninety minutes.
func TestLearnsTheTank(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{})
	s := a.Begin(start)
	var all []account.Observation
	const pause, run = 90 * time.Minute, 18400 * time.Millisecond
	for at := time.Duration(0); at < 20*24*time.Hour; at += pause {
		all = append(all, account.Observation{At: start.Add(at), Kind: account.PumpRan, Value: run.Seconds()})
	}
	feed(t, a, &s, all)
	// The chamber, 240 mm by 400 mm less 4 %, over the watch sensor's 3 mm.
	const bandL = 0.24 * 0.4 * 0.96 * 3
	perDay := bandL * float64(24*time.Hour) / float64(pause)
	e := a.Estimate(&s)
	for _, row := range []struct {
		what      string
		got, want float64
	}{
		{"litres a day", e.InLDay / e.FillL, perDay / bandL}, // whatever a litre is
		{"litres a day in a jug", e.InLDay, perDay},
		{"fill", e.FillL, bandL},
		{"flow", e.FlowLMin, bandL / run.Minutes()},
	} {
		if math.Abs(row.got/row.want-1) > 0.03 {
			t.Errorf("%s: %.4g, want %.4g within 3 %%", row.what, row.got, row.want)
		}
	}
}

// TestQuieterThanPromised: a device that is always quieter than it promises, so
// that runs may have gone unheard before every fill, teaches little but nothing
// false.
func TestQuieterThanPromised(t *testing.T) {
	const pause, run = 50 * time.Minute, 18400 * time.Millisecond
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	s := a.Begin(start)
	drawn := a.Estimate(&s)
	r := rand.New(rand.NewPCG(5, 5))
	var all []account.Observation
	for at := time.Duration(0); at < 60*24*time.Hour; at += pause {
		dry := start.Add(at + time.Duration(r.IntN(600))*time.Second)
		on := dry.Add(10 * time.Second)
		all = append(all, account.Observation{At: dry, Kind: account.Watch}, account.Observation{At: on, Kind: account.PumpOn},
			account.Observation{At: on.Add(run), Kind: account.Watch, Value: 1}, account.Observation{At: on.Add(run), Kind: account.PumpOff})
	}
	for at := time.Duration(0); at < 60*24*time.Hour; at += 20 * time.Minute {
		all = append(all, account.Observation{At: start.Add(at), Kind: account.WaterTemp, Value: 25})
	}
	slices.SortStableFunc(all, func(a, b account.Observation) int { return a.At.Compare(b.At) })
	for _, f := range feed(t, a, &s, all) {
		t.Errorf("said: %s", f.Sentence)
	}
	if e := a.Estimate(&s); math.Abs(e.FlowLMin/drawn.FlowLMin-1) > 0.05 {
		t.Errorf("a flow of %.3f L/min, want the drawing's %.3f", e.FlowLMin, drawn.FlowLMin)
	}
}

// TestYearsOfSilence: an account left alone for years tells that all its findings
// are over and starts afresh, and does so at once.
func TestYearsOfSilence(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: time.Minute})
	s := a.Begin(start)
	all := someDays(rand.New(rand.NewPCG(2, 2)), 3)
	last := all[len(all)-1].At
	feed(t, a, &s, append(all, account.Observation{At: last, Kind: account.Ceiling, Value: 1}, account.Observation{At: last, Kind: account.ReservoirLow}))
	a.Advance(&s, last.Add(30*24*time.Hour))
	open := a.Findings(&s)
	told := a.Advance(&s, start.Add(150*365*24*time.Hour))
	for _, f := range open {
		if !slices.ContainsFunc(told, func(e account.Finding) bool { return e.Code == f.Code && e.Found.Equal(f.Found) && !e.Ended.IsZero() }) {
			t.Errorf("nobody was told that %s ended, of %d that were open", f.Code, len(open))
		}
	}
	if len(open) < 3 {
		t.Errorf("only %d findings were open", len(open))
	}
	if !s.Began.After(start.Add(100 * 365 * 24 * time.Hour)) {
		t.Errorf("it still goes back to %v", s.Began)
	}
}

// FuzzObserve: whatever is observed, nothing panics, the state can be saved, and
// every finding holds together.
func FuzzObserve(f *testing.F) {
	f.Add([]byte{})
	seed := make([]byte, 0, 800)
	r := rand.New(rand.NewPCG(3, 3))
	for range 100 {
		seed = append(seed, byte(1+r.IntN(17)), byte(r.IntN(256)), byte(r.IntN(256)), byte(r.IntN(256)), byte(r.IntN(256)), byte(r.IntN(256)), byte(r.IntN(4)), byte(r.IntN(3)))
	}
	f.Add(seed)
	a := newAccount(f, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	bare := newAccount(f, "plumbed-line", account.Settings{})
	f.Fuzz(func(t *testing.T, data []byte) {
		data = data[:min(len(data), 8*500)]
		for _, a := range []*account.Account{a, bare} {
			s := a.Begin(start)
			at := start
			for rest := data; len(rest) >= 8; rest = rest[8:] {
				row := rest[:8]
				at = at.Add(time.Duration(int16(binary.LittleEndian.Uint16(row[1:]))) * time.Second)
				kind := account.Kind(row[0])
				o := account.Observation{At: at, Kind: kind, Value: float64(int16(binary.LittleEndian.Uint16(row[3:]))) / 4,
					Second: float64(row[5]) / 255, SD: float64(row[6]) / 50, Instrument: string(rune('a' + row[7]%8))}
				if kind <= account.ReturnPump {
					o.Value = float64(row[3] % 2)
				}
				found, _ := a.Observe(&s, o)
				for _, f := range found {
					checkFinding(t, &f)
				}
			}
			for _, f := range a.Advance(&s, at.Add(72*time.Hour)) {
				checkFinding(t, &f)
			}
			for _, f := range a.Findings(&s) {
				checkFinding(t, &f)
			}
			if _, err := json.Marshal(s); err != nil {
				t.Fatal(err)
			}
			a.Estimate(&s)
		}
	})
}

// BenchmarkObserve is one observation of an ordinary tank with every contact and
// a heartbeat.
func BenchmarkObserve(b *testing.B) {
	a := newAccount(b, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	all := someDays(rand.New(rand.NewPCG(1, 1)), 60)
	b.ReportAllocs()
	s := a.Begin(start)
	n := 0
	for b.Loop() {
		if n == len(all) {
			s, n = a.Begin(start), 0
		}
		if _, err := a.Observe(&s, all[n]); err != nil {
			b.Fatal(err)
		}
		n++
	}
}

// BenchmarkFleet is a minute of a fleet: 10,000 tanks, each with a state of its
// own, which no cache holds, and one observation. Its ns/op are that minute's.
func BenchmarkFleet(b *testing.B) {
	const tanks = 10_000
	a := newAccount(b, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	all := someDays(rand.New(rand.NewPCG(1, 1)), 3)
	states := make([]account.State, tanks)
	next := make([]int, tanks)
	for i := range states {
		states[i] = a.Begin(start)
		next[i] = i % len(all) // all kinds of observations in every minute
	}
	b.ReportAllocs()
	for b.Loop() {
		for i := range states {
			if next[i] == len(all) {
				states[i], next[i] = a.Begin(start), 0
			}
			if _, err := a.Observe(&states[i], all[next[i]]); err != nil {
				b.Fatal(err)
			}
			a.Advance(&states[i], all[next[i]].At.Add(time.Second))
			next[i]++
		}
	}
}
