package server

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/server/auth"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// cheap keeps signing in fast; the code is the same.
var cheap = auth.Cost{Passes: 1, MemoryKiB: 64, Lanes: 1}

// The people of the tests, all with one password.
const password = "a long enough one"

var people = []store.User{
	{ID: "olga", Role: store.Operator},
	{ID: "timo", Role: store.Technician, Sites: []string{"here"}},
	{ID: "carla", Role: store.Client, Sites: []string{"here"}},
}

// house is the running service: the real one, in a folder and at ports of its
// own, with a tank at each of two sites.
type house struct {
	*Server
	t *testing.T
	// ahead is how far the service's clock is ahead, in nanoseconds.
	ahead *atomic.Int64
}

// pass lets time pass, for the service alone.
func (h *house) pass(d time.Duration) {
	h.t.Helper()
	h.ahead.Add(int64(d))
	if err := h.Monitor.Tick(h.t.Context()); err != nil {
		h.t.Fatal(err)
	}
}

// take writes readings into the log, and waits until all that follows from them is
// in the store.
func (h *house) take(readings ...wire.Reading) {
	h.t.Helper()
	for i := range readings {
		readings[i].Received = h.now()
	}
	if err := h.readings.Append(h.t.Context(), readings); err != nil {
		h.t.Fatal(err)
	}
	head, err := h.readings.Head(h.t.Context())
	if err != nil {
		h.t.Fatal(err)
	}
	eventually(h.t, "the readings are taken in", func() bool { return h.Monitor.Taken() >= head })
}

func (h *house) now() time.Time { return time.Now().UTC().Add(time.Duration(h.ahead.Load())) }

func open(t *testing.T, dir string) *house {
	t.Helper()
	return openAhead(t, dir, 0)
}

// openAhead opens a house whose clock is ahead.
func openAhead(t *testing.T, dir string, ahead time.Duration) *house {
	t.Helper()
	return openHouse(t, dir, ahead, func(*Options) {})
}

// openWith opens a house with options of its own.
func openWith(t *testing.T, dir string, set func(*Options)) *house {
	t.Helper()
	return openHouse(t, dir, 0, set)
}

func openHouse(t *testing.T, dir string, ahead time.Duration, set func(*Options)) *house {
	t.Helper()
	h := &house{t: t, ahead: new(atomic.Int64)}
	h.ahead.Store(int64(ahead))
	o := Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: cheap, Now: h.now}
	set(&o)
	s, err := Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("Run ended with %v", err)
		}
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	h.Server = s
	eventually(t, "every tank has been taken up", func() bool { return s.Monitor.Progress().Ready() })
	return h
}

// furnished is a house with people and tanks.
func furnished(t *testing.T) *house {
	t.Helper()
	return furnishedIn(t, t.TempDir())
}

func furnishedIn(t *testing.T, dir string) *house {
	t.Helper()
	h := open(t, dir)
	h.people(t)
	return h
}

// people makes the tests' people and tanks.
func (h *house) people(t *testing.T) {
	t.Helper()
	for _, n := range []monitor.NewTank{
		{SiteID: "here", SiteName: "Here", TankID: "reef", File: string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})), By: "test"},
		{SiteID: "elsewhere", SiteName: "Elsewhere", TankID: "other", File: string(tankfile.Starter(tankfile.Answers{Name: "Other reef"})), By: "test"},
	} {
		if err := h.Monitor.AddTank(t.Context(), n); err != nil {
			t.Fatal(err)
		}
	}
	e := h.Store.Edit("test", time.Now())
	for _, u := range people {
		u.Name, u.Mail, u.PasswordHash = u.ID, u.ID+"@example.org", cheap.Hash(password)
		if err := e.CreateUser(t.Context(), u); err != nil {
			t.Fatal(err)
		}
	}
}

// browser is one person's browser.
type browser struct {
	h      *house
	client *http.Client
}

// nobody is a browser in which nobody is signed in.
func (h *house) nobody() *browser {
	jar, err := cookiejar.New(nil)
	if err != nil {
		h.t.Fatal(err)
	}
	return &browser{h, &http.Client{Jar: jar, Timeout: 2 * time.Minute}}
}

// as is a browser in which somebody is signed in.
func (h *house) as(name string) *browser {
	h.t.Helper()
	b := h.nobody()
	b.want(http.StatusOK, "POST", "/api/session", map[string]string{"name": name, "password": password}, nil)
	return b
}

// do sends a request, with a body as JSON unless it is nil.
func (b *browser) do(method, path string, body any) *http.Response {
	b.h.t.Helper()
	var r io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			b.h.t.Fatal(err)
		}
		r = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(b.h.t.Context(), method, b.h.Address()+path, r)
	if err != nil {
		b.h.t.Fatal(err)
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	return b.send(req)
}

func (b *browser) send(req *http.Request) *http.Response {
	b.h.t.Helper()
	resp, err := b.client.Do(req)
	if err != nil {
		b.h.t.Fatal(err)
	}
	return resp
}

// want sends a request that must be answered with a status, and reads the answer
// into into unless that is nil.
func (b *browser) want(status int, method, path string, body, into any) {
	b.h.t.Helper()
	resp := b.do(method, path, body)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		b.h.t.Fatal(err)
	}
	if resp.StatusCode != status {
		b.h.t.Fatalf("%s %s: got %s, want %d: %s", method, path, resp.Status, status, text)
	}
	if into != nil {
		if err := json.Unmarshal(text, into); err != nil {
			b.h.t.Fatalf("%s %s: %v in %s", method, path, err, text)
		}
	}
}
