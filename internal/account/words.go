package account

import (
	"fmt"
	"math"
	"time"

	"isohaline/internal/units"
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
	f.Sentence = w.sentence(&now, f.HarmIn)
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
		case byShift:
			unit = "mm"
			add("switching level", "mm", r.Amount, 0, r.AmountSD)
			not(InstrumentOff, "the water moved with it")
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

func litresWords(l float64) string        { return units.Metric.Volume(l / litresPerM3) }
func salinityWords(psu float64) string    { return units.Metric.Salinity(psu) }
func lastingWords(d time.Duration) string { return units.Metric.Duration(d.Seconds()) }

// when is a time as one says it on site.
func (w *clerk) when(t time.Time) string { return t.In(w.settings.Zone).Format("Mon 2 Jan 15:04") }

// sentence says it to a practitioner.
func (w *clerk) sentence(r *Record, harmIn time.Duration) string {
	text := w.name + " " + w.clause(r)
	if r.Ended.IsZero() && harmIn > 0 && r.Code != ReservoirEmptyBy {
		text += fmt.Sprintf("; harm in %s", lastingWords(harmIn))
	}
	if !r.Ended.IsZero() {
		text += fmt.Sprintf("; over since %s", w.when(r.Ended))
	}
	return text + "."
}

func (w *clerk) clause(r *Record) string {
	s, t := w.s, &w.tank
	since := w.when(r.Since)
	amount := litresWords(math.Abs(r.Amount))
	salinity := salinityWords(s.Base.X[salt])
	switch r.Code {
	case TankLeak:
		return fmt.Sprintf("loses %s of salt water a day, since %s; salinity is at %s and falling: a leak, not evaporation", amount, since, salinity)
	case SalinityCreeping:
		switch {
		case r.Subject == bySalt:
			return fmt.Sprintf("is %s off its salinity, at %s", salinityWords(math.Abs(s.Base.X[salt]-t.targetPSU)), salinity)
		case r.Subject == byDrift:
			return fmt.Sprintf("has drifted by %s from its usual salinity, to %s: a wet skimmer, splash, a weak mix or salt in the top-off", salinityWords(r.Number), salinity)
		case r.Subject == byMix:
			return fmt.Sprintf("went by %s in salinity with the water change of %s, to %s: check what the new water was mixed to", salinityWords(r.Number), since, salinity)
		case r.Amount < 0:
			return fmt.Sprintf("gains salt, since %s, as if %s of its top-off a day were salt water; salinity is at %s and rising", since, amount, salinity)
		}
		return fmt.Sprintf("loses salt slowly, since %s; %s of salt water leaving a day explains it, as a wet skimmer or splash takes; salinity is at %s", since, amount, salinity)
	case FreshLeak:
		if r.Subject == byFloor {
			return fmt.Sprintf("pumped %s that did not reach the tank, at %s, and the floor is wet", amount, since)
		}
		return fmt.Sprintf("loses %s of top-off water a day between reservoir and tank, since %s", amount, since)
	case DemandChanged:
		return fmt.Sprintf("drinks %s a day more than the air explains, since %s; a salinity reading will tell a leak from drier air", amount, since)
	case EvaporationChanged:
		if r.Amount > 0 {
			return fmt.Sprintf("evaporates %s a day more, since %s; salinity holds at %s: drier air, a fan or a lid, harmless by itself", amount, since, salinity)
		}
		return fmt.Sprintf("evaporates %s a day less, since %s: damper air or a lid, harmless by itself", amount, since)
	case PumpWeak:
		return fmt.Sprintf("has a top-off pump that moves %s of its usual flow, since %s: descale it", units.Metric.Percent(r.Amount), since)
	case PumpSeized:
		return fmt.Sprintf("ran its top-off pump for %s at %s and the level did not come: pump seized, tube blocked or off", lastingWords(seconds(r.Amount)), since)
	case WatchFouled:
		switch r.Subject {
		case byShift:
			way := "higher"
			if r.Amount < 0 {
				way = "lower"
			}
			return fmt.Sprintf("has a watch sensor that switches %s %s than it did, since %s: clean it", units.Metric.Length(math.Abs(r.Amount)/mmPerM), way, since)
		case byUnrest:
			return fmt.Sprintf("has a watch sensor that switches erratically, since %s: clean it", since)
		}
		return fmt.Sprintf("has a watch sensor that lets %s as much water pass between its levels, since %s: clean it", units.Metric.Percent(r.Amount), since)
	case WatchStuck:
		if r.Subject == byDry {
			return fmt.Sprintf("has a watch sensor that stays dry while the water rises, since %s", since)
		}
		return fmt.Sprintf("has a watch sensor that has stayed wet for %s: no tank goes so long without a fill", lastingWords(hours(r.Amount)))
	case CeilingWet:
		return fmt.Sprintf("has water at its ceiling level, since %s", since)
	case TopOffOverdue:
		return fmt.Sprintf("has had no top-off for %s and needs one about every %s", lastingWords(hours(r.Amount)), lastingWords(hours(r.Was.PauseHours)))
	case EndlessFill:
		if r.Subject == bySiphon {
			return fmt.Sprintf("goes on filling after its pump stopped at %s: a siphon; pull the tube out of the reservoir", since)
		}
		return fmt.Sprintf("has been filling since %s and does not stop: %s so far; cut the pump's power", since, amount)
	case RestartDip:
		return fmt.Sprintf("filled %s into the dip after a restart at %s, which was no evaporation", amount, since)
	case ReservoirEmptyBy:
		early, middle, late := w.supplyDays()
		if middle <= 0 {
			return fmt.Sprintf("has an empty reservoir, last filled %s", since)
		}
		return fmt.Sprintf("runs its reservoir empty by %s (%s to %s)", w.when(s.Done.Add(days(middle))), w.when(s.Done.Add(days(early))), w.when(s.Done.Add(days(late))))
	case DeviceSilent:
		return fmt.Sprintf("has not been heard of since %s", since)
	case InstrumentOff:
		switch r.Subject {
		case byGauge:
			return fmt.Sprintf("has a level gauge that reads %s off, since %s; fills came as before", units.Metric.Length(math.Abs(r.Amount)/mmPerM), since)
		case bySalt:
			return fmt.Sprintf("jumped by %s between two salinity readings, since %s, and no litres explain it: check the instrument, or ask who changed water", salinityWords(r.Amount), since)
		}
		return fmt.Sprintf("has two salinity instruments that disagree by %s, since %s: %s reads apart from %s", salinityWords(math.Abs(r.Amount)), since, r.Reads, r.Against)
	}
	return string(r.Code)
}

func seconds(s float64) time.Duration { return days(s / secondsPerDay) }
func hours(h float64) time.Duration   { return days(h / 24) }
