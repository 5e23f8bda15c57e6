package remote

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/wire"
)

var (
	lobby = wire.DeviceID{Site: "harbour", Device: "edge-1"}
	asker = Person{Name: "operator", From: "192.0.2.7"}
)

// house is a desk with an edge that answers when the test says so.
type house struct {
	*Desk
	t     *testing.T
	now   time.Time
	sent  []requests.Request
	notes []note
	deaf  error // of the audit log
}

type note struct {
	who, action, tank string
	detail            map[string]any
}

func open(t *testing.T) *house {
	h := &house{t: t, now: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)}
	h.Desk = New(Options{
		Edge: func(tank string) (wire.DeviceID, bool) { return lobby, tank == "lobby-reef" },
		Tank: func(e wire.DeviceID) string {
			if e == lobby {
				return "lobby-reef"
			}
			return ""
		},
		Ask: func(to wire.DeviceID, message []byte) error {
			r, err := talk.Decode[requests.Request](message)
			if err != nil || to != lobby {
				t.Errorf("asked %v: %v", to, err)
			}
			h.sent = append(h.sent, r)
			return nil
		},
		Note: func(_ context.Context, who, action, tank string, detail any) error {
			if h.deaf == nil {
				h.notes = append(h.notes, note{who, action, tank, detail.(map[string]any)})
			}
			return h.deaf
		},
		Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return h.now },
	})
	return h
}

func (h *house) tells(m talk.Tell) {
	h.t.Helper()
	data, err := talk.Encode(m)
	if err != nil {
		h.t.Fatal(err)
	}
	h.Told(lobby, data)
}

func (h *house) after(d time.Duration) {
	h.t.Helper()
	h.now = h.now.Add(d)
	if err := h.Tick(h.t.Context()); err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) ask(kind requests.Kind, ml float64) Request {
	h.t.Helper()
	r, err := h.Ask(h.t.Context(), asker, "lobby-reef", kind, ml)
	if err != nil {
		h.t.Fatal(err)
	}
	return r
}

func (h *house) view() View {
	h.t.Helper()
	v, ok := h.Tank("lobby-reef")
	if !ok {
		h.t.Fatal("the tank has no edge")
	}
	return v
}

func (h *house) stage(want Stage, why string) {
	h.t.Helper()
	if got := h.view().Asks[0]; got.Stage != want || got.Why != why {
		h.t.Errorf("the request is %s, %q; want %s, %q", got.Stage, got.Why, want, why)
	}
}

func picture(at time.Time, phase string) *talk.Picture { return &talk.Picture{At: at, Phase: phase} }

func TestARequestIsFollowed(t *testing.T) {
	h := open(t)
	h.tells(talk.Tell{Picture: picture(h.now, "resting")})
	r := h.ask(requests.Hold, 0)
	h.stage(Asked, "")
	h.tells(talk.Tell{Received: r.ID})
	h.stage(Received, "")
	h.after(time.Second)
	h.tells(talk.Tell{Answer: &requests.Answer{ID: r.ID, Taken: true, Why: "held by a person", At: h.now, LastSeq: h.sent[0].Seq}, Picture: picture(h.now, "held")})
	h.stage(Done, "held by a person")
	h.after(time.Second)
	got := h.view().Asks[0]
	if got.Before.Phase != "resting" || got.After == nil || got.After.Phase != "held" {
		t.Errorf("before %v, after %v", got.Before, got.After)
	}
	if len(h.notes) != 2 || h.notes[0].action != "ask to hold" || h.notes[1].action != "hold: done" {
		t.Fatalf("noted: %v", h.notes)
	}
	for _, n := range h.notes {
		if n.who != "operator" || n.tank != "lobby-reef" || n.detail["from"] != "192.0.2.7" || n.detail["request"] != r.ID {
			t.Errorf("noted: %v", n)
		}
	}
	if last := h.notes[1].detail; last["after"].(*talk.Picture).Phase != "held" || last["before"].(*talk.Picture).Phase != "resting" {
		t.Errorf("noted: %v", last)
	}
	h.after(time.Hour)
	if len(h.notes) != 2 || len(h.sent) != 1 {
		t.Errorf("%d notes and %d messages after all is over", len(h.notes), len(h.sent))
	}
}

func TestARefusalGivesTheReason(t *testing.T) {
	h := open(t)
	r := h.ask(requests.Give, 5000)
	h.tells(talk.Tell{Answer: &requests.Answer{ID: r.ID, Why: "more than the margin", At: h.now}})
	h.stage(Refused, "more than the margin")
	h.after(afterWithin + time.Second) // no picture comes
	if len(h.notes) != 2 || h.notes[1].action != "give: refused" || h.notes[0].detail["give_ml"] != 5000.0 {
		t.Errorf("noted: %v", h.notes)
	}
}

func TestALostRequestIsAskedAgain(t *testing.T) {
	h := open(t)
	h.ask(requests.Hold, 0)
	for range 60 {
		h.after(time.Second)
	}
	if n := len(h.sent); n < 10 || n > 16 {
		t.Errorf("asked %d times in half a minute", n)
	}
	for _, r := range h.sent {
		if r.ID != h.sent[0].ID || r.Seq != h.sent[0].Seq || !r.AskedAt.Equal(h.sent[0].AskedAt) {
			t.Errorf("asked again as another: %v, %v", h.sent[0], r)
		}
	}
	h.stage(Unanswered, "no answer; it is too old to be done by now")
	if last := h.notes[len(h.notes)-1]; last.action != "hold: unanswered" {
		t.Errorf("noted: %v", last)
	}
	// The answer was on its way for long.
	h.tells(talk.Tell{Answer: &requests.Answer{ID: h.sent[0].ID, Taken: true, Why: "held", At: h.now}, Picture: picture(h.now, "held")})
	h.stage(Done, "held")
	h.after(time.Second)
	if last := h.notes[len(h.notes)-1]; last.action != "hold: done" {
		t.Errorf("noted: %v", last)
	}
}

// Numbers rise whatever the clock does, also above those of an earlier hub.
func TestNumbersRise(t *testing.T) {
	h := open(t)
	earlier := uint64(h.now.Add(time.Hour).UnixMicro())
	h.tells(talk.Tell{Picture: &talk.Picture{At: h.now, LastSeq: earlier}})
	h.ask(requests.Hold, 0)
	h.now = h.now.Add(-time.Hour)
	h.ask(requests.Resume, 0)
	if a, b := h.sent[0].Seq, h.sent[1].Seq; a <= earlier || b <= a {
		t.Errorf("numbers %d and %d after %d", a, b, earlier)
	}
}

func TestTheLinkIsCut(t *testing.T) {
	h := open(t)
	if v := h.view(); v.Linked || !v.Told.IsZero() {
		t.Errorf("heard of before it said anything: %+v", v)
	}
	h.tells(talk.Tell{Picture: picture(h.now, "resting")})
	changes := h.Changes.Subscribe(nil)
	defer changes.Leave()
	last := h.now
	h.after(talk.Silence)
	if !h.view().Linked {
		t.Error("unlinked too early")
	}
	h.after(time.Second)
	v := h.view()
	if v.Linked || !v.Told.Equal(last) || v.Picture.Phase != "resting" {
		t.Errorf("after the cut: %+v", v)
	}
	if got := changes.Take(); len(got) != 1 {
		t.Errorf("%v shown, want one change", got)
	}
	h.after(time.Second)
	if got := changes.Take(); len(got) != 0 {
		t.Errorf("%v shown, want no further change", got)
	}
}

func TestAPictureThatWasOvertaken(t *testing.T) {
	h := open(t)
	h.tells(talk.Tell{Picture: picture(h.now, "held")})
	h.tells(talk.Tell{Picture: picture(h.now.Add(-time.Second), "resting")})
	if got := h.view().Picture.Phase; got != "held" {
		t.Errorf("the picture is %q", got)
	}
}

func TestNothingIsAskedUnrecorded(t *testing.T) {
	h := open(t)
	h.deaf = errors.New("the disk is full")
	if _, err := h.Ask(t.Context(), asker, "lobby-reef", requests.Hold, 0); !errors.Is(err, h.deaf) {
		t.Errorf("error is %v", err)
	}
	if _, err := h.Ask(t.Context(), asker, "studio", requests.Hold, 0); !errors.Is(err, ErrNoEdge) {
		t.Errorf("error is %v", err)
	}
	h.after(time.Second)
	if len(h.sent)+len(h.view().Asks) > 0 {
		t.Errorf("sent %v, listed %v", h.sent, h.view().Asks)
	}
	// What became of one is noted once the log is there again.
	h.deaf = nil
	r := h.ask(requests.Hold, 0)
	h.tells(talk.Tell{Answer: &requests.Answer{ID: r.ID, Taken: true, At: h.now}, Picture: picture(h.now, "held")})
	h.deaf = errors.New("the disk is full")
	if err := h.Tick(t.Context()); !errors.Is(err, h.deaf) {
		t.Errorf("error is %v", err)
	}
	h.deaf = nil
	h.after(time.Second)
	if len(h.notes) != 2 {
		t.Errorf("noted: %v", h.notes)
	}
}

func TestStrangersAndNonsense(t *testing.T) {
	h := open(t)
	h.Told(wire.DeviceID{Site: "elsewhere", Device: "edge-9"}, []byte(`{"picture":{"phase":"held"}}`))
	h.Told(lobby, []byte("{"))
	h.tells(talk.Tell{Received: "no such", Answer: &requests.Answer{ID: "nor this"}})
	if v := h.view(); v.Picture != nil || len(v.Asks) > 0 {
		t.Errorf("%+v", v)
	}
	for range kept + 5 {
		h.ask(requests.Silence, 0)
	}
	if n := len(h.view().Asks); n != kept {
		t.Errorf("%d requests are kept, want %d", n, kept)
	}
}
