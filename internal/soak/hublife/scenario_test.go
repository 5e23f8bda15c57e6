package hublife

import (
	"fmt"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/longtest"
	"isohaline/internal/store"
)

// story is a short fixed life of two tanks: water on the floor, a guard that
// latches, a wet ceiling, a device that falls silent, a person who enters a reading,
// acknowledges and resets, and the end of all of it. fault says what goes wrong with
// the store's nth call. It says what was wrong, and how many calls there were.
func story(books Books, h house, fault func(call int) Fault) (wrong string, calls int) {
	w := newWorld(h, books, began)
	w.faulty.Fault = func() Fault {
		calls++
		return fault(calls - 1)
	}
	// What fails is tried again, and a hub that was killed is started again.
	insist := func(do func() bool) {
		const tries = 10
		for range tries {
			if w.start() && do() {
				return
			}
			w.pass(time.Second)
		}
		w.wrong("something failed %d times", tries)
	}
	takeIn := func() {
		insist(func() bool { return w.take(2) && (len(w.log.from(w.after)) == 0 || w.take(100)) })
	}
	pass := func(by time.Duration) {
		w.step++
		w.pass(by)
		insist(func() bool { return w.take(100) && w.tick() }) // a hub that was started is given again what it needs
		w.post(soundPost)
	}
	says := func(ago time.Duration, name string, value float64, devices ...int) {
		for _, d := range devices {
			w.say(w.reading(d, name, value, w.now.Add(-ago)))
		}
	}
	pass(time.Minute)
	says(0, channel.Heartbeat, 1, 0, 1, 2)
	says(0, channel.Floor, 0, 0, 1)
	takeIn()
	pass(2 * time.Minute)
	says(time.Second, channel.Floor, 1, 0, 2)
	takeIn()
	says(0, channel.Floor, 1, 1) // says the same as another: no turn
	takeIn()
	pass(time.Minute)
	says(time.Second, channel.Latched, 1, 1, 2)
	says(time.Second, channel.CeilingLevel, 1, 0)
	takeIn()
	pass(2 * time.Minute)
	insist(func() bool {
		return w.enter(store.HandReading{ID: "hand", TankID: "tank-0", At: w.now.Add(-time.Minute), Quantity: channel.Salinity, Value: 35, Instrument: "refractometer"})
	})
	insist(func() bool {
		return w.ask("site-0", alarm.Event{Do: alarm.Acknowledge, Key: alarm.Key{Code: alarm.FloorWet, Tank: "tank-0"}})
	})
	says(0, channel.Floor, 0, 0) // the other still says so
	takeIn()
	pass(2 * time.Minute)
	says(0, channel.CeilingLevel, 0, 0)
	says(0, channel.Floor, 0, 1, 2)
	takeIn()
	for range 6 {
		pass(time.Hour)
	}
	insist(func() bool {
		return w.ask("site-0", alarm.Event{Do: alarm.Reset, Key: alarm.Key{Code: alarm.FloorWet, Tank: "tank-0"}})
	})
	says(0, channel.Latched, 0, 1)
	takeIn()
	pass(time.Minute)
	w.faulty.Fault = func() Fault { return Sound }
	w.untroubled()
	if w.verdict.OK() {
		w.oracle.settled()
		w.oracle.readingsKept()
	}
	if !w.verdict.OK() {
		return w.verdict.First, calls
	}
	// What the story was must be what it is, whatever failed.
	for _, want := range []struct {
		tank string
		code string
		told int
	}{{"tank-0", "floor-wet", 1}, {"tank-0", "ceiling-wet", 1}, {"tank-0", "guard-latched", 0}, {"tank-1", "floor-wet", 1}, {"tank-1", "guard-latched", 0}} {
		for c := range contacts {
			if string(contacts[c].code) == want.code {
				if x := w.oracle.told[w.tankNumber(want.tank)][c]; x.told != want.told {
					return fmt.Sprintf("%s of %s was told %d times, not %d", want.code, want.tank, x.told, want.told), calls
				}
			}
		}
	}
	for _, n := range w.oracle.notices {
		if n.Alarm.Code == account.DeviceSilent && n.Outcome == alarm.Sent {
			return "", calls
		}
	}
	return "nobody was told of the silence", calls
}

// inMemory tells the story on a new memory.
func inMemory(t testing.TB, fault func(int) Fault) (wrong string, calls int) {
	t.Helper()
	h := storyHouse()
	books, err := h.furnish(began)
	if err != nil {
		t.Fatal(err)
	}
	return story(books, h, fault)
}

func storyHouse() house {
	h := twoTanks()
	h.devices[2].tank = 1 // the tank without an account
	return h
}

// at is a fault at one call.
func at(n int, f Fault) func(int) Fault {
	return func(call int) Fault {
		if call == n {
			return f
		}
		return Sound
	}
}

func sound(int) Fault { return Sound }

// TestEveryFailure: each call of the store in turn fails in each way.
func TestEveryFailure(t *testing.T) {
	wrong, calls := inMemory(t, sound)
	if wrong != "" {
		t.Fatal(wrong)
	}
	for n := range calls {
		for f := Refused; f < faults; f++ {
			if wrong, _ := inMemory(t, at(n, f)); wrong != "" {
				t.Errorf("call %d of %d, fault %d: %s", n, calls, f, wrong)
			}
		}
	}
	t.Logf("%d calls, each failing in %d ways", calls, faults-1)
}

// TestEveryPair: any two calls of the store fail, each in each way; among them are
// all pairs of kills.
func TestEveryPair(t *testing.T) {
	_, calls := inMemory(t, sound)
	step := 29 // a share of the pairs
	if longtest.Asked() {
		step = 1
	}
	const ways = int(faults - 1)
	var pairs atomic.Int64
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i := range calls {
		group.Go(func() error {
			// After a failure there are more calls than before.
			for j := i + 1 + i%step; j < calls+10; j += step {
				for both := range ways * ways {
					first, second := Refused+Fault(both%ways), Refused+Fault(both/ways)
					wrong, _ := inMemory(t, func(call int) Fault {
						switch call {
						case i:
							return first
						case j:
							return second
						}
						return Sound
					})
					if pairs.Add(1); wrong != "" {
						return fmt.Errorf("calls %d (%d) and %d (%d) fail: %s", i, first, j, second, wrong)
					}
				}
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d pairs of failures among %d calls", pairs.Load(), calls)
}

// TestEveryFailureOfTheStore is TestEveryFailure on the real one.
func TestEveryFailureOfTheStore(t *testing.T) {
	h := storyHouse()
	_, calls := inMemory(t, sound)
	step := 9
	if longtest.Asked() {
		step = 1
	}
	for n := 0; n < calls; n += step {
		for f := Refused; f < faults; f++ {
			if wrong, _ := story(openStore(t, h, began), h, at(n, f)); wrong != "" {
				t.Fatalf("call %d of %d, fault %d: %s", n, calls, f, wrong)
			}
		}
	}
}
