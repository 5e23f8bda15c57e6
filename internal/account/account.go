package account

import (
	"math"
	"slices"
	"time"

	"isohaline/internal/tankfile"
)

// Account keeps the books of one tank. It holds what does not change; what does
// is in the State. It is only read, and may be shared by any number of states.
type Account struct {
	name     string
	tank     tank
	settings Settings
}

// New works out a validated site. Errors name what of it cannot be reckoned
// with.
func New(s *tankfile.Tank, settings Settings) (*Account, error) {
	if err := settings.complete(); err != nil {
		return nil, err
	}
	t, err := newTank(s, &settings)
	if err != nil {
		return nil, err
	}
	return &Account{name: s.Name, tank: t, settings: settings}, nil
}

// State is all that the account remembers of a tank: a plain value that can be
// saved as JSON and taken up by another process, which then gives the same
// findings. Its fields are for saving, not for use; Estimate and Findings say
// what they mean.
type State struct {
	// Done is up to when all is believed to be known, Newest the newest time
	// heard of.
	Began, Done, Newest time.Time
	Pending             []Observation
	LateHand            []Observation `json:",omitempty"`
	Hand                [handKeys]key
	// What was not taken: too late, or seen before.
	Late, Duplicates int

	// Base is what is believed, at At; Suspicions stand beside it.
	At         time.Time
	Base       Filter
	Suspicions [len(suspects)]Suspicion
	// PredictedLDay is what the physics says the air takes now; AirAt when the
	// room was last read, zero if never.
	PredictedLDay float64
	WaterC        float64
	AirAt         time.Time
	// Rivals is the open question between a leak and the air; nil: none.
	Rivals *Rivals `json:",omitempty"`

	// ChangedAt is when water was last changed.
	ChangedAt time.Time

	Inputs      Inputs
	Run         Run
	Rhythm      Rhythm
	Weather     Weather
	Supply      Supply
	Instruments []Instrument `json:",omitempty"`
	Open        []Record     `json:",omitempty"`
	NextTick    time.Time
}

// Clone is a copy that shares no memory with the state: what is observed on the
// one never changes the other.
func (s *State) Clone() State {
	c := *s
	c.Pending = slices.Clone(s.Pending)
	c.LateHand = slices.Clone(s.LateHand)
	c.Instruments = slices.Clone(s.Instruments)
	c.Open = slices.Clone(s.Open)
	if s.Rivals != nil {
		r := *s.Rivals
		c.Rivals = &r
	}
	return c
}

// Begin is the state of a tank of which nothing has been heard.
func (a *Account) Begin(now time.Time) State {
	now = now.UTC().Round(0)
	t := &a.tank
	s := State{Began: now, Done: now.Add(-time.Nanosecond), Newest: now, At: now, NextTick: now.Truncate(time.Hour).Add(time.Hour),
		PredictedLDay: t.thirst.usualLDay, WaterC: t.thirst.waterC}
	s.Inputs.LastSeen = now
	f := &s.Base
	f.X[evap], f.X[flow], f.X[band], f.X[salt] = t.thirst.factor, 1, 1, t.targetPSU
	priorSD := [states]float64{
		deficit: t.bandL,
		evap:    meanDeviationSD*t.thirst.bandFrac*t.thirst.factor + t.thirst.seasonFrac,
		weather: t.weatherFrac(),
		flow:    math.Hypot(drawnFlowFrac, drawnBandFrac),
		leak:    usualLossFrac * t.systemL,
		salt:    startSaltPSU,
		gauge:   gaugeZeroMM * t.litresPerMM(),
	}
	for i, sd := range priorSD {
		f.P[i][i] = sd * sd
	}
	s.Rhythm.Unrest, s.Rhythm.Stray = 1, strayFrac
	s.Weather.Var = square(t.weatherFrac())
	s.Supply.Base = Outflow{Scale: 1, ScaleVar: drawnBandFrac * drawnBandFrac}
	s.Supply.suspect(t.thirst.usualLDay, now)
	w := clerk{a, &s, nil}
	w.supposeAll()
	return s
}

// What a drawing is good for, one standard deviation. Judgements.
const (
	// meanDeviationSD is a standard deviation in mean deviations of a normal
	// law: sqrt(pi/2).
	meanDeviationSD = 1.2533
	drawnFlowFrac   = 0.15
	drawnBandFrac   = 0.20
	// usualLossFrac is the system's water a day that leaves with its salt
	// unnoticed: splash, creep, wet hands.
	usualLossFrac = 0.0003
	startSaltPSU  = 1.0
	gaugeZeroMM   = 8.0
)

// Observe takes one observation into the state and returns the findings that
// began or ended by it. A finding is known by its Code and Found. An observation
// that cannot be true is refused with an error and changes nothing. It may come
// a little late, and more than once: see ReorderWindow.
func (a *Account) Observe(s *State, o Observation) ([]Finding, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	o.At = o.At.UTC().Round(0)
	s.file(o)
	return a.catchUp(s), nil
}

// Advance tells the account what time it is, so that it notices what did not
// come. Without it, time stands still between observations.
func (a *Account) Advance(s *State, now time.Time) []Finding {
	now = now.UTC().Round(0)
	if now.After(latest) {
		now = latest
	}
	if now.After(s.Newest) {
		s.Newest = now
	}
	return a.catchUp(s)
}

// longestSilence is how long nothing may be heard of a tank before its account
// starts afresh: nothing that was believed then is worth believing now.
const longestSilence = 365 * 24 * time.Hour

func (a *Account) catchUp(s *State) []Finding {
	w := clerk{a, s, nil}
	for _, o := range s.LateHand {
		w.handle(&o)
	}
	s.LateHand = nil
	for {
		o, ok := s.due()
		if !ok {
			break
		}
		w.runTo(o.At)
		w.handle(&o)
	}
	w.runTo(s.Newest.Add(-ReorderWindow))
	return w.told
}

// clerk is one sitting at the books.
type clerk struct {
	*Account
	s    *State
	told []Finding
}

// runTo lets time pass: whatever falls due on the way is done at its own time,
// so that it makes no difference how often anybody asks.
func (w *clerk) runTo(t time.Time) {
	s := w.s
	if !t.After(s.Done) {
		return
	}
	if t.Sub(s.Done) > longestSilence {
		pending, hand, late, duplicates, newest := s.Pending, s.Hand, s.Late, s.Duplicates, s.Newest
		for _, r := range s.Open {
			w.end(r.Code, s.Done)
		}
		*s = w.Begin(t)
		s.Pending, s.Hand, s.Late, s.Duplicates, s.Newest = pending, hand, late, duplicates, newest
	}
	for {
		at, what := w.nextDeadline()
		if at.After(t) {
			break
		}
		if at.After(s.Done) {
			s.Done = at
		}
		what(w, s.Done)
	}
	s.Done = t
}

// handle takes one observation, in its turn.
func (w *clerk) handle(o *Observation) {
	s := w.s
	at := o.At
	if at.Before(s.Done) {
		at = s.Done // written down late
	}
	s.remember(o)
	if !kindTable[o.Kind].byHand {
		w.hear(at)
	}
	switch o.Kind {
	case PumpOn:
		w.startRun(at)
	case PumpOff:
		w.endRun(at)
	case PumpRan:
		w.wholeRun(at, time.Duration(o.Value*float64(time.Second)))
	case Watch:
		w.watchTurns(at, o.Value == 1)
	case Ceiling:
		s.Inputs.Ceiling.turn(at, o.Value == 1)
		if !s.Inputs.Ceiling.Wet {
			w.end(CeilingWet, at)
		}
	case Floor:
		w.floorTurns(at, o.Value == 1)
	case ReservoirLow:
		w.reservoirSays(at, o.Value == 1)
	case ReturnPump:
		w.returnTurns(at, o.Value == 1)
	case Level:
		w.gaugeReads(at, o)
	case Salinity:
		w.salinityReads(at, o)
	case WaterTemp:
		w.carry(at)
		s.WaterC = o.Value
	case RoomAir:
		w.carry(at)
		w.airReads(at, w.tank.thirst.in(o.Value, o.Second, s.WaterC))
	case ReservoirFilled:
		w.filled(at, o)
	case WaterChange:
		w.waterChanged(at, o)
	case PowerRestored:
		w.powerBack(at)
	}
}
