package account

import (
	"math"
	"time"
)

// Rivals is the open question after the demand changed: the air, or a leak. Both
// filters go on; every litre and every salinity reading weighs.
type Rivals struct {
	Since time.Time
	// Was is what was believed before.
	Was       Levels
	Air, Leak Suspicion
	// Quiet says that only salinity changed: no more water went in.
	Quiet bool
}

// worthFrac is the least change of demand worth a word; smaller ones are
// believed in silence, and so are those that the tank's own weather makes, within
// worthWeather of its standard deviations. worthLeakFrac is the least leak, of the system's water a
// day.
const (
	worthFrac     = 0.2
	worthWeather  = 2.8
	worthLeakFrac = 0.0008
	// loudFrac of what leaves with its salt must show as water that goes in more
	// than it did, before it is called a leak.
	loudFrac = 0.5
)

// demandChanged: more or less water goes in, or it is not the water that it was
// taken for. It names the cause if that is plain already, and opens the question
// if not.
func (w *clerk) demandChanged(h *hearing, best change) {
	s, t := w.s, &w.tank
	x, air, leaks := *h[best], *h[airChanged], *h[leakChanged]
	if best == splitWrong {
		leaks = x
	}
	was, now := w.usual(), w.levels(&x.Filter)
	// A leak that has stopped, or air that goes back to what it was, ends a
	// finding instead of beginning one.
	if w.backToNormal(&x, best, now) {
		return
	}
	if r := s.Rivals; r != nil {
		// The question stays; what the two suppose starts from the new level.
		if math.Abs(now.DemandLDay-r.Was.DemandLDay) < worthFrac/2*r.Was.DemandLDay {
			w.believe(&air)
			s.Rivals = nil
			w.end(DemandChanged, s.At)
			return
		}
		r.Air.reopen(airChanged, t, s.PredictedLDay)
		r.Leak.reopen(leakChanged, t, s.PredictedLDay)
		w.believe(&x)
		return
	}
	change := now.DemandLDay - was.DemandLDay
	big := math.Abs(change) > max(worthFrac, worthWeather*math.Sqrt(s.Weather.Var))*was.DemandLDay
	salty := math.Abs(leaks.Filter.X[leak]-was.LeakLDay) > worthLeakFrac*t.systemL
	switch {
	case best == airChanged && !big, best != airChanged && !salty:
		w.believe(&x)
		s.Rhythm.SilentAt = x.Since
	case best == airChanged && change < 0:
		w.believe(&x)
		w.airHasChanged(w.began(&x), odds(-leakOverAir(&leaks, &air)), was)
	default:
		s.Rhythm.Erratic = 0 // explained
		since := w.began(&x)
		quiet := best == splitWrong && change < loudFrac*leaks.Filter.X[leak]
		s.Rivals = &Rivals{Since: since, Was: was, Air: air, Leak: leaks, Quiet: quiet}
		switch best {
		case airChanged:
			s.Rivals.Leak = x
			s.Rivals.Leak.Filter = w.asLeak(&x)
		case leakChanged:
			s.Rivals.Air = x
			s.Rivals.Air.Filter = w.asAir(&x)
		}
		w.believe(&x)
		// Where salinity tells it, a little more water is not worth a word.
		told := best == splitWrong || s.find(SalinityCreeping) != nil
		if !w.judgeRivals() && (big || !told) {
			w.begin(Record{Code: DemandChanged, Since: since, Found: s.At, Confidence: surely, Was: was,
				Amount: now.DemandLDay - was.DemandLDay, AmountSD: now.DemandSD})
		}
	}
}

// asAir and asLeak are the same litres, explained the other way: what leaks, or
// what evaporates, is taken for the other, and the salt that has or has not gone
// along since then is put right. From there only salinity can decide.
func (w *clerk) asAir(x *Suspicion) Filter {
	f := x.Filter
	more := f.X[leak] - w.s.Base.X[leak]
	w.swap(&f, x, evap, leak, 1/w.s.PredictedLDay, more)
	return f
}

func (w *clerk) asLeak(x *Suspicion) Filter {
	f := x.Filter
	more := f.X[evap] - w.s.Base.X[evap]
	w.swap(&f, x, leak, evap, w.s.PredictedLDay, more)
	return f
}

// swap moves so much of one state to another that takes rate of it for the same
// litres; what is left of the one is the base's.
func (w *clerk) swap(f *Filter, x *Suspicion, to, from int, rate, more float64) {
	s := w.s
	f.X[to] += more * rate
	f.X[from] -= more
	for i := range states {
		f.P[to][i] += rate * f.P[from][i]
	}
	for i := range states {
		f.P[i][to] += rate * f.P[i][from]
	}
	f.settle(from)
	f.P[from][from] = s.Base.P[from][from]
	litres := more
	if from == evap {
		litres = -more * s.PredictedLDay
	}
	since := s.At.Sub(x.Since).Hours() / 24
	f.X[salt] += litres * since * f.X[salt] * s.Supply.Base.Scale / w.tank.systemL
}

// usual is what was believed in the long run, before what happened lately.
func (w *clerk) usual() Levels {
	s := w.s
	l := w.levels(&s.Base)
	if s.Rhythm.Normal > 0 {
		l.DemandLDay += s.PredictedLDay * (s.Rhythm.Normal - l.Air)
		l.Air = s.Rhythm.Normal
	}
	return l
}

// silentFor is how long a change too small to tell counts as the beginning of
// one that goes on.
const silentFor = 5 * 24 * time.Hour

// began is when a change of demand began, with what led up to it.
func (w *clerk) began(x *Suspicion) time.Time {
	if silent := w.s.Rhythm.SilentAt; !silent.IsZero() && x.Since.Sub(silent) < silentFor {
		return silent
	}
	return x.Since
}

const (
	// decided is the log-odds at which a rival has won.
	decided = 3.9 // 98 %
	surely  = 0.99
	// openFor is how long the question stays open; after that the air is given
	// the benefit of the doubt, in silence, and salinity goes on watching.
	openFor = 21 * 24 * time.Hour
)

// litresSay bounds what litres alone may say between leak and air: the two drink
// alike, but for how the room's air comes and goes, and that is known too badly.
const litresSay = 2.0

// leakOverAir is the log-odds of a leak against the air.
func leakOverAir(leaks, air *Suspicion) float64 {
	litres := (leaks.Evidence - leaks.Salty) - (air.Evidence - air.Salty)
	return min(max(litres, -litresSay), litresSay) + leaks.Salty - air.Salty + priors[leakChanged] - priors[airChanged]
}

// judgeRivals settles the open question, if it can be settled.
func (w *clerk) judgeRivals() bool {
	s := w.s
	r := s.Rivals
	leaks := leakOverAir(&r.Leak, &r.Air)
	switch {
	case leaks > decided:
		x, was, since := r.Leak, r.Was, r.Since
		s.Rivals = nil
		w.end(DemandChanged, s.At)
		w.believe(&x)
		w.leakFound(since, odds(leaks), was, r.Quiet)
	case leaks < -decided:
		x, was, since := r.Air, r.Was, r.Since
		s.Rivals = nil
		w.end(DemandChanged, s.At)
		w.believe(&x)
		w.airHasChanged(since, odds(-leaks), was)
	case s.At.Sub(r.Since) > openFor:
		x := r.Air
		s.Rivals = nil
		w.end(DemandChanged, s.At)
		w.believe(&x)
	default:
		return false
	}
	return true
}

// leakFound tells a leak from a slow loss that a wet skimmer, splash or a weak
// mix explains: a leak makes the tank drink.
func (w *clerk) leakFound(since time.Time, confidence float64, was Levels, quiet bool) {
	s, t := w.s, &w.tank
	f := &s.Base
	code := TankLeak
	if quiet || f.X[leak] < w.creepLDay() {
		code = SalinityCreeping
	}
	if code == TankLeak {
		w.end(SalinityCreeping, s.At)
	} else if s.find(TankLeak) != nil {
		return
	}
	if math.Abs(f.X[leak]) < worthLeakFrac*t.systemL {
		return
	}
	if r := s.find(code); r != nil {
		r.Subject, r.Since, r.Was = "", since, was // now it is known why
		return
	}
	w.begin(Record{Code: code, Since: since, Found: s.At, Confidence: confidence, Was: was, Amount: f.X[leak], AmountSD: f.sd(leak)})
}

const (
	// creepSkims times its habit is what a wet skimmer takes; creepFrac of the
	// system's water a day is what splash and salt creep do. Above either it is
	// a leak until shown otherwise. Judgements.
	creepSkims = 5.0
	creepFrac  = 0.0035
)

func (w *clerk) creepLDay() float64 {
	return max(creepSkims*w.tank.skimLDay, creepFrac*w.tank.systemL)
}
