// Package page is the tank's own page: how it stands, in words, and what a person
// at the tank may do. It needs no network beyond the room, no script, and no
// other file than itself.
//
// Whatever is asked needs the PIN, each time. A wrong one costs a while.
package page

import (
	"bytes"
	"context"
	"crypto/subtle"
	_ "embed"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"isohaline/internal/edge"
	"isohaline/internal/edge/decide"
	"isohaline/internal/edge/prooftest"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
	"isohaline/internal/units"
)

const (
	// Guesses of the PIN: a few at once, and then one in a while. A PIN of six
	// digits then holds for years.
	guessBurst = 5
	guessEvery = time.Minute
	// answersIn is how long the agent may take over a request.
	answersIn = 5 * time.Second
	// shownEvents is how many of the last events are on the page.
	shownEvents = 20
	maxForm     = 4 << 10
)

// Options are a page's.
type Options struct {
	Agent       *edge.Agent
	Name, Place string
	// Wide and Narrow are the section drawing.
	Wide, Narrow template.HTML
	// PIN is asked for with every request.
	PIN string
	Log *slog.Logger
}

//go:embed page.css
var css []byte

//go:embed page.gohtml
var text string

var sheet = template.Must(template.New("page").Funcs(template.FuncMap{"clock": clock}).Parse(text))

// page serves.
type page struct {
	o       Options
	mu      sync.Mutex
	guesses *rate.Limiter
}

// New is a page for an agent.
func New(o Options) http.Handler {
	p := &page{o: o, guesses: rate.NewLimiter(rate.Every(guessEvery), guessBurst)}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", p.now)
	mux.HandleFunc("GET /ask/{what}", p.form)
	mux.HandleFunc("POST /ask/{what}", p.ask)
	mux.HandleFunc("GET /page.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		_, _ = w.Write(css)
	})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self' 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		mux.ServeHTTP(w, r)
	})
}

// act is one thing a person may do.
type act struct {
	What, Label, Words string
	kind               requests.Kind
	saying             prooftest.Saying
}

// acts are all of them.
var acts = []act{
	{What: "hold", Label: "Hold", kind: requests.Hold, Words: "The top-off stays off until somebody resumes, or until the hold ends by itself."},
	{What: "resume", Label: "Resume", kind: requests.Resume, Words: "Ends a hold and opens a shut valve. A fault stays: clear it on its own."},
	{What: "clear", Label: "Clear the fault", kind: requests.Clear, Words: "Only after you have looked and mended the cause. If it is still there, the fault stays."},
	{What: "silence", Label: "Silence the horn", kind: requests.Silence, Words: "The alarm stays, and a new one sounds again."},
	{What: "shut-valve", Label: "Close the valve", kind: requests.ShutValve, Words: "Pump off and valve closed until somebody resumes; this one does not end by itself."},
	{What: "proof-test", Label: "Start a proof test", kind: requests.ProofTest, Words: "Goes through every sensor and the run limit, step by step, with the guard as it always is. Have a measuring jug and a towel, and keep mains plugs away from water."},
	{What: "stopped", Label: "I saw the pump stop", saying: prooftest.SawItStop, Words: "Say so only if you saw, or felt, the pump itself stand still."},
	{What: "ran-on", Label: "The pump ran on", saying: prooftest.SawItRun, Words: "Pull the pump's plug now. The step has failed: do not rely on this top-off until it is mended."},
	{What: "skip", Label: "Skip this step", saying: prooftest.Skip, Words: "The step counts as not tested."},
	{What: "end-test", Label: "End the test", saying: prooftest.Stop, Words: "What has not been done counts as not tested."},
}

func find(what string) (act, bool) {
	for _, a := range acts {
		if a.What == what {
			return a, true
		}
	}
	return act{}, false
}

// offered is what makes sense now, in the order of the page.
func offered(v *edge.View) []act {
	g := &v.State.Guard
	words := map[string]bool{"hold": !g.OnHold, "resume": g.OnHold, "clear": g.Latch != guard.NoReason, "silence": v.Out.Horn,
		"shut-valve": !g.Shut, "proof-test": g.Phase == guard.Resting && !v.State.Test.Running()}
	var list []act
	for _, a := range acts {
		if words[a.What] {
			list = append(list, a)
		}
	}
	return list
}

// tested is what may be said of the test under way.
func tested(v *edge.View) []act {
	t := &v.State.Test
	if !t.Running() {
		return nil
	}
	seen := t.Now().Outcome == prooftest.Seen
	var list []act
	for _, a := range acts {
		if a.saying != prooftest.Nothing && (seen || a.saying == prooftest.Skip || a.saying == prooftest.Stop) {
			list = append(list, a)
		}
	}
	return list
}

// contents is what the template shows.
type contents struct {
	Title, Name, Place string
	// Refresh is after how many seconds the page looks again, 0: never.
	Refresh int

	// How it stands.
	At           time.Time
	Phase, Why   string
	Person       bool // somebody is needed
	Pump         string
	Alarms       []string
	Trouble      []string
	Readings     []reading
	Due          string
	Acts         []act
	Events       []decide.Event
	Wide, Narrow template.HTML
	Test         *testNow

	// A form, or what became of one.
	Act    *act
	Wrong  string
	Answer *requests.Answer
}

type reading struct{ Name, Says string }

// testNow is the proof test on the page.
type testNow struct {
	Running bool
	Verdict string
	Title   string
	Do      string
	Seen    string
	Acts    []act
	Steps   []reading
}

func (p *page) contents(title string) contents {
	return contents{Title: title, Name: p.o.Name, Place: p.o.Place}
}

func (p *page) render(w http.ResponseWriter, status int, c contents) {
	var b bytes.Buffer
	if err := sheet.Execute(&b, c); err != nil {
		p.o.Log.Error("the page cannot be made", "error", err)
		http.Error(w, "the page cannot be made; the guard is not affected", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
}

// now is how the tank stands.
func (p *page) now(w http.ResponseWriter, _ *http.Request) {
	v := p.o.Agent.View()
	s := p.o.Agent.Config().Settings
	c := p.contents(v.State.Guard.Phase.String())
	c.Refresh = 5
	c.At, c.Phase, c.Why = v.At, phaseWords[v.State.Guard.Phase], v.Out.Reason.String()
	c.Person = v.State.Guard.Phase == guard.Latched || v.Out.Alarms != 0 || len(v.Trouble) > 0
	c.Pump = map[bool]string{true: "running", false: "off"}[v.Out.Pump]
	for r := range v.Out.Alarms.All() {
		c.Alarms = append(c.Alarms, r.String())
	}
	c.Trouble, c.Acts, c.Wide, c.Narrow = v.Trouble, offered(&v), p.o.Wide, p.o.Narrow
	c.Readings = readings(&s, &v)
	if d := v.Ends.Sub(v.At); !v.Ends.IsZero() && d > 0 && d < 48*time.Hour {
		c.Due = units.Metric.Duration(d.Seconds())
	}
	c.Events = p.o.Agent.Events()
	c.Events = c.Events[:min(len(c.Events), shownEvents)]
	c.Test = testOf(&v)
	p.render(w, http.StatusOK, c)
}

var phaseWords = map[guard.Phase]string{
	guard.Resting: "Resting", guard.Confirming: "Making certain", guard.Filling: "Filling",
	guard.Settling: "Waiting", guard.Held: "Held", guard.Latched: "Stopped by a fault",
}

func readings(s *guard.Settings, v *edge.View) []reading {
	var list []reading
	add := func(fitted bool, name string, c guard.Contact, wet, dry string) {
		if !fitted {
			return
		}
		says := map[guard.Contact]string{guard.Wet: wet, guard.Dry: dry}[c]
		if says == "" {
			says = "cannot be read"
		}
		list = append(list, reading{name, says})
	}
	add(true, "Watch sensor", v.In.Watch, "wet", "dry")
	add(s.CeilingFitted, "Ceiling sensor", v.In.Ceiling, "wet", "dry")
	add(s.FloorFitted, "Floor", v.In.Floor, "wet", "dry")
	add(s.ReservoirLowFitted, "Reservoir", v.In.ReservoirLow, "has water", "empty")
	add(s.ReturnFitted, "Return pump", v.In.ReturnPump, "running", "stopped")
	if s.LevelFitted {
		says := "cannot be read"
		if mm := v.In.LevelMM; mm-mm == 0 { // a number
			says = fmt.Sprintf("%.0f mm", mm)
		}
		list = append(list, reading{"Level", says})
	}
	return list
}

func testOf(v *edge.View) *testNow {
	t := &v.State.Test
	if t.Began.IsZero() {
		return nil
	}
	n := &testNow{Running: t.Running(), Verdict: t.Verdict(), Title: t.At.Title(), Do: t.At.Do(), Acts: tested(v)}
	if r := t.Now(); r.Outcome == prooftest.Seen {
		n.Seen = r.Evidence
	}
	for _, s := range t.Steps() {
		r := t.Results[s]
		says := r.Outcome.String()
		if r.Evidence != "" {
			says += ": " + r.Evidence
		}
		n.Steps = append(n.Steps, reading{s.Title(), says})
	}
	return n
}

// form asks for the PIN.
func (p *page) form(w http.ResponseWriter, r *http.Request) {
	a, ok := find(r.PathValue("what"))
	if !ok {
		http.NotFound(w, r)
		return
	}
	c := p.contents(a.Label)
	c.Act = &a
	p.render(w, http.StatusOK, c)
}

// ask makes the request, with the right PIN.
func (p *page) ask(w http.ResponseWriter, r *http.Request) {
	a, ok := find(r.PathValue("what"))
	if !ok {
		http.NotFound(w, r)
		return
	}
	c := p.contents(a.Label)
	c.Act = &a
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	right, wait := p.guess(r.PostFormValue("pin"))
	switch {
	case wait > 0:
		c.Wrong = fmt.Sprintf("Too many wrong PINs. Wait %v. In danger, pull the pump's plug.", wait.Round(time.Second))
		w.Header().Set("Retry-After", fmt.Sprint(int(wait.Seconds())+1))
		p.render(w, http.StatusTooManyRequests, c)
		return
	case !right:
		p.o.Log.Warn("a wrong PIN on the tank's page", "from", r.RemoteAddr, "asked", a.What)
		c.Wrong = "That is not the PIN."
		p.render(w, http.StatusForbidden, c)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), answersIn)
	defer cancel()
	answer, err := p.o.Agent.Ask(ctx, decide.Ask{Request: requests.Request{Kind: a.kind, By: "the tank's page"}, OnSite: true, Saying: a.saying})
	if err != nil {
		c.Wrong = "The agent did not answer. Look at the tank; in danger, pull the pump's plug."
		p.render(w, http.StatusServiceUnavailable, c)
		return
	}
	c.Answer, c.Refresh = &answer, 5
	status := http.StatusOK
	if !answer.Taken {
		status = http.StatusConflict
	}
	p.render(w, status, c)
}

// guess says whether a PIN is right. Wrong ones are counted, one at a time, and
// when too many were, no PIN is looked at for a while.
func (p *page) guess(pin string) (right bool, wait time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if tokens := p.guesses.Tokens(); tokens < 1 {
		return false, time.Duration((1 - tokens) * float64(guessEvery))
	}
	if subtle.ConstantTimeCompare([]byte(pin), []byte(p.o.PIN)) == 1 {
		return true, 0
	}
	p.guesses.Allow()
	return false, 0
}

// clock is a time of day, and the day if it is not today's.
func clock(t, now time.Time) string {
	t, now = t.Local(), now.Local()
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04:05")
	}
	return t.Format("2 Jan 15:04:05")
}
