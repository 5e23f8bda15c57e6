package judgement

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/suspicion"
)

// believe makes a test's belief the base.
func (j *Judge) believe(t *suspicion.Test) {
	j.Accept(t, &j.Tank.Model)
	j.Weather.Forget()
}

// worthFrac is the least change of demand that counts; smaller ones are believed
// in silence, and so are those that the tank's own weather makes, within
// worthWeather of its standard deviations.
const (
	worthFrac    = 0.2
	worthWeather = 2.8
	// saltOnlyFrac of what leaves with its salt must show as water that goes in
	// more than it did, before it is called a leak.
	saltOnlyFrac = 0.5
)

// demandChanged: more or less water goes in, or it is not the water that it was
// taken for. It names the cause if that is plain already, and opens the question
// if not.
func (j *Judge) demandChanged(tests *suspicion.Strongest, best suspicion.Hypothesis) {
	m := &j.Tank.Model
	x, air, leak := *tests[best], *tests[suspicion.Air], *tests[suspicion.Leak]
	if best == suspicion.Split {
		leak = x
	}
	was, now := j.UsualLevels(), m.Levels(&x.Belief, j.PredictedLDay)
	// A leak that has stopped, or air that goes back to what it was, ends a
	// finding instead of beginning one.
	if j.backToNormal(&x, best, now) {
		return
	}
	if q := j.Question; q != nil {
		// The question stays; what the two suppose starts from the new level.
		if math.Abs(now.DemandLDay-q.Was.DemandLDay) < worthFrac/2*q.Was.DemandLDay {
			j.believe(&air)
			j.Question = nil
			j.End(finding.DemandChanged, j.At)
			return
		}
		q.Air.Reopen(suspicion.Air, m, j.PredictedLDay)
		q.Leak.Reopen(suspicion.Leak, m, j.PredictedLDay)
		j.believe(&x)
		return
	}
	change := now.DemandLDay - was.DemandLDay
	big := math.Abs(change) > max(worthFrac, worthWeather*math.Sqrt(j.Weather.Var))*was.DemandLDay
	salty := math.Abs(leak.Belief.X[belief.Leak]-was.LeakLDay) > j.Tank.LeastLeakLDay()
	switch {
	case best == suspicion.Air && !big, best != suspicion.Air && !salty:
		j.believe(&x)
		j.Usual.SmallChangeAt = x.Since
	case best == suspicion.Air && change < 0:
		j.believe(&x)
		j.airChanged(j.began(&x), probability(-suspicion.LeakOverAir(&leak, &air)), was)
	default:
		j.Usual.ErraticScore = 0 // explained
		since := j.began(&x)
		j.Question = &suspicion.Question{Since: since, Was: was, Air: air, Leak: leak,
			SaltOnly: best == suspicion.Split && change < saltOnlyFrac*leak.Belief.X[belief.Leak]}
		scale := j.Reservoir.Base.Scale
		switch best {
		case suspicion.Air:
			j.Question.Leak = j.AsLeak(&x, m, scale)
		case suspicion.Leak:
			j.Question.Air = j.AsAir(&x, m, scale)
		}
		j.believe(&x)
		// Where salinity tells it, a little more water is not worth a finding.
		told := best == suspicion.Split || j.Find(finding.SalinityCreeping) != nil
		if !j.answer() && (big || !told) {
			j.Begin(finding.Record{Code: finding.DemandChanged, Since: since, Found: j.At, Confidence: finding.Surely, Was: was,
				Amount: now.DemandLDay - was.DemandLDay, AmountSD: now.DemandSD})
		}
	}
}

// backLeakFrac: a leak of no more than this share of what it was has stopped.
const backLeakFrac = 0.3

// backToNormal ends an open finding about the demand, if the change is its end,
// and says whether it was.
func (j *Judge) backToNormal(x *suspicion.Test, best suspicion.Hypothesis, now belief.Levels) bool {
	if r := j.Find(finding.EvaporationChanged); r != nil && best == suspicion.Air && math.Abs(now.Air-r.Was.Air) < backFrac*r.Was.Air {
		j.believe(x)
		j.End(finding.EvaporationChanged, j.At)
		return true
	}
	for _, code := range []finding.Code{finding.TankLeak, finding.SalinityCreeping} {
		if r := j.Find(code); r != nil && best != suspicion.Air && math.Abs(x.Belief.X[belief.Leak]) < backLeakFrac*math.Abs(r.Amount)+j.Tank.LeastLeakLDay() {
			j.believe(x)
			j.End(code, j.At)
			return true
		}
	}
	return false
}

// UsualLevels are what was believed in the long run, before what happened lately.
func (j *Judge) UsualLevels() belief.Levels {
	l := j.Levels()
	if usual := j.Usual.Evaporation; usual > 0 {
		l.DemandLDay += j.PredictedLDay * (usual - l.Air)
		l.Air = usual
	}
	return l
}

// smallChangeFor is how long a change too small to tell counts as the beginning of
// one that goes on.
const smallChangeFor = 5 * 24 * time.Hour

// began is when a change of demand began, with what led up to it.
func (j *Judge) began(x *suspicion.Test) time.Time {
	if small := j.Usual.SmallChangeAt; !small.IsZero() && x.Since.Sub(small) < smallChangeFor {
		return small
	}
	return x.Since
}

const (
	// decided is the log-odds at which one side of the question has won.
	decided = 3.9 // 98 %
	// openFor is how long the question stays open; after that the air is given
	// the benefit of the doubt, in silence, and salinity goes on watching.
	openFor = 21 * 24 * time.Hour
)

// answer answers the open question, if it can be answered.
func (j *Judge) answer() bool {
	q := *j.Question
	leak := suspicion.LeakOverAir(&q.Leak, &q.Air)
	switch {
	case leak > decided:
		j.close(&q.Leak)
		j.leakFound(q.Since, probability(leak), q.Was, q.SaltOnly)
	case leak < -decided:
		j.close(&q.Air)
		j.airChanged(q.Since, probability(-leak), q.Was)
	case j.At.Sub(q.Since) > openFor:
		j.close(&q.Air)
	default:
		return false
	}
	return true
}

// close believes one side and ends the question.
func (j *Judge) close(side *suspicion.Test) {
	j.Question = nil
	j.End(finding.DemandChanged, j.At)
	j.believe(side)
}

// airChanged: the air takes more or less.
func (j *Judge) airChanged(since time.Time, confidence float64, was belief.Levels) {
	now := j.Levels()
	if r := j.Find(finding.EvaporationChanged); r != nil {
		r.Amount, r.AmountSD = now.DemandLDay-r.Was.DemandLDay, now.DemandSD
		return
	}
	if math.Abs(now.DemandLDay-was.DemandLDay) < worthFrac/2*was.DemandLDay {
		return // it has come back while the question was open
	}
	j.Begin(finding.Record{Code: finding.EvaporationChanged, Since: since, Found: j.At, Confidence: confidence, Was: was,
		Amount: now.DemandLDay - was.DemandLDay, AmountSD: now.DemandSD})
}

// leakFound tells a leak from a slow loss that a wet skimmer, splash or a weak
// mix explains: a leak makes more water go in.
func (j *Judge) leakFound(since time.Time, confidence float64, was belief.Levels, saltOnly bool) {
	leak, sd := j.Base.X[belief.Leak], j.Base.SD(belief.Leak)
	code := finding.TankLeak
	if saltOnly || leak < j.Tank.CreepLDay() {
		code = finding.SalinityCreeping
	}
	if code == finding.TankLeak {
		j.End(finding.SalinityCreeping, j.At)
	} else if j.Find(finding.TankLeak) != nil {
		return
	}
	if math.Abs(leak) < j.Tank.LeastLeakLDay() {
		return
	}
	if r := j.Find(code); r != nil {
		r.Subject, r.Since, r.Was = "", since, was // now it is known why
		return
	}
	j.Begin(finding.Record{Code: code, Since: since, Found: j.At, Confidence: confidence, Was: was, Amount: leak, AmountSD: sd})
}
