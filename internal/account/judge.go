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
	airChanged: 16, leakChanged: 16, splitWrong: 5.5,
	flowChanged: 20, bandChanged: 20, overrun: 20, saltStepped: 8,
	gaugeStepped: 14, watchMoved: 13, levelMoved: 13,
}

// priors are the log-odds of the changes against one another, before evidence:
// rooms change often, leaks seldom. Judgements.
var priors = [changes]float64{
	airChanged: math.Log(0.4), leakChanged: math.Log(0.12), splitWrong: math.Log(0.08),
	flowChanged: math.Log(0.1), bandChanged: math.Log(0.05), overrun: math.Log(0.05), saltStepped: math.Log(0.05),
	gaugeStepped: math.Log(0.03), watchMoved: math.Log(0.04), levelMoved: math.Log(0.1),
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
	w.s.Inputs.LostAt = w.s.At
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

// learnedFor and demandMarks are how long a tank is learned before its demand can
// change.
const (
	learnedFor  = 4 * 24 * time.Hour
	demandMarks = 8
)

// convict believes a change and says what follows from it.
func (w *clerk) convict(h *hearing, best change, confidence float64) {
	s := w.s
	x, was := *h[best], w.levels(&s.Base)
	switch best {
	case airChanged, leakChanged, splitWrong:
		if s.Rhythm.Marks < demandMarks || s.At.Sub(s.Began) < learnedFor {
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
		s.Rhythm.Erratic = 0
		w.judgeFlow(x.Since, confidence, was)
	case bandChanged, overrun:
		ratio := x.Filter.X[band] / s.Base.X[band]
		if ratio < leastBandRatio || ratio > mostBandRatio || w.fillsCutShort() {
			w.supposeAll() // nor does fouling go so far
			return
		}
		w.believe(&x)
		s.Rhythm.Erratic = 0
		w.bandHasChanged(x.Since, confidence, was)
	case saltStepped:
		if s.straying() || len(s.Instruments) > 1 && !s.borneOut(x.Filter.X[salt]-s.Base.X[salt], x.Since) {
			return // the other instruments will tell
		}
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

// fillsCutShort says that fills may end for want of budget or water and nobody
// hears why: without a watch sensor's word, a tank that drinks too much looks
// like one whose watch sensor has lost its band.
func (w *clerk) fillsCutShort() bool {
	s := w.s
	return !s.Inputs.Watch.Known && (s.Rivals != nil || s.find(TankLeak) != nil || s.find(EvaporationChanged) != nil)
}

// A fouled watch sensor's band stays within these shares of what it was.
const (
	leastBandRatio = 0.35
	mostBandRatio  = 4.0
)

// leastFlowFrac is the least that is not known of the flow after a change.
const leastFlowFrac = 0.02

// believe makes a suspicion the base and starts all others again.
func (w *clerk) believe(x *Suspicion) {
	f := &w.s.Base
	*f = x.Filter
	f.settle(band) // all else is measured by it: see Filter
	f.P[flow][flow] = max(f.P[flow][flow], square(leastFlowFrac))
	w.supposeAll()
	w.s.Weather.forget()
}
