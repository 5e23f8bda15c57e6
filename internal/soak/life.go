package soak

import (
	"fmt"
	"log/slog"
	"math/rand/v2"
	"time"

	"isohaline/internal/edge/decide"
	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/server/remote"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// How often things go wrong, on average, and for how long. Judgements: far more
// often than in any life, so that they meet.
const (
	faultEvery, mendAfter    = 200 * time.Hour, 40 * time.Hour
	cutEvery, cutFor         = 60 * time.Hour, 5 * time.Hour
	killEvery, restartAfter  = 80 * time.Hour, 2 * time.Minute
	hangEvery, hangFor       = 90 * time.Hour, 10 * time.Minute
	fullEvery, fullFor       = 150 * time.Hour, 2 * time.Hour
	hubDownEvery, hubDownFor = 120 * time.Hour, time.Hour
	clockEvery, clockOff     = 300 * time.Hour, 20 * time.Second
	askEvery                 = 7 * time.Hour
	clearAfter               = 12 * time.Hour // on site, after a latch
	unsavedFrac              = 0.02           // of saves, killed before they are done
	dailyLook                = 24 * time.Hour
	longestTurn              = time.Hour
	tickEvery                = 2 * time.Second // of the desk, while it waits for an answer
	retryEvery               = 3 * time.Second // of a frame without an answer
	agentEvery               = 100 * time.Millisecond
)

// Design is a site that lives can be drawn for.
type Design struct {
	site   *tankfile.Tank
	set    *verify.Commissioning
	faults []plant.Fault
}

// NewDesign prepares a site.
func NewDesign(s *tankfile.Tank) (*Design, error) {
	set, err := verify.Commission(s)
	if err != nil {
		return nil, err
	}
	return &Design{site: s, set: set, faults: plant.FaultsOf(s)}, nil
}

// Verdict is what a life was found to have done wrong, and what it went through.
type Verdict struct {
	Hours float64
	// Must be 0.
	PastLimit   time.Duration // pump switched on past a limit
	LostReading int
	AppliedMore int // requests that took effect more than once
	// First says what went wrong first, and when; empty: nothing.
	First string

	Fills, Faults, Latches, Kills, Hangs, Cuts, HubFalls, FullDisks int
	Readings, Asked, Applied, Refused                               int
}

// OK says whether nothing went wrong.
func (v *Verdict) OK() bool { return v.First == "" }

// broken is a defect planted for the tests: a soak that finds none of them finds
// nothing.
type broken uint8

const (
	sound      broken = iota
	noLease           // an output stays as it is when the agent hangs
	noLedger          // a request is forgotten as soon as it is answered
	hastyEdge         // a reading is forgotten once it is sent
	hastyAgent        // the pump runs before the state is saved
)

// life is one tank with its edge and its hub.
type life struct {
	design *Design
	random *rand.Rand
	broken broken
	now    time.Duration
	began  time.Time
	timetable
	verdict Verdict

	live   *plant.Live
	config decide.Config

	// The edge.
	saved, state decide.State
	up, hung     bool
	full         bool // its disk
	run          int  // counts starts, so that what is due to one that has died does nothing
	skew         time.Duration
	lease        lease.Lease
	out          plant.Outputs
	pending      []decide.Ask
	edge         buffer
	told         guard.Inputs
	wasLatched   bool

	// Between.
	cut  bool
	kind bool // at the end: everything arrives

	// The hub.
	hubUp   bool
	hub     *remote.Desk
	hubRuns int
	ticking bool
	log     map[int]bool
	heard   map[string]int // by request, how often it has taken effect

	monitor monitor
}

// Live lives through one seed's life.
func (d *Design) Live(seed uint64, length time.Duration) Verdict {
	return d.liveBroken(seed, length, sound)
}

func (d *Design) liveBroken(seed uint64, length time.Duration, b broken) Verdict {
	w := &life{
		design: d, random: rand.New(rand.NewPCG(seed, 0x5041)), broken: b,
		began:  time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC),
		live:   d.set.Onset.Live(),
		config: decide.NewConfig(d.set.Guard, d.set.TopOffM3S),
		log:    map[int]bool{}, heard: map[string]int{},
	}
	w.monitor.settings = &w.config.Settings
	w.startHub()
	w.startAgent()
	w.plan()
	for w.now < length && w.verdict.First == "" {
		w.turn(length)
	}
	w.settleUp()
	w.verdict.Hours = w.now.Hours()
	w.verdict.PastLimit = w.monitor.past
	return w.verdict
}

// wrong notes what went wrong first.
func (w *life) wrong(format string, args ...any) {
	if w.verdict.First == "" {
		w.verdict.First = fmt.Sprintf("at %.4f h: %s", w.now.Hours(), fmt.Sprintf(format, args...))
	}
}

// plan draws what goes wrong of each kind, again and again.
func (w *life) plan() {
	w.every(faultEvery, w.fault)
	w.every(cutEvery, func() { w.forAWhile(&w.cut, cutFor, &w.verdict.Cuts, w.push) })
	w.every(fullEvery, func() { w.forAWhile(&w.full, fullFor, &w.verdict.FullDisks, nil) })
	w.every(killEvery, w.kill)
	w.every(hangEvery, w.hang)
	w.every(hubDownEvery, w.hubFalls)
	w.every(clockEvery, func() { w.skew = time.Duration(w.random.NormFloat64() * float64(clockOff)) })
	w.every(askEvery, w.somebodyAsks)
	w.daily()
}

// every lets something happen at random times for ever.
func (w *life) every(mean time.Duration, do func()) {
	w.timetable.at(w.now+exponential(w.random, mean), func() {
		do()
		w.every(mean, do)
	})
}

// daily is somebody on site who clears a latch and, after days, a hold.
func (w *life) daily() {
	w.timetable.at(w.now+dailyLook, func() {
		if w.up && w.state.Guard.OnHold && w.random.Float64() < 0.5 {
			w.onSite("resume")
		}
		w.daily()
	})
}

func (w *life) forAWhile(what *bool, mean time.Duration, count *int, after func()) {
	if *what {
		return
	}
	*what = true
	*count++
	w.timetable.at(w.now+exponential(w.random, mean), func() {
		*what = false
		if after != nil {
			after()
		}
	})
}

func (w *life) fault() {
	f := w.design.faults[w.random.IntN(len(w.design.faults))]
	w.verdict.Faults++
	w.live.Apply(f)
	w.timetable.at(w.now+exponential(w.random, mendAfter), w.live.Mend)
}

// turn goes on to whatever is next: a sensor, the guard, the network, a person, a
// failure.
func (w *life) turn(end time.Duration) {
	for {
		do, due := w.due(w.now)
		if !due {
			break
		}
		do()
	}
	w.stepAgent()
	next := min(end, w.now+longestTurn)
	next = w.timetable.next(next)
	if w.running() {
		if at := guard.Deadline(&w.config.Settings, w.state.Guard, w.told); at < next {
			next = max(at, w.now)
		}
		if len(w.pending) > 0 {
			next = min(next, w.now+agentEvery)
		}
	} else if w.lease.Until > w.now {
		next = min(next, w.lease.Until)
	}
	w.pass(max(next-w.now, time.Microsecond))
}

// pass lets the water move, no further than to where a sensor turns.
func (w *life) pass(by time.Duration) {
	in := w.live.Inputs() // none turns before the stretch is over
	went := w.live.Turn(by, w.out)
	past := w.monitor.pass(w.now, went, w.out, in)
	w.now += went
	if past != "" {
		w.wrong("%s", past)
	}
	if !w.running() && w.broken != noLease {
		o := w.lease.At(w.now, 0)
		w.out = plant.Outputs{Pump: o.Pump, Valve: o.Valve}
	}
}

// wall is the edge's clock on the wall, which may be off.
func (w *life) wall() time.Time { return w.began.Add(w.now + w.skew) }

// running: the agent turns its wheel.
func (w *life) running() bool { return w.up && !w.hung }

var silent = slog.New(slog.DiscardHandler)

// Add sums up another life.
func (v *Verdict) Add(o *Verdict) {
	v.Hours += o.Hours
	v.PastLimit += o.PastLimit
	v.LostReading += o.LostReading
	v.AppliedMore += o.AppliedMore
	for _, n := range [][2]*int{{&v.Fills, &o.Fills}, {&v.Faults, &o.Faults}, {&v.Latches, &o.Latches}, {&v.Kills, &o.Kills},
		{&v.Hangs, &o.Hangs}, {&v.Cuts, &o.Cuts}, {&v.HubFalls, &o.HubFalls}, {&v.FullDisks, &o.FullDisks},
		{&v.Readings, &o.Readings}, {&v.Asked, &o.Asked}, {&v.Applied, &o.Applied}, {&v.Refused, &o.Refused}} {
		*n[0] += *n[1]
	}
}
