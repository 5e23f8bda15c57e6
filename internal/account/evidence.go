package account

import (
	"fmt"
	"math"
)

// finding is a record with its harm, its evidence and its words, as they stand
// now.
func (w *clerk) finding(r *Record) Finding {
	f := Finding{Code: r.Code, Since: r.Since, Found: r.Found, Ended: r.Ended, Confidence: r.Confidence,
		Amount: r.Amount, AmountSD: r.AmountSD}
	w.refresh(r, &f)
	if r.inFilterLitres() {
		f.Amount, f.AmountSD = w.jug(f.Amount, f.AmountSD)
	}
	now := *r
	now.Amount, now.AmountSD = f.Amount, f.AmountSD
	f.Class, f.HarmIn = w.harm(&now)
	f.AmountUnit, f.Evidence, f.RuledOut = w.evidence(&now)
	f.Sentence = w.sentence(&now, &f)
	return f
}

// refresh brings an amount that goes on up to date.
func (w *clerk) refresh(r *Record, f *Finding) {
	s := w.s
	if !r.Ended.IsZero() {
		return
	}
	b := &s.Base
	switch r.Code {
	case TankLeak, SalinityCreeping:
		f.Amount, f.AmountSD = b.X[leak], b.sd(leak)
	case DemandChanged:
		f.Amount, f.AmountSD = w.demandLDay(b)-r.Was.DemandLDay, w.demandSD(b)
	case ReservoirEmptyBy:
		early, middle, late := w.supplyDays()
		f.Amount, f.AmountSD = middle, (late-early)/(2*ninety)
	case FreshLeak:
		if r.Subject != byFloor {
			f.Amount, f.AmountSD = s.Supply.Base.ElsewhereLDay, math.Sqrt(max(s.Supply.Base.ElseWhere, 0))
		}
	}
}

// inFilterLitres says that the amount is in litres as the filter counts them.
func (r *Record) inFilterLitres() bool {
	switch r.Code {
	case TankLeak, SalinityCreeping, DemandChanged, EvaporationChanged, EndlessFill, RestartDip:
		return r.Subject != bySiphon
	case FreshLeak:
		return r.Subject == byFloor
	}
	return false
}

// jug is litres of the filter as a measuring jug would have them: see Filter.
func (w *clerk) jug(litres, sd float64) (jugL, jugSD float64) {
	o := &w.s.Supply.Base
	return litres * o.Scale, math.Hypot(sd*o.Scale, litres*math.Sqrt(o.ScaleVar))
}

const (
	litresADay = "L/day"
	psu        = "PSU"
)

// evidence is the numbers behind a finding and what was ruled out.
func (w *clerk) evidence(r *Record) (unit string, e []Evidence, out []RuledOut) {
	s, t := w.s, &w.tank
	b := &s.Base
	at := s.At
	add := func(name, unit string, value, expected, sd float64) {
		e = append(e, Evidence{Name: name, Value: value, Expected: expected, SD: sd, Unit: unit, At: at})
	}
	not := func(code Code, format string, args ...any) {
		out = append(out, RuledOut{Code: code, Why: fmt.Sprintf(format, args...)})
	}
	scale := s.Supply.Base.Scale
	water := func() {
		add("water in", litresADay, scale*w.demandLDay(b), scale*r.Was.DemandLDay, scale*r.Was.DemandSD)
	}
	salinity := func(expected float64) { add("salinity", psu, b.X[salt], expected, b.sd(salt)) }
	steadyFills := "fills take as long as before, and each brings the same litres"
	switch r.Code {
	case TankLeak, SalinityCreeping:
		unit = litresADay
		if r.Subject == "" {
			water()
		}
		salinity(r.Was.SaltPSU)
		add("salt water leaving", litresADay, r.Amount, scale*r.Was.LeakLDay, r.AmountSD)
		not(EvaporationChanged, "evaporation leaves the salt behind; salinity went from %s to %s", salinityWords(r.Was.SaltPSU), salinityWords(b.X[salt]))
		if r.Code == TankLeak {
			not(PumpWeak, "%s", steadyFills)
			not(SalinityCreeping, "more than a wet skimmer or splash takes (%s a day)", litresWords(w.creepLDay()))
		}
	case DemandChanged:
		unit = litresADay
		water()
		not(PumpWeak, "fills take as long as before")
		not(WatchFouled, "each fill brings the same litres")
	case EvaporationChanged:
		unit = litresADay
		water()
		salinity(r.Was.SaltPSU)
		if r.Amount > 0 {
			not(TankLeak, "a leak of %s a day would take salinity down by %s a day; it stands at %s",
				litresWords(r.Amount), salinityWords(r.Amount/t.systemL*b.X[salt]), salinityWords(b.X[salt]))
		} else {
			not(TankLeak, "less water goes in, not more")
		}
		not(PumpWeak, "%s", steadyFills)
	case PumpWeak:
		unit = "share of its flow"
		now := w.levels(b)
		perMin := scale * t.flowLDay / minutesPerDay
		add("flow", "L/min", perMin*b.X[flow], perMin*r.Was.Flow, perMin*b.sd(flow))
		add("fill time", "s", now.FillSeconds, r.Was.FillSeconds, 0)
		not(WatchFouled, "the pause between fills has not grown with them")
		not(EvaporationChanged, "the pause between fills is as before")
	case PumpSeized:
		unit = "s"
		add("last run", "s", r.Amount, r.Was.FillSeconds, 0)
	case WatchFouled:
		switch r.Subject {
		case byBand:
			unit = "times its band"
			now := w.levels(b)
			add("one fill", "L", scale*t.bandL*now.Band, scale*t.bandL*r.Was.Band, scale*t.bandL*b.sd(band))
			not(PumpWeak, "the pause between fills has changed by as much as the fills")
			not(EvaporationChanged, "fills have changed by as much as the pauses")
		case byShift, byCreep:
			unit = "mm"
			add("switching level", "mm", r.Amount, 0, r.AmountSD)
			if r.Subject == byShift {
				not(InstrumentOff, "the water moved with it")
			}
		default:
			unit = "times its variance"
			add("spread of the fills", unit, s.Rhythm.Unrest, 1, 0)
		}
	case WatchStuck, TopOffOverdue:
		unit = "h"
		if r.Subject == byDry {
			unit = "s"
			add("last run", "s", r.Amount, r.Was.FillSeconds, 0)
		} else {
			add("time since the last fill", "h", r.Amount, r.Was.PauseHours, 0)
			add("water missing", "L", scale*b.X[deficit], scale*t.bandL*b.X[band], scale*b.sd(deficit))
		}
	case FreshLeak:
		unit = litresADay
		if r.Subject == byFloor {
			unit = "L"
		} else {
			add("water going elsewhere", unit, r.Amount, 0, r.AmountSD)
			not(EvaporationChanged, "what reaches the tank has not changed with it")
		}
	case EndlessFill:
		unit = "L"
		if r.Subject == "" {
			add("run", "s", at.Sub(r.Since).Seconds(), r.Was.FillSeconds, 0)
		}
	case RestartDip:
		unit = "L"
		add("filled into the dip", "L", r.Amount, 0, r.AmountSD)
	case ReservoirEmptyBy:
		unit = "days"
		add("left in the reservoir", "L", max(s.Supply.LeftL, 0), t.reservoirL, math.Sqrt(s.Supply.LeftVar))
		add("use", litresADay, scale*w.demandLDay(b), 0, scale*w.demandSD(b))
	case InstrumentOff:
		unit = psu
		if r.Subject == byGauge {
			unit = "mm"
		}
		add("difference", unit, r.Amount, 0, r.AmountSD)
	case DeviceSilent:
		unit = "h"
	}
	return unit, e, out
}

const minutesPerDay = 1440.0
