package judgement

import (
	"math"
	"time"

	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/reservoir"
)

// priorAgainst is the log-odds against a given change on a given day: one in a
// few years. A judgement.
const priorAgainst = 3.0

// ReservoirFilled takes the reservoir being filled to its mark with litres; 0 where
// nobody measured.
func (j *Judge) ReservoirFilled(at time.Time, litres float64) {
	d, p := &j.Tank.Reservoir, &j.Reservoir
	if d.CapacityL == 0 {
		return
	}
	if p.Known && !p.Unsure && litres > 0 && at.After(p.FilledAt) {
		demand, _ := j.Demand()
		elsewhere, since, more := p.CompareFill(d, at, litres, demand)
		if least := reservoir.LeastElsewhereFrac * demand; elsewhere && j.Find(finding.FreshLeak) == nil && more > least {
			j.Begin(finding.Record{Code: finding.FreshLeak, Since: since, Found: at, Confidence: probability(reservoir.Threshold - priorAgainst),
				Amount: p.Base.ElsewhereLDay, AmountSD: math.Sqrt(p.Base.ElsewhereVar)})
		}
		if p.Base.ElsewhereLDay < reservoir.LeastElsewhereFrac*demand/2 {
			j.End(finding.FreshLeak, at)
		}
	}
	p.Fill(d, at)
	j.End(finding.ReservoirEmptyBy, at)
}

// probability is that of log-odds.
func probability(logOdds float64) float64 { return 1 / (1 + math.Exp(-logOdds)) }

// The low sensor came too soon, and nothing but a loss, or a siphon if the level is
// high, explains it. Judgements.
const (
	siphonConfidence = 0.95
	lostConfidence   = 0.9
)

// ReservoirLow takes the reservoir being at its low sensor. What left it without the
// pump went elsewhere: into the tank by itself, if the level is high, or it is lost.
func (j *Judge) ReservoirLow(at time.Time) {
	d, p := &j.Tank.Reservoir, &j.Reservoir
	missing, sd, ok := p.Unpumped(d)
	switch {
	case ok && j.Find(finding.CeilingWet) != nil:
		j.Begin(finding.Record{Code: finding.EndlessFill, Since: j.Inputs.Ceiling.At, Found: at, Confidence: siphonConfidence, Subject: finding.BySiphon,
			Amount: missing, AmountSD: sd})
	case ok:
		days := max(at.Sub(p.FilledAt).Hours()/24, 1.0/24)
		p.Base.ElsewhereLDay = max(p.Base.ElsewhereLDay, missing/days)
		j.Begin(finding.Record{Code: finding.FreshLeak, Since: p.FilledAt, Found: at, Confidence: lostConfidence, Amount: p.Base.ElsewhereLDay, AmountSD: sd / days})
	}
	p.Low(d)
	j.CheckReservoir(at)
}

const (
	// visitGrace is how much a visit may be early or late.
	visitGrace = 12 * time.Hour
	// emptyWarning is how long before the reservoir is empty that matters.
	emptyWarning = 72 * time.Hour
	// emptyConfidence: the early end of the band is one in twenty early.
	emptyConfidence = 0.95
)

// CheckReservoir checks whether the reservoir lasts until the next visit.
func (j *Judge) CheckReservoir(at time.Time) {
	t, p := j.Tank, &j.Reservoir
	if !p.Known || t.Reservoir.CapacityL == 0 || t.Reservoir.Endless || j.Inputs.Silent || j.Find(finding.ReservoirEmptyBy) != nil {
		return
	}
	demand, sd := j.Demand()
	early, middle, late := p.DaysLeft(&t.Reservoir, demand, sd, t.LeastUseLDay())
	visit := p.FilledAt.Add(design.Days(t.VisitDays))
	dry := j.Inputs.Reservoir.Known && !j.Inputs.Reservoir.Wet
	tooSoon := middle*24 < emptyWarning.Hours() && at.Add(design.Days(middle)).Before(visit.Add(-visitGrace))
	missed := early*24 < emptyWarning.Hours() && at.After(visit.Add(visitGrace)) && p.Fills >= reservoir.NotedFills
	if dry || tooSoon || missed {
		j.Begin(finding.Record{Code: finding.ReservoirEmptyBy, Since: p.FilledAt, Found: at, Confidence: emptyConfidence,
			Amount: middle, AmountSD: (late - early) / (2 * reservoir.NinetySigmas)})
	}
}
