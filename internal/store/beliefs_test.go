package store_test

import (
	"math"
	"testing"
	"time"

	"isohaline/internal/store"
)

// beliefAt is a belief that its time can be told from.
func beliefAt(hour int) store.Belief {
	x := float64(hour)
	b := store.Belief{At: t0.Add(time.Duration(hour) * time.Hour), SalinityPSU: 35 + x/1e6, SalinitySD: 0.1, FlowLMin: 1 + x, FlowSD: 0.02,
		ExpectedLDay: 4 + x/100, ExpectedLowL: 3 + x/100, ExpectedHighL: 5 + x/100}
	if hour%2 == 0 {
		b.DaysLeft = &store.DaysLeft{Low: x, Middle: x + 1, High: x + 2}
	}
	return b
}

func TestBeliefs(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		var hours []store.Belief
		for h := range 30 {
			hours = append(hours, beliefAt(h))
		}
		believed(t, s, "lobby", hours...)
		believed(t, s, "lobby", hours[:3]...) // again is the same
		read := func(from, to int) []store.Belief {
			t.Helper()
			step, list, err := s.Beliefs(ctx, "lobby", t0.Add(time.Duration(from)*time.Hour), t0.Add(time.Duration(to)*time.Hour))
			must(t, err)
			if step != 0 {
				t.Errorf("%d to %d: step %v", from, to, step)
			}
			return list
		}
		same(t, "all", hours, read(0, 30))
		same(t, "a part", hours[5:7], read(5, 7))
		same(t, "none", []store.Belief{}, read(31, 40))

		// From hour 20 on the account ran again and believed something else.
		var again []store.Belief
		for h := 20; h < 25; h++ {
			b := beliefAt(h)
			b.SalinityPSU, b.DaysLeft = 34, nil
			again = append(again, b)
		}
		must(t, s.Commit(ctx, store.Commit{Tanks: []store.TankStep{{TankID: "lobby", Beliefs: again, Since: t0.Add(20 * time.Hour)}}}))
		same(t, "replaced", append(append([]store.Belief{}, hours[:20]...), again...), read(0, 30))

		// t0 is at 8:00, so the first day has 16 hours and the second the rest.
		days, err := s.BeliefsByDay(ctx, "lobby", t0, t0.Add(100*time.Hour))
		must(t, err)
		if len(days) != 2 || !days[0].At.Equal(t0.Truncate(24*time.Hour)) || !days[1].At.Equal(t0.Truncate(24*time.Hour).Add(24*time.Hour)) {
			t.Fatalf("the days are %+v", days)
		}
		if d := days[0]; math.Abs(d.FlowLMin-8.5) > 1e-9 || math.Abs(d.ExpectedLowL-3.075) > 1e-9 || d.DaysLeft != nil {
			t.Errorf("the first day is %+v; on the mean over hours 0 to 15 the flow is 8.5", d)
		}
		if d := days[1]; math.Abs(d.FlowLMin-21) > 1e-9 {
			t.Errorf("the second day is %+v; on the mean over hours 16 to 24 the flow is 21", d)
		}

		wantError(t, s.Commit(ctx, store.Commit{Tanks: []store.TankStep{{TankID: "nowhere", Beliefs: hours[:1]}}}), store.ErrNotFound, `tank "nowhere"`)
		_, _, err = s.Beliefs(ctx, "lobby", t0, t0)
		if !contains(err, "the end must be after") {
			t.Errorf("an empty range: %v", err)
		}
	})
}

// TestBeliefsOfTwoYears are thinned to what a screen can show: each point is the
// belief of its time.
func TestBeliefsOfTwoYears(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		furnish(t, s)
		to := twoYears(t, s)
		step, list, err := s.Beliefs(t.Context(), "lobby", t0, to)
		must(t, err)
		if step != 12*time.Hour || len(list) != 2*730 {
			t.Fatalf("%d beliefs in steps of %v", len(list), step)
		}
		for i, b := range list {
			same(t, "a point", beliefAt(int(b.At.Sub(t0)/time.Hour)), b)
			if want := t0.Truncate(step).Add(time.Duration(i+1) * step); !b.At.Equal(want) {
				t.Fatalf("point %d is at %v, want %v", i, b.At, want)
			}
		}
	})
}

// twoYears gives the lobby a belief each hour, and says when they end.
func twoYears(t testing.TB, s *store.Store) time.Time {
	const hours = 730 * 24
	list := make([]store.Belief, hours)
	for h := range list {
		list[h] = beliefAt(h)
	}
	believed(t, s, "lobby", list...)
	return t0.Add(hours * time.Hour)
}

// BenchmarkBeliefs reads two years for a chart and for a ledger.
func BenchmarkBeliefs(b *testing.B) {
	s := openSQLite(b, store.Kill)
	furnish(b, s)
	to := twoYears(b, s)
	b.Run("chart", func(b *testing.B) {
		for b.Loop() {
			_, _, err := s.Beliefs(b.Context(), "lobby", t0, to)
			must(b, err)
		}
	})
	b.Run("ledger", func(b *testing.B) {
		for b.Loop() {
			_, err := s.BeliefsByDay(b.Context(), "lobby", t0, to)
			must(b, err)
		}
	})
}
