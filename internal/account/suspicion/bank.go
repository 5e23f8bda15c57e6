package suspicion

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
)

// Bank is what is believed of a tank at one time, and the tests beside it.
type Bank struct {
	At    time.Time
	Base  belief.Belief
	Tests [len(specs)]Test
	// Question is the open one between a leak and the air; nil: none.
	Question *Question `json:",omitempty"`
	// HasGauge says that a level gauge was heard.
	HasGauge bool
	// PredictedLDay is what the physics says the air takes now.
	PredictedLDay float64
}

// Question is what is not decided after the demand changed: the air, or a leak.
// Both filters go on; every litre and every salinity reading weighs.
type Question struct {
	Since time.Time
	// Was is what was believed before.
	Was       belief.Levels
	Air, Leak Test
	// SaltOnly says that no more water went in.
	SaltOnly bool
}

// Each calls do with every belief: the base and those of the tests.
func (k *Bank) Each(do func(*belief.Belief)) {
	do(&k.Base)
	for i := range k.Tests {
		do(&k.Tests[i].Belief)
	}
	if q := k.Question; q != nil {
		do(&q.Air.Belief)
		do(&q.Leak.Belief)
	}
}

// restart opens one test again from the base, RestartAll all of them.
func (k *Bank) restart(i int, m *belief.Model) {
	k.Tests[i] = open(specs[i].of, specs[i].size, m, &k.Base, k.PredictedLDay, k.At)
}

// RestartAll restarts every test from the base.
func (k *Bank) RestartAll(m *belief.Model) {
	for i := range specs {
		k.restart(i, m)
	}
}

// RestartBut restarts every test from the base but those of hypothesis h.
func (k *Bank) RestartBut(h Hypothesis, m *belief.Model) {
	for i := range specs {
		if specs[i].of != h {
			k.restart(i, m)
		}
	}
}

// Update corrects base and tests by a reading, and returns what the base made of
// it.
func (k *Bank) Update(m *belief.Model, r *belief.Measurement, from Source) belief.Innovation {
	base := k.Base.Update(r)
	k.compare(m, base.LogLik, from, func(b *belief.Belief) belief.Innovation { return b.Update(r) })
	return base
}

// UpdateAbove corrects the base and the tests by a bound: see
// belief.Belief.UpdateAbove.
func (k *Bank) UpdateAbove(m *belief.Model, r *belief.Measurement) {
	k.compare(m, k.Base.UpdateAbove(r), SwitchingBound, func(b *belief.Belief) belief.Innovation {
		return belief.Innovation{LogLik: b.UpdateAbove(r)}
	})
}

// outlierReadings is for how many readings an outlier is remembered: between two
// that a fill begins with lies one that it ends with, which says little after an
// outlier.
const outlierReadings = 2

// compare gives every test its score, and restarts those that have none left, are
// too old, or had outliers: a change that begins between two turns of the watch
// sensor shows too small at the first, and a test that believed that sees nothing
// after it.
func (k *Bank) compare(m *belief.Model, base float64, from Source, update func(*belief.Belief) belief.Innovation) {
	for i := range k.Tests {
		t, spec := &k.Tests[i], &specs[i]
		if spec.of.needsGauge() && !k.HasGauge {
			continue
		}
		seen := update(&t.Belief)
		t.add(seen.LogLik-base, from)
		if spec.judgedBy != from {
			continue
		}
		old := k.At.Sub(t.Since).Hours() > spec.maxDays*24 || seen.Outlier && t.Outliers > 0
		if seen.Outlier {
			t.Outliers = outlierReadings
		} else {
			t.Outliers = max(t.Outliers-1, 0)
		}
		if score := t.score(spec.of); score <= 0 || old && score < Thresholds[spec.of]/2 {
			k.restart(i, m)
		}
	}
	if q := k.Question; q != nil {
		q.Air.add(update(&q.Air.Belief).LogLik-base, from)
		q.Leak.add(update(&q.Leak.Belief).LogLik-base, from)
	}
}

// suspected is the score from which a change is likely enough that it, and not a
// fouled sensor, explains why readings lie off.
const suspected = 8.0

// Suspects reports whether any change is likely.
func (k *Bank) Suspects() bool {
	for i := range specs {
		if k.Tests[i].score(specs[i].of) > suspected {
			return true
		}
	}
	return false
}

// DemandTests calls do with every test of a change of the demand.
func (k *Bank) DemandTests(do func(*Test)) {
	for i := range specs {
		if of := specs[i].of; of == Air || of == Leak {
			do(&k.Tests[i])
		}
	}
}

// Strongest is the test with the best score for each hypothesis; nil: it does not
// apply.
type Strongest [Hypotheses]*Test

func (k *Bank) strongest() (s Strongest) {
	for i := range specs {
		t, h := &k.Tests[i], specs[i].of
		if h.needsGauge() && !k.HasGauge {
			continue
		}
		if s[h] == nil || t.score(h) > s[h].score(h) {
			s[h] = t
		}
	}
	return s
}

// Alarm says whether a hypothesis is to be believed after a reading of a source:
// the likeliest one, with its probability among all, if one that this source
// speaks for has passed its threshold.
func (k *Bank) Alarm(from Source) (s Strongest, best Hypothesis, confidence float64, alarmed bool) {
	s = k.strongest()
	for h, t := range s {
		if h := Hypothesis(h); t != nil {
			alarmed = alarmed || judgedBy[h] == from && t.score(h) > Thresholds[h] && k.At.Sub(t.Since).Hours() >= leastHours[h]
			if t.score(h)+priors[h] > s[best].score(best)+priors[best] {
				best = h
			}
		}
	}
	if !alarmed || judgedBy[best] != from {
		return s, best, 0, false
	}
	total := 0.0
	for h, t := range s {
		if h := Hypothesis(h); t != nil {
			total += math.Exp(t.score(h) + priors[h] - s[best].score(best) - priors[best])
		}
	}
	return s, best, 1 / total, true
}

// Accept makes a test's belief the base and restarts all tests.
func (k *Bank) Accept(t *Test, m *belief.Model) {
	b := &k.Base
	*b = t.Belief
	b.Fix(belief.Band) // all else is measured by it: see belief.Belief
	b.P[belief.Flow][belief.Flow] = max(b.P[belief.Flow][belief.Flow], square(belief.LeastFlowFrac))
	k.RestartAll(m)
}

// AsAir and AsLeak are a test's litres explained the other way: what leaks, or
// what evaporates, is taken for the other, and the salt that has or has not gone
// along since then is put right. From there only salinity can decide. Scale is
// true litres for one of the filter.
func (k *Bank) AsAir(t *Test, m *belief.Model, scale float64) Test {
	x := *t
	more := x.Belief.X[belief.Leak] - k.Base.X[belief.Leak]
	k.swap(&x, belief.Evaporation, belief.Leak, 1/k.PredictedLDay, more)
	k.resalt(&x, m, more, scale)
	return x
}

func (k *Bank) AsLeak(t *Test, m *belief.Model, scale float64) Test {
	x := *t
	more := x.Belief.X[belief.Evaporation] - k.Base.X[belief.Evaporation]
	k.swap(&x, belief.Leak, belief.Evaporation, k.PredictedLDay, more)
	k.resalt(&x, m, -more*k.PredictedLDay, scale)
	return x
}

// swap moves so much of one component to another that takes rate of it for the
// same litres; what is left of the one is the base's.
func (k *Bank) swap(t *Test, to, from int, rate, more float64) {
	b := &t.Belief
	b.X[to] += more * rate
	b.X[from] -= more
	for i := range belief.Size {
		b.P[to][i] += rate * b.P[from][i]
	}
	for i := range belief.Size {
		b.P[i][to] += rate * b.P[i][from]
	}
	b.Fix(from)
	b.P[from][from] = k.Base.P[from][from]
}

// resalt puts salt back for litres a day, of the filter, that took none along
// since the test began.
func (k *Bank) resalt(t *Test, m *belief.Model, litresLDay, scale float64) {
	since, x := k.At.Sub(t.Since).Hours()/24, &t.Belief.X
	x[belief.Salt] += litresLDay * since * x[belief.Salt] * scale / m.SystemL
}

func square(x float64) float64 { return x * x }
