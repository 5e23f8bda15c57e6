package judgement

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/suspicion"
)

// Instrument is what is known of one that reads salinity.
type Instrument struct {
	Name string
	// Reads is how often it was read; Usual how far it reads from the account
	// in the long run, Recent lately.
	Reads         int
	Usual, Recent float64
	// Last are its last two readings' residuals, the later one last, at LastAt.
	Last   [2]float64
	LastAt [2]time.Time
	SD     float64 // of its last reading
	// Rise and Fall are the sums of Page's test on its standardised residuals,
	// from RiseAt and FallAt.
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
	// cappedZ: no single reading counts for more.
	cappedZ = 4.0
	// disagreeSigmas and disagreePSU: two instruments disagree when they have
	// moved apart by both. The second is common practice, no source: what people
	// would calibrate for.
	disagreeSigmas = 3.6
	disagreePSU    = 0.5
	// loneWitness is how much less a single reading of the witness is worth.
	loneWitness = 4.0 / 3
)

// CheckInstrument compares a salinity reading of the instrument called name with the
// account, to find an instrument that reads wrong. It reports whether the reading
// counts.
func (j *Judge) CheckInstrument(at time.Time, name string, m *belief.Measurement) bool {
	in := j.instrument(name)
	if in == nil {
		return true // more instruments than anybody has: they count, unchecked
	}
	if j.Base.SD(belief.Salt) > settledSaltPSU {
		return true // nothing to compare with yet
	}
	residual, variance := j.Base.Residual(m)
	in.SD = math.Sqrt(m.Variance)
	in.Last, in.LastAt = [2]float64{in.Last[1], residual}, [2]time.Time{in.LastAt[1], at}
	if in.Reads == 0 {
		in.Usual, in.Recent = residual, residual
	}
	z := min(max((residual-in.Usual)/math.Sqrt(variance), -cappedZ), cappedZ)
	suspicion.Page(&in.Rise, &in.RiseAt, z*driftSD-driftSD*driftSD/2, at)
	suspicion.Page(&in.Fall, &in.FallAt, -z*driftSD-driftSD*driftSD/2, at)
	in.Recent += recentGain * (residual - in.Recent)
	in.Reads++
	if in.Off {
		j.reinstate(at, in)
		return !in.Off
	}
	since := in.RiseAt
	if in.Fall > in.Rise {
		since = in.FallAt
	}
	other, apart, sd := j.apart(in, since)
	if max(in.Rise, in.Fall) > driftThreshold && other != nil && in.Reads > usualReads/2 && math.Abs(apart) > max(disagreePSU, disagreeSigmas*sd) {
		in.Off, in.Rise, in.Fall = true, 0, 0
		// It may have led the account astray.
		j.Each(func(b *belief.Belief) { b.P[belief.Salt][belief.Salt] += apart * apart })
		j.Begin(finding.Record{Code: finding.InstrumentOff, Since: since, Found: at, Confidence: finding.Surely,
			Amount: apart, AmountSD: sd, Reads: name, Against: other.Name})
		return false
	}
	if max(in.Rise, in.Fall) == 0 || in.Reads <= usualReads/2 {
		in.Usual += (residual - in.Usual) / min(float64(in.Reads), usualReads)
	}
	return true
}

// reinstate lets an instrument count again once a witness of the last days
// confirms it.
func (j *Judge) reinstate(at time.Time, in *Instrument) {
	other, apart, sd := j.apart(in, at.Add(-witnessFor))
	if other == nil || math.Abs(apart) > max(disagreePSU/2, sd) {
		return
	}
	in.Off, in.Rise, in.Fall = false, 0, 0
	for i := range j.Instruments {
		if j.Instruments[i].Off {
			return
		}
	}
	j.End(finding.InstrumentOff, at)
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

// instrumentDrifts says that one instrument reads apart from what it used to, and not all
// of them: then it is the instrument, and not the water.
func (s *State) instrumentDrifts() bool {
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

// confirmed says that a second instrument saw a step in salinity too.
func (s *State) confirmed(stepPSU float64, since time.Time) bool {
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

// usualSalt is how long a tank shows what salinity is usual for it.
const usualSalt = 10 * 24 * time.Hour

const (
	// driftPSU is how far salinity may drift from what is usual for a tank,
	// leastSaltReads how many readings show that. Common practice, no source:
	// what people would correct.
	driftPSU       = 1.0
	leastSaltReads = 3
)

// CheckSalinity says when the account is sure that salinity is far from where it
// should be, or has drifted far from where it was, whatever the cause. The first
// readings teach what is usual.
func (j *Judge) CheckSalinity(at time.Time) {
	u, psu, sd := &j.Usual, j.Base.X[belief.Salt], j.Base.SD(belief.Salt)
	if at.Sub(j.Began) < usualSalt && sd < settledSaltPSU {
		u.SaltReads++
		u.PSU += (psu - u.PSU) / float64(u.SaltReads)
	}
	off, limit := psu-j.Tank.TargetPSU, j.Tank.Limits.SalinityOffPSU[1]
	drift := 0.0
	if u.SaltReads >= leastSaltReads {
		drift = psu - u.PSU
	}
	if r := j.Find(finding.SalinityCreeping); r != nil {
		back := r.Subject == finding.BySalinity || r.Subject == finding.ByMix
		if back && math.Abs(off) < limit-sd || r.Subject == finding.ByDrift && math.Abs(drift) < driftPSU/2 {
			j.End(finding.SalinityCreeping, at)
		}
		return
	}
	if j.Find(finding.TankLeak) != nil || j.Find(finding.InstrumentOff) != nil || j.instrumentDrifts() || j.FillsFail() || j.Question != nil {
		return
	}
	r := finding.Record{Code: finding.SalinityCreeping, Since: at, Found: at, Confidence: finding.Surely,
		Amount: j.Base.X[belief.Leak], AmountSD: j.Base.SD(belief.Leak), Was: j.Levels()}
	switch sure := sureSigmas * sd; {
	case math.Abs(off) > limit+sure:
		r.Subject = finding.BySalinity
	case math.Abs(drift) > driftPSU+sure:
		r.Subject, r.Number = finding.ByDrift, drift
		r.Was.SaltPSU = u.PSU
	default:
		return
	}
	j.Begin(r)
}
