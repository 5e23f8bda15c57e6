package account

import (
	"math"
	"time"
)

// Supply is the reservoir's account. A reservoir filled to its mark tells twice:
// what is in it now, and, if somebody measured, what had left it. Litres that
// left it and never reached the tank are a fresh leak.
type Supply struct {
	// Known says that the content is known; Fills how often it was filled as
	// far as anybody noted.
	Known bool
	Fills int
	// LeftL is what the pump can still take, LeftVar how well the mark was hit.
	LeftL, LeftVar float64
	// DrawnL is what the filter thinks the pump took since FilledAt.
	DrawnL   float64
	FilledAt time.Time
	// Unsure says that runs may have gone unheard since FilledAt.
	Unsure bool
	// Base is what is believed; Suspect supposes that water has begun to go
	// elsewhere at SuspectAt, with Evidence against Base.
	Base, Suspect Outflow
	SuspectAt     time.Time
	Evidence      float64
}

// Outflow is a belief about what leaves a reservoir: the litres for one that the
// filter thinks the pump moved, the litres a day that go elsewhere, and their
// covariance.
type Outflow struct {
	Scale, ElsewhereLDay      float64
	ScaleVar, Both, ElseWhere float64
}

// take weighs in a fill: litres that left since the last, noise their variance.
func (o *Outflow) take(litres, drawnL, days, noise float64) (logLik float64) {
	phScale := drawnL*o.ScaleVar + days*o.Both
	phElse := drawnL*o.Both + days*o.ElseWhere
	all := drawnL*phScale + days*phElse + noise
	nu := litres - drawnL*o.Scale - days*o.ElsewhereLDay
	sound, astray := usualChances.likelihoods(nu, all, strayFillFrac*litres)
	if astray > sound {
		all += max(square(strayFillFrac*litres), nu*nu)
	}
	o.Scale += phScale / all * nu
	o.ElsewhereLDay += phElse / all * nu
	o.ScaleVar -= phScale * phScale / all
	o.Both -= phScale * phElse / all
	o.ElseWhere -= phElse * phElse / all
	return either(sound, astray)
}

const (
	// fillMarkFrac is how well people hit the mark, in shares of the reservoir,
	// measureFrac how well they measure what they pour; strayFillFrac how far a
	// wrong note is off. Judgements.
	fillMarkFrac  = 0.02
	measureFrac   = 0.04
	strayFillFrac = 0.5
	// scaleWanderFrac is how the scale wanders in a square root of a day.
	scaleWanderFrac = 0.004
	// openElsewhereFrac of the demand is how much goes elsewhere, supposedly.
	openElsewhereFrac = 0.4
	// leastElsewhereFrac of the demand is the least worth a word.
	leastElsewhereFrac = 0.08
	// elsewhereThreshold is the log-likelihood ratio at which it is believed.
	elsewhereThreshold = 6.0
)

// draw takes litres out.
func (p *Supply) draw(litres float64) {
	p.DrawnL += litres
	p.LeftL -= litres * p.Base.Scale
}

// overdrawnFrac of a reservoir below nothing, it must have been filled unnoted.
const overdrawnFrac = 0.15

// drawReservoir takes a run's litres from the reservoir.
func (w *clerk) drawReservoir(at time.Time, ran time.Duration) {
	s, t := w.s, &w.tank
	p := &s.Supply
	p.draw(ran.Hours() / 24 * t.flowLDay * s.Base.X[flow])
	if p.Known && p.LeftL < -overdrawnFrac*t.reservoirL {
		p.Known, p.Fills = false, 0
		w.end(ReservoirEmptyBy, at)
	}
}

// filled: the reservoir was filled to its mark.
func (w *clerk) filled(at time.Time, o *Observation) {
	s, t := w.s, &w.tank
	p := &s.Supply
	w.carry(at)
	if t.reservoirL == 0 {
		return
	}
	if days := at.Sub(p.FilledAt).Hours() / 24; p.Known && !p.Unsure && o.Value > 0 && days > 0 {
		w.compareFill(at, o.Value, days)
	}
	p.Known, p.FilledAt, p.DrawnL, p.Unsure = true, at, 0, false
	p.Fills++
	p.LeftL, p.LeftVar = t.reservoirL, square(fillMarkFrac*t.reservoirL)
	w.end(ReservoirEmptyBy, at)
}

// compareFill compares what was poured in with what the pump took.
func (w *clerk) compareFill(at time.Time, litres, days float64) {
	s, t := w.s, &w.tank
	p := &s.Supply
	noise := 2*square(fillMarkFrac*t.reservoirL) + square(measureFrac*litres)
	p.Base.ScaleVar += square(scaleWanderFrac) * days
	p.Suspect.ScaleVar += square(scaleWanderFrac) * days
	p.Evidence += p.Suspect.take(litres, p.DrawnL, days, noise) - p.Base.take(litres, p.DrawnL, days, noise)
	demand := w.demandLDay(&s.Base)
	switch {
	case p.Evidence <= 0:
		p.suspect(demand, at)
	case p.Evidence > elsewhereThreshold:
		found := s.find(FreshLeak) != nil
		since, was := p.SuspectAt, p.Base.ElsewhereLDay
		p.Base = p.Suspect
		p.suspect(demand, at)
		if now := p.Base.ElsewhereLDay; !found && now-was > leastElsewhereFrac*demand {
			w.begin(Record{Code: FreshLeak, Since: since, Found: at, Confidence: odds(elsewhereThreshold - priorAgainst),
				Amount: now, AmountSD: math.Sqrt(p.Base.ElseWhere)})
		}
	}
	if p.Base.ElsewhereLDay < leastElsewhereFrac*demand/2 {
		w.end(FreshLeak, at)
	}
}

// priorAgainst is the log-odds against a given change on a given day: one in a
// few years. A judgement.
const priorAgainst = 3.0

// odds is the probability of log-odds.
func odds(log float64) float64 { return 1 / (1 + math.Exp(-log)) }

// suspect starts the suspicion again.
func (p *Supply) suspect(demandLDay float64, at time.Time) {
	p.Suspect, p.SuspectAt, p.Evidence = p.Base, at, 0
	p.Suspect.ElsewhereLDay += openElsewhereFrac * demandLDay / 2
	p.Suspect.ElseWhere += square(max(openElsewhereFrac*demandLDay, p.Base.ElsewhereLDay))
}

// reservoirSays: the low sensor turns.
func (w *clerk) reservoirSays(at time.Time, wet bool) {
	s, t := w.s, &w.tank
	w.carry(at)
	changed := !s.Inputs.Reservoir.Known || s.Inputs.Reservoir.Wet != wet
	s.Inputs.Reservoir.turn(at, wet)
	p := &s.Supply
	if changed && !wet && t.reservoirL > 0 {
		w.emptiedTooSoon(at)
		p.Known, p.LeftL, p.LeftVar = true, t.lowL, square(fillMarkFrac*t.reservoirL)
		w.checkSupply(at)
	}
}

const (
	// unpumpedSigmas and unpumpedFrac of the reservoir: so surely, and so much,
	// must be missing that the pump did not take.
	unpumpedSigmas = 4.0
	unpumpedFrac   = 0.15
)

// emptiedTooSoon: the reservoir is at its low sensor. What the pump did not take
// went elsewhere: into the tank by itself, if the level is high, or lost.
func (w *clerk) emptiedTooSoon(at time.Time) {
	s, t := w.s, &w.tank
	p := &s.Supply
	if !p.Known || p.Unsure || t.endless {
		return
	}
	missing := p.LeftL - t.lowL
	sd := math.Sqrt(p.LeftVar + square(p.DrawnL)*p.Base.ScaleVar + square(fillMarkFrac*t.reservoirL))
	if missing < max(unpumpedSigmas*sd, unpumpedFrac*t.reservoirL) {
		return
	}
	if s.find(CeilingWet) != nil {
		w.begin(Record{Code: EndlessFill, Since: s.Inputs.Ceiling.At, Found: at, Confidence: 0.95, Subject: bySiphon,
			Amount: missing, AmountSD: sd})
		return
	}
	since := at.Sub(p.FilledAt).Hours() / 24
	p.Base.ElsewhereLDay = max(p.Base.ElsewhereLDay, missing/max(since, 1.0/24))
	w.begin(Record{Code: FreshLeak, Since: p.FilledAt, Found: at, Confidence: 0.9, Amount: p.Base.ElsewhereLDay, AmountSD: sd / max(since, 1.0/24)})
}

// emptyFrac of a reservoir counts as empty: no mark is hit better.
const emptyFrac = 0.04

// reservoirEmpty says that the pump has, as far as is known, nothing to pump.
func (w *clerk) reservoirEmpty() bool {
	s, t := w.s, &w.tank
	if in := &s.Inputs.Reservoir; in.Known {
		return !in.Wet
	}
	return s.Supply.Known && s.Supply.Fills >= notedFills && t.reservoirL > 0 && !t.endless && s.Supply.LeftL < emptyFrac*t.reservoirL
}

// supplyDays is how long the reservoir lasts: by the middle estimate, and at the
// early and the late end of nine cases in ten.
func (w *clerk) supplyDays() (early, middle, late float64) {
	s, t := w.s, &w.tank
	p := &s.Supply
	use := w.demandLDay(&s.Base)*p.Base.Scale + p.Base.ElsewhereLDay
	use = max(use, leastUseFrac*t.thirst.usualLDay)
	left := max(p.LeftL, 0)
	relative := math.Sqrt(square(w.demandSD(&s.Base)/use) + p.Base.ScaleVar + p.LeftVar/square(max(left, emptyFrac*t.reservoirL)))
	spread := 1 + ninety*min(relative, 2)
	middle = left / use
	return middle / spread, middle, middle * spread
}

const (
	// leastUseFrac of the usual evaporation is always used.
	leastUseFrac = 0.02
	// ninety is how many standard deviations on both sides hold nine cases in
	// ten of a normal law.
	ninety = 1.645
	// visitGrace is how much a visit may be early or late.
	visitGrace = 12 * time.Hour
	// notedFills: so many noted fills show that fills are noted.
	notedFills = 3
	// supplyWarning is how long before the reservoir is empty that matters.
	supplyWarning = 72 * time.Hour
)

// checkSupply asks whether the reservoir lasts until somebody comes.
func (w *clerk) checkSupply(at time.Time) {
	s, t := w.s, &w.tank
	p := &s.Supply
	if !p.Known || t.reservoirL == 0 || t.endless || s.Inputs.Silent || s.find(ReservoirEmptyBy) != nil {
		return
	}
	early, middle, late := w.supplyDays()
	visit := p.FilledAt.Add(days(t.visitDays))
	dry := s.Inputs.Reservoir.Known && !s.Inputs.Reservoir.Wet
	tooSoon := middle*24 < supplyWarning.Hours() && at.Add(days(middle)).Before(visit.Add(-visitGrace))
	missed := early*24 < supplyWarning.Hours() && at.After(visit.Add(visitGrace)) && p.Fills >= notedFills
	if dry || tooSoon || missed {
		w.begin(Record{Code: ReservoirEmptyBy, Since: p.FilledAt, Found: at, Confidence: supplyConfidence,
			Amount: middle, AmountSD: (late - early) / (2 * ninety)})
	}
}

// supplyConfidence: the early end of the band is one in twenty early.
const supplyConfidence = 0.95

// days is a number of days as a duration, within ten years.
func days(d float64) time.Duration {
	const most = 3650.0
	return time.Duration(min(max(d, -most), most) * 24 * float64(time.Hour))
}
