package account

import (
	"math"
	"time"

	"isohaline/internal/bench/instrument"
)

const (
	// gaugeMM is a level gauge's error where none is stated: ripples.
	gaugeMM      = 1.0
	leastGaugeMM = 0.2
	// aboveIntakeMM keeps a gauge out of the return pump's vortex.
	aboveIntakeMM = 5.0
	// strayGaugeMM is how far off a gauge's reading may be that went astray.
	strayGaugeMM     = 15.0
	leastSalinityPSU = 0.05
	straySalinityPSU = 2.5
	// systemFrac is how well the system's volume is known.
	systemFrac = 0.08
	// brokenFrac is how badly the deficit is known while no fill comes.
	brokenFrac = 0.2
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
	if !in.settled(at) || o.Value < t.intakeMM+aboveIntakeMM {
		return
	}
	w.carry(at)
	sd := o.SD
	if sd == 0 {
		sd = gaugeMM
	}
	sd = max(sd, leastGaugeMM)
	perMM := t.litresPerMM()
	missing := (t.chamber.VolumeM3(in.GaugeZeroMM/mmPerM) - t.chamber.VolumeM3(o.Value/mmPerM)) * litresPerM3
	w.weigh(&reading{i: deficit, j: gauge, a: 1, b: 1, value: missing,
		noise: square(sd * perMM), stray: strayGaugeMM * perMM, chances: usualChances}, gaugeRead)
	w.judge(gaugeRead)
}

// salinityReads: somebody or something read the tank's salinity.
func (w *clerk) salinityReads(at time.Time, o *Observation) {
	s, t := w.s, &w.tank
	w.carry(at)
	sd := o.SD
	if sd == 0 {
		sd = instrument.HandSDPSU("")
	}
	noise := square(max(sd, leastSalinityPSU)) + square(lateSalinityPSUDay*at.Sub(o.At).Hours()/24)
	// What is missing has left its salt behind; how much that is, is known no
	// better than a litre of the filter and the system's volume are.
	perL := s.Base.X[salt] * s.Supply.Base.Scale / t.systemL
	unsure := s.Supply.Base.ScaleVar + square(systemFrac)
	if w.broken() {
		unsure += square(brokenFrac)
	}
	noise += square(perL*s.Base.X[deficit]) * unsure
	r := reading{i: salt, j: deficit, a: 1, b: perL, value: o.Value,
		noise: noise, stray: straySalinityPSU, chances: usualChances}
	if w.broken() || w.instrumentReads(at, o.Instrument, &r) {
		w.weigh(&r, salinityRead)
		w.judge(salinityRead)
	}
	w.learnSalinity(at)
	w.checkSalinity(at)
}

// waterChanged: old water for new.
func (w *clerk) waterChanged(at time.Time, o *Observation) {
	t := &w.tank
	w.carry(at)
	w.s.ChangedAt = at
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
	// Reads is how often it was read; Usual how far it reads from the account
	// in the long run, Recent lately, Last at its last reading.
	Reads         int
	Usual, Recent float64
	// Last are its last two readings' residuals, the later one last, at LastAt.
	Last   [2]float64
	LastAt [2]time.Time
	SD     float64 // of its last reading
	// Rise and Fall are Page's sums of its standardised surprises, from RiseAt
	// and FallAt.
	Rise, Fall     float64
	RiseAt, FallAt time.Time
	// Off: it disagrees, and does not count until it agrees again.
	Off bool
}

const (
	maxInstruments = 6
	// settledSaltPSU is how well salinity must be known to judge an instrument.
	settledSaltPSU = 0.4
	// recentGain is the weight of a new reading in Recent, usualReads how many
	// readings Usual remembers.
	recentGain = 0.4
	usualReads = 12
	// driftSD is the shift of an instrument that is looked for, in standard
	// deviations of one reading; driftThreshold the log-likelihood ratio.
	driftSD        = 1.5
	driftThreshold = 6.0
	// witnessFor is how long a reading bears witness.
	witnessFor = 7 * 24 * time.Hour
	// cappedSurprise: no single reading counts for more.
	cappedSurprise = 4.0
	// disagreeSigmas and disagreePSU: two instruments disagree when they have
	// moved apart by both. The second is common practice, no source: what people
	// would calibrate for.
	disagreeSigmas = 3.6
	disagreePSU    = 0.5
	// loneWitness is how much less a single reading of the witness is worth.
	loneWitness = 4.0 / 3
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
	if f.sd(salt) > settledSaltPSU {
		return true // nothing to compare with yet
	}
	residual := r.value - f.X[salt] - r.b*f.X[deficit]
	variance := f.P[salt][salt] + 2*r.b*f.P[salt][deficit] + r.b*r.b*f.P[deficit][deficit] + r.noise
	in.SD = math.Sqrt(r.noise)
	in.Last, in.LastAt = [2]float64{in.Last[1], residual}, [2]time.Time{in.LastAt[1], at}
	if in.Reads == 0 {
		in.Usual, in.Recent = residual, residual
	}
	z := min(max((residual-in.Usual)/math.Sqrt(variance), -cappedSurprise), cappedSurprise)
	page(&in.Rise, &in.RiseAt, z*driftSD-driftSD*driftSD/2, at)
	page(&in.Fall, &in.FallAt, -z*driftSD-driftSD*driftSD/2, at)
	in.Recent += recentGain * (residual - in.Recent)
	in.Reads++
	if in.Off {
		w.agreesAgain(at, in)
		return !in.Off
	}
	since := in.RiseAt
	if in.Fall > in.Rise {
		since = in.FallAt
	}
	other, apart, sd := s.apart(in, since)
	if max(in.Rise, in.Fall) > driftThreshold && other != nil && in.Reads > usualReads/2 && math.Abs(apart) > max(disagreePSU, disagreeSigmas*sd) {
		in.Off, in.Rise, in.Fall = true, 0, 0
		// It may have led the account astray.
		w.eachFilter(func(f *Filter) { f.P[salt][salt] += apart * apart })
		w.begin(Record{Code: InstrumentOff, Since: since, Found: at, Confidence: surely,
			Amount: apart, AmountSD: sd, Reads: name, Against: other.Name})
		return false
	}
	if max(in.Rise, in.Fall) == 0 || in.Reads <= usualReads/2 {
		in.Usual += (residual - in.Usual) / min(float64(in.Reads), usualReads)
	}
	return true
}

// agreesAgain lets an instrument count again once a witness of the last days
// bears it out.
func (w *clerk) agreesAgain(at time.Time, in *Instrument) {
	other, apart, sd := w.s.apart(in, at.Add(-witnessFor))
	if other == nil || math.Abs(apart) > max(disagreePSU/2, sd) {
		return
	}
	in.Off, in.Rise, in.Fall = false, 0, 0
	if !w.s.anyOff() {
		w.end(InstrumentOff, at)
	}
}

// apart is how far an instrument has moved from the one that was read last
// besides it, if that was since a time; nil if none was.
func (s *State) apart(in *Instrument, since time.Time) (other *Instrument, apart, sd float64) {
	for i := range s.Instruments {
		o := &s.Instruments[i]
		if o.Name != in.Name && !o.Off && o.Reads > 2 && o.LastAt[1].After(since) && (other == nil || o.LastAt[1].After(other.LastAt[1])) {
			other = o
		}
	}
	if other == nil {
		return nil, 0, 0
	}
	last, reads := other.Last[1], 1.0
	if other.LastAt[0].After(since) {
		last, reads = (other.Last[0]+other.Last[1])/2, 2
	}
	apart = (in.Recent - in.Usual) - (last - other.Usual)
	// The spread of an exponential mean, and of the two long-run means.
	usual := func(i *Instrument) float64 { return square(i.SD) / min(float64(i.Reads), usualReads) }
	sd = math.Sqrt(square(in.SD)*recentGain/(2-recentGain) + square(other.SD)/reads + usual(in) + usual(other))
	if reads == 1 {
		sd *= loneWitness
	}
	return other, apart, sd
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
	s.Instruments = append(s.Instruments, Instrument{Name: name})
	return &s.Instruments[len(s.Instruments)-1]
}

func (s *State) anyOff() bool {
	for i := range s.Instruments {
		if s.Instruments[i].Off {
			return true
		}
	}
	return false
}

// straying says that one instrument reads apart from what it used to, and not
// all of them: then it is the instrument, and not the water.
func (s *State) straying() bool {
	rising, falling, steady := 0, 0, 0
	for i := range s.Instruments {
		switch in := &s.Instruments[i]; {
		case in.Off:
			return true
		case in.Rise > driftThreshold/2:
			rising++
		case in.Fall > driftThreshold/2:
			falling++
		default:
			steady++
		}
	}
	return rising+falling > 0 && steady+min(rising, falling) > 0
}

// borneOut says that a second instrument saw a step in salinity too.
func (s *State) borneOut(stepPSU float64, since time.Time) bool {
	mover, most := (*Instrument)(nil), 0.0
	for i := range s.Instruments {
		in := &s.Instruments[i]
		if moved := (in.Recent - in.Usual) / stepPSU; mover == nil || moved > most {
			mover, most = in, moved
		}
	}
	other, apart, _ := s.apart(mover, since)
	return other != nil && math.Abs(apart) < math.Abs(stepPSU)/2
}
