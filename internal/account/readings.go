package account

import (
	"math"
	"time"
)

const (
	// gaugeMM is a level gauge's error where none is stated: ripples.
	gaugeMM = 1.0
	// strayGaugeMM is how far off a gauge's reading may be that went astray.
	strayGaugeMM = 15.0
	// handSalinityPSU is a salinity reading's error where none is stated: a
	// hydrometer or refractometer, read with care. Common practice, no source.
	handSalinityPSU  = 0.5
	leastSalinityPSU = 0.05
	straySalinityPSU = 2.5
	// lateSalinityPSUDay is the error that a day's delay adds to a reading.
	lateSalinityPSUDay = 0.3
	// mixPSU is the error of a new mix, mixUnknownPSU when nobody measured it.
	mixPSU        = 0.7
	mixUnknownPSU = 1.5
	// changeBands is how well people restore the level at a water change.
	changeBands = 1.0
)

// gaugeReads: the level in the chamber.
func (w *clerk) gaugeReads(at time.Time, o *Observation) {
	s, t := w.s, &w.tank
	in := &s.Inputs
	if !in.HasGauge {
		in.HasGauge, in.GaugeZeroMM = true, t.watchMM
		if math.IsNaN(t.watchMM) {
			in.GaugeZeroMM = o.Value
		}
		w.carry(at)
		w.supposeAll()
	}
	in.LevelMM, in.LevelAt = o.Value, at
	if !in.settled(at) || t.chamberM2 == 0 {
		return
	}
	w.carry(at)
	sd := o.SD
	if sd == 0 {
		sd = gaugeMM
	}
	perMM := t.litresPerMM()
	w.weigh(&reading{i: deficit, j: gauge, a: 1, b: 1, value: (in.GaugeZeroMM - o.Value) * perMM,
		noise: square(sd * perMM), stray: strayGaugeMM * perMM}, gaugeRead)
	w.judge()
}

// salinityReads: somebody or something read the tank's salinity.
func (w *clerk) salinityReads(at time.Time, o *Observation) {
	s, t := w.s, &w.tank
	w.carry(at)
	sd := o.SD
	if sd == 0 {
		sd = handSalinityPSU
	}
	noise := square(max(sd, leastSalinityPSU)) + square(lateSalinityPSUDay*at.Sub(o.At).Hours()/24)
	// What is missing has left its salt behind.
	r := reading{i: salt, j: deficit, a: 1, b: s.Base.X[salt] / t.systemL, value: o.Value,
		noise: noise, stray: straySalinityPSU}
	if w.instrumentReads(at, o.Instrument, &r) {
		w.weigh(&r, salinityRead)
		w.judge()
	}
	w.checkSalinity(at)
}

// waterChanged: old water for new.
func (w *clerk) waterChanged(at time.Time, o *Observation) {
	t := &w.tank
	w.carry(at)
	share := min(o.Value/t.systemL, 1)
	mix, sd := o.Second, mixPSU
	if mix == 0 {
		mix, sd = t.targetPSU, mixUnknownPSU
	}
	w.eachFilter(func(f *Filter) {
		f.X[salt] += share * (mix - f.X[salt])
		for i := range states {
			f.P[salt][i] *= 1 - share
		}
		for i := range states {
			f.P[i][salt] *= 1 - share
		}
		f.P[salt][salt] += square(share * sd)
		f.P[deficit][deficit] += square(changeBands * t.bandL)
	})
}

// Instrument is what is known of one that reads salinity.
type Instrument struct {
	Name string
	// Offset is how far it reads from the account, lately; OffsetVar how well
	// that is known.
	Offset, OffsetVar float64
	LastAt            time.Time
	// Rise and Fall are Page's sums of its standardised surprises, from RiseAt
	// and FallAt.
	Rise, Fall     float64
	RiseAt, FallAt time.Time
	// Off: it disagrees, and does not count until it agrees again.
	Off bool
}

const (
	maxInstruments = 6
	// instrumentPSU is how far a sound instrument may read from the others.
	instrumentPSU = 0.4
	// instrumentWanderPSU is how its offset wanders in a square root of a day.
	instrumentWanderPSU = 0.02
	// driftSD is the shift of an instrument that is looked for, in standard
	// deviations of one reading; driftThreshold the log-likelihood ratio.
	driftSD        = 1.5
	driftThreshold = 6.0
	// cappedSurprise: no single reading counts for more.
	cappedSurprise = 4.0
)

// instrumentReads compares a reading with the account, for its instrument's own
// sake, and says whether the reading counts.
func (w *clerk) instrumentReads(at time.Time, name string, r *reading) bool {
	s := w.s
	in := s.instrument(name)
	if in == nil {
		return true // more instruments than anybody has: they count, unchecked
	}
	f := &s.Base
	expected := f.X[salt] + r.b*f.X[deficit]
	variance := f.P[salt][salt] + 2*r.b*f.P[salt][deficit] + r.b*r.b*f.P[deficit][deficit] + r.noise
	in.OffsetVar += square(instrumentWanderPSU) * max(at.Sub(in.LastAt).Hours()/24, 0)
	all := variance + in.OffsetVar
	surprise := r.value - expected - in.Offset
	z := min(max(surprise/math.Sqrt(all), -cappedSurprise), cappedSurprise)
	page(&in.Rise, &in.RiseAt, z*driftSD-driftSD*driftSD/2, at)
	page(&in.Fall, &in.FallAt, -z*driftSD-driftSD*driftSD/2, at)
	in.LastAt = at
	if in.Off {
		if math.Abs(r.value-expected) < instrumentPSU+2*math.Sqrt(variance) && max(in.Rise, in.Fall) < driftThreshold {
			in.Off, in.Rise, in.Fall = false, 0, 0
			if !s.anyOff() {
				w.end(InstrumentOff, at)
			}
		}
		return !in.Off
	}
	since := in.RiseAt
	if in.Fall > in.Rise {
		since = in.FallAt
	}
	if other := s.witness(in, since); other != nil && max(in.Rise, in.Fall) > driftThreshold && max(other.Rise, other.Fall) < driftThreshold/2 {
		in.Off, in.Rise, in.Fall = true, 0, 0
		w.begin(Record{Code: InstrumentOff, Since: since, Found: at, Confidence: 0.95,
			Amount: r.value - expected, AmountSD: math.Sqrt(variance), Reads: name, Against: other.Name})
		return false
	}
	gain := in.OffsetVar / all
	in.Offset += gain * surprise
	in.OffsetVar *= 1 - gain
	return true
}

// page adds to one of Page's sums, which never fall below nothing.
func page(sum *float64, since *time.Time, gain float64, at time.Time) {
	if *sum <= 0 {
		*since = at
	}
	*sum = max(0, *sum+gain)
}

// instrument finds or enters one; nil when the list is full.
func (s *State) instrument(name string) *Instrument {
	for i := range s.Instruments {
		if s.Instruments[i].Name == name {
			return &s.Instruments[i]
		}
	}
	if len(s.Instruments) >= maxInstruments {
		return nil
	}
	s.Instruments = append(s.Instruments, Instrument{Name: name, OffsetVar: square(instrumentPSU)})
	return &s.Instruments[len(s.Instruments)-1]
}

// witness is another instrument that was read since and is not off.
func (s *State) witness(in *Instrument, since time.Time) *Instrument {
	for i := range s.Instruments {
		o := &s.Instruments[i]
		if o.Name != in.Name && !o.Off && o.LastAt.After(since) {
			return o
		}
	}
	return nil
}

func (s *State) anyOff() bool {
	for i := range s.Instruments {
		if s.Instruments[i].Off {
			return true
		}
	}
	return false
}
