package wire

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats-server/v2/server"

	"isohaline/internal/longtest"
)

// startNATS runs a server of its own on a loopback port, as an operator would.
func startNATS(t *testing.T, o *server.Options) *server.Server {
	t.Helper()
	o.Host, o.NoSigs, o.NoLog = "127.0.0.1", true, true
	if o.Port == 0 {
		o.Port = server.RANDOM_PORT
	}
	s, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("NATS does not start")
	}
	return s
}

func TestExternal(t *testing.T) {
	s := startNATS(t, &server.Options{JetStream: true, StoreDir: t.TempDir()})
	l := openLog(t, LogOptions{URL: s.ClientURL()})
	want := numbered(100)
	appendAll(t, l, want)
	if diff := cmp.Diff(want, consumeUntil(t, l, new(uint64), len(want))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestExternalUnfit(t *testing.T) {
	for _, row := range []struct {
		what string
		o    server.Options
		want string
	}{
		{"without JetStream", server.Options{}, "log: JetStream does not answer"},
		{"small messages only", server.Options{JetStream: true, MaxPayload: 1024}, "max_payload"},
	} {
		t.Run(row.what, func(t *testing.T) {
			row.o.StoreDir = t.TempDir()
			s := startNATS(t, &row.o)
			ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
			defer cancel()
			l, err := OpenLog(ctx, LogOptions{URL: s.ClientURL()})
			if err == nil {
				l.Close()
				t.Fatal("no error")
			}
			if !strings.Contains(err.Error(), row.want) {
				t.Errorf("error is %q, want %q", err, row.want)
			}
		})
	}
}

// An external server that goes away makes publishers wait; when it is back each
// of them gets its acknowledgement, and the log has each reading once.
func TestExternalGoesAway(t *testing.T) {
	o := server.Options{JetStream: true, StoreDir: t.TempDir()}
	s := startNATS(t, &o)
	l := openLog(t, LogOptions{URL: s.ClientURL()})
	readings := numbered(2)
	appendAll(t, l, readings[:1])
	o.Port = s.Addr().(*net.TCPAddr).Port
	s.Shutdown()
	s.WaitForShutdown()
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	other := numbered(3)[2:]
	if err := l.Append(ctx, other); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("while it is away: %v", err)
	}
	appended := make(chan error, 1)
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		appended <- l.Append(ctx, readings[1:])
	}()
	startNATS(t, &o)
	if err := <-appended; err != nil {
		t.Errorf("once it is back: %v", err)
	}
	got := consumeUntil(t, l, new(uint64), 3)
	seen := map[Key]int{}
	for _, r := range got {
		seen[r.Key()]++
	}
	for _, r := range append(readings, other...) {
		if seen[r.Key()] != 1 {
			t.Errorf("reading %v is there %d times", r.Value, seen[r.Key()])
		}
	}
}

// link is a network between a program and a server: it can be cut, and it can
// stand still, as one does behind which a router has died.
type link struct {
	listener net.Listener
	to       string

	mu    sync.Mutex
	still chan struct{} // closed while data moves
	conns []net.Conn
}

// newLink opens a link to a server; it closes with the test.
func newLink(t *testing.T, to string) *link {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	k := &link{listener: ln, to: to, still: make(chan struct{})}
	close(k.still)
	var owned sync.WaitGroup
	owned.Go(func() {
		for {
			in, err := ln.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", to)
			if err != nil {
				in.Close()
				continue
			}
			k.mu.Lock()
			k.conns = append(k.conns, in, out)
			k.mu.Unlock()
			owned.Go(func() { k.pass(in, out) })
			owned.Go(func() { k.pass(out, in) })
		}
	})
	t.Cleanup(func() {
		ln.Close()
		k.flow()
		k.cut()
		owned.Wait()
	})
	return k
}

func (k *link) pass(from, to net.Conn) {
	defer to.Close()
	var data [32 << 10]byte
	for {
		n, err := from.Read(data[:])
		k.mu.Lock()
		still := k.still
		k.mu.Unlock()
		<-still
		if _, failed := to.Write(data[:n]); err != nil || failed != nil {
			return
		}
	}
}

func (k *link) url() string { return "nats://" + k.listener.Addr().String() }

// cut breaks every connection; new ones can be made.
func (k *link) cut() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, c := range k.conns {
		c.Close()
	}
	k.conns = nil
}

// stall lets nothing through until flow.
func (k *link) stall() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.still = make(chan struct{})
}

func (k *link) flow() {
	k.mu.Lock()
	defer k.mu.Unlock()
	select {
	case <-k.still:
	default:
		close(k.still)
	}
}

// TestConsumeThroughTrouble: a consumer gets every frame, in order and once, though
// its connection breaks and stands still, its server goes away and comes back, and
// what the server knows of it is deleted, each time with frames on their way.
func TestConsumeThroughTrouble(t *testing.T) {
	o := server.Options{JetStream: true, StoreDir: t.TempDir()}
	s := startNATS(t, &o)
	o.Port = s.Addr().(*net.TCPAddr).Port
	k := newLink(t, s.Addr().String())
	writer, reader := openLog(t, LogOptions{URL: s.ClientURL()}), openLog(t, LogOptions{URL: k.url()})

	var mu sync.Mutex
	var got []float64
	ctx, cancel := context.WithCancel(t.Context())
	consumed := make(chan error, 1)
	go func() {
		consumed <- reader.Consume(ctx, 0, func(_ context.Context, frames []Frame) error {
			mu.Lock()
			defer mu.Unlock()
			for _, f := range frames {
				got = append(got, values(f.Readings)...)
			}
			return nil
		})
	}()
	const each = 300
	readings := numbered(7 * each)
	sent := 0
	send := func() {
		for range each {
			appendAll(t, writer, readings[sent:sent+1])
			sent++
		}
	}
	came := func() {
		t.Helper()
		eventually(t, "every frame", func() bool {
			mu.Lock()
			defer mu.Unlock()
			return len(got) >= sent
		})
	}
	forget := func() {
		consumers := writer.stream.ListConsumers(t.Context())
		for c := range consumers.Info() {
			if err := writer.stream.DeleteConsumer(t.Context(), c.Name); err != nil {
				t.Error(err)
			}
		}
	}
	send()
	came()
	for _, trouble := range []struct{ begin, end func() }{
		{k.cut, func() {}},
		{k.stall, k.flow},
		{k.stall, func() { k.cut(); k.flow() }},
		{forget, func() {}},
		{k.cut, forget},
		{func() { s.Shutdown(); s.WaitForShutdown(); s = startNATS(t, &o) }, func() {}},
	} {
		trouble.begin()
		send()
		trouble.end()
		came()
	}
	cancel()
	if err := <-consumed; err != nil {
		t.Error(err)
	}
	if diff := cmp.Diff(values(readings), got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if n := reader.Counters.Missing.Load(); n > 0 {
		t.Errorf("%d frames were counted as missing", n)
	}
}

// Edges link to this process whose log is elsewhere. What they bring is in the
// external log before they forget it, also where that server goes away meanwhile:
// nothing is lost, no reading is there twice by its key, and asking and telling go
// on without it.
func TestEdgesBesideExternal(t *testing.T) {
	o := server.Options{JetStream: true, StoreDir: t.TempDir()}
	s := startNATS(t, &o)
	o.Port = s.Addr().(*net.TCPAddr).Port
	key, seed := newEdge(t, lobby)
	h, _ := openHubWith(t, LogOptions{Dir: t.TempDir(), URL: s.ClientURL(), Edges: EdgeOptions{Address: "127.0.0.1:0"}}, key)
	asked := make(chan string, 1)
	u, _ := openUplink(t, UplinkOptions{Hub: h.port.Address(), Edge: lobby, Seed: seed, Asked: func(m []byte) {
		select {
		case asked <- string(m):
		default:
		}
	}})
	want := measured(3000)
	keep(t, u, want[:1000])
	if diff := cmp.Diff(values(want[:1000]), values(consumeUntil(t, h.log, new(uint64), 1000))); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}

	s.Shutdown()
	s.WaitForShutdown()
	keep(t, u, want[1000:2000])
	eventually(t, "the log is tried in vain", func() bool { return h.log.Counters.Retries.Load() > 0 })
	if u.Pushed.Load() != 1000 {
		t.Errorf("the edge believes that %d readings are kept, want 1000", u.Pushed.Load())
	}
	before := h.door.Counters.Messages.Load()
	pushes := int64(0)
	if longtest.Asked() {
		pushes = 4 // the edge sends again, after pushTimeout each time
	}
	eventually(t, "the edge sends again", func() bool { return h.door.Counters.Messages.Load() >= before+pushes })
	eventually(t, "the edge is asked", func() bool {
		if err := h.port.Ask(lobby, []byte("are you there")); err != nil {
			t.Fatal(err)
		}
		select {
		case m := <-asked:
			return m == "are you there"
		default:
			return false
		}
	})
	eventually(t, "the hub is told", func() bool {
		if err := u.Tell([]byte("here")); err != nil {
			t.Fatal(err)
		}
		return h.heard("lobby/sump-1: here")
	})

	startNATS(t, &o)
	keep(t, u, want[2000:])
	eventually(t, "the hub has all", func() bool { return u.Pushed.Load() == int64(len(want)) })
	seen := map[Key]bool{}
	var got []float64
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if err := h.log.Consume(ctx, 0, func(_ context.Context, frames []Frame) error {
		var readings []Reading
		for _, f := range frames {
			readings = append(readings, f.Readings...)
		}
		for _, r := range readings {
			if !seen[r.Key()] { // as every store of readings keeps them
				seen[r.Key()] = true
				got = append(got, r.Value)
			}
		}
		if len(got) >= len(want) {
			cancel()
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(values(want), got); diff != "" {
		t.Errorf("lost, doubled or out of order (-want +got):\n%s", diff)
	}
}

// An external log and a lock in the folder: a second process beside it is refused.
func TestExternalFolderIsOfOne(t *testing.T) {
	s := startNATS(t, &server.Options{JetStream: true, StoreDir: t.TempDir()})
	o := LogOptions{Dir: t.TempDir(), URL: s.ClientURL(), Edges: EdgeOptions{Address: "127.0.0.1:0"}}
	openLog(t, o)
	_, err := OpenLog(t.Context(), o)
	wantError(t, err, "is in use by another process")
}
