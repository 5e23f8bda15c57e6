package hublife

import (
	"runtime"
	"runtime/debug"
	"sync"
	"testing"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/longtest"
)

// TestLives: in some lives everything goes wrong and nothing is wrong. make soak-hub
// lives through many more.
func TestLives(t *testing.T) {
	lives := uint64(15)
	if longtest.Asked() {
		lives = 1500
		defer debug.SetGCPercent(debug.SetGCPercent(1600)) // a life holds little and lets go of much
	}
	var mu sync.Mutex
	var sum Verdict
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for seed := range lives {
		group.Go(func() error {
			v := Live(seed)
			mu.Lock()
			defer mu.Unlock()
			if !v.OK() {
				t.Errorf("%s; again: go run ./cmd/soak -hub -seed %d", v.First, seed)
			}
			sum.Add(&v)
			return nil
		})
	}
	_ = group.Wait() // no life returns an error
	t.Logf("%+v", sum)
	if leastDays := 65 * float64(lives); longtest.Asked() && sum.TankDays < leastDays {
		t.Errorf("%.0f tank-days were lived, not %.0f", sum.TankDays, leastDays)
	}
	for what, n := range map[string]int{"kills": sum.Kills, "stops": sum.Stops, "power cuts": sum.PowerCuts, "failed calls": sum.Faults, "moves": sum.Moves,
		"requests": sum.Asked, "hand readings": sum.Entered, "turns": sum.Turns, "messages": sum.Delivered, "looks": sum.Checks} {
		if n == 0 {
			t.Errorf("in all these lives there were no %s", what)
		}
	}
}

// TestTheSameLife: a seed is its own reproduction.
func TestTheSameLife(t *testing.T) {
	if a, b := Live(3), Live(3); a != b {
		t.Errorf("one seed, two lives:\n%+v\n%+v", a, b)
	}
}
