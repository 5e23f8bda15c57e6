// Package link joins an agent to its hub: readings go there, and what the hub asks
// comes from there. The agent never waits for it: the tank's guard is as well off
// with the cable cut.
package link

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/channel"
	"isohaline/internal/edge"
	"isohaline/internal/edge/decide"
	"isohaline/internal/edge/join"
	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/guard"
	"isohaline/internal/wire"
)

const (
	// lookEvery is how often the agent is looked at for what has changed.
	lookEvery = 100 * time.Millisecond
	// levelEvery is how often a level is told that changes, and beatEvery how
	// often everything is told, changed or not.
	levelEvery = 10 * time.Second
	beatEvery  = time.Minute
	// inHand is how many of the hub's requests may wait for the agent.
	inHand = 16
	// waiting is how many readings may wait for the disk. At ten a second, more
	// than any tank has, that is a quarter of an hour of a disk that hangs.
	waiting = 10_000
	// answerWithin is more than an agent that lives takes to answer.
	answerWithin = 5 * time.Second
)

// Options say which hub, and for which agent.
type Options struct {
	File  join.File
	Agent *edge.Agent
	// Dir is where readings wait until the hub has them.
	Dir string
	Log *slog.Logger
}

// Link is an agent's link to its hub.
type Link struct {
	o        Options
	uplink   *wire.Uplink
	asked    chan requests.Request
	readings chan []wire.Reading
}

// Open opens what waits for the hub. The link comes up by itself, now or later.
func Open(ctx context.Context, o Options) (*Link, error) {
	l := &Link{o: o, asked: make(chan requests.Request, inHand), readings: make(chan []wire.Reading, waiting)}
	var err error
	l.uplink, err = wire.OpenUplink(ctx, wire.UplinkOptions{Dir: o.Dir, Hub: o.File.Hub, TLS: o.File.TLSConfig(), Edge: o.File.ID(),
		Seed: o.File.Key, Asked: l.take, Logger: o.Log})
	if err != nil {
		return nil, err
	}
	return l, nil
}

// take takes what the hub asks. One that finds no room is asked again.
func (l *Link) take(message []byte) {
	r, err := talk.Decode[requests.Request](message)
	if err != nil {
		l.o.Log.Warn("the hub asks what cannot be understood", "error", err)
		return
	}
	select {
	case l.asked <- r:
	default:
		l.o.Log.Warn("too much is asked at once", "request", r.ID)
	}
}

// Run keeps the link until ctx ends.
func (l *Link) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return l.uplink.Run(ctx) })
	group.Go(func() error { return l.answer(ctx) })
	group.Go(func() error { return l.follow(ctx) })
	group.Go(func() error { return l.keep(ctx) })
	return group.Wait()
}

// Close ends the link, once Run has returned.
func (l *Link) Close() { l.uplink.Close() }

// answer brings requests before the agent, one after the other, and tells what
// became of each.
func (l *Link) answer(ctx context.Context) error {
	for {
		var r requests.Request
		select {
		case <-ctx.Done():
			return nil
		case r = <-l.asked:
		}
		l.tell(talk.Tell{Received: r.ID})
		patience, cancel := context.WithTimeout(ctx, answerWithin)
		a, err := l.o.Agent.Ask(patience, decide.Ask{Request: r})
		cancel()
		if err != nil { // the hub asks again, or gives it up
			l.o.Log.Error("the agent does not answer", "request", r.ID, "error", err)
			continue
		}
		v := l.o.Agent.View()
		l.tell(talk.Tell{Answer: &a, Picture: picture(&v)})
	}
}

func (l *Link) tell(t talk.Tell) {
	message, err := talk.Encode(t)
	if err == nil {
		err = l.uplink.Tell(message)
	}
	if err != nil {
		l.o.Log.Warn("the hub is not told", "error", err)
	}
}

// follow looks at the agent and tells what has changed: as readings what has to be
// known for ever, as a picture how it stands now.
func (l *Link) follow(ctx context.Context) error {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	var seen teller
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		v := l.o.Agent.View()
		if readings := seen.readings(&v, l.o.File.ID()); len(readings) > 0 {
			select {
			case l.readings <- readings:
			default: // a reading more must not be the guard's trouble
				l.o.Log.Error("the disk takes no readings and no more can wait: these are lost", "readings", len(readings))
			}
		}
		if p, due := seen.picture(&v); due {
			l.tell(talk.Tell{Picture: p})
		}
	}
}

// keep writes readings where they wait for the hub. At the end what can be
// written at once still is.
func (l *Link) keep(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case readings := <-l.readings:
			if err := l.uplink.Append(ctx, readings); err != nil && ctx.Err() == nil {
				return fmt.Errorf("keeping readings for the hub: %w", err)
			}
		}
	}
}

// teller knows what has been told.
type teller struct {
	told   map[string]float64
	beat   time.Time // when everything was
	level  time.Time // when the level was
	shown  *talk.Picture
	showed time.Time
}

// readings are what has changed since they were last told, and now and then all.
func (t *teller) readings(v *edge.View, id wire.DeviceID) []wire.Reading {
	now := v.Channels()
	all := t.told == nil || v.At.Sub(t.beat) >= beatEvery
	if all {
		t.beat = v.At
	}
	var out []wire.Reading
	for _, name := range slices.Sorted(maps.Keys(now)) {
		old, known := t.told[name]
		switch {
		case all || !known:
		case old == now[name]:
			continue
		case name == channel.Level && v.At.Sub(t.level) < levelEvery: // it alone moves all the time
			now[name] = old // told later
			continue
		}
		if name == channel.Level {
			t.level = v.At
		}
		at := v.At.UTC().Round(time.Microsecond)
		out = append(out, channel.Reading(id, name, now[name], at, at))
	}
	t.told = now
	return out
}

// picture is how the agent stands, and whether the hub is due to be told.
func (t *teller) picture(v *edge.View) (*talk.Picture, bool) {
	p := picture(v)
	if t.shown != nil && v.At.Sub(t.showed) < talk.TellEvery && same(t.shown, p) {
		return nil, false
	}
	t.shown, t.showed = p, v.At
	return p, true
}

// same says whether two pictures differ in nothing that a person would act on.
func same(a, b *talk.Picture) bool {
	return a.Phase == b.Phase && a.Reason == b.Reason && slices.Equal(a.Alarms, b.Alarms) && a.OnHold == b.OnHold && a.ValveShut == b.ValveShut &&
		a.Pump == b.Pump && a.Horn == b.Horn && a.ProofTest == b.ProofTest && a.LastSeq == b.LastSeq
}

func picture(v *edge.View) *talk.Picture {
	s := &v.State
	p := &talk.Picture{At: v.At.UTC(), Phase: s.Guard.Phase.String(), Reason: v.Out.Reason.String(), OnHold: s.Guard.OnHold,
		Latched: s.Guard.Phase == guard.Latched, ValveShut: s.Guard.Shut, Pump: v.Out.Pump, Horn: v.Out.Horn,
		GiveMostML: v.GiveMostML, LastSeq: s.Ledger.LastSeq}
	for _, r := range s.Alarms() {
		p.Alarms = append(p.Alarms, r.String())
	}
	p.Alarms = append(p.Alarms, v.Trouble...)
	if p.Latched {
		p.Look = lookFirst(s.Guard.Latch)
	}
	if mm := v.In.LevelMM; mm-mm == 0 {
		p.LevelMM = &mm
	}
	if s.Test.Running() {
		p.ProofTest = s.Test.At.Do()
	}
	return p
}

// lookFirst is where a person on site looks first, by what latched the guard.
func lookFirst(r guard.Reason) string {
	switch r {
	case guard.CeilingWet, guard.CeilingWetWatchDry:
		return "the watch sensor, for growth, a snail or a float that hangs; then the pump, for a siphon through its tube"
	case guard.FloorWet:
		return "the floor, for mains beside water before anything is touched; then the sump, the skimmer's cup and the reservoir"
	case guard.RunLimit:
		return "the reservoir and the tube's end, for water that went elsewhere; then the pump and the watch sensor"
	case guard.LevelNotAnswering:
		return "the tube's end, for water beside the sump; then the reservoir and the pump"
	}
	return "the sump and the floor"
}
