package corpus

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
)

// History is what was told about one tank, and the truth.
type History struct {
	Seed, Copy uint64
	Kit        Kit
	// Drawn is the site as the account knows it.
	Drawn    *tankfile.Tank
	Settings account.Settings
	// Fault is nil for a tank with nothing wrong.
	Fault    *Fault
	Severity int
	// Onset is when it began, Over when it ended or the history did; Began and
	// Ended bound the history.
	Began, Ended, Onset, Over time.Time
	// Observations in the order in which they arrived.
	Observations []account.Observation
	// EmptyAt is when the reservoir truly first ran empty, LatchedAt when the
	// controller first latched: zero if never.
	EmptyAt, LatchedAt time.Time
	truth              []sample
	visits             []time.Time
}

type sample struct {
	at         time.Duration
	reservoirL float64
}

// Start is when every history begins: a Monday, as it happens.
var Start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

const (
	healthyLength = 120 * day
	onsetLo       = 14.0 // days
	onsetHi       = 24.0
	heartbeat     = 15 * time.Minute
	gaugeEvery    = 15 * time.Minute
	airEvery      = 30 * time.Minute
	readEveryDays = 3.0
	probeEvery    = day
	gaugeMM       = 1.0
	probePSU      = 0.12
	biasPSU       = 0.25
	roomReadC     = 0.3
	roomReadRH    = 0.02
	maxDelay      = 80 * time.Second
	twiceFrac     = 0.01
)

// Make works out the history of a seed. A seed may be asked for more than one:
// each copy is another tank with other luck.
func (d *Designs) Make(seed, copy uint64) (*History, error) {
	number := seed
	place := round[(seed+copy)%uint64(len(round))]
	seed += copy << copyBits
	r := stream(seed, "plan")
	h := &History{Seed: number, Copy: copy, Fault: place.fault, Severity: place.severity, Kit: Kit(r.IntN(int(kits)))}
	length := healthyLength
	var n needs
	if f := place.fault; f != nil {
		h.Kit = max(h.Kit, f.Kits)
		n = f.needs
		length = f.length
		if length == 0 {
			length = defaultLength
		}
	}
	onset := (time.Duration(uniform(r, onsetLo, onsetHi) * float64(day))).Truncate(time.Second)
	if place.fault == nil {
		onset = length
	} else {
		length += onset
	}
	design, err := d.of(number, copy, n)
	if err != nil {
		return nil, err
	}
	b, err := design.build(seed)
	if err != nil {
		return nil, err
	}
	w, err := b.weather(seed, length)
	if err != nil {
		return nil, err
	}
	g := b.guard
	drawn := *design.Site
	drawn.People.DaysBetweenVisits = b.site.People.DaysBetweenVisits
	h.Drawn = &drawn
	h.Settings = account.Settings{WatchM: design.Settings.Levels.WatchM, RunLimit: g.HardCap, DailyBudget: g.DailyBudget,
		MinOff: g.MinOff, RestartSettle: max(g.RestartSettle, 5*time.Minute)}
	if h.Kit >= Switches {
		h.Settings.Heartbeat = heartbeat
	}
	h.Began, h.Ended, h.Onset, h.Over = Start, Start.Add(length), Start.Add(onset), Start.Add(length)
	t := &teller{h: h, d: design, b: b, w: w, r: stream(seed, "instruments"),
		diary: keep(seed, length, b.site.HasSump()), onset: onset, length: length, over: length}
	if f := place.fault; f != nil && f.lasts != nil {
		t.over = min(onset+f.lasts(f.Severity[h.Severity]), length)
		h.Over = Start.Add(t.over)
	}
	if n.measured {
		t.diary.notesFills, t.diary.measuresFills = true, true
	}
	if n.noCeiling {
		t.diary.feedings, t.diary.cuts = nil, nil // they would show the fault before its time
	}
	t.tell()
	t.deliver(stream(seed, "link"))
	return h, nil
}

// teller runs the plant and writes down what would be told.
type teller struct {
	h           *History
	d           *Design
	b           *built
	w           *weather
	r           *rand.Rand
	diary       diary
	onset, over time.Duration
	length      time.Duration
	jitter      []float64
	last        plant.Sample
	pumping     bool
	pumpSince   time.Duration
	low, floor  bool
	ceiling     bool
	told        []account.Observation
	samples     []plant.Sample
	nextVisit   time.Duration
}

// faultAt says whether the fault is on.
func (t *teller) faultAt(at time.Duration) bool {
	return t.h.Fault != nil && at >= t.onset && at < t.over
}

// conditions at a time.
func (t *teller) conditions(at time.Duration) plant.Conditions {
	c := plant.Healthy()
	hour := int(at / time.Hour)
	c.EvaporationFactor = t.w.factor[min(hour, len(t.w.factor)-1)]
	c.TopOffPumpFrac = t.b.pumpFrac
	c.Watch.ShiftM = t.jitter[min(hour, len(t.jitter)-1)]
	if anyHolds(t.diary.feedings, at) {
		c.ReturnOff = forever
	}
	if anyHolds(t.diary.cuts, at) {
		c.PowerOff = forever
	}
	if f := t.h.Fault; f != nil && t.faultAt(at) {
		f.apply(t.b, t.d, f.Severity[t.h.Severity], at-t.onset, &c)
	}
	return c
}

// tell runs the history.
func (t *teller) tell() {
	jr := stream(t.h.Seed+t.h.Copy<<copyBits, "watch sensor")
	for range int(t.length/time.Hour) + 2 {
		t.jitter = append(t.jitter, t.b.jitterM*jr.NormFloat64())
	}
	breaks := t.breaks()
	sc := plant.Scenario{Conditions: t.conditions(0), Length: t.length, Trace: t.see}
	for _, at := range breaks {
		sc.Later = append(sc.Later, plant.Later{After: at, Conditions: t.conditions(at)})
	}
	if d := t.b.site.People.DaysBetweenVisits; d > 0 {
		t.nextVisit = time.Duration(d * float64(day))
	} else {
		t.nextVisit = t.length + 1
	}
	t.last.WatchWet, t.low = true, true
	if t.h.Kit >= Switches {
		t.say(0, account.Watch, 1)
		t.say(0, account.ReservoirLow, 1)
		if t.b.site.HasSump() {
			t.say(0, account.ReturnPump, 1)
		}
	}
	t.note(0, account.ReservoirFilled, 0, 0)
	t.b.onset.Run(sc)
	t.readings()
	t.schedule()
}

// breaks are the times at which conditions may change.
func (t *teller) breaks() []time.Duration {
	var at []time.Duration
	for h := time.Hour; h < t.length; h += time.Hour {
		at = append(at, h)
	}
	for _, list := range [][]interval{t.diary.feedings, t.diary.cuts} {
		for _, v := range list {
			at = append(at, v.from, v.to)
		}
	}
	at = append(at, t.onset, t.over)
	if f := t.h.Fault; f != nil && f.Name == "restart dip" {
		period := time.Duration(float64(day) / f.Severity[t.h.Severity])
		for s := period / 2; t.onset+s < t.over; s += period {
			at = append(at, t.onset+s, t.onset+s+20*time.Minute)
		}
	}
	if f := t.h.Fault; f != nil && f.Name == "ceiling wet" {
		at = append(at, t.onset+time.Second) // the bucket is emptied once
	}
	slices.Sort(at)
	at = slices.Compact(at)
	return slices.DeleteFunc(at, func(a time.Duration) bool { return a <= 0 || a >= t.length })
}

// say notes what a device tells.
func (t *teller) say(at time.Duration, k account.Kind, value float64) {
	t.told = append(t.told, account.Observation{At: Start.Add(at + time.Second - 1).Truncate(time.Second), Kind: k, Value: value})
}

// note is what a person writes down.
func (t *teller) note(at time.Duration, k account.Kind, value, second float64) {
	t.told = append(t.told, account.Observation{At: Start.Add(at).Truncate(time.Second), Kind: k, Value: value, Second: second})
}

// powered and returns at a time, by the conditions.
func (t *teller) powered(at time.Duration) bool { return t.conditions(at).PowerOff.On == 0 }

// see is every segment's end.
func (t *teller) see(s plant.Sample) {
	prev := t.last
	t.last = s
	t.samples = append(t.samples, s)
	at := s.SinceOnset
	if s.Phase == guard.Latched && t.h.LatchedAt.IsZero() {
		t.h.LatchedAt = Start.Add(at)
	}
	t.visitsUntil(at, prev)
	contacts := t.h.Kit >= Switches
	if s.WatchWet != prev.WatchWet && contacts {
		t.say(t.crossing(prev, s, t.d.Settings.Levels.WatchM, t.b.site.TopOff.Watch.HysteresisM, s.WatchWet), account.Watch, oneIf(s.WatchWet))
	}
	if c := t.b.site.TopOff.Ceiling; c != nil && s.CeilingWet != t.ceiling {
		t.ceiling = s.CeilingWet
		if contacts {
			t.say(t.crossing(prev, s, t.d.Settings.Levels.CeilingM, c.HysteresisM, s.CeilingWet), account.Ceiling, oneIf(s.CeilingWet))
		}
	}
	on := s.Phase == guard.Filling || t.conditions(at).RelayWelded
	on = on && t.powered(at)
	t.pump(prev.SinceOnset, at, on)
	low := t.b.site.TopOff.Reservoir
	if low.LowSensor != nil {
		v, _ := low.Shape.Vessel()
		wet := s.ReservoirM3 > v.VolumeM3(low.LowSensor.HeightM)
		if wet != t.low {
			t.low = wet
			if contacts {
				t.say(at, account.ReservoirLow, oneIf(wet))
			}
		}
		if empty := v.VolumeM3(low.PumpIntakeHeightM); s.ReservoirM3 <= empty*1.0001 && t.h.EmptyAt.IsZero() {
			t.h.EmptyAt = Start.Add(at)
		}
		if !wet && t.h.EmptyAt.IsZero() {
			t.h.EmptyAt = Start.Add(at) // the controller stops there
		}
	}
	if f := t.b.site.FloorSensor; f != nil && contacts {
		wet := s.FloorM3 >= f.TripM3 && !t.conditions(at).FloorSensorDead
		if wet != t.floor {
			t.floor = wet
			t.say(at, account.Floor, oneIf(wet))
		}
	}
	t.h.truth = append(t.h.truth, sample{at, s.ReservoirM3 * litresPerM3})
}

func oneIf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// crossing is when a level switch turned between two samples: where the straight
// line between them passes its level, else at the second.
func (t *teller) crossing(a, b plant.Sample, levelM, hysteresisM float64, wet bool) time.Duration {
	threshold := levelM - hysteresisM/2 + t.conditions(b.SinceOnset).Watch.ShiftM
	if wet {
		threshold += hysteresisM
	}
	share := (threshold - a.ChamberM) / (b.ChamberM - a.ChamberM)
	if !(share > 0 && share < 1) {
		return b.SinceOnset
	}
	return a.SinceOnset + time.Duration(share*float64(b.SinceOnset-a.SinceOnset))
}

// pump notes the pump's edges. One that stopped with the power or the return pump
// stopped then, though no segment ended there.
func (t *teller) pump(from, at time.Duration, on bool) {
	if on == t.pumping {
		return
	}
	t.pumping = on
	if on {
		t.pumpSince = at
		if t.d != nil && t.conditions(at).RelayWelded && !t.conditions(from).RelayWelded {
			t.pumpSince = max(from, t.onset)
		}
		if t.h.Kit > Bare || t.h.Seed%2 == 0 {
			t.say(t.pumpSince, account.PumpOn, 0)
		}
		return
	}
	for _, list := range [][]interval{t.diary.feedings, t.diary.cuts} {
		for _, v := range list {
			if v.from > from && v.from < at {
				at = v.from
			}
		}
	}
	if t.h.Kit > Bare || t.h.Seed%2 == 0 {
		t.say(at, account.PumpOff, 0)
	} else {
		t.say(at, account.PumpRan, math.Round((at - t.pumpSince).Seconds()))
	}
}

// visitsUntil notes the visits that have passed.
func (t *teller) visitsUntil(at time.Duration, before plant.Sample) {
	for t.nextVisit <= at {
		visit := t.nextVisit
		t.nextVisit += time.Duration(t.b.site.People.DaysBetweenVisits * float64(day))
		if t.conditions(visit).ReservoirForgotten {
			continue
		}
		t.h.visits = append(t.h.visits, Start.Add(visit))
		reservoir := t.b.site.TopOff.Reservoir
		v, _ := reservoir.Shape.Vessel()
		litres := max(v.VolumeM3(reservoir.FillHeightM)-before.ReservoirM3, 0) * litresPerM3
		if !t.low && t.h.Kit >= Switches {
			t.low = true
			t.say(visit, account.ReservoirLow, 1)
		}
		if !t.diary.measuresFills {
			litres = 0
		}
		if t.diary.notesFills {
			t.note(visit, account.ReservoirFilled, litres*(1+0.03*t.r.NormFloat64()), 0)
		}
	}
}
