// Package words says what the account found: the figures and the evidence behind
// a finding, the harm it leads to, and one sentence for people.
package words

import (
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/reservoir"
)

// Writer writes the findings of one tank in words.
type Writer struct {
	Name string
	// Zone is where the people are who read the sentences.
	Zone *time.Location
	Tank *design.Tank
}

// telling is a writer with the facts of a moment.
type telling struct {
	Writer
	*finding.Facts
}

// Finding returns a record as a finding: its harm, its evidence and its sentence,
// calculated from facts.
func (w Writer) Finding(r *finding.Record, facts *finding.Facts) finding.Finding {
	t := &telling{w, facts}
	now := *r
	t.refresh(&now)
	f := finding.Finding{Code: r.Code, Since: r.Since, Found: r.Found, Ended: r.Ended, Confidence: r.Confidence,
		Amount: now.Amount, AmountSD: now.AmountSD}
	f.Class, f.HarmIn = t.harm(&now)
	f.AmountUnit, f.Evidence, f.RuledOut = t.evidence(&now)
	f.Sentence = t.sentence(&now, &f)
	return f
}

// refresh brings an amount that goes on up to date, in true litres.
func (w *telling) refresh(r *finding.Record) {
	b, p := &w.Belief, &w.Reservoir.Base
	if r.Ended.IsZero() {
		switch r.Code {
		case finding.TankLeak, finding.SalinityCreeping:
			r.Amount, r.AmountSD = b.X[belief.Leak], b.SD(belief.Leak)
		case finding.DemandChanged:
			r.Amount, r.AmountSD = w.DemandLDay(w.Tank)-r.Was.DemandLDay, w.DemandSD()
		case finding.ReservoirEmptyBy:
			early, middle, late := w.DaysLeft(w.Tank)
			r.Amount, r.AmountSD = middle, (late-early)/(2*reservoir.NinetySigmas)
		case finding.FreshLeak:
			if r.Subject != finding.ByFloor {
				r.Amount, r.AmountSD = p.ElsewhereLDay, math.Sqrt(max(p.ElsewhereVar, 0))
			}
		}
	}
	if inFilterLitres(r) {
		r.Amount, r.AmountSD = p.Litres(r.Amount, r.AmountSD)
	}
}

// inFilterLitres says that the amount is in litres as the filter counts them.
func inFilterLitres(r *finding.Record) bool {
	switch r.Code {
	case finding.TankLeak, finding.SalinityCreeping, finding.DemandChanged, finding.EvaporationChanged, finding.EndlessFill, finding.RestartDip:
		return r.Subject != finding.BySiphon
	case finding.FreshLeak:
		return r.Subject == finding.ByFloor
	}
	return false
}
