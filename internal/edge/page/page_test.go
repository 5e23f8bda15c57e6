package page

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"isohaline/internal/edge"
	"isohaline/internal/edge/decide"
	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
)

// tank is wires that a test moves by hand.
type tank struct {
	mu    sync.Mutex
	watch guard.Contact
	floor guard.Contact
}

func (k *tank) Exchange(context.Context, lease.Outputs) (edgeio.Inputs, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return edgeio.Inputs{Contacts: map[edgeio.Input]guard.Contact{edgeio.Watch: k.watch, edgeio.Floor: k.floor}}, nil
}

func (*tank) Close() error { return nil }

func (k *tank) set(watch, floor guard.Contact) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.watch, k.floor = watch, floor
}

const pin = "482913"

// house is a page over a running agent, under a clock that the test moves.
func house(t *testing.T) (*tank, http.Handler) {
	t.Helper()
	k := &tank{watch: guard.Wet, floor: guard.Dry}
	c := decide.Config{Settings: guard.Typical(), FlowMLS: 15}
	c.Settings.FloorFitted = true
	quiet := slog.New(slog.DiscardHandler)
	agent, err := edge.Open(edge.Options{Config: c, Wires: k, Pace: edge.NewPace(1), Dir: t.TempDir(), Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- agent.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		<-done
	})
	return k, New(Options{Agent: agent, Name: "Reading Room <reef>", Place: "by the atlases", PIN: pin, Log: quiet})
}

// see gets a page.
func see(h http.Handler, path string) (int, string) {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	body, _ := io.ReadAll(w.Body)
	return w.Code, string(body)
}

// do posts a form.
func do(h http.Handler, what, pin string) (int, string) {
	r := httptest.NewRequest(http.MethodPost, "/ask/"+what, strings.NewReader(url.Values{"pin": {pin}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

// TestThePage tells a visit: how it stands, a fault, a clear, a hold.
func TestThePage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k, h := house(t)
		want := func(path string, words ...string) {
			t.Helper()
			_, body := see(h, path)
			for _, w := range words {
				if !strings.Contains(body, w) {
					t.Errorf("%s lacks %q:\n%s", path, w, body)
				}
			}
		}
		time.Sleep(11 * time.Minute)
		want("/", "Reading Room &lt;reef&gt;", "Resting", "watch level wet, nothing to do. The pump is off.", `href="/ask/hold"`, `href="/ask/proof-test"`, `http-equiv="refresh"`)
		k.set(guard.Wet, guard.Wet)
		time.Sleep(time.Second)
		want("/", "Stopped by a fault", "Needs a person", "<li>water on the floor</li>", `href="/ask/clear"`, `href="/ask/silence"`)
		if code, body := do(h, "clear", pin); code != http.StatusConflict || !strings.Contains(body, "Not done: water on the floor.") {
			t.Errorf("cleared a wet floor: %d %s", code, body)
		}
		k.set(guard.Wet, guard.Dry)
		time.Sleep(time.Second)
		if code, body := do(h, "clear", pin); code != http.StatusOK || !strings.Contains(body, "Done: pause between fills.") {
			t.Errorf("clear: %d %s", code, body)
		}
		do(h, "hold", pin)
		want("/", "Held", "held by a person", `href="/ask/resume"`, "clear on site taken")
		do(h, "resume", pin)
		time.Sleep(11 * time.Minute)
		do(h, "proof-test", pin)
		want("/", "Proof test", "The watch sensor stops the pump", `href="/ask/skip"`, "to do")
		do(h, "end-test", pin)
		want("/", "not complete: 0 of 3 steps passed.")
		want("/ask/clear", "Only after you have looked", `type="password"`)
		want("/page.css", "--iso-paper")
		if code, _ := see(h, "/ask/dance"); code != http.StatusNotFound {
			t.Errorf("a request that does not exist: %d", code)
		}
		if code, _ := see(h, "/elsewhere"); code != http.StatusNotFound {
			t.Errorf("a page that does not exist: %d", code)
		}
	})
}

// TestThePIN: every request needs it, wrong ones are counted, and after too many
// not even the right one is looked at for a while.
func TestThePIN(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, h := house(t)
		time.Sleep(11 * time.Minute)
		for range 50 { // right ones cost nothing
			if code, _ := do(h, "silence", pin); code != http.StatusOK {
				t.Fatalf("the right PIN: %d", code)
			}
		}
		for i, guess := range []string{"", "0", "48291", "4829133", " 482913"} {
			if code, body := do(h, "hold", guess); code != http.StatusForbidden || !strings.Contains(body, "That is not the PIN.") {
				t.Errorf("guess %d: %d", i, code)
			}
		}
		for _, guess := range []string{"111111", pin} {
			if code, body := do(h, "hold", guess); code != http.StatusTooManyRequests || !strings.Contains(body, "Wait 1m0s") {
				t.Errorf("after too many: %d %s", code, body)
			}
		}
		if _, body := see(h, "/"); strings.Contains(body, "Held") {
			t.Error("held by a guess")
		}
		time.Sleep(guessEvery)
		if code, _ := do(h, "hold", pin); code != http.StatusOK {
			t.Errorf("the right PIN after the wait: %d", code)
		}
	})
}

// TestHeaders: nothing from elsewhere may run or be shown here.
func TestHeaders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, h := house(t)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/", nil))
		if csp := w.Header().Get("Content-Security-Policy"); !strings.HasPrefix(csp, "default-src 'none'") {
			t.Errorf("policy %q", csp)
		}
		if strings.Contains(w.Body.String(), "<script") || strings.Contains(w.Body.String(), "http://") || strings.Contains(w.Body.String(), "https://") {
			t.Error("the page has a script, or needs something from elsewhere")
		}
	})
}
