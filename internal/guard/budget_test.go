package guard

import (
	"math/big"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestBucketAgainstRationals: room and charge are the exact quotients, rounded
// to the side of less pump time.
func TestBucketAgainstRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		budget := time.Duration(rapid.Int64Range(1, int64(Day)-1).Draw(t, "budget"))
		owed := time.Duration(rapid.Int64Range(0, int64(Day)).Draw(t, "owed"))
		ran := time.Duration(rapid.Int64Range(0, int64(Never)).Draw(t, "ran"))

		// room = ⌊(Day − owed)·B/(Day − B)⌋
		exact := new(big.Int).Mul(big.NewInt(int64(Day-owed)), big.NewInt(int64(budget)))
		exact.Quo(exact, big.NewInt(int64(Day-budget)))
		if got := room(budget, owed); exact.IsInt64() && int64(got) != exact.Int64() || !exact.IsInt64() && got != Never {
			t.Fatalf("room %d, want %v", got, exact)
		}
		// charge = min(owed + ⌈ran·(Day − B)/B⌉, Day)
		exact.Mul(big.NewInt(int64(ran)), big.NewInt(int64(Day-budget)))
		exact.Add(exact, big.NewInt(int64(budget-1)))
		exact.Quo(exact, big.NewInt(int64(budget)))
		exact.Add(exact, big.NewInt(int64(owed)))
		if day := big.NewInt(int64(Day)); exact.Cmp(day) > 0 {
			exact = day
		}
		if got := charge(budget, owed, ran); int64(got) != exact.Int64() {
			t.Fatalf("charge %d, want %v", got, exact)
		}
		// A fill of all the room fits, one longer does not.
		if r := room(budget, owed); r < Never && charge(budget, owed, r) > Day {
			t.Fatalf("room %d does not fit", r)
		}
		// room comes back when timeToRoom says, and not before.
		if again := timeToRoom(budget, owed); again > 0 {
			if room(budget, owed-again+1) > 0 || room(budget, owed-again) == 0 {
				t.Fatalf("room again in %d is wrong", again)
			}
		} else if room(budget, owed) == 0 {
			t.Fatalf("no room, and none awaited: %d", again)
		}
	})
}

func TestBucketEdges(t *testing.T) {
	for _, tt := range []struct {
		budget, owed, ran   time.Duration
		room, charge, again time.Duration
	}{
		{budget: Day, owed: Day, ran: Day, room: Never, charge: Day, again: 0},
		{budget: 2 * Day, owed: 3, ran: Day, room: Never, charge: 3, again: 3 - Day},
		{budget: 0, owed: 0, ran: 0, room: 0, charge: Day, again: Never},
		{budget: -1, owed: 5, ran: 1, room: 0, charge: Day, again: Never},
		{budget: Day / 2, owed: 0, ran: Day / 2, room: Day, charge: Day / 2, again: 1 - Day},
		{budget: 1, owed: 0, ran: 1, room: 1, charge: Day - 1, again: -1},
	} {
		if got := room(tt.budget, tt.owed); got != tt.room {
			t.Errorf("budget %d: room %d, want %d", tt.budget, got, tt.room)
		}
		if got := charge(tt.budget, tt.owed, tt.ran); got != tt.charge {
			t.Errorf("budget %d: charge %d, want %d", tt.budget, got, tt.charge)
		}
		if got := timeToRoom(tt.budget, tt.owed); got != tt.again && !(got <= 0 && tt.again <= 0) {
			t.Errorf("budget %d: room again in %d, want %d", tt.budget, got, tt.again)
		}
	}
}

// TestMulDivEdges: where the quotient just fits, and where it does not.
func TestMulDivEdges(t *testing.T) {
	const third = (1<<64 - 1) / 3
	for _, tt := range []struct{ a, b, c, quotient, rest time.Duration }{
		{7, 3, 2, 10, 1},
		{Never, 1, 1, Never, 0},
		{Never, 5, 5, Never, 0},
		{third - 1, 3, 2, Never - 1, 0},
		{third, 3, 2, Never, 0},     // rest 1 is of no use any more
		{third + 1, 3, 2, Never, 0}, // just above
		{1 << 62, 8, 2, Never, 0},   // the quotient needs 64 bits and one more
		{Never, Never, 1, Never, 0},
	} {
		if quotient, rest := mulDiv(tt.a, tt.b, tt.c); quotient != tt.quotient || rest != tt.rest {
			t.Errorf("%d·%d/%d = %d rest %d, want %d rest %d", tt.a, tt.b, tt.c, quotient, rest, tt.quotient, tt.rest)
		}
	}
}

// TestBudgetBoundsEveryWindow: a watch sensor that asks for water in the worst
// way, a guard that never trips, and the pump time in every window stays within
// DailyBudget·(1 + W/Day).
func TestBudgetBoundsEveryWindow(t *testing.T) {
	worst := 0.0 // part of a window's bound that was used
	rapid.Check(t, func(t *rapid.T) {
		s := Typical()
		s.MinOff = 10 * time.Second
		s.DailyBudget = time.Duration(rapid.Int64Range(int64(time.Minute), int64(12*time.Hour)).Draw(t, "budget"))
		s.FirstFillLimit, s.RunLimitFloor, s.HardCap = Never, Never, Never

		type run struct{ from, to time.Duration }
		var runs []run
		in := Inputs{Watch: Dry}
		state, out := Step(&s, Boot(&s, State{}, 0), in, 0)
		for range rapid.IntRange(1, 60).Draw(t, "runs") {
			// Let a fill end by the budget, or end it by the watch sooner.
			for tries := 0; !out.Pump; tries++ {
				if tries > 20 {
					t.Fatalf("no fill: %+v", state)
				}
				at := Deadline(&s, state, in)
				if rapid.IntRange(0, 5).Draw(t, "rest") == 0 {
					at += time.Duration(rapid.Int64Range(0, int64(10*time.Hour)).Draw(t, "idle"))
				}
				state, out = Step(&s, state, in, at)
			}
			began := state.Last
			if rapid.Bool().Draw(t, "watch ends it") {
				wet := min(Deadline(&s, state, in), began+time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "fill")))
				in.Watch = Wet
				state, out = Step(&s, state, in, wet)
			}
			for tries := 0; out.Pump; tries++ {
				if tries > 20 {
					t.Fatalf("no end of a fill: %+v", state)
				}
				state, out = Step(&s, state, in, Deadline(&s, state, in))
			}
			runs = append(runs, run{began, state.Last})
			in.Watch = Dry
		}
		// The worst windows begin as a run begins and end as a run ends.
		for i := range runs {
			var on time.Duration
			for _, r := range runs[i:] {
				on += r.to - r.from
				window := r.to - runs[i].from
				bound := float64(s.DailyBudget) * (1 + float64(window)/float64(Day))
				if float64(on) > bound+1 {
					t.Fatalf("pump on for %v in %v, bound %v", on, window, time.Duration(bound))
				}
				worst = max(worst, float64(on)/bound)
			}
		}
	})
	t.Logf("the worst window used %.3f of its bound", worst)
	if worst < 0.9 {
		t.Error("no window came near its bound")
	}
}
