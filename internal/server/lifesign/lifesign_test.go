package lifesign

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/store"
)

// house is a signal with a clock that stands until it is told, an address that
// counts, and a service that works or not.
type house struct {
	*Signal
	store *store.Store
	now   time.Time
	why   string
	// called counts what the address took, answer is what it says.
	called atomic.Int64
	answer atomic.Int64
	method atomic.Value
	url    string

	sent []alarm.Message
	fail error
}

func open(t *testing.T, dir string) *house {
	t.Helper()
	h := &house{now: time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)}
	h.answer.Store(http.StatusOK)
	address := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.called.Add(1)
		h.method.Store(r.Method)
		w.WriteHeader(int(h.answer.Load()))
	}))
	t.Cleanup(address.Close)
	h.url = address.URL + "/secret/path"
	var err error
	if h.store, err = store.Open(t.Context(), filepath.Join(dir, "isohaline.db"), store.Kill); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.store.Close() })
	h.Signal, err = Open(t.Context(), Options{Store: h.store, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return h.now },
		Works: func() string { return h.why },
		Say:   func() (string, string) { return "All is well, 12 tanks", "The service works.\n" },
		Send: func(_ context.Context, to alarm.Contact, m alarm.Message) error {
			if h.fail == nil {
				h.sent = append(h.sent, m)
			}
			return h.fail
		}})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func (h *house) set(t *testing.T, s Settings) {
	t.Helper()
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	if err := h.Set(t.Context(), h.store.Edit("olga", h.now), s); err != nil {
		t.Fatal(err)
	}
}

// pass lets time pass as Run does, second by second.
func (h *house) pass(t *testing.T, d time.Duration) {
	t.Helper()
	for end := h.now.Add(d); h.now.Before(end); h.now = h.now.Add(time.Second) {
		h.Step(t.Context())
	}
}

// TestEveryInterval: the address is called at once and then at the interval, by the
// method that was chosen, and again sooner where it did not take it.
func TestEveryInterval(t *testing.T) {
	h := open(t, t.TempDir())
	h.pass(t, time.Minute)
	if h.called.Load() != 0 {
		t.Fatal("something was called without settings")
	}
	h.set(t, Settings{URL: deliver.Secret(h.url), Method: http.MethodPost, Every: 5 * time.Minute, Inside: true})
	h.pass(t, time.Hour)
	if n := h.called.Load(); n != 12 || h.method.Load() != http.MethodPost {
		t.Errorf("%d calls by %v in an hour, want 12", n, h.method.Load())
	}
	if is := h.Status(); is.Sent.IsZero() || !is.Failing.IsZero() || is.Held != "" {
		t.Errorf("%+v", is)
	}
	h.answer.Store(http.StatusBadGateway)
	h.pass(t, 10*time.Minute) // one call, and then one each minute
	if n := h.called.Load() - 12; n != 10 {
		t.Errorf("%d calls in ten minutes of failures, want 10", n)
	}
	if is := h.Status(); is.Failing.IsZero() || !strings.Contains(is.Says, "502") || strings.Contains(is.Says, "secret") {
		t.Errorf("%+v", is)
	}
	h.answer.Store(http.StatusNoContent)
	h.pass(t, 2*time.Minute)
	if is := h.Status(); !is.Failing.IsZero() || is.Says != "" {
		t.Errorf("%+v", is)
	}
}

// TestHeldBack: while the service does not do its work nothing is called, and it
// comes back soon after it does.
func TestHeldBack(t *testing.T) {
	h := open(t, t.TempDir())
	h.why = "catching up, 3 of 12 tanks"
	h.set(t, Settings{URL: deliver.Secret(h.url), Every: time.Hour, Inside: true, Daily: &Daily{At: "06:10", To: alarm.Contact{Person: "Ada", Channel: alarm.Mail, Address: "ada@example.org"}}})
	h.pass(t, 30*time.Minute)
	if h.called.Load() != 0 || len(h.sent) != 0 || h.Held.Load() == 0 || h.Status().Held != h.why {
		t.Errorf("%d calls, %d messages, %+v", h.called.Load(), len(h.sent), h.Status())
	}
	h.why = ""
	h.pass(t, time.Minute)
	if h.called.Load() != 1 || len(h.sent) != 1 || h.Status().Held != "" {
		t.Errorf("%d calls, %d messages, %+v", h.called.Load(), len(h.sent), h.Status())
	}
	h.pass(t, 59*time.Minute)
	if h.called.Load() != 1 {
		t.Errorf("%d calls within the interval", h.called.Load())
	}
}

// TestHungStore: a store that takes nothing any more stops the calls, though the
// signal itself goes on. The service's own look at the store is package server's.
func TestHungStore(t *testing.T) {
	h := open(t, t.TempDir())
	h.set(t, Settings{URL: deliver.Secret(h.url), Every: time.Minute, Inside: true})
	h.Signal.o.Works = func() string {
		ctx, cancel := context.WithCancel(t.Context())
		cancel() // nobody waits longer for a store that hangs
		if err := h.store.WriteAlive(ctx, h.now); err != nil {
			return "the store does not take what is written to it"
		}
		return ""
	}
	h.pass(t, 10*time.Minute)
	if h.called.Load() != 0 || !strings.Contains(h.Status().Held, "store") {
		t.Errorf("%d calls, %+v", h.called.Load(), h.Status())
	}
}

// TestDaily: one message a day at its local time, also over a change of the clocks,
// again after a failure and not again after a restart.
func TestDaily(t *testing.T) {
	dir := t.TempDir()
	h := open(t, dir)
	to := alarm.Contact{Person: "Ada", Channel: alarm.Mail, Address: "ada@example.org"}
	s := Settings{Daily: &Daily{At: "07:30", Zone: "Europe/Berlin", To: to}}
	h.set(t, s) // it is 07:00 there
	h.pass(t, 29*time.Minute)
	if len(h.sent) != 0 {
		t.Fatalf("%+v", h.sent)
	}
	h.fail = errors.New("451 try again")
	h.pass(t, 5*time.Minute)
	if len(h.sent) != 0 || !strings.Contains(h.Status().DailySays, "451") {
		t.Fatalf("%+v", h.Status())
	}
	h.fail = nil
	h.pass(t, 2*time.Hour)
	if len(h.sent) != 1 || h.sent[0].Subject != "All is well, 12 tanks" || h.Status().DailySays != "" {
		t.Fatalf("%+v, %+v", h.sent, h.Status())
	}
	again := open(t, dir)
	again.now = h.now
	again.pass(t, time.Hour)
	if len(again.sent) != 0 {
		t.Errorf("after a restart there came %+v", again.sent)
	}
	// Set up after its time it begins the next day. On 29 March 2026 the clocks of
	// Berlin go forward (directive 2000/84/EC): 07:30 is 05:30 UTC from then on.
	h.now = time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC)
	h.sent = nil
	h.set(t, s)
	h.pass(t, 17*time.Hour+29*time.Minute)
	if len(h.sent) != 0 {
		t.Errorf("before its time there came %+v", h.sent)
	}
	h.pass(t, 2*time.Minute)
	if len(h.sent) != 1 || !strings.Contains(h.sent[0].ID, "2026-03-29") {
		t.Errorf("%+v", h.sent)
	}
}

// TestDailySetBack: a message that failed while the clock was ahead is tried again when
// it was set back, not when it gets there again.
func TestDailySetBack(t *testing.T) {
	h := open(t, t.TempDir())
	h.set(t, Settings{Daily: &Daily{At: "06:30", To: alarm.Contact{Person: "Ada", Channel: alarm.Mail, Address: "ada@example.org"}}})
	h.now = h.now.Add(5 * time.Hour)
	h.fail = errors.New("451 try again")
	h.pass(t, time.Minute)
	h.fail = nil
	h.now = h.now.Add(-4 * time.Hour)
	h.pass(t, time.Minute)
	if len(h.sent) != 1 {
		t.Errorf("%d messages", len(h.sent))
	}
}

// TestSettings: what cannot be is refused in words, and what is kept comes back.
func TestSettings(t *testing.T) {
	ok := alarm.Contact{Person: "Ada", Channel: alarm.Mail, Address: "ada@example.org"}
	for _, c := range []struct {
		s    Settings
		says string
	}{
		{Settings{URL: "ftp://example.org", Every: time.Minute}, "no web address"},
		{Settings{URL: "http://127.0.0.1/x", Every: time.Minute}, "its own network"},
		{Settings{URL: "https://example.org/x", Method: "DELETE", Every: time.Minute}, "GET or POST"},
		{Settings{URL: "https://example.org/x", Every: time.Second}, "30s"},
		{Settings{URL: "https://example.org/x", Every: 48 * time.Hour}, "24h"},
		{Settings{Daily: &Daily{At: "7.30", To: ok}}, "07:30"},
		{Settings{Daily: &Daily{At: "07:30", Zone: "Mars/Olympus", To: ok}}, "zone"},
		{Settings{Daily: &Daily{At: "07:30"}}, "channel"},
		{Settings{Daily: &Daily{At: "07:30", To: alarm.Contact{Channel: alarm.Mail}}}, "nobody is named"},
	} {
		if err := c.s.Check(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", c.s, err, c.says)
		}
	}
	dir := t.TempDir()
	h := open(t, dir)
	s := Settings{URL: deliver.Secret(h.url), Method: http.MethodGet, Every: time.Minute, Inside: true, Daily: &Daily{At: "23:59", Zone: "Asia/Kathmandu", To: ok}}
	h.set(t, s)
	got := open(t, dir).Settings()
	if got.URL != s.URL || got.Every != s.Every || !got.Inside || *got.Daily != *s.Daily {
		t.Errorf("%+v came back, want %+v", got, s)
	}
	if err := h.Test(t.Context()); err != nil || h.called.Load() != 1 {
		t.Errorf("%d calls, %v", h.called.Load(), err)
	}
}
