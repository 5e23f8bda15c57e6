package account

import (
	"math"
	"time"
)

// airSmoothHours is over how long the room's readings are averaged: the tank
// knows nothing of an instrument's noise.
const airSmoothHours = 3.0

// airReads follows the prediction for the room.
func (w *clerk) airReads(at time.Time, predictedLDay float64) {
	s := w.s
	share := 1.0
	if s.AirAt.IsZero() {
		s.Weather.Var = square(unreadFrac)
	}
	if hours := at.Sub(s.AirAt).Hours(); hours < airFreshFor.Hours() {
		share = 1 - math.Exp(-hours/airSmoothHours)
	}
	s.PredictedLDay += share * (predictedLDay - s.PredictedLDay)
	s.AirAt = at
}

// carry brings base and suspicions to a time.
func (w *clerk) carry(to time.Time) { w.carryRunning(to, -1) }

// carryRunning is carry with the pump on for so long of it; -1: as the state has
// it.
func (w *clerk) carryRunning(to time.Time, ran time.Duration) {
	s, t := w.s, &w.tank
	span := to.Sub(s.At)
	if span < 0 {
		span = 0
	}
	if ran < 0 {
		ran = 0
		if s.Run.On {
			ran = span
		}
	}
	if span == 0 && ran == 0 {
		return
	}
	pumped := min(t.flowLDay*ran.Hours()/24, s.Run.SourceL)
	s.Run.SourceL -= pumped
	days := span.Hours() / 24
	held := math.Exp(-days / weatherDays)
	st := step{
		days: days, ran: pumped, evaporated: s.PredictedLDay * days,
		held: held, heldDays: weatherDays * (1 - held), skimLDay: t.skimLDay, perL: s.Supply.Base.Scale / t.systemL,
	}
	air := max(s.Base.X[evap], leastAir)
	sd := math.Sqrt(s.Weather.Var) * air
	st.wander = [states]float64{
		deficit: square(deficitWanderBands*t.bandL) * days,
		evap:    square(evapWanderFrac*air) * days,
		weather: sd * sd * (1 - held*held),
		flow:    square(flowWanderFrac) * days,
		leak:    square(leakWanderFrac*t.systemL) * days,
		salt:    square(saltWanderPSU) * days,
		gauge:   square(gaugeWanderMM*t.litresPerMM()) * days,
	}
	st.most = t.most()
	s.Base.advance(&st)
	for i := range s.Suspicions {
		s.Suspicions[i].Filter.advance(&st)
	}
	if r := s.Rivals; r != nil {
		r.Air.Filter.advance(&st)
		r.Leak.Filter.advance(&st)
	}
	if to.After(s.At) {
		s.At = to
	}
}

func square(x float64) float64 { return x * x }

// How a tank wanders, one standard deviation: per square root of a day, but for
// the weather's, which is its spread in the long run. Judgements, tuned on the
// corpus (docs/account.md).
const (
	weatherDays        = 1.5 // time constant of what passes
	evapWanderFrac     = 0.012
	flowWanderFrac     = 0.004
	leakWanderFrac     = 0.00003 // of the system's water
	saltWanderPSU      = 0.02
	gaugeWanderMM      = 0.1
	deficitWanderBands = 0.02
	leastAir           = 0.1
	// airFreshFor is how long a reading of the room's air stands.
	airFreshFor = 6 * time.Hour
)

// weigh lets base and suspicions take a reading, and returns what the base made
// of it.
func (w *clerk) weigh(r *reading, of class) taken {
	base := w.s.Base.take(r)
	w.compare(base.logLik, of, func(f *Filter) taken { return f.take(r) })
	return base
}

// weighAbove lets them take a bound.
func (w *clerk) weighAbove(r *reading) {
	w.compare(w.s.Base.takeAbove(r), levelBound, func(f *Filter) taken { return taken{logLik: f.takeAbove(r)} })
}

// compare gives every suspicion its evidence, and starts those again that have
// none left, are too old, or went astray: a change that begins between two marks
// shows too small at the first, and who believed that sees nothing after it.
func (w *clerk) compare(base float64, of class, take func(*Filter) taken) {
	s := w.s
	for i := range s.Suspicions {
		x, kind := &s.Suspicions[i], &suspects[i]
		if kind.of.needsGauge() && !s.Inputs.HasGauge {
			continue
		}
		seen := take(&x.Filter)
		x.add(seen.logLik-base, of)
		if kind.judgedBy != of {
			continue
		}
		old := s.At.Sub(x.Since).Hours() > kind.maxDays*24 || seen.stray && x.Astray > 0
		if seen.stray {
			x.Astray = astrayFor
		} else {
			x.Astray = max(x.Astray-1, 0)
		}
		if evidence := x.weight(kind.of); evidence <= 0 || old && evidence < thresholds[kind.of]/2 {
			w.suppose(i)
		}
	}
	if v := s.Rivals; v != nil {
		v.Air.add(take(&v.Air.Filter).logLik-base, of)
		v.Leak.add(take(&v.Leak.Filter).logLik-base, of)
	}
}

// astrayFor so many readings a stray is remembered: between two that a fill
// begins with lies one that it ends with, which says little after a stray.
const astrayFor = 2

// add is evidence from a reading.
func (x *Suspicion) add(gain float64, of class) {
	x.Evidence += gain
	if of == salinityRead {
		x.Salty += gain
	}
}

// supposeAll starts every suspicion again from the base.
func (w *clerk) supposeAll() {
	for i := range suspects {
		w.suppose(i)
	}
}

// suppose starts one suspicion again from the base.
func (w *clerk) suppose(i int) {
	s := w.s
	s.Suspicions[i] = suppose(suspects[i].of, suspects[i].size, &w.tank, &s.Base, s.PredictedLDay, s.At)
}
