package account

import (
	"math"
	"time"
)

// thresholds are the log-likelihood ratios at which a change is believed. Page's
// test with threshold h gives, in a tank that behaves as the model says, at most
// one false alarm in e^h readings that may start it again (Lorden 1971), for
// each suspicion. docs/account.md has the rates.
var thresholds = [changes]float64{
	airChanged: 15, leakChanged: 15, splitWrong: 7.5,
	flowChanged: 20, bandChanged: 20, saltStepped: 7.5,
	gaugeStepped: 14, watchMoved: 13, levelMoved: 13,
}

// priors are the log-odds of the changes against one another, before evidence:
// rooms change often, leaks seldom. Judgements.
var priors = [changes]float64{
	airChanged: math.Log(0.4), leakChanged: math.Log(0.12), splitWrong: math.Log(0.08),
	flowChanged: math.Log(0.1), bandChanged: math.Log(0.08), saltStepped: math.Log(0.05),
	gaugeStepped: math.Log(0.03), watchMoved: math.Log(0.04), levelMoved: math.Log(0.1),
}

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

// Levels are what a finding compares with.
type Levels struct {
	DemandLDay, DemandSD    float64
	Air, Flow, Band         float64
	LeakLDay, SaltPSU       float64
	SaltSD, PredictedLDay   float64
	FillSeconds, PauseHours float64
}

// levels are the present ones of a belief.
func (w *clerk) levels(f *Filter) Levels {
	t := &w.tank
	demand := w.demandLDay(f)
	l := Levels{DemandLDay: demand, DemandSD: w.demandSD(f), Air: f.X[evap] + f.X[weather], Flow: f.X[flow], Band: f.X[band],
		LeakLDay: f.X[leak], SaltPSU: f.X[salt], SaltSD: f.sd(salt), PredictedLDay: w.s.PredictedLDay}
	if net := t.flowLDay*f.X[flow] - demand; net > 0 {
		l.FillSeconds = t.bandL * f.X[band] / net * secondsPerDay
	}
	if demand > 0 {
		l.PauseHours = t.bandL * f.X[band] / demand * 24
	}
	return l
}

// demandLDay is what the tank takes a day, at the air's present prediction.
func (w *clerk) demandLDay(f *Filter) float64 {
	return max(w.s.PredictedLDay*(f.X[evap]+f.X[weather])+f.X[leak]+w.tank.skimLDay, 0)
}

func (w *clerk) demandSD(f *Filter) float64 {
	e := w.s.PredictedLDay
	p := &f.P
	v := e*e*(p[evap][evap]+2*p[evap][weather]+p[weather][weather]) + 2*e*(p[evap][leak]+p[weather][leak]) + p[leak][leak]
	return math.Sqrt(max(v, 0))
}

// hearing is the strongest suspicion of each kind.
type hearing [changes]*Suspicion

// leastHours is how long each kind of change must have gone on, judgedBy the
// class of readings that speak for it.
var leastHours, judgedBy = func() (least [changes]float64, by [changes]class) {
	for _, s := range suspects {
		least[s.of], by[s.of] = s.leastHours, s.judgedBy
	}
	return least, by
}()

func (w *clerk) gather() (h hearing) {
	for i := range suspects {
		x, c := &w.s.Suspicions[i], suspects[i].of
		if c.needsGauge() && !w.s.Inputs.HasGauge {
			continue
		}
		if h[c] == nil || x.weight(c) > h[c].weight(c) {
			h[c] = x
		}
	}
	return h
}

// weight is the evidence that counts for a kind of change. What only salinity
// can tell is not believed on litres: they are not known so well.
func (x *Suspicion) weight(c change) float64 {
	if c == splitWrong || c == saltStepped {
		return x.Salty
	}
	return x.Evidence
}

// broken says that the fills do not bring the level: what the account would
// conclude from levels and salt follows from that, and is not said.
func (w *clerk) broken() bool {
	s := w.s
	for _, code := range [...]Code{PumpSeized, WatchStuck, TopOffOverdue, EndlessFill, CeilingWet} {
		if s.find(code) != nil {
			return true
		}
	}
	r := s.find(FreshLeak)
	return r != nil && r.Subject == byFloor || w.reservoirEmpty()
}

// mended starts the tests again after that, but for what may have been the cause:
// a watch sensor that switches elsewhere.
func (w *clerk) mended() {
	w.s.Run.Unsure = true
	for i := range suspects {
		if suspects[i].of != watchMoved {
			w.suppose(i)
		}
	}
}

// judge believes a change when its evidence passes its threshold, after a reading
// that can speak for it, and settles the open question when one rival has won.
func (w *clerk) judge(after class) {
	s := w.s
	if s.Rivals != nil && w.judgeRivals() {
		return
	}
	if w.broken() {
		return
	}
	h := w.gather()
	best, alarmed := airChanged, false
	for c, x := range h {
		if c := change(c); x != nil {
			alarmed = alarmed || judgedBy[c] == after && x.weight(c) > thresholds[c] && s.At.Sub(x.Since).Hours() >= leastHours[c]
			if x.weight(c)+priors[c] > h[best].weight(best)+priors[best] {
				best = c
			}
		}
	}
	if !alarmed || judgedBy[best] != after {
		return
	}
	total := 0.0
	for c, x := range h {
		if c := change(c); x != nil {
			total += math.Exp(x.weight(c) + priors[c] - h[best].weight(best) - priors[best])
		}
	}
	w.convict(&h, best, 1/total)
}

// learnedFor is how long a tank is learned before its demand can change.
const learnedFor = 4 * 24 * time.Hour

// convict believes a change and says what follows from it.
func (w *clerk) convict(h *hearing, best change, confidence float64) {
	s := w.s
	x, was := *h[best], w.levels(&s.Base)
	switch best {
	case airChanged, leakChanged, splitWrong:
		if s.Rhythm.Marks < learnedMarks || s.At.Sub(s.Began) < learnedFor {
			w.believe(&x)
			return
		}
		w.demandChanged(h, best)
	case flowChanged:
		if x.Filter.X[flow] < leastFlowFrac {
			w.supposeAll() // no pump runs backwards: something else is the matter
			return
		}
		w.believe(&x)
		w.judgeFlow(x.Since, confidence, was)
	case bandChanged:
		w.believe(&x)
		w.bandHasChanged(x.Since, confidence, was)
	case saltStepped:
		w.believe(&x)
		w.saltHasStepped(x.Since, confidence, was)
	case gaugeStepped:
		w.believe(&x)
		w.gaugeHasStepped(x.Since, confidence, x.Filter.X[gauge])
	case watchMoved:
		by := x.Filter.X[gauge] - s.Base.X[gauge]
		w.believe(&x)
		w.watchHasMoved(x.Since, confidence, by)
	case levelMoved:
		w.believe(&x) // water by hand: nothing to say
	}
}

// leastFlowFrac is the least that is not known of the flow after a change.
const leastFlowFrac = 0.02

// believe makes a suspicion the base and starts all others again.
func (w *clerk) believe(x *Suspicion) {
	f := &w.s.Base
	*f = x.Filter
	f.settle(band) // all else is measured by it: see Filter
	f.P[flow][flow] = max(f.P[flow][flow], square(leastFlowFrac))
	w.supposeAll()
	w.s.Rhythm.Erratic = 0
	w.s.Weather.forget()
}

// worthFrac is the least change of demand worth a word; smaller ones are
// believed in silence, and so are those that the tank's own weather makes, within
// worthWeather of its standard deviations. worthLeakFrac is the least leak, of the system's water a
// day.
const (
	worthFrac     = 0.2
	worthWeather  = 2.7
	worthLeakFrac = 0.0008
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
		since := w.began(&x)
		s.Rivals = &Rivals{Since: since, Was: was, Air: air, Leak: leaks, Quiet: best == splitWrong}
		switch best {
		case airChanged:
			s.Rivals.Leak = x
			s.Rivals.Leak.Filter = w.asLeak(&x)
		case leakChanged:
			s.Rivals.Air = x
			s.Rivals.Air.Filter = w.asAir(&x)
		}
		w.believe(&x)
		if !w.judgeRivals() {
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
	if math.Abs(f.X[leak]) < worthLeakFrac*t.systemL || s.find(code) != nil {
		return
	}
	w.begin(Record{Code: code, Since: since, Found: s.At, Confidence: confidence, Was: was, Amount: f.X[leak], AmountSD: f.sd(leak)})
}

const (
	// creepSkims times its habit is what a wet skimmer takes; creepFrac of the
	// system's water a day is what splash and salt creep do. Above either it is
	// a leak until shown otherwise. Judgements.
	creepSkims = 5.0
	creepFrac  = 0.0025
)

func (w *clerk) creepLDay() float64 {
	return max(creepSkims*w.tank.skimLDay, creepFrac*w.tank.systemL)
}
