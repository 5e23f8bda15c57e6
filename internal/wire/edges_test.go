package wire

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats.go"

	"isohaline/internal/freeport"
)

// hub is a log that edges link to, with the door that their readings go through.
type hub struct {
	*house
	log  *Log
	port *EdgePort

	mu   sync.Mutex
	told []string
}

// openHub opens a hub in a folder, at an address. It closes with the test, or
// earlier by what it returns.
func openHub(t testing.TB, dir, address string, keys ...EdgeKey) (*hub, func()) {
	t.Helper()
	return openHubWith(t, LogOptions{Dir: dir, Edges: EdgeOptions{Address: address}}, keys...)
}

func openHubWith(t testing.TB, o LogOptions, keys ...EdgeKey) (*hub, func()) {
	t.Helper()
	l, err := OpenLog(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	h := &hub{log: l, port: l.EdgePort(), house: openHouse(t, l.Append)}
	if err := h.port.Admit(keys); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() {
		served <- h.port.Serve(ctx, h.door, func(edge DeviceID, message []byte) {
			h.mu.Lock()
			defer h.mu.Unlock()
			h.told = append(h.told, edge.String()+": "+string(message))
		})
	}()
	stop := sync.OnceFunc(func() {
		cancel()
		if err := <-served; err != nil {
			t.Errorf("Serve: %v", err)
		}
		l.Close()
	})
	t.Cleanup(stop)
	return h, stop
}

func (h *hub) heard(message string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Contains(h.told, message)
}

// newEdge makes a key for an edge.
func newEdge(t testing.TB, edge DeviceID) (EdgeKey, string) {
	t.Helper()
	public, seed, err := NewEdgeKey()
	if err != nil {
		t.Fatal(err)
	}
	return EdgeKey{edge, public}, seed
}

// openUplink opens an edge's end and runs it until the test ends, or earlier by
// what it returns.
func openUplink(t testing.TB, o UplinkOptions) (*Uplink, func()) {
	t.Helper()
	if o.Dir == "" {
		o.Dir = t.TempDir()
	}
	u, err := OpenUplink(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ran := make(chan error, 1)
	go func() { ran <- u.Run(ctx) }()
	stop := sync.OnceFunc(func() {
		cancel()
		if err := <-ran; err != nil {
			t.Errorf("Run: %v", err)
		}
		u.Close()
	})
	t.Cleanup(stop)
	return u, stop
}

func keep(t testing.TB, u *Uplink, readings []Reading) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if err := u.Append(ctx, readings); err != nil {
		t.Fatal(err)
	}
}

// values are what readings say, whenever the hub had them.
func values(readings []Reading) []float64 {
	var out []float64
	for _, r := range readings {
		out = append(out, r.Value)
	}
	return out
}

// measured is numbered within the range of the level channel.
func measured(n int) []Reading {
	out := numbered(n)
	for i := range out {
		out[i].Value /= float64(n)
	}
	return out
}

func TestEdgeKeepsUntilTheHubHas(t *testing.T) {
	key, seed := newEdge(t, lobby)
	address := freeport.Reserve(t)
	u, _ := openUplink(t, UplinkOptions{Hub: address, Edge: lobby, Seed: seed})
	want := measured(10_000)
	keep(t, u, want[:5000])
	h, _ := openHub(t, t.TempDir(), address, key)
	keep(t, u, want[5000:])
	got := consumeUntil(t, h.log, new(uint64), len(want))
	if diff := cmp.Diff(values(want), values(got)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	for _, r := range got {
		if !r.Received.After(r.At) {
			t.Fatalf("%v was received %v, before it was true", r, r.Received)
		}
	}
	eventually(t, "the count of what was pushed", func() bool { return u.Pushed.Load() == int64(len(want)) })
}

func TestAskAndTell(t *testing.T) {
	key, seed := newEdge(t, lobby)
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0", key)
	asked := make(chan string, 100)
	u, _ := openUplink(t, UplinkOptions{Hub: h.port.Address(), Edge: lobby, Seed: seed, Asked: func(m []byte) { asked <- string(m) }})
	eventually(t, "the edge telling", func() bool {
		if err := u.Tell([]byte("here")); err != nil {
			t.Fatal(err)
		}
		return h.heard("lobby/sump-1: here")
	})
	eventually(t, "the edge being asked", func() bool {
		if err := h.port.Ask(lobby, []byte("hold")); err != nil {
			t.Fatal(err)
		}
		return len(asked) > 0
	})
	if got := <-asked; got != "hold" {
		t.Errorf("asked %q", got)
	}
}

// What an edge may never bring is refused where its page shows it; the rest of
// the frame is taken.
func TestHubRefusesVisibly(t *testing.T) {
	key, seed := newEdge(t, lobby)
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0", key)
	u, _ := openUplink(t, UplinkOptions{Hub: h.port.Address(), Edge: lobby, Seed: seed})
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	row := func(device, channel string, value float64, unit string) Reading {
		return Reading{Site: "lobby", Device: device, Channel: channel, At: at, Received: at, Value: value, Unit: unit}
	}
	keep(t, u, []Reading{
		row("sump-2", "level", 0.3, "m"),
		row("sump-1", "level", 0.31, "m"),
		row("sump-1", "colour", 3, ""),
		row("sump-1", "level", 31, "m"),
		row("sump-1", "temperature", 25, "m"),
		row("sump-1", "watch", 0.5, ""),
		row("sump-1", "watch", 1, ""),
	})
	if got := values(consumeUntil(t, h.log, new(uint64), 2)); !slices.Equal(got, []float64{0.31, 1}) {
		t.Errorf("taken: %v", got)
	}
	var got []Reason
	for n := range 5 {
		r := h.refusal(t, n+1)
		if r.Device != lobby {
			t.Errorf("refusal %v is %v's, want %v", r, r.Device, lobby)
		}
		got = append(got, r.Reason)
	}
	if want := []Reason{NotYours, UnknownChannel, OutOfRange, WrongUnit, OutOfRange}; !slices.Equal(got, want) {
		t.Errorf("refused: %v, want %v", got, want)
	}
	eventually(t, "the edge's counts", func() bool { return u.Refused.Load() == 5 && u.Pushed.Load() == 2 })
}

func TestHubRefusesWhatIsNoFrame(t *testing.T) {
	key, seed := newEdge(t, lobby)
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0", key)
	u, _ := openUplink(t, UplinkOptions{Hub: h.port.Address(), Edge: lobby, Seed: seed})
	eventually(t, "an answer", func() bool {
		answer, err := u.request(t.Context(), []byte("no frame"))
		return err == nil && len(answer.Refused) == 1 && answer.Refused[0].Index == wholeFrame
	})
	if r := h.refusal(t, 1); r.Reason != Malformed || r.Device != lobby {
		t.Errorf("refusal is %v", r)
	}
}

// The hub's log away is no refusal: the edge is to send again.
func TestHubWithoutLog(t *testing.T) {
	house := openHouse(t, (&memory{broken: true}).append)
	frame, err := encodeReading(measured(1)[0])
	if err != nil {
		t.Fatal(err)
	}
	data, err := encodeFrame([]cbor.RawMessage{frame})
	if err != nil {
		t.Fatal(err)
	}
	if refused, err := house.door.take(t.Context(), lobby, data); err == nil || len(refused) > 0 {
		t.Errorf("refused %v, error %v", refused, err)
	}
}

// Neither edge reads or writes what is the other's, whatever it tries.
func TestEdgesAreApart(t *testing.T) {
	clinic := DeviceID{"clinic", "sump-1"}
	lobbyKey, lobbySeed := newEdge(t, lobby)
	clinicKey, clinicSeed := newEdge(t, clinic)
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0", lobbyKey, clinicKey)
	asked := make(chan string, 100)
	nosy, _ := openUplink(t, UplinkOptions{Hub: h.port.Address(), Edge: clinic, Seed: clinicSeed})
	u, _ := openUplink(t, UplinkOptions{Hub: h.port.Address(), Edge: lobby, Seed: lobbySeed, Asked: func(m []byte) { asked <- string(m) }})

	overheard := make(chan string, 100)
	for _, subject := range []string{">", edgeRoot + ">", edgeSubject(lobby, askWord), edgeSubject(lobby, inboxWord) + ".>",
		edgeSubject(lobby, tellWord), streamSubjects, "$JS.>", "_INBOX.>"} {
		if _, err := nosy.log.conn.Subscribe(subject, func(m *nats.Msg) {
			own := edgeOf(m.Subject) == clinic || string(m.Data) == "forged" ||
				strings.HasPrefix(m.Subject, "$JS.") && !strings.Contains(m.Subject, streamName)
			if !own {
				overheard <- subject + " heard " + m.Subject
			}
		}); err != nil {
			t.Fatal(err)
		}
	}
	for _, e := range []struct {
		name string
		u    *Uplink
	}{{"lobby/sump-1", u}, {"clinic/sump-1", nosy}} {
		eventually(t, e.name+" telling", func() bool {
			if err := e.u.Tell([]byte("linked")); err != nil {
				t.Fatal(err)
			}
			return h.heard(e.name + ": linked")
		})
	}
	// Writing as the other.
	for _, subject := range []string{edgeSubject(lobby, pushWord), edgeSubject(lobby, tellWord), edgeSubject(lobby, askWord), doorSubject} {
		if err := nosy.log.conn.Publish(subject, []byte("forged")); err != nil {
			t.Fatal(err)
		}
	}
	// Traffic that could be overheard, and that comes after what was forged.
	want := measured(100)
	keep(t, u, want)
	if got := consumeUntil(t, h.log, new(uint64), len(want)); len(got) != len(want) {
		t.Errorf("%d readings, want %d", len(got), len(want))
	}
	eventually(t, "the edge being asked", func() bool {
		if err := h.port.Ask(lobby, []byte("hold")); err != nil {
			t.Fatal(err)
		}
		return len(asked) > 0
	})
	eventually(t, "the last word", func() bool {
		if err := nosy.Tell([]byte("done")); err != nil {
			t.Fatal(err)
		}
		return h.heard("clinic/sump-1: done")
	})
	if got := <-asked; got != "hold" {
		t.Errorf("the edge was asked %q", got)
	}
	if h.heard("lobby/sump-1: forged") {
		t.Error("one edge told in the name of the other")
	}
	if n := len(h.refusals); n > 0 {
		t.Errorf("%d frames came in the name of the other", n)
	}
	close(overheard)
	for o := range overheard {
		t.Error(o)
	}
}

// lines are what a logger says.
type lines chan string

func (l lines) Write(line []byte) (int, error) {
	select {
	case l <- string(line):
	default: // nobody waits for so much
	}
	return len(line), nil
}

// await waits for a line with some words.
func (l lines) await(t *testing.T, words string) {
	t.Helper()
	for {
		select {
		case line := <-l:
			if strings.Contains(line, words) {
				return
			}
		case <-time.After(time.Minute):
			t.Fatalf("nobody says %q", words)
		}
	}
}

// A key that is withdrawn ends the link; a new one opens it again, and what waited
// meanwhile comes.
func TestAdmit(t *testing.T) {
	old, oldSeed := newEdge(t, lobby)
	next, nextSeed := newEdge(t, lobby)
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0", old)
	dir := t.TempDir()
	said := make(lines, 100)
	u, stop := openUplink(t, UplinkOptions{Dir: dir, Hub: h.port.Address(), Edge: lobby, Seed: oldSeed, Logger: slog.New(slog.NewTextHandler(said, nil))})
	want := measured(30)
	keep(t, u, want[:10])
	after := new(uint64)
	consumeUntil(t, h.log, after, 10)
	eventually(t, "the hub's answer, without which they would come again", func() bool { return u.Pushed.Load() == 10 })
	if err := h.port.Admit([]EdgeKey{next}); err != nil {
		t.Fatal(err)
	}
	for len(said) > 0 {
		<-said // of the time before there was a link
	}
	keep(t, u, want[10:20])
	said.await(t, "the hub does not take readings") // a link still up would bring them
	stop()
	if n := u.Pushed.Load(); n > 10 {
		t.Fatalf("%d readings came over a link whose key is withdrawn", n)
	}
	u, _ = openUplink(t, UplinkOptions{Dir: dir, Hub: h.port.Address(), Edge: lobby, Seed: nextSeed})
	keep(t, u, want[20:])
	if got := values(consumeUntil(t, h.log, after, 20)); !slices.Equal(got, values(want[10:])) {
		t.Errorf("after the new key came %v", got)
	}
}

func TestAdmitRefuses(t *testing.T) {
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0")
	key, seed := newEdge(t, lobby)
	for _, row := range []struct {
		what string
		keys []EdgeKey
		want string
	}{
		{"a seed", []EdgeKey{{lobby, seed}}, "is no public key of a user"},
		{"nothing", []EdgeKey{{lobby, ""}}, "is no public key of a user"},
		{"a name with a dot", []EdgeKey{{DeviceID{"lobby", "sump.1"}, key.Public}}, "use 1 to 64 of a-z"},
		{"a wildcard", []EdgeKey{{DeviceID{"*", "sump-1"}, key.Public}}, "use 1 to 64 of a-z"},
		{"one key of two", []EdgeKey{key, {DeviceID{"clinic", "sump-1"}, key.Public}}, "is another's too"},
	} {
		t.Run(row.what, func(t *testing.T) { wantError(t, h.port.Admit(row.keys), row.want) })
	}
}

func TestUplinkRefuses(t *testing.T) {
	_, seed := newEdge(t, lobby)
	for _, row := range []struct {
		what string
		o    UplinkOptions
		want string
	}{
		{"no seed", UplinkOptions{Hub: "127.0.0.1:1", Edge: lobby}, "the key is no seed"},
		{"no name", UplinkOptions{Hub: "127.0.0.1:1", Edge: DeviceID{"lobby", ""}, Seed: seed}, "edge"},
		{"no port", UplinkOptions{Hub: "127.0.0.1", Edge: lobby, Seed: seed}, "give host:port"},
	} {
		t.Run(row.what, func(t *testing.T) {
			row.o.Dir = t.TempDir()
			u, err := OpenUplink(t.Context(), row.o)
			if err == nil {
				u.Close()
			}
			wantError(t, err, row.want)
		})
	}
	_, err := OpenLog(t.Context(), LogOptions{URL: "nats://127.0.0.1:1", Edges: EdgeOptions{Address: "127.0.0.1:0"}})
	wantError(t, err, "both only where edges link beside an external log")
	_, err = OpenLog(t.Context(), LogOptions{Dir: t.TempDir(), Edges: EdgeOptions{Address: "127.0.0.1"}})
	wantError(t, err, "address for edges")
}

// An address that is taken is an error, not the end of the process.
func TestEdgeAddressTaken(t *testing.T) {
	h, _ := openHub(t, t.TempDir(), "127.0.0.1:0")
	_, err := OpenLog(t.Context(), LogOptions{Dir: t.TempDir(), Edges: EdgeOptions{Address: h.port.Address()}})
	wantError(t, err, "address already in use")
}

func BenchmarkCatchUp(b *testing.B) {
	const n = 60_480 // a week, one in ten seconds
	for b.Loop() {
		key, seed := newEdge(b, lobby)
		h, _ := openHub(b, b.TempDir(), "127.0.0.1:0", key)
		u, err := OpenUplink(b.Context(), UplinkOptions{Dir: b.TempDir(), Hub: h.port.Address(), Edge: lobby, Seed: seed})
		if err != nil {
			b.Fatal(err)
		}
		readings := measured(n)
		for i := 0; i < n; i += 100 {
			keep(b, u, readings[i:min(i+100, n)])
		}
		start := time.Now()
		ctx, cancel := context.WithCancel(b.Context())
		ran := make(chan error, 1)
		go func() { ran <- u.Run(ctx) }()
		for u.Pushed.Load() < n {
			time.Sleep(time.Millisecond)
		}
		b.ReportMetric(n/time.Since(start).Seconds(), "readings/s")
		cancel()
		if err := <-ran; err != nil {
			b.Fatal(err)
		}
		u.Close()
	}
}

func wantError(t *testing.T, err error, want string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error is %v, want %q", err, want)
	}
}
