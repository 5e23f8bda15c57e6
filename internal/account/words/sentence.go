package words

import (
	"fmt"
	"math"
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
	"isohaline/internal/units"
)

// sentence says it to a practitioner: what, since when, how sure, how long until
// harm.
func (w *telling) sentence(r *finding.Record, f *finding.Finding) string {
	text := w.Name + " " + w.clause(r)
	if estimated(r) {
		text += fmt.Sprintf(" (%s)", sureWords(r.Confidence))
	}
	switch {
	case !r.Ended.IsZero():
		text += fmt.Sprintf("; over since %s", w.when(r.Ended))
	case f.HarmIn == 0:
		text += "; harm is due"
	case f.HarmIn > 0 && r.Code == finding.DemandChanged:
		text += fmt.Sprintf("; if it is a leak, harm in %s", lastingWords(f.HarmIn))
	case f.HarmIn > 0:
		text += fmt.Sprintf("; harm in %s", lastingWords(f.HarmIn))
	case f.Class == stress && hasRate(r):
		text += fmt.Sprintf("; no harm within %s", lastingWords(farHarm))
	}
	return text + "."
}

// estimated says that there is something to be unsure of: a contact says what it
// says, and a reservoir's day has its own band.
func estimated(r *finding.Record) bool {
	switch r.Code {
	case finding.CeilingWet, finding.DeviceSilent, finding.ReservoirEmptyBy:
		return false
	}
	return true
}

// hasRate says that what leads to harm goes on at a rate that is known.
func hasRate(r *finding.Record) bool {
	switch r.Code {
	case finding.TankLeak, finding.DemandChanged:
		return true
	case finding.SalinityCreeping:
		return r.Subject == ""
	}
	return false
}

// sureWords never claims to be certain.
func sureWords(confidence float64) string {
	const most = 99
	return fmt.Sprintf("%.0f %% sure", min(math.Round(100*confidence), most))
}

func (w *telling) clause(r *finding.Record) string {
	since := w.when(r.Since)
	amount := litresWords(math.Abs(r.Amount))
	salinity := salinityWords(w.Belief.X[belief.Salt])
	switch r.Code {
	case finding.TankLeak:
		return fmt.Sprintf("loses %s of salt water a day, since %s; salinity is at %s and falling: a leak, not evaporation", amount, since, salinity)
	case finding.SalinityCreeping:
		return w.saltClause(r, since, amount, salinity)
	case finding.FreshLeak:
		if r.Subject == finding.ByFloor {
			return fmt.Sprintf("pumped %s that did not reach the tank, at %s, and the floor is wet", amount, since)
		}
		return fmt.Sprintf("loses %s of top-off water a day between reservoir and tank, since %s: look along the tube and under the reservoir", amount, since)
	case finding.DemandChanged:
		return fmt.Sprintf("drinks %s a day %s than the air explains, since %s; a salinity reading will tell a leak from drier air", amount, moreOrLess(r.Amount), since)
	case finding.EvaporationChanged:
		if r.Amount > 0 {
			return fmt.Sprintf("evaporates %s a day more, since %s; salinity holds at %s: drier air, a fan or a lid left off, harmless by itself", amount, since, salinity)
		}
		return fmt.Sprintf("evaporates %s a day less, since %s: damper air or a lid, harmless by itself", amount, since)
	case finding.PumpWeak:
		return fmt.Sprintf("has a top-off pump that moves %.0f %% of its usual flow, since %s: descale it", 100*r.Amount, since)
	case finding.PumpSeized:
		return fmt.Sprintf("ran its top-off pump for %s at %s and the level did not come: pump seized, tube blocked or off", lastingWords(seconds(r.Amount)), since)
	case finding.WatchFouled:
		return w.fouledClause(r, since)
	case finding.WatchStuck:
		if r.Subject == finding.ByDry {
			return fmt.Sprintf("has a watch sensor that stays dry while the water rises, since %s", since)
		}
		return fmt.Sprintf("has a watch sensor that has stayed wet since %s: no tank goes so long without a fill", since)
	case finding.CeilingWet:
		return fmt.Sprintf("has water at its ceiling level, since %s", since)
	case finding.TopOffOverdue:
		return fmt.Sprintf("has had no top-off since %s and needs one about every %s", since, lastingWords(hours(r.Was.PauseHours)))
	case finding.EndlessFill:
		if r.Subject == finding.BySiphon {
			return fmt.Sprintf("goes on filling after its pump stopped at %s: a siphon; pull the tube out of the reservoir", since)
		}
		return fmt.Sprintf("has been filling since %s and does not stop: %s so far; cut the pump's power", since, amount)
	case finding.RestartDip:
		return fmt.Sprintf("filled %s into the dip after a restart at %s, which was no evaporation: let the controller wait longer after a restart", amount, since)
	case finding.ReservoirEmptyBy:
		early, middle, late := w.DaysLeft(w.Tank)
		if !r.Ended.IsZero() {
			return fmt.Sprintf("was running its reservoir, last filled %s, empty", since)
		}
		if middle <= 0 {
			return fmt.Sprintf("has an empty reservoir, last filled %s", since)
		}
		return fmt.Sprintf("runs its reservoir, last filled %s, empty about %s (90 %% sure: %s to %s)", since,
			w.when(w.Done.Add(design.Days(middle))), w.when(w.Done.Add(design.Days(early))), w.when(w.Done.Add(design.Days(late))))
	case finding.DeviceSilent:
		return fmt.Sprintf("has not been heard of since %s: check its power and its link", since)
	case finding.InstrumentOff:
		return instrumentClause(r, since)
	}
	return string(r.Code)
}

func (w *telling) saltClause(r *finding.Record, since, amount, salinity string) string {
	off, target := salinityWords(math.Abs(w.Belief.X[belief.Salt]-w.Tank.TargetPSU)), w.Tank.TargetPSU
	switch {
	case r.Subject == finding.BySalinity:
		return fmt.Sprintf("is %s %s its salinity of %s, at %s, since the reading of %s", off, belowOrAbove(w.Belief.X[belief.Salt]-target), salinityWords(target), salinity, since)
	case r.Subject == finding.ByDrift:
		cause := "a wet skimmer, splash or a weak mix"
		if r.Number > 0 {
			cause = "salt in the top-off or a strong mix"
		}
		return fmt.Sprintf("has drifted %s %s its usual salinity, to %s, by the reading of %s: %s",
			salinityWords(math.Abs(r.Number)), belowOrAbove(r.Number), salinity, since, cause)
	case r.Subject == finding.ByMix:
		return fmt.Sprintf("went %s %s its salinity with the water change of %s, to %s: check what the new water was mixed to",
			salinityWords(math.Abs(r.Number)), belowOrAbove(r.Number), since, salinity)
	case r.Amount < 0:
		return fmt.Sprintf("gains salt, since %s, as if %s of its top-off a day were salt water; salinity is at %s and rising", since, amount, salinity)
	case r.Amount > w.Tank.CreepLDay():
		return fmt.Sprintf("loses salt, since %s; %s of salt water leaving a day explains it, more than splash takes: look for a leak, a wet skimmer or a weak mix; salinity is at %s", since, amount, salinity)
	}
	return fmt.Sprintf("loses salt slowly, since %s; %s of salt water leaving a day explains it, as a wet skimmer or splash takes; salinity is at %s", since, amount, salinity)
}

func (w *telling) fouledClause(r *finding.Record, since string) string {
	mm := units.Metric.Length(math.Abs(r.Amount) / design.MMPerM)
	switch r.Subject {
	case finding.ByShift:
		return fmt.Sprintf("has a watch sensor that switches %s %s than it did, since %s: clean it", mm, lowerOrHigher(r.Amount), since)
	case finding.ByCreep:
		return fmt.Sprintf("has a watch sensor that by its level gauge switches ever %s, by %s since %s: clean it, and calibrate the gauge if that does not help",
			lowerOrHigher(r.Amount), mm, since)
	case finding.ByErratic:
		return fmt.Sprintf("has a watch sensor that switches erratically, since %s: clean it", since)
	}
	return fmt.Sprintf("has a watch sensor that lets %.1f times as much water pass between its levels as it did, since %s: clean it", r.Amount, since)
}

func instrumentClause(r *finding.Record, since string) string {
	switch r.Subject {
	case finding.ByGauge:
		return fmt.Sprintf("has a level gauge that reads %s off, since %s; fills came as before: calibrate it", units.Metric.Length(math.Abs(r.Amount)/design.MMPerM), since)
	case finding.BySalinity:
		return fmt.Sprintf("jumped by %s between two salinity readings, about %s, and no litres explain it: check the instrument, or ask who changed water", salinityWords(math.Abs(r.Amount)), since)
	}
	return fmt.Sprintf("has two salinity instruments that disagree by %s, since %s, %s apart from %s: calibrate both", salinityWords(math.Abs(r.Amount)), since, r.Reads, r.Against)
}

func lowerOrHigher(x float64) string { return oneOf(x, "lower", "higher") }
func belowOrAbove(x float64) string  { return oneOf(x, "below", "above") }
func moreOrLess(x float64) string    { return oneOf(x, "less", "more") }

func oneOf(x float64, negative, positive string) string {
	if x < 0 {
		return negative
	}
	return positive
}

const secondsPerDay = 86400.0

func seconds(s float64) time.Duration { return design.Days(s / secondsPerDay) }
func hours(h float64) time.Duration   { return design.Days(h / 24) }

func litresWords(l float64) string        { return units.Metric.Volume(l / design.LitresPerM3) }
func salinityWords(psu float64) string    { return units.Metric.Salinity(psu) }
func lastingWords(d time.Duration) string { return units.Metric.Duration(d.Seconds()) }

// when is a time as one says it on site.
func (w *telling) when(t time.Time) string { return Clock(t, w.Zone) }

// Clock returns a time as sentences write it, by the clocks of zone, which people on
// site know. A nil zone is UTC, and the text then says so.
func Clock(t time.Time, zone *time.Location) string {
	if zone == nil || zone == time.UTC {
		return t.UTC().Format("Mon 2 Jan 15:04 UTC")
	}
	return t.In(zone).Format("Mon 2 Jan 15:04")
}
