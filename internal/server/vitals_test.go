package server

import (
	"context"
	"database/sql"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/server/api"
	"isohaline/internal/server/hub"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// askHandler asks a service that does not run yet.
func askHandler(t *testing.T, s *Server, cookie *http.Cookie, method, path, body string, into any) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if cookie != nil {
		r.AddCookie(cookie)
	}
	w := httptest.NewRecorder()
	s.http.Handler.ServeHTTP(w, r)
	if into != nil {
		if err := json.Unmarshal(w.Body.Bytes(), into); err != nil {
			t.Fatalf("%s %s: %v in %s", method, path, err, w.Body)
		}
	}
	return w
}

// TestCatchingUp: before the tanks are taken up the service answers, says how far it
// is, keeps what devices bring, and knows a tank that is still to come from one that
// is not there.
func TestCatchingUp(t *testing.T) {
	dir := t.TempDir()
	t.Run("fill", func(t *testing.T) { furnishedIn(t, dir) })
	s, err := Open(t.Context(), Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: cheap})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	const words = "catching up, 0 of 2 tanks"
	if w := askHandler(t, s, nil, "GET", "/healthz", "", nil); w.Code != http.StatusOK {
		t.Errorf("/healthz: %d %s", w.Code, w.Body)
	}
	if w := askHandler(t, s, nil, "GET", "/readyz", "", nil); w.Code != http.StatusServiceUnavailable || strings.TrimSpace(w.Body.String()) != words {
		t.Errorf("/readyz: %d %s", w.Code, w.Body)
	}
	signed := askHandler(t, s, nil, "POST", "/api/session", `{"name":"olga","password":"`+password+`"}`, nil)
	if signed.Code != http.StatusOK {
		t.Fatalf("%d %s", signed.Code, signed.Body)
	}
	olga := signed.Result().Cookies()[0]
	var rounds api.Rounds
	askHandler(t, s, olga, "GET", "/api/rounds", "", &rounds)
	if c := rounds.CatchingUp; c == nil || c.Words != words || c.Done != 0 || c.Total != 2 {
		t.Errorf("%+v", rounds)
	}
	var stands api.Hub
	askHandler(t, s, olga, "GET", "/api/hub", "", &stands)
	if stands.CatchingUp == nil || len(stands.Findings) != 0 {
		t.Errorf("%+v", stands)
	}
	var p api.Problem
	if w := askHandler(t, s, olga, "GET", "/api/tanks/reef", "", &p); w.Code != http.StatusServiceUnavailable || !strings.Contains(p.Detail, words) || w.Header().Get("Retry-After") == "" {
		t.Errorf("%d %+v", w.Code, p)
	}
	if w := askHandler(t, s, olga, "GET", "/api/tanks/nowhere", "", &p); w.Code != http.StatusNotFound {
		t.Errorf("%d %+v", w.Code, p)
	}
	at := time.Now().UTC().Truncate(time.Microsecond)
	if err := s.readings.Append(t.Context(), []wire.Reading{{Site: "here", Device: "gone", Channel: channel.Level, Value: 0.2, Unit: "m", At: at, Received: at}}); err != nil {
		t.Errorf("the log does not take what a device brings: %v", err)
	}
	if err := s.Monitor.TakeUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	if w := askHandler(t, s, olga, "GET", "/api/tanks/reef", "", nil); w.Code != http.StatusOK {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	var after api.Rounds
	askHandler(t, s, olga, "GET", "/api/rounds", "", &after)
	if after.CatchingUp != nil || len(after.Quiet)+len(after.NeedPerson) != 2 {
		t.Errorf("%+v", after)
	}
}

// TestTankThatCannotBeTakenUp: one tank whose saved description reads no more does
// not hold up the others; it is said on Rounds to those who may see it, and watched
// again once its description is mended.
func TestTankThatCannotBeTakenUp(t *testing.T) {
	dir := t.TempDir()
	t.Run("fill", func(t *testing.T) {
		h := furnishedIn(t, dir)
		// As another version of the program may have left it.
		if _, err := h.Store.Edit("test", time.Now()).SaveDescription(t.Context(), "reef", "name: [", "of another version", 1); err != nil {
			t.Fatal(err)
		}
	})
	h := open(t, dir)
	olga, carla := h.as("olga"), h.as("carla")
	h.look(t.Context(), lookTimeout)
	find := func(b *browser) (out []api.HubFinding) {
		t.Helper()
		var stands api.Hub
		b.want(http.StatusOK, "GET", "/api/hub", nil, &stands)
		for _, f := range stands.Findings {
			if f.Code == string(hub.TankNotTaken) {
				out = append(out, f)
			}
		}
		return out
	}
	if found := find(olga); len(found) != 1 || found[0].TankID != "reef" || found[0].Urgency != string(hub.Now) || !strings.Contains(found[0].Sentence, "Our reef") {
		t.Errorf("%+v", found)
	}
	if found := find(carla); len(found) != 1 || strings.Contains(found[0].Do, "Design") {
		t.Errorf("a client is told of the own tank: %+v", found)
	}
	var p api.Problem
	olga.want(http.StatusServiceUnavailable, "GET", "/api/tanks/reef", nil, &p)
	if !strings.Contains(p.Detail, "only its contacts are heard") {
		t.Errorf("%+v", p)
	}
	olga.want(http.StatusOK, "GET", "/api/tanks/other", nil, nil)
	// Meanwhile there is water on the floor: that needs no account, and is told.
	d, _, err := h.Devices.New(t.Context(), h.Store.Edit("test", time.Now()), store.Device{SiteID: "here", TankID: "reef", Name: "Box"})
	if err != nil {
		t.Fatal(err)
	}
	h.take(wire.Reading{Site: "here", Device: d.ID, Channel: channel.Floor, Value: 1, At: time.Now().UTC().Truncate(time.Microsecond)})
	wet := func() bool {
		a, there := h.Monitor.Alarm("here", alarm.Key{Code: alarm.FloorWet, Tank: "reef"})
		return there && a.State() == alarm.Unacknowledged
	}
	eventually(t, "there is an alarm of the water on the floor", wet)
	olga.want(http.StatusOK, "PUT", "/api/tanks/reef/file", jsonMap{"text": string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})), "base": 2}, nil)
	olga.want(http.StatusOK, "GET", "/api/tanks/reef", nil, nil)
	if !wet() {
		t.Error("a mended tank file took the alarm of the water away")
	}
	h.look(t.Context(), lookTimeout)
	if found := find(olga); len(found) != 0 {
		t.Errorf("%+v", found)
	}
}

// TestSignOfLife: an operator sets the signal up, it is given while the service
// works, and not while its store takes nothing; then the service says so itself.
func TestSignOfLife(t *testing.T) {
	var called atomic.Int64
	outside := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called.Add(1) }))
	defer outside.Close()
	dir := t.TempDir()
	h := furnishedIn(t, dir)
	olga := h.as("olga")
	eventually(t, "the service is ready", func() bool { return h.Works() == "" })
	olga.want(http.StatusOK, "GET", "/readyz", nil, nil)
	h.as("timo").want(http.StatusForbidden, "GET", "/api/sign-of-life", nil, nil)

	body := jsonMap{"url": outside.URL + "/ping/secret", "method": "POST", "everyS": 60}
	var p api.Problem
	olga.want(http.StatusUnprocessableEntity, "PUT", "/api/sign-of-life", body, &p) // it is inside
	if !strings.Contains(p.Detail, "its own network") || strings.Contains(p.Detail, "secret") {
		t.Errorf("%+v", p)
	}
	olga.want(http.StatusConflict, "POST", "/api/sign-of-life/test", nil, nil)
	body["inside"] = true
	body["daily"] = jsonMap{"at": "07:30", "zone": "Europe/Berlin", "to": jsonMap{"person": "Ada", "channel": "webhook", "address": "nowhere"}}
	olga.want(http.StatusUnprocessableEntity, "PUT", "/api/sign-of-life", body, nil) // there is no such webhook
	delete(body, "daily")
	var s api.SignOfLife
	olga.want(http.StatusOK, "PUT", "/api/sign-of-life", body, &s)
	if s.Host == "" || strings.Contains(s.Host, "secret") || s.EveryS != 60 || s.Method != "POST" {
		t.Errorf("%+v", s)
	}
	eventually(t, "the address is called", func() bool { return called.Load() > 0 })
	var tried api.Tried
	olga.want(http.StatusOK, "POST", "/api/sign-of-life/test", nil, &tried)
	if !tried.Delivered || called.Load() < 2 {
		t.Errorf("%+v after %d calls", tried, called.Load())
	}

	// Somebody else holds the store: it hangs for whoever writes.
	other, err := sql.Open("sqlite", "file:"+filepath.Join(dir, databaseName)+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	held, err := other.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	h.look(t.Context(), 200*time.Millisecond)
	if why := h.Works(); !strings.Contains(why, "store") {
		t.Errorf("with a store that hangs: %q", why)
	}
	var stands api.Hub
	h.ahead.Add(int64(10 * time.Minute))
	before := called.Load()
	h.Signal.Step(t.Context())
	if n := called.Load(); n != before || h.Signal.Status().Held == "" {
		t.Errorf("%d calls with a store that hangs, %+v", n-before, h.Signal.Status())
	}
	if f := h.Findings(); len(f) != 1 || f[0].Code != hub.StoreFails {
		t.Errorf("%+v", f)
	}
	if err := held.Rollback(); err != nil {
		t.Fatal(err)
	}
	h.look(t.Context(), lookTimeout)
	h.ahead.Add(int64(10 * time.Minute))
	eventually(t, "the address is called again", func() bool { h.Signal.Step(t.Context()); return called.Load() > before })
	olga.want(http.StatusOK, "GET", "/api/hub", nil, &stands)
	for _, f := range stands.Findings {
		t.Errorf("all is well, and there is %+v", f)
	}
}

// blockingKeeper is a store whose commits hang until it is let go.
type blockingKeeper struct {
	*store.Store
	reached, release chan struct{}
}

func (k *blockingKeeper) Commit(ctx context.Context, c store.Commit) error {
	if c.Log != nil {
		close(k.reached)
		<-k.release
	}
	return k.Store.Commit(ctx, c)
}

// TestCommitThatHangs: the service's look at itself does not wait for a commit whose
// answer does not come, and the next look finds it: the service does not say that it
// works, and no sign of life is given.
func TestCommitThatHangs(t *testing.T) {
	dir := t.TempDir()
	t.Run("fill", func(t *testing.T) { furnishedIn(t, dir) })
	s, err := Open(t.Context(), Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: cheap})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	keeper := &blockingKeeper{s.Store, make(chan struct{}), make(chan struct{})}
	s.Monitor, err = monitor.Open(t.Context(), monitor.Options{Store: s.Store, Keeper: keeper, Log: s.o.Log, Now: s.o.Now, TankOf: func(wire.DeviceID) string { return "reef" }})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Monitor.TakeUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	present := func() { // all other parts do their work
		now := time.Now()
		s.vitals.ticked.Store(&now)
	}
	present()
	asking, cancel := context.WithCancel(t.Context())
	cancel()
	_ = s.Sender.Run(asking) // looks once
	at := time.Now().UTC().Truncate(time.Microsecond)
	taken := make(chan error)
	go func() {
		taken <- s.Monitor.Take(t.Context(), []wire.Frame{{Sequence: 1, Readings: []wire.Reading{{Site: "here", Device: "gone", Channel: channel.Floor, Value: 1, At: at, Received: at}}}})
	}()
	<-keeper.reached
	s.look(t.Context(), lookTimeout)
	s.vitals.mu.Lock()
	looked := s.vitals.facts.Looked
	s.vitals.mu.Unlock()
	if why := s.worksAt(looked); why != "" {
		t.Errorf("a commit takes a moment, and it says %q", why)
	}
	next := looked.Add(lookEvery + time.Second)
	if why := s.worksAt(next); !strings.Contains(why, "store") {
		t.Errorf("one look later it says %q", why)
	}
	s.vitals.mu.Lock()
	f := s.presentFacts()
	s.vitals.mu.Unlock()
	if found := hub.Judge(nil, &f, next); len(found) != 1 || found[0].Code != hub.CommitFails {
		t.Errorf("%+v", found)
	}
	close(keeper.release)
	if err := <-taken; err != nil {
		t.Fatal(err)
	}
	if why := s.worksAt(next); why != "" {
		t.Errorf("it is kept, and it says %q", why)
	}
}

// TestMessageOfTheDay: it says how many tanks are watched and which need somebody.
func TestMessageOfTheDay(t *testing.T) {
	h := furnished(t)
	if subject, text := h.dailyMessage(); subject != "All is well, 2 tanks" || !strings.Contains(text, "None needs anybody") {
		t.Errorf("%s\n%s", subject, text)
	}
}
