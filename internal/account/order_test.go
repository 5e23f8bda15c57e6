package account_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"isohaline/internal/account"
	"isohaline/internal/tankfile"
)

var start = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

func example(t interface {
	Helper()
	Fatal(...any)
}, name string) *tankfile.Tank {
	t.Helper()
	data, err := os.ReadFile("../../examples/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := tankfile.Read(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func newAccount(t interface {
	Helper()
	Fatal(...any)
}, name string, settings account.Settings) *account.Account {
	t.Helper()
	a, err := account.New(example(t, name), settings)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// days are observations of a tank that fills, is read and is fed, with some
// chance in it.
func someDays(r *rand.Rand, n int) []account.Observation {
	var all []account.Observation
	add := func(at time.Duration, k account.Kind, value float64) {
		all = append(all, account.Observation{At: start.Add(at), Kind: k, Value: value})
	}
	for at := time.Duration(0); at < time.Duration(n)*24*time.Hour; {
		at += time.Duration(60+60*r.Float64()) * time.Minute
		run := time.Duration(14+8*r.Float64()) * time.Second
		add(at, account.Watch, 0)
		add(at+10*time.Second, account.PumpOn, 0)
		add(at+10*time.Second+run, account.Watch, 1)
		add(at+10*time.Second+run, account.PumpOff, 0)
		switch r.IntN(12) {
		case 0:
			add(at+5*time.Minute, account.Salinity, 35+0.4*r.NormFloat64())
		case 1:
			add(at+3*time.Minute, account.ReturnPump, 0)
			add(at+15*time.Minute, account.ReturnPump, 1)
		case 2:
			add(at+4*time.Minute, account.Level, 200+r.NormFloat64())
		case 3:
			add(at+6*time.Minute, account.ReservoirFilled, 5*r.Float64())
		case 4:
			all = append(all, account.Observation{At: start.Add(at + time.Minute), Kind: account.RoomAir, Value: 21 + r.NormFloat64(), Second: 0.4})
		}
	}
	for at := time.Duration(0); at < time.Duration(n)*24*time.Hour; at += 15 * time.Minute {
		add(at, account.Heartbeat, 0)
	}
	slices.SortStableFunc(all, func(a, b account.Observation) int { return a.At.Compare(b.At) })
	return all
}

// feed gives observations and then time enough to take them all.
func feed(t interface{ Fatal(...any) }, a *account.Account, s *account.State, all []account.Observation) []account.Finding {
	var told []account.Finding
	for _, o := range all {
		found, err := a.Observe(s, o)
		if err != nil {
			t.Fatal(err)
		}
		told = append(told, found...)
	}
	if len(all) > 0 {
		last := slices.MaxFunc(all, func(x, y account.Observation) int { return x.At.Compare(y.At) }).At
		told = append(told, a.Advance(s, last.Add(2*account.ReorderWindow))...)
	}
	return told
}

// same compares what is believed; the counters of what was dropped are not part
// of it.
func same(t *rapid.T, got, want account.State, gotTold, wantTold []account.Finding) {
	got.Duplicates, want.Duplicates = 0, 0
	if d := cmp.Diff(want, got, cmpopts.EquateEmpty()); d != "" {
		t.Fatalf("another state:\n%s", d)
	}
	if d := cmp.Diff(wantTold, gotTold); d != "" {
		t.Fatalf("other findings:\n%s", d)
	}
}

// TestOrderWithinWindow: how observations of one window are shuffled, and which
// come twice, makes no difference.
func TestOrderWithinWindow(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 5))
		all := someDays(r, 1)
		straight := a.Begin(start)
		straightTold := feed(t, a, &straight, all)

		type arrival struct {
			at time.Time
			o  account.Observation
		}
		var mixed []arrival
		for _, o := range all {
			late := time.Duration(r.Float64() * 0.9 * float64(account.ReorderWindow))
			mixed = append(mixed, arrival{o.At.Add(late), o})
			if r.IntN(10) == 0 {
				mixed = append(mixed, arrival{o.At.Add(time.Duration(r.Float64() * 0.9 * float64(account.ReorderWindow))), o})
			}
		}
		slices.SortStableFunc(mixed, func(x, y arrival) int { return x.at.Compare(y.at) })
		shuffled := make([]account.Observation, len(mixed))
		for i, m := range mixed {
			shuffled[i] = m.o
		}
		late := a.Begin(start)
		lateTold := feed(t, a, &late, shuffled)
		same(t, late, straight, lateTold, straightTold)
	})
}

// TestDuplicatesHarmless: everything a second time, days later, changes nothing.
func TestDuplicatesHarmless(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	rapid.Check(t, func(t *rapid.T) {
		all := someDays(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 6)), 1)
		once := a.Begin(start)
		onceTold := feed(t, a, &once, all)
		twice := a.Begin(start)
		twiceTold := feed(t, a, &twice, all)
		for _, o := range all {
			found, err := a.Observe(&twice, o)
			if err != nil {
				t.Fatal(err)
			}
			twiceTold = append(twiceTold, found...)
		}
		once.Late, twice.Late = 0, 0 // what is too old to remember counts as late
		same(t, twice, once, twiceTold, onceTold)
	})
}

// TestCheckpoint: a state that went through JSON at any moment gives the same
// state and the same findings as one that did not.
func TestCheckpoint(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	rapid.Check(t, func(t *rapid.T) {
		all := someDays(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 7)), 1)
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		whole := a.Begin(start)
		wholeTold := feed(t, a, &whole, all)

		first := a.Begin(start)
		var told []account.Finding
		for _, o := range all[:cut] {
			found, _ := a.Observe(&first, o)
			told = append(told, found...)
		}
		text, err := json.Marshal(first)
		if err != nil {
			t.Fatal(err)
		}
		var second account.State
		if err := json.Unmarshal(text, &second); err != nil {
			t.Fatal(err)
		}
		for _, o := range all[cut:] {
			found, _ := a.Observe(&second, o)
			told = append(told, found...)
		}
		told = append(told, a.Advance(&second, all[len(all)-1].At.Add(2*account.ReorderWindow))...)
		same(t, second, whole, told, wholeTold)
	})
}

// TestAskedMoreOften: how often anybody asks what time it is changes nothing.
func TestAskedMoreOften(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	rapid.Check(t, func(t *rapid.T) {
		all := someDays(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 8)), 2)
		// A silence, so that there is something to notice.
		all = slices.DeleteFunc(all, func(o account.Observation) bool {
			h := o.At.Sub(start).Hours()
			return h > 20 && h < 30
		})
		plain := a.Begin(start)
		plainTold := feed(t, a, &plain, all)
		asked := a.Begin(start)
		var told []account.Finding
		step := time.Duration(rapid.IntRange(300, 5000).Draw(t, "seconds")) * time.Second
		next := start
		for _, o := range all {
			for ; next.Before(o.At); next = next.Add(step) {
				told = append(told, a.Advance(&asked, next)...)
			}
			found, _ := a.Observe(&asked, o)
			told = append(told, found...)
		}
		told = append(told, a.Advance(&asked, all[len(all)-1].At.Add(2*account.ReorderWindow))...)
		if len(told) == 0 {
			t.Fatal("nobody noticed ten hours of silence")
		}
		same(t, asked, plain, told, plainTold)
	})
}

// TestLate: what a device says too late is dropped and counted; what a person
// wrote down counts for two days, once.
func TestLate(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{})
	s := a.Begin(start)
	feed(t, a, &s, someDays(rand.New(rand.NewPCG(1, 9)), 5))
	for _, row := range []struct {
		name            string
		o               account.Observation
		ago             time.Duration
		late, duplicate int
		counts          bool
	}{
		{"a run an hour late", account.Observation{Kind: account.PumpRan, Value: 20}, time.Hour, 1, 0, false},
		{"a salinity nine hours late", account.Observation{Kind: account.Salinity, Value: 34, SD: 0.3}, 9 * time.Hour, 0, 0, true},
		{"the same again", account.Observation{Kind: account.Salinity, Value: 34, SD: 0.3}, 9 * time.Hour, 0, 1, false},
		{"a salinity a second before two days", account.Observation{Kind: account.Salinity, Value: 34, SD: 0.3}, account.LateByHand - time.Second, 0, 0, true},
		{"a salinity a second after two days", account.Observation{Kind: account.Salinity, Value: 34, SD: 0.3}, account.LateByHand + time.Second, 1, 0, false},
	} {
		before, late, duplicates := a.Estimate(&s), s.Late, s.Duplicates
		row.o.At = s.Done.Add(-row.ago)
		if _, err := a.Observe(&s, row.o); err != nil {
			t.Fatal(err)
		}
		if s.Late-late != row.late || s.Duplicates-duplicates != row.duplicate {
			t.Errorf("%s: %d late and %d duplicates more, want %d and %d", row.name, s.Late-late, s.Duplicates-duplicates, row.late, row.duplicate)
		}
		if moved := a.Estimate(&s).SalinityPSU != before.SalinityPSU; moved != row.counts {
			t.Errorf("%s: it counted: %v, want %v", row.name, moved, row.counts)
		}
	}
}

// TestToldTogether: devices tell what happens together in any order, a little
// apart or at the very same time. A pump that stops and a watch sensor that turns
// wet are one fill, a long one too.
func TestToldTogether(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{})
	const usual, long = 18 * time.Second, 50 * time.Second
	play := func(wetAfter time.Duration) account.Estimate {
		s := a.Begin(start)
		var all []account.Observation
		add := func(at time.Duration, k account.Kind, value float64) {
			all = append(all, account.Observation{At: start.Add(at), Kind: k, Value: value})
		}
		n := 0
		for at := time.Duration(0); at < 12*24*time.Hour; at += 90 * time.Minute {
			run := usual
			if n++; n%50 == 0 {
				run = long
			}
			add(at, account.Watch, 0)
			add(at+10*time.Second, account.PumpOn, 0)
			add(at+10*time.Second+run, account.PumpOff, 0)
			add(at+10*time.Second+run+wetAfter, account.Watch, 1)
		}
		for _, f := range feed(t, a, &s, all) {
			t.Errorf("watch wet %v after the pump: %s", wetAfter, f.Sentence)
		}
		return a.Estimate(&s)
	}
	together := play(0)
	for _, after := range []time.Duration{-time.Second, time.Microsecond, 5 * time.Second, 14 * time.Second} {
		if e := play(after); math.Abs(e.InLDay/together.InLDay-1) > 0.02 || math.Abs(e.MissingL-together.MissingL) > 0.02*e.FillL {
			t.Errorf("watch wet %v after the pump: %.3f L a day, %.3f L missing, want %.3f and %.3f as if together",
				after, e.InLDay, e.MissingL, together.InLDay, together.MissingL)
		}
	}
}
