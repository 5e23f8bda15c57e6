// Package remote is the hub's desk for acting from afar: it hands what people ask
// to the edges, follows what becomes of it, and knows how each edge stands.
//
// The desk can only ask. The guard on site decides, and the desk shows its reason.
// A request is asked again until the edge has it in hand or it is too old to be
// taken; the edge does it once, however often it comes. Who asked, from where, and
// how the tank stood before and after go into the audit log.
package remote

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/server/feed"
	"isohaline/internal/wire"
)

// Stage is how far a request has come.
type Stage string

const (
	Asked      Stage = "asked"
	Received   Stage = "received" // the edge has it in hand
	Done       Stage = "done"
	Refused    Stage = "refused"
	Unanswered Stage = "unanswered" // too old to be taken by now
)

const (
	// againEvery is how often a request without an answer is asked again.
	againEvery = 2 * time.Second
	// grace is what an answer may take on its way back, before its request counts
	// as unanswered.
	grace = 5 * time.Second
	// afterWithin is how long an answered request waits for a picture of what came
	// of it before it is noted without one.
	afterWithin = 2 * talk.TellEvery
	// kept is how many requests are kept of a tank to be looked at.
	kept = 20
)

// Options are what the desk stands on.
type Options struct {
	// Edge is the edge of a tank, false if it has none.
	Edge func(tankID string) (wire.DeviceID, bool)
	// Tank is the tank of an edge, empty for none.
	Tank func(wire.DeviceID) string
	// Ask hands a message to an edge: EdgePort.Ask.
	Ask func(wire.DeviceID, []byte) error
	// Note writes into the audit log what somebody did to a tank.
	Note func(ctx context.Context, who, action, tankID string, detail any) error
	Log  *slog.Logger
	Now  func() time.Time
	// ID makes a request's id, never the same twice; nil: at random.
	ID func() string
}

// Desk is the desk. It may be used from several goroutines.
type Desk struct {
	// Changes passes on the id of a tank whose View has changed.
	Changes feed.Feed[string, string]

	o     Options
	mu    sync.Mutex
	tanks map[string]*tank
}

// tank is what the desk knows of one.
type tank struct {
	told    time.Time     // when its edge last said anything; zero: never
	picture *talk.Picture // the last
	silent  bool          // and that has been shown
	asks    []*ask        // oldest first
	lastSeq uint64
}

// ask is one request on its way.
type ask struct {
	Request
	wire  requests.Request
	from  string
	edge  wire.DeviceID
	asked time.Time // the last time
	noted bool      // what became of it is in the audit log
}

// Request is what somebody asked, and what became of it.
type Request struct {
	ID     string
	Kind   requests.Kind
	GiveML float64
	Who    string
	At     time.Time
	Stage  Stage
	// Why is the guard's reason, once there is an answer.
	Why     string
	Settled time.Time // when it was answered or given up; zero: not yet
	// Before and After are how the edge stood.
	Before, After *talk.Picture
}

// View is how a tank's edge stands.
type View struct {
	Edge wire.DeviceID
	// Linked: it has been heard of lately. Told is when last; zero: never.
	Linked  bool
	Told    time.Time
	Picture *talk.Picture // the last known; nil: none
	Asks    []Request     // newest first
}

// New makes a desk that has heard of nobody yet.
func New(o Options) *Desk {
	if o.ID == nil {
		o.ID = rand.Text
	}
	return &Desk{o: o, tanks: map[string]*tank{}}
}

// Person is who asks, and from which address.
type Person struct{ Name, From string }

// ErrNoEdge says that nobody at the tank could be asked.
var ErrNoEdge = errors.New("the tank has no edge")

// Ask asks a tank's edge for something. It returns once the request is on its way
// and in the audit log; what becomes of it is in View.
func (d *Desk) Ask(ctx context.Context, p Person, tankID string, kind requests.Kind, giveML float64) (Request, error) {
	edge, ok := d.o.Edge(tankID)
	if !ok {
		return Request{}, ErrNoEdge
	}
	a := d.newAsk(p, tankID, edge, kind, giveML)
	asked := a.Request // as it is on its way; from then on it may move on at any moment
	detail := map[string]any{"request": a.ID, "from": p.From, "before": a.Before}
	if giveML > 0 {
		detail["give_ml"] = giveML
	}
	// First the record: nothing is asked that is not written down.
	if err := d.o.Note(ctx, p.Name, "ask to "+string(kind), tankID, detail); err != nil {
		return Request{}, err
	}
	d.mu.Lock()
	t := d.tank(tankID)
	t.asks = append(t.asks, a)
	t.asks = t.asks[max(0, len(t.asks)-kept):]
	d.mu.Unlock()
	d.send(a)
	d.Changes.Publish(tankID, tankID)
	return asked, nil
}

func (d *Desk) newAsk(p Person, tankID string, edge wire.DeviceID, kind requests.Kind, giveML float64) *ask {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.o.Now()
	t := d.tank(tankID)
	t.lastSeq = max(t.lastSeq+1, uint64(now.UnixMicro()))
	a := &ask{edge: edge, from: p.From, asked: now}
	a.wire = requests.Request{ID: d.o.ID(), Seq: t.lastSeq, Kind: kind, GiveML: giveML, By: p.Name, AskedAt: now}
	a.Request = Request{ID: a.wire.ID, Kind: kind, GiveML: giveML, Who: p.Name, At: now, Stage: Asked, Before: t.picture}
	return a
}

// tank makes a tank's place where there is none. d.mu is held.
func (d *Desk) tank(id string) *tank {
	t := d.tanks[id]
	if t == nil {
		t = new(tank)
		d.tanks[id] = t
	}
	return t
}

func (d *Desk) send(a *ask) {
	message, err := talk.Encode(a.wire)
	if err == nil {
		err = d.o.Ask(a.edge, message)
	}
	if err != nil { // it is asked again
		d.o.Log.Warn("a request is not on its way", "edge", a.edge, "error", err)
	}
}

// Told takes what an edge tells.
func (d *Desk) Told(edge wire.DeviceID, message []byte) {
	tell, err := talk.Decode[talk.Tell](message)
	if err != nil {
		d.o.Log.Warn("an edge tells what cannot be understood", "edge", edge, "error", err)
		return
	}
	tankID := d.o.Tank(edge)
	if tankID == "" {
		return
	}
	d.mu.Lock()
	t := d.tank(tankID)
	t.told, t.silent = d.o.Now(), false
	if a := t.find(tell.Received); a != nil && a.Stage == Asked {
		a.Stage = Received
	}
	if tell.Answer != nil {
		t.lastSeq = max(t.lastSeq, tell.Answer.LastSeq)
		// An answer may come later than anybody waited for it, and still is the truth.
		if a := t.find(tell.Answer.ID); a != nil && (a.Settled.IsZero() || a.Stage == Unanswered) {
			a.settle(tell.Answer)
		}
	}
	if tell.Picture != nil { // after the answer that came with it
		t.see(tell.Picture)
	}
	d.mu.Unlock()
	d.Changes.Publish(tankID, tankID)
}

// find is the request of an id, nil if there is none.
func (t *tank) find(id string) *ask {
	i := slices.IndexFunc(t.asks, func(a *ask) bool { return a.ID == id })
	if id == "" || i < 0 {
		return nil
	}
	return t.asks[i]
}

func (a *ask) settle(answer *requests.Answer) {
	a.Stage, a.Why, a.Settled, a.noted = Refused, answer.Why, answer.At, false
	if answer.Taken {
		a.Stage = Done
	}
}

// see takes a picture. It is what came of every request answered before it was
// made.
func (t *tank) see(p *talk.Picture) {
	if t.picture != nil && p.At.Before(t.picture.At) {
		return // it was overtaken on its way
	}
	t.picture = p
	t.lastSeq = max(t.lastSeq, p.LastSeq)
	for _, a := range t.asks {
		if a.After == nil && !a.Settled.IsZero() && !p.At.Before(a.Settled) {
			a.After = p
		}
	}
}

// Tick asks again what is without an answer, gives up what is too old, and writes
// into the audit log what became of the rest. It is to be called every second or
// so.
func (d *Desk) Tick(ctx context.Context) error {
	var again, settled []*ask
	tankOf := map[*ask]string{}
	var changed []string
	d.mu.Lock()
	now := d.o.Now()
	for id, t := range d.tanks {
		if !t.silent && !t.told.IsZero() && now.Sub(t.told) > talk.Silence {
			t.silent = true
			changed = append(changed, id)
		}
		for _, a := range t.asks {
			tankOf[a] = id
			switch {
			case a.Settled.IsZero() && now.Sub(a.At) > requests.Fresh+grace:
				a.Stage, a.Settled = Unanswered, now
				a.Why = "no answer; it is too old to be done by now"
				changed = append(changed, id)
			case a.Settled.IsZero() && now.Sub(a.At) <= requests.Fresh && now.Sub(a.asked) >= againEvery:
				a.asked = now
				again = append(again, a)
			}
			if !a.Settled.IsZero() && !a.noted && (a.After != nil || a.Stage == Unanswered || now.Sub(a.Settled) > afterWithin) {
				a.noted = true
				settled = append(settled, a)
			}
		}
	}
	d.mu.Unlock()
	for _, a := range again {
		d.send(a)
	}
	for _, id := range slices.Compact(slices.Sorted(slices.Values(changed))) {
		d.Changes.Publish(id, id)
	}
	var errs []error
	slices.SortFunc(settled, func(a, b *ask) int { return cmp.Compare(a.wire.Seq, b.wire.Seq) })
	for _, a := range settled {
		if err := d.note(ctx, a, tankOf[a]); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// note writes down what became of a request. One that cannot be written down is
// tried again.
func (d *Desk) note(ctx context.Context, a *ask, tankID string) error {
	d.mu.Lock()
	detail := map[string]any{"request": a.ID, "from": a.from, "why": a.Why, "before": a.Before, "after": a.After}
	who, action := a.Who, fmt.Sprintf("%s: %s", a.Kind, a.Stage)
	d.mu.Unlock()
	err := d.o.Note(ctx, who, action, tankID, detail)
	if err != nil {
		d.mu.Lock()
		a.noted = false
		d.mu.Unlock()
	}
	return err
}

// Tank is how the edge of a tank stands, false if it has none.
func (d *Desk) Tank(id string) (View, bool) {
	edge, ok := d.o.Edge(id)
	if !ok {
		return View{}, false
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	t := d.tank(id)
	v := View{Edge: edge, Told: t.told, Picture: t.picture}
	v.Linked = !t.told.IsZero() && d.o.Now().Sub(t.told) <= talk.Silence
	for _, a := range slices.Backward(t.asks) {
		v.Asks = append(v.Asks, a.Request)
	}
	return v, true
}
