package link

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/edge"
	"isohaline/internal/edge/decide"
	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/join"
	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/freeport"
	"isohaline/internal/guard"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
	"isohaline/internal/wire"
)

var lobby = wire.DeviceID{Site: "harbour", Device: "edge-1"}

// hub is a hub's ends of the link, without the rest of it.
type hub struct {
	log   *wire.Log
	port  *wire.EdgePort
	after uint64 // the last frame that the test has seen

	mu   sync.Mutex
	told []talk.Tell
}

func openHub(t *testing.T, dir, address string, key wire.EdgeKey) (*hub, func()) {
	t.Helper()
	l, err := wire.OpenLog(t.Context(), wire.LogOptions{Dir: dir, Edges: wire.EdgeOptions{Address: address}})
	if err != nil {
		t.Fatal(err)
	}
	door, err := wire.NewFrontDoor(wire.DoorOptions{Append: l.Append, Profile: func(wire.DeviceID) *wire.Profile { return channel.Profile() },
		Authenticate: func(string, string, []byte) (wire.DeviceID, bool) { return wire.DeviceID{}, false },
		Refused:      func(r wire.Refusal) { t.Errorf("refused: %v", r) }})
	if err != nil {
		t.Fatal(err)
	}
	h := &hub{log: l, port: l.EdgePort()}
	if err := h.port.Admit([]wire.EdgeKey{key}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() {
		served <- h.port.Serve(ctx, door, func(_ wire.DeviceID, message []byte) {
			tell, err := talk.Decode[talk.Tell](message)
			if err != nil {
				t.Error(err)
			}
			h.mu.Lock()
			defer h.mu.Unlock()
			h.told = append(h.told, tell)
		})
	}()
	stop := sync.OnceFunc(func() {
		cancel()
		if err := <-served; err != nil {
			t.Error(err)
		}
		l.Close()
	})
	t.Cleanup(stop)
	return h, stop
}

func (h *hub) heard(what func(talk.Tell) bool) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.ContainsFunc(h.told, what)
}

func (h *hub) ask(t *testing.T, r requests.Request) {
	t.Helper()
	message, err := talk.Encode(r)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.port.Ask(lobby, message); err != nil {
		t.Fatal(err)
	}
}

// channels are the channels of which the hub's log has readings.
func (h *hub) channels(t *testing.T, enough func(map[string]float64) bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	got := map[string]float64{}
	if err := h.log.Consume(ctx, h.after, func(_ context.Context, frames []wire.Frame) error {
		for _, f := range frames {
			h.after = f.Sequence
			for _, r := range f.Readings {
				got[r.Channel] = r.Value
			}
		}
		if enough(got) {
			cancel()
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if !enough(got) {
		t.Fatalf("the hub has %v", got)
	}
}

func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); !holds(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s did not come about", what)
		}
	}
}

// startAgent runs the real agent on a simulated tank.
func startAgent(t *testing.T) *edge.Agent {
	t.Helper()
	text, err := os.ReadFile("../../../examples/reading-room.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := tankfile.Read("reading-room.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	set, err := verify.Commission(s)
	if err != nil {
		t.Fatal(err)
	}
	pace := edge.NewPace(1)
	a, err := edge.Open(edge.Options{Config: decide.NewConfig(set.Guard, set.TopOffM3S),
		Wires: edgeio.Simulate(set.Onset.Live(), pace.Clock), Pace: pace, Dir: t.TempDir(), Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	run(t, a.Run)
	return a
}

// run runs something until the test ends, or earlier by what it returns.
func run(t *testing.T, f func(context.Context) error) func() {
	ctx, cancel := context.WithCancel(context.Background())
	ran := make(chan error, 1)
	go func() { ran <- f(ctx) }()
	stop := sync.OnceFunc(func() {
		cancel()
		if err := <-ran; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(stop)
	return stop
}

// TestLink: what the tank reads is at the hub, also what it read while the cable
// was cut; what the hub asks is decided here, once.
func TestLink(t *testing.T) {
	public, seed, err := wire.NewEdgeKey()
	if err != nil {
		t.Fatal(err)
	}
	key := wire.EdgeKey{Edge: lobby, Public: public}
	address := freeport.Reserve(t)
	agent := startAgent(t)
	l, err := Open(t.Context(), Options{File: join.File{Hub: address, Site: lobby.Site, Edge: lobby.Device, Key: seed},
		Agent: agent, Dir: t.TempDir(), Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(l.Close)
	run(t, l.Run) // without a hub yet

	h, _ := openHub(t, t.TempDir(), address, key)
	h.channels(t, func(got map[string]float64) bool {
		for _, name := range []string{"watch", "ceiling", "pump", "heartbeat", "latched"} {
			if _, ok := got[name]; !ok {
				return false
			}
		}
		return got["heartbeat"] == 1 && got["latched"] == 0
	})
	eventually(t, "a picture", func() bool {
		return h.heard(func(m talk.Tell) bool { return m.Picture != nil && m.Picture.Phase != "" })
	})

	// asked asks again, now and then, until the hub is told what is waited for: a
	// request of a slow minute is stale.
	seq := uint64(0)
	asked := func(what string, kind requests.Kind, age time.Duration, ok func(talk.Tell) bool) {
		t.Helper()
		var last time.Time
		eventually(t, what, func() bool {
			if time.Since(last) > time.Second {
				last = time.Now()
				seq++
				h.ask(t, requests.Request{ID: fmt.Sprint(kind, seq), Seq: seq, Kind: kind, By: "olga", AskedAt: last.Add(-age)})
			}
			return h.heard(ok)
		})
	}
	answer := func(kind requests.Kind, ok func(*requests.Answer) bool) func(talk.Tell) bool {
		return func(m talk.Tell) bool {
			return m.Answer != nil && strings.HasPrefix(m.Answer.ID, string(kind)) && ok(m.Answer)
		}
	}
	asked("the hold", requests.Hold, 0, answer(requests.Hold, func(a *requests.Answer) bool { return a.Taken }))
	for _, what := range []struct {
		name string
		ok   func(talk.Tell) bool
	}{
		{"received", func(m talk.Tell) bool { return strings.HasPrefix(m.Received, string(requests.Hold)) }},
		{"a picture of the hold", func(m talk.Tell) bool { return m.Picture != nil && m.Picture.OnHold && m.Picture.LastSeq > 0 }},
	} {
		eventually(t, what.name, func() bool { return h.heard(what.ok) })
	}
	asked("the refusal of what is stale", requests.Resume, time.Minute, answer(requests.Resume, func(a *requests.Answer) bool { return a.Code == requests.Stale }))
	asked("the refusal to clear from afar", requests.Clear, 0, answer(requests.Clear, func(a *requests.Answer) bool { return !a.Taken }))
	if v := agent.View(); !v.State.Guard.OnHold {
		t.Error("the tank is not held")
	}
	l.take([]byte("nonsense")) // is no request, and nothing else
}

// TestTeller: what does not change is told once a minute, a level that moves every
// ten seconds, a contact at once.
func TestTeller(t *testing.T) {
	var tell teller
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	view := func(after time.Duration, watch guard.Contact, mm float64) *edge.View {
		return &edge.View{At: at.Add(after), In: guard.Inputs{Watch: watch, LevelMM: mm}}
	}
	names := func(readings []wire.Reading) (out []string) {
		for _, r := range readings {
			out = append(out, r.Channel)
			if err := r.Validate(); err != nil {
				t.Error(err)
			}
		}
		return out
	}
	for _, row := range []struct {
		after time.Duration
		watch guard.Contact
		mm    float64
		want  []string
	}{
		{0, guard.Wet, 200, []string{"heartbeat", "latched", "level", "pump", "watch"}},
		{100 * time.Millisecond, guard.Wet, 200.1, nil},
		{200 * time.Millisecond, guard.Dry, 200.1, []string{"watch"}},
		{11 * time.Second, guard.Dry, 200.2, []string{"level"}},
		{12 * time.Second, guard.Dry, 200.3, nil},
		{61 * time.Second, guard.Dry, 200.3, []string{"heartbeat", "latched", "level", "pump", "watch"}},
	} {
		if got := names(tell.readings(view(row.after, row.watch, row.mm), lobby)); !slices.Equal(got, row.want) {
			t.Errorf("after %v: %v, want %v", row.after, got, row.want)
		}
	}
	latched := view(62*time.Second, guard.Dry, 200.3)
	latched.State.Guard.Phase, latched.State.Guard.Latch = guard.Latched, guard.CeilingWet
	if got := names(tell.readings(latched, lobby)); !slices.Equal(got, []string{"latched"}) {
		t.Errorf("latching tells %v", got)
	}
	p, due := tell.picture(latched)
	if !due || !p.Latched || p.Look == "" {
		t.Errorf("the picture of a latch is %+v", p)
	}
	latched.At = latched.At.Add(time.Second)
	if _, due := tell.picture(latched); due {
		t.Error("an unchanged picture is due after a second")
	}
	latched.At = latched.At.Add(talk.TellEvery)
	if _, due := tell.picture(latched); !due {
		t.Error("an unchanged picture is not due after TellEvery")
	}
}

// Whatever latches the guard, there is a place to look first.
func TestLookFirst(t *testing.T) {
	for _, r := range []guard.Reason{guard.CeilingWet, guard.FloorWet, guard.RunLimit, guard.LevelNotAnswering, guard.CeilingWetWatchDry, guard.NoReason} {
		if lookFirst(r) == "" {
			t.Errorf("%v: nowhere to look", r)
		}
	}
}
