package edge

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/gofrs/flock"

	"isohaline/internal/edge/decide"
	edgeio "isohaline/internal/edge/io"
	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
)

const (
	// every is how often the agent turns its wheel.
	every = 100 * time.Millisecond
	// waiting is how many requests may wait for their turn.
	waiting = 16
	// saveAgain is how soon a save that failed is tried again.
	saveAgain = time.Second
	// remembered is how many events a view of the record can show.
	remembered = 200
	// holdsFor is how long a decision holds: a process that was stopped and goes
	// on says off before it has looked again.
	holdsFor = 10 * every
)

// Wires is what an agent has its hands on: a keeper's process, or a simulation.
type Wires interface {
	// Exchange says what shall be on, for a lease, and returns what the inputs
	// say. What cannot be read is Absent or Faulty, and the error says why.
	Exchange(context.Context, lease.Outputs) (edgeio.Inputs, error)
	// Close turns everything off.
	Close() error
}

// Options are an agent's.
type Options struct {
	Config decide.Config
	Wires  Wires
	Pace   *Pace
	// Dir is where the state is kept.
	Dir string
	Log *slog.Logger
	// Heard, if set, is given every event. It must not wait.
	Heard func([]decide.Event)
}

// Agent runs one tank's guard. Its methods may be called from anywhere; Run is
// called once.
type Agent struct {
	o    Options
	disk disk
	lock *flock.Flock
	asks chan pending

	mu     sync.Mutex
	view   View
	events []decide.Event // the newest last

	// Of Run alone.
	state   decide.State
	out     lease.Outputs
	decided time.Time // when out was
	lost    bool      // the last thing said was not heard: the next look is a fault
	unsaved time.Time // since the last save failed; zero: none has
	trouble map[string]string
}

// pending is a request and where its answer goes.
type pending struct {
	ask    decide.Ask
	answer chan requests.Answer
}

// Open reads what was saved and boots the guard. A state that cannot be read is
// no reason to forget a latch: the tank is held, shut, until a person has looked.
func Open(o Options) (*Agent, error) {
	if err := o.Config.Settings.Validate(); err != nil {
		return nil, err
	}
	if !(o.Config.FlowMLS > 0) {
		return nil, fmt.Errorf("edge: the pump brings %v mL/s: it has to be above 0", o.Config.FlowMLS)
	}
	a := &Agent{o: o, disk: disk{o.Dir}, asks: make(chan pending, waiting), trouble: map[string]string{}}
	// Two agents on one state would undo each other's latches.
	a.lock = flock.New(filepath.Join(o.Dir, lockFile), flock.SetPermissions(0o600))
	switch free, err := a.lock.TryLock(); {
	case err != nil:
		return nil, fmt.Errorf("edge: %w", err)
	case !free:
		return nil, fmt.Errorf("edge: another agent uses %s: end it, or name another folder", o.Dir)
	}
	saved, err := a.disk.load()
	began := decide.Event{Kind: decide.Began, Words: "the agent started"}
	var damaged *damagedError
	switch {
	case errors.As(err, &damaged):
		saved = decide.State{Guard: guard.State{OnHold: true, Shut: true}}
		began.Words += "; what it had saved cannot be read, so the tank is held until a person has looked and resumes"
		o.Log.Error("the saved state cannot be read", "error", err)
	case err != nil:
		return nil, errors.Join(err, a.lock.Close())
	}
	now := o.Pace.Moment()
	a.state = decide.Boot(&o.Config, saved, now.Clock)
	began.At = now.Wall
	a.note([]decide.Event{began})
	a.show(guard.Inputs{}, now)
	return a, nil
}

// Run turns the wheel until ctx ends, and leaves everything off.
func (a *Agent) Run(ctx context.Context) error {
	for a.o.Pace.Wait(ctx) == nil {
		a.turn(ctx)
	}
	return errors.Join(a.o.Wires.Close(), a.lock.Close())
}

// turn reads, decides, saves and drives.
func (a *Agent) turn(ctx context.Context) {
	if time.Since(a.decided) > holdsFor {
		a.out = lease.Outputs{}
	}
	read, err := a.o.Wires.Exchange(ctx, a.out)
	if ctx.Err() != nil {
		return
	}
	if a.lost {
		read, a.lost = edgeio.Inputs{}, false
	}
	var p pending
	var ask *decide.Ask
	select {
	case p = <-a.asks:
		ask = &p.ask
	default:
	}
	now := a.o.Pace.Moment()
	events := a.suffer("wires", err, now)
	in := read.Guard()
	r := decide.Step(&a.o.Config, a.state, in, ask, now)
	if failed := a.save(&r, now); failed != nil {
		r = decide.Unable(&a.o.Config, a.state, ask, now)
		events = append(events, a.suffer("disk", failed, now)...)
	} else if a.unsaved.IsZero() {
		events = append(events, a.suffer("disk", nil, now)...)
	}
	a.state, a.decided = r.State, time.Now()
	if out := (lease.Outputs{Pump: r.Out.Pump, Valve: r.Out.Valve, Horn: r.Out.Horn}); out != a.out {
		a.out = out
		// At once, and not a turn later; what it reads belongs to the next.
		if _, err := a.o.Wires.Exchange(ctx, out); ctx.Err() == nil && err != nil {
			events = append(events, a.suffer("wires", err, now)...)
			a.out, a.lost = lease.Outputs{}, true
		}
	}
	a.show(in, now)
	a.note(append(events, r.Events...))
	if ask != nil {
		p.answer <- *r.Answer
	}
}

// save puts the state on the disk if it has to be there, or if the last time
// failed. An error means that this step may not happen.
func (a *Agent) save(r *decide.Result, now decide.Moment) error {
	failing := !a.unsaved.IsZero()
	if !r.Save && !failing {
		return nil
	}
	if failing && time.Since(a.unsaved) < saveAgain {
		return errUnsaved
	}
	if err := a.disk.save(r.State, now.Wall); err != nil {
		a.unsaved = time.Now()
		return err
	}
	a.unsaved = time.Time{}
	return nil
}

// errUnsaved is a failure that has been told already.
var errUnsaved = errors.New("not tried again yet")

// suffer takes in how one of the agent's own parts does, and tells what is news.
func (a *Agent) suffer(part string, err error, now decide.Moment) []decide.Event {
	was := a.trouble[part]
	switch {
	case err != nil && was == "":
		a.trouble[part] = part + ": " + err.Error()
		return []decide.Event{{At: now.Wall, Kind: decide.Trouble, Code: part, Words: a.trouble[part]}}
	case err == nil && was != "":
		delete(a.trouble, part)
		return []decide.Event{{At: now.Wall, Kind: decide.Mended, Code: part, Words: part + ": in order again"}}
	case err != nil && !errors.Is(err, errUnsaved):
		a.trouble[part] = part + ": " + err.Error()
	}
	return nil
}

// show makes the view that others see.
func (a *Agent) show(in guard.Inputs, now decide.Moment) {
	v := View{At: now.Wall, State: a.state, In: in, Out: a.state.Said, GiveMostML: a.o.Config.GiveMostML(&a.state)}
	if at := guard.Deadline(&a.o.Config.Settings, a.state.Guard, in); at != guard.Never {
		v.Ends = now.Wall.Add(at - now.Clock)
	}
	for _, words := range a.trouble {
		v.Trouble = append(v.Trouble, words)
	}
	slices.Sort(v.Trouble)
	a.mu.Lock()
	defer a.mu.Unlock()
	a.view = v
}

// note adds to the record.
func (a *Agent) note(events []decide.Event) {
	if len(events) == 0 {
		return
	}
	for _, e := range events {
		level := slog.LevelInfo
		if e.Kind == decide.Raised || e.Kind == decide.Trouble {
			level = slog.LevelWarn
		}
		attrs := []any{"kind", e.Kind}
		for _, a := range [][2]string{{"code", e.Code}, {"by", e.By}, {"request", e.Request}} {
			if a[1] != "" {
				attrs = append(attrs, a[0], a[1])
			}
		}
		a.o.Log.Log(context.Background(), level, e.Words, attrs...)
	}
	a.mu.Lock()
	a.events = append(a.events, events...)
	a.events = slices.Clone(a.events[max(0, len(a.events)-remembered):])
	a.mu.Unlock()
	if a.o.Heard != nil {
		a.o.Heard(events)
	}
}

// View is the agent now.
func (a *Agent) View() View {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.view
}

// Config is what the agent was opened with.
func (a *Agent) Config() decide.Config { return a.o.Config }

// Events are the last of the record, the newest first.
func (a *Agent) Events() []decide.Event {
	a.mu.Lock()
	defer a.mu.Unlock()
	list := slices.Clone(a.events)
	slices.Reverse(list)
	return list
}

// Ask makes a request and waits for its answer.
func (a *Agent) Ask(ctx context.Context, ask decide.Ask) (requests.Answer, error) {
	p := pending{ask, make(chan requests.Answer, 1)}
	select {
	case a.asks <- p:
	default:
		return requests.Answer{ID: ask.Request.ID, Code: requests.Busy, Why: "too much is asked at once; ask again", At: a.o.Pace.Moment().Wall}, nil
	}
	select {
	case answer := <-p.answer:
		return answer, nil
	case <-ctx.Done():
		return requests.Answer{}, ctx.Err()
	}
}
