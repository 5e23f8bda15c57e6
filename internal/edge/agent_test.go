package edge

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"isohaline/internal/edge/decide"
	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
)

// wires are a tank whose level a test moves by hand.
type wires struct {
	mu     sync.Mutex
	watch  guard.Contact
	broken error
	out    lease.Outputs
	said   []lease.Outputs // all of them
	closed bool
	// failsOn: whenever the pump is to be on, nothing is heard.
	failsOn bool
}

func (w *wires) Exchange(_ context.Context, out lease.Outputs) (edgeio.Inputs, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.failsOn && out.Pump {
		w.out = lease.Outputs{}
		return edgeio.Inputs{}, errors.New("not heard")
	}
	if w.broken != nil {
		w.out = lease.Outputs{} // the lease ends
		return edgeio.Inputs{}, w.broken
	}
	w.out, w.said = out, append(w.said, out)
	return edgeio.Inputs{Contacts: map[edgeio.Input]guard.Contact{edgeio.Watch: w.watch}}, nil
}

func (w *wires) Close() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.out, w.closed = lease.Outputs{}, true
	return nil
}

func (w *wires) set(change func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change()
}

func (w *wires) pump() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.out.Pump
}

// bench is a running agent.
type bench struct {
	t     *testing.T
	dir   string
	wires *wires
	agent *Agent
	stop  context.CancelFunc
	ended chan error
}

func typical() decide.Config {
	c := decide.Config{Settings: guard.Typical(), FlowMLS: 15}
	c.Settings.GiveMost, c.Settings.HoldExpires = time.Minute, 10*time.Minute
	return c
}

// start runs an agent in a folder.
func start(t *testing.T, dir string, watch guard.Contact) *bench {
	t.Helper()
	b := &bench{t: t, dir: dir, wires: &wires{watch: watch}, ended: make(chan error, 1)}
	var err error
	b.agent, err = Open(Options{Config: typical(), Wires: b.wires, Pace: NewPace(1), Dir: dir, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	b.stop = stop
	go func() { b.ended <- b.agent.Run(ctx) }()
	return b
}

// end stops the agent as a service manager would, and wants everything off.
func (b *bench) end() {
	b.t.Helper()
	b.stop()
	if err := <-b.ended; err != nil || b.wires.pump() || !b.wires.closed {
		b.t.Errorf("ended with %v, pump %v", err, b.wires.pump())
	}
}

func (b *bench) ask(id string, kind requests.Kind, ml float64) requests.Answer {
	b.t.Helper()
	a, err := b.agent.Ask(b.t.Context(), decide.Ask{Request: requests.Request{
		ID: id, Seq: uint64(time.Now().UnixMicro()), Kind: kind, GiveML: ml, By: "mira", AskedAt: time.Now()}})
	if err != nil {
		b.t.Fatal(err)
	}
	return a
}

func (b *bench) onSite(kind requests.Kind) requests.Answer {
	a, err := b.agent.Ask(b.t.Context(), decide.Ask{Request: requests.Request{Kind: kind}, OnSite: true})
	if err != nil {
		b.t.Fatal(err)
	}
	return a
}

func (b *bench) phase() guard.Phase {
	v := b.agent.View()
	return v.State.Guard.Phase
}

func (b *bench) want(phase guard.Phase, pump bool) {
	b.t.Helper()
	if b.phase() != phase || b.wires.pump() != pump {
		b.t.Fatalf("%v, pump %v; want %v, %v; trouble %v", b.phase(), b.wires.pump(), phase, pump, b.agent.View().Trouble)
	}
}

// TestAgentTopsOff: a fill as on any day, under a clock that the test moves.
func TestAgentTopsOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Dry)
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Filling, true)
		b.wires.set(func() { b.wires.watch = guard.Wet })
		time.Sleep(2 * time.Second)
		b.want(guard.Settling, false)
		time.Sleep(11 * time.Minute)
		b.want(guard.Resting, false)
		if v := b.agent.View(); v.Channels()["watch"] != 1 || v.Channels()["pump"] != 0 {
			t.Errorf("readings %v", v.Channels())
		}
		b.end()
	})
}

// TestAskedFromAfar: answers, and a request sent twice.
func TestAskedFromAfar(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Wet)
		time.Sleep(11 * time.Minute)
		if a := b.ask("one", requests.Give, 150); !a.Taken {
			t.Fatalf("%+v", a)
		}
		b.want(guard.Filling, true)
		time.Sleep(11 * time.Second)
		b.want(guard.Settling, false)
		again := b.agent.View().State.Ledger.Recent[0].Request
		time.Sleep(11 * time.Minute)
		a, err := b.agent.Ask(t.Context(), decide.Ask{Request: again})
		if err != nil || !a.Taken {
			t.Errorf("%+v %v", a, err)
		}
		b.want(guard.Resting, false)
		if b.ask("hold", requests.Hold, 0); b.phase() != guard.Held {
			t.Error("not held")
		}
		if a := b.ask("clear", requests.Clear, 0); a.Taken || a.Why != "a fault is cleared on site only" {
			t.Errorf("%+v", a)
		}
		b.end()
	})
}

// TestRestart: what a person has to end outlives the process, what was given is
// not given again, and a request that was answered stays so.
func TestRestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		b := start(t, dir, guard.Wet)
		time.Sleep(11 * time.Minute)
		b.ask("give", requests.Give, 300)
		b.want(guard.Filling, true)
		again := b.agent.View().State.Ledger.Recent[0].Request
		b.end() // in the middle of the fill

		b = start(t, dir, guard.Wet)
		time.Sleep(11 * time.Minute)
		b.want(guard.Resting, false)
		if a, _ := b.agent.Ask(t.Context(), decide.Ask{Request: again}); !a.Taken {
			t.Errorf("answered %+v", a)
		}
		b.want(guard.Resting, false)
		if most := b.agent.View().GiveMostML; most > 600 {
			t.Errorf("%v mL may be given, and 300 were", most)
		}
		b.ask("shut", requests.ShutValve, 0)
		b.end()

		b = start(t, dir, guard.Dry)
		time.Sleep(20 * time.Minute)
		b.want(guard.Held, false)
		b.ask("resume", requests.Resume, 0)
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Filling, true)
		time.Sleep(2 * time.Minute)
		b.want(guard.Latched, false) // the run limit
		b.end()

		b = start(t, dir, guard.Dry)
		time.Sleep(time.Hour)
		b.want(guard.Latched, false)
		if a := b.onSite(requests.Clear); !a.Taken {
			t.Errorf("%+v", a)
		}
		b.want(guard.Settling, false)
		b.end()
	})
}

// TestFullDisk: without a place to save the pump does not start, one that runs
// stops at the next thing that has to be saved, and nothing is taken.
func TestFullDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "edge")
		full := func(is bool) {
			var err error
			if is {
				err = os.RemoveAll(dir)
			} else {
				err = os.Mkdir(dir, 0o700)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		full(false)
		b := start(t, dir, guard.Dry)
		time.Sleep(5 * time.Minute)
		full(true)
		time.Sleep(time.Hour)
		if b.wires.pump() || len(b.agent.View().Trouble) != 1 || !strings.HasPrefix(b.agent.View().Trouble[0], "disk: ") {
			t.Fatalf("pump %v, trouble %v", b.wires.pump(), b.agent.View().Trouble)
		}
		if a := b.ask("hold", requests.Hold, 0); a.Code != requests.Unsaved {
			t.Errorf("%+v", a)
		}
		full(false)
		time.Sleep(10*time.Minute + 13*time.Second)
		b.want(guard.Filling, true)
		if got := b.agent.View().Trouble; len(got) != 0 {
			t.Error(got)
		}
		full(true)
		if a := b.ask("silence", requests.Silence, 0); a.Code != requests.Unsaved {
			t.Errorf("%+v", a)
		}
		b.want(guard.Settling, false)
		full(false)
		time.Sleep(2 * time.Second)
		b.end()
	})
}

// TestDamagedState: what cannot be read is not taken for nothing.
func TestDamagedState(t *testing.T) {
	for _, text := range []string{"", "{", `{"version":99}`, "\x00\x00\x00"} {
		synctest.Test(t, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, stateFile), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			b := start(t, dir, guard.Dry)
			time.Sleep(20 * time.Minute)
			b.want(guard.Held, false)
			if first := b.agent.Events(); !strings.Contains(first[len(first)-1].Words, "held until a person has looked") {
				t.Errorf("%+v", first)
			}
			b.onSite(requests.Resume)
			time.Sleep(10*time.Minute + 12*time.Second)
			b.want(guard.Filling, true)
			b.end()
		})
	}
}

// TestStoppedAndGoesOn: an agent that was stopped in the middle of a fill, and goes
// on, says nothing of on before it has looked.
func TestStoppedAndGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Dry)
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Filling, true)
		b.stop()
		<-b.ended // between two turns: nothing turns the wheel
		b.wires.said = nil
		time.Sleep(2 * time.Second)
		b.agent.turn(t.Context())
		if first := b.wires.said[0]; first.Pump {
			t.Error("said on before it had looked")
		}
		time.Sleep(time.Hour)
		b.agent.turn(t.Context())
		for _, out := range b.wires.said[2:] {
			if out.Pump {
				t.Errorf("said %+v", b.wires.said)
			}
		}
		b.want(guard.Latched, false)
	})
}

// TestOneAgent: a folder has one.
func TestOneAgent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Wet)
		o := Options{Config: typical(), Wires: &wires{}, Pace: NewPace(1), Dir: b.dir, Log: slog.New(slog.DiscardHandler)}
		if _, err := Open(o); err == nil || !strings.Contains(err.Error(), "another agent uses") {
			t.Errorf("opened twice: %v", err)
		}
		b.end()
	})
}

// TestLostWires: inputs that cannot be read stop the pump and raise an alarm, and
// it goes on when they are back.
func TestLostWires(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Dry)
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Filling, true)
		b.wires.set(func() { b.wires.broken = errors.New("cut") })
		time.Sleep(time.Second)
		b.want(guard.Settling, false)
		if v := b.agent.View(); !v.Out.Alarms.Has(guard.InputFault) || fmt.Sprint(v.Trouble) != "[wires: cut]" {
			t.Errorf("%v, %v", v.Out.Alarms, v.Trouble)
		}
		b.wires.set(func() { b.wires.broken = nil })
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Filling, true)
		if list := b.agent.Events(); len(list) < 6 {
			t.Errorf("%d events", len(list))
		}
		b.end()
	})
}

// TestNotHeard: wires that fail at the very word that begins a fill end it, though
// they are back by the next.
func TestNotHeard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Dry)
		b.wires.set(func() { b.wires.failsOn = true })
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Settling, false)
		b.wires.set(func() { b.wires.failsOn = false })
		time.Sleep(10*time.Minute + 12*time.Second)
		b.want(guard.Filling, true)
		b.end()
	})
}

// TestManyAsk: requests from everywhere at once, each with an answer.
func TestManyAsk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, t.TempDir(), guard.Wet)
		time.Sleep(time.Second)
		var all sync.WaitGroup
		var mu sync.Mutex
		busy := 0
		for i := range 3 * waiting {
			all.Go(func() {
				a := b.ask(fmt.Sprint(i), requests.Silence, 0)
				mu.Lock()
				defer mu.Unlock()
				if a.Code == requests.Busy {
					busy++
				}
				b.agent.View()
			})
		}
		all.Wait()
		if busy == 0 {
			t.Error("the queue has no end")
		}
		b.end()
	})
}
