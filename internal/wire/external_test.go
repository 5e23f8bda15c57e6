package wire

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats-server/v2/server"
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
	if diff := cmp.Diff(want, consumeUntil(t, l, "store", len(want))); diff != "" {
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
	got := consumeUntil(t, l, "store", 3)
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
