package server

import (
	"bytes"
	"context"
	"log/slog"
	"math"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/edge/decide"
	"isohaline/internal/edge/join"
	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/guard"
	"isohaline/internal/server/api"
	"isohaline/internal/verify"
	"isohaline/internal/wire"
)

// agent is an edge's agent without lines: the real guard and the real link.
type agent struct {
	*wire.Uplink
	asked      chan []byte
	turnedAway atomic.Bool
}

// Write is what the uplink's logger says.
func (a *agent) Write(line []byte) (int, error) {
	if bytes.Contains(line, []byte("the hub does not take readings")) {
		a.turnedAway.Store(true)
	}
	return len(line), nil
}

// startAgent joins by a file and runs until the test ends, or earlier by what it
// returns.
func startAgent(t *testing.T, h *house, made api.JoinFile) (*agent, func()) {
	t.Helper()
	file, err := join.Read([]byte(made.Content))
	if err != nil {
		t.Fatal(err)
	}
	a := &agent{asked: make(chan []byte, 100)}
	a.Uplink, err = wire.OpenUplink(t.Context(), wire.UplinkOptions{Dir: t.TempDir(), Hub: file.Hub, Edge: file.ID(), Seed: file.Key,
		Asked: func(m []byte) { a.asked <- m }, Logger: slog.New(slog.NewTextHandler(a, nil))})
	if err != nil {
		t.Fatal(err)
	}
	v, _ := h.Monitor.Tank("reef")
	set, err := verify.Commission(v.Sheet.Tank)
	if err != nil {
		t.Fatal(err)
	}
	config := decide.NewConfig(set.Guard, set.TopOffM3S)
	ctx, cancel := context.WithCancel(context.Background())
	ran, stepped := make(chan error, 1), make(chan struct{})
	go func() { ran <- a.Run(ctx) }()
	go func() {
		defer close(stepped)
		a.step(ctx, &config)
	}()
	stopped := false
	stop := func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		<-stepped
		if err := <-ran; err != nil {
			t.Errorf("the uplink ended with %v", err)
		}
		a.Close()
	}
	t.Cleanup(stop)
	return a, stop
}

// step lets the guard run on a tank whose watch level is wet.
func (a *agent) step(ctx context.Context, config *decide.Config) {
	var state decide.State
	in := guard.Inputs{Watch: guard.Wet, Ceiling: guard.Dry, Floor: guard.Dry, ReservoirLow: guard.Wet, ReturnPump: guard.Wet, LevelMM: math.NaN()}
	began, told := time.Now(), time.Time{}
	for ctx.Err() == nil {
		var ask *decide.Ask
		select {
		case m := <-a.asked:
			r, err := talk.Decode[requests.Request](m)
			if err != nil {
				panic(err) // the hub's fault; a test's panic names the place
			}
			ask = &decide.Ask{Request: r}
			a.tell(talk.Tell{Received: r.ID})
		case <-time.After(20 * time.Millisecond):
		}
		// The guard's clock runs fast, so that it has settled.
		now := decide.Moment{Clock: 600 * time.Since(began), Wall: time.Now().UTC()}
		r := decide.Step(config, state, in, ask, now)
		changed := state.Guard.Phase != r.State.Guard.Phase || state.Guard.OnHold != r.State.Guard.OnHold
		state = r.State
		if r.Answer == nil && !changed && now.Wall.Sub(told) < time.Second {
			continue
		}
		told = now.Wall
		a.tell(talk.Tell{Answer: r.Answer, Picture: &talk.Picture{At: now.Wall, Phase: state.Guard.Phase.String(), Reason: r.Out.Reason.String(),
			OnHold: state.Guard.OnHold, GiveMostML: config.GiveMostML(&state), LastSeq: state.Ledger.LastSeq}})
	}
}

func (a *agent) tell(m talk.Tell) {
	data, err := talk.Encode(m)
	if err != nil {
		panic(err)
	}
	_ = a.Tell(data) // there may be no link: that is tested
}

func edgeOf(b *browser) (e api.Edge) {
	b.h.t.Helper()
	b.want(http.StatusOK, "GET", "/api/tanks/reef/edge", nil, &e)
	return e
}

func awaitRequest(b *browser, id, stage string) (r api.Request) {
	b.h.t.Helper()
	eventually(b.h.t, "a request "+stage, func() bool {
		list := edgeOf(b).Requests
		i := slices.IndexFunc(list, func(r api.Request) bool { return r.ID == id })
		if i < 0 {
			return false
		}
		r = list[i]
		return r.Stage == stage
	})
	return r
}

// TestActingFromAfar: an edge is made, joins, is asked to hold, and what became of
// it is seen live and written down.
func TestActingFromAfar(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	olga.want(http.StatusNotFound, "GET", "/api/tanks/reef/edge", nil, nil)
	olga.want(http.StatusConflict, "POST", "/api/tanks/reef/requests", jsonMap{"kind": "hold"}, nil)
	var made api.JoinFile
	olga.want(http.StatusCreated, "POST", "/api/edges", jsonMap{"tankId": "reef", "name": "Computer under the stand"}, &made)
	if !made.Device.Edge || !strings.Contains(made.Content, h.EdgesAddress()) {
		t.Errorf("made: %+v", made)
	}
	events := olga.follow("tank=reef")
	_, stop := startAgent(t, h, made)
	var event api.EdgeEvent
	events.await(t, "edge", &event, func() bool { return event.Edge.Linked && event.Edge.Picture.Phase == "resting" })

	var asked api.Request
	olga.want(http.StatusCreated, "POST", "/api/tanks/reef/requests", jsonMap{"kind": "hold"}, &asked)
	events.await(t, "edge", &event, func() bool {
		return len(event.Edge.Requests) > 0 && event.Edge.Requests[0].Stage == "done" && event.Edge.Picture.OnHold
	})
	if got := awaitRequest(olga, asked.ID, "done"); got.Who != "olga" || got.Why == "" {
		t.Errorf("the request is %+v", got)
	}
	olga.want(http.StatusCreated, "POST", "/api/tanks/reef/requests", jsonMap{"kind": "give", "giveML": 10}, &asked)
	if got := awaitRequest(olga, asked.ID, "refused"); !strings.Contains(got.Why, "hold") && !strings.Contains(got.Why, "held") {
		t.Errorf("a give while held is refused with %q", got.Why)
	}
	olga.want(http.StatusCreated, "POST", "/api/tanks/reef/requests", jsonMap{"kind": "clear"}, &asked)
	awaitRequest(olga, asked.ID, "refused") // only somebody on site can

	var audit struct{ Lines []api.AuditLine }
	eventually(t, "the audit log to be complete", func() bool {
		olga.want(http.StatusOK, "GET", "/api/audit", nil, &audit)
		return slices.ContainsFunc(audit.Lines, func(l api.AuditLine) bool {
			return l.Did == "hold: done" && l.By == "olga" && strings.Contains(l.More, `"127.0.0.1"`) &&
				strings.Contains(l.More, `"phase":"resting"`) && strings.Contains(l.More, `"phase":"held"`)
		})
	})
	for _, l := range audit.Lines {
		if file, _ := join.Read([]byte(made.Content)); strings.Contains(l.More, file.Key) {
			t.Error("the audit log holds the edge's key")
		}
	}

	// The link is cut in the middle of a request.
	stop()
	olga.want(http.StatusCreated, "POST", "/api/tanks/reef/requests", jsonMap{"kind": "resume"}, &asked)
	h.pass(time.Minute)
	if got := awaitRequest(olga, asked.ID, "unanswered"); got.Settled == nil {
		t.Errorf("the request is %+v", got)
	}
	if e := edgeOf(olga); e.Linked || e.ToldAt == nil || e.Picture == nil || !e.Picture.OnHold {
		t.Errorf("after the cut the edge is %+v", e)
	}
}

// TestWhoMayAsk: technicians of the site, and nobody else.
func TestWhoMayAsk(t *testing.T) {
	h := furnished(t)
	olga, timo, carla := h.as("olga"), h.as("timo"), h.as("carla")
	for _, tank := range []string{"reef", "other"} {
		olga.want(http.StatusCreated, "POST", "/api/edges", jsonMap{"tankId": tank, "name": "Computer"}, nil)
	}
	hold := jsonMap{"kind": "hold"}
	timo.want(http.StatusCreated, "POST", "/api/tanks/reef/requests", hold, nil)
	timo.want(http.StatusNotFound, "POST", "/api/tanks/other/requests", hold, nil)
	timo.want(http.StatusNotFound, "GET", "/api/tanks/other/edge", nil, nil)
	timo.want(http.StatusUnprocessableEntity, "POST", "/api/edges", jsonMap{"tankId": "other", "name": "Computer"}, nil)
	carla.want(http.StatusForbidden, "POST", "/api/tanks/reef/requests", hold, nil)
	carla.want(http.StatusOK, "GET", "/api/tanks/reef/edge", nil, nil)
	for what, body := range map[string]jsonMap{
		"no kind":             {},
		"a kind that is none": {"kind": "drain"},
		"a give of nothing":   {"kind": "give"},
		"a hold of 50 mL":     {"kind": "hold", "giveML": 50},
		"a negative give":     {"kind": "give", "giveML": -50},
	} {
		t.Run(what, func(t *testing.T) {
			olga.want(http.StatusUnprocessableEntity, "POST", "/api/tanks/reef/requests", body, nil)
		})
	}
}

// TestAnEdgesReadings come in as a device's do; a new key shuts the old one out,
// and so does revoking.
func TestAnEdgesReadings(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made api.JoinFile
	olga.want(http.StatusCreated, "POST", "/api/edges", jsonMap{"tankId": "reef", "name": "Computer"}, &made)
	a, stop := startAgent(t, h, made)
	at := time.Now().UTC().Add(-time.Hour)
	keep := func(a *agent, channel string, value float64, unit string) {
		t.Helper()
		at = at.Add(time.Second)
		id := wire.DeviceID{Site: made.Device.SiteID, Device: made.Device.ID}
		if err := a.Append(t.Context(), []wire.Reading{{Site: id.Site, Device: id.Device, Channel: channel, At: at, Received: at, Value: value, Unit: unit}}); err != nil {
			t.Fatal(err)
		}
	}
	keep(a, "level", 0.2, "m")
	keep(a, "level", 200, "m") // refused, where the device's page shows it
	levelIs := func(mm float64) bool {
		var tank api.Tank
		olga.want(http.StatusOK, "GET", "/api/tanks/reef", nil, &tank)
		return tank.Live.LevelMM != nil && tank.Live.LevelMM.Value == mm
	}
	eventually(t, "the level", func() bool { return levelIs(200) })
	var d api.Device
	eventually(t, "the refusal", func() bool {
		olga.want(http.StatusOK, "GET", "/api/devices/"+made.Device.ID, nil, &d)
		return len(d.Refusals) == 1 && d.Refusals[0].Reason == "out-of-range"
	})

	var renewed api.JoinFile
	olga.want(http.StatusOK, "POST", "/api/devices/"+made.Device.ID+"/key", jsonMap{}, &renewed)
	stop()
	_, stopOld := startAgent(t, h, made)
	b, _ := startAgent(t, h, renewed)
	keep(b, "level", 0.21, "m")
	eventually(t, "the level by the new key", func() bool { return levelIs(210) && b.Pushed.Load() == 1 })
	stopOld()
	olga.want(http.StatusNoContent, "DELETE", "/api/devices/"+made.Device.ID, nil, nil)
	olga.want(http.StatusConflict, "POST", "/api/devices/"+made.Device.ID+"/key", jsonMap{}, nil)
	olga.want(http.StatusNotFound, "GET", "/api/tanks/reef/edge", nil, nil)
	pushed := b.Pushed.Load()
	b.turnedAway.Store(false)
	keep(b, "level", 0.22, "m")
	eventually(t, "the edge saying that nobody takes its readings", b.turnedAway.Load)
	if b.Pushed.Load() > pushed {
		t.Error("a revoked edge's readings are taken")
	}
}
