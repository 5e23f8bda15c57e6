package words

import (
	"fmt"
	"math"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/finding"
)

const (
	litresADay = "L/day"
	psu        = "PSU"
)

// evidence is the numbers behind a finding and what was ruled out.
func (w *telling) evidence(r *finding.Record) (unit string, e []finding.Evidence, out []finding.RuledOut) {
	t := w.Tank
	b := &w.Belief
	at := w.At
	add := func(name, unit string, value, expected, sd float64) {
		e = append(e, finding.Evidence{Name: name, Value: value, Expected: expected, SD: sd, Unit: unit, At: at})
	}
	not := func(code finding.Code, format string, args ...any) {
		out = append(out, finding.RuledOut{Code: code, Why: fmt.Sprintf(format, args...)})
	}
	scale := w.Reservoir.Base.Scale
	water := func() {
		add("water in", litresADay, scale*w.DemandLDay(w.Tank), scale*r.Was.DemandLDay, scale*r.Was.DemandSD)
	}
	salinity := func(expected float64) { add("salinity", psu, b.X[belief.Salt], expected, b.SD(belief.Salt)) }
	steadyFills := "fills take as long as before, and each brings the same litres"
	switch r.Code {
	case finding.TankLeak, finding.SalinityCreeping:
		unit = litresADay
		if r.Subject == "" {
			water()
		}
		salinity(r.Was.SaltPSU)
		add("salt water leaving", litresADay, r.Amount, scale*r.Was.LeakLDay, r.AmountSD)
		not(finding.EvaporationChanged, "evaporation leaves the salt behind; salinity went from %s to %s", salinityWords(r.Was.SaltPSU), salinityWords(b.X[belief.Salt]))
		if r.Code == finding.TankLeak {
			not(finding.PumpWeak, "%s", steadyFills)
			not(finding.SalinityCreeping, "more than a wet skimmer or splash takes (%s a day)", litresWords(w.Tank.CreepLDay()))
		}
	case finding.DemandChanged:
		unit = litresADay
		water()
		not(finding.PumpWeak, "fills take as long as before")
		not(finding.WatchFouled, "each fill brings the same litres")
	case finding.EvaporationChanged:
		unit = litresADay
		water()
		salinity(r.Was.SaltPSU)
		if r.Amount > 0 {
			not(finding.TankLeak, "a leak of %s a day would take salinity down by %s a day; it stands at %s",
				litresWords(r.Amount), salinityWords(r.Amount/t.SystemL*b.X[belief.Salt]), salinityWords(b.X[belief.Salt]))
		} else {
			not(finding.TankLeak, "less water goes in, not more")
		}
		not(finding.PumpWeak, "%s", steadyFills)
	case finding.PumpWeak:
		unit = "share of its flow"
		now := w.Tank.Levels(b, w.PredictedLDay)
		perMin := scale * t.FlowLDay / minutesPerDay
		add("flow", "L/min", perMin*b.X[belief.Flow], perMin*r.Was.Flow, perMin*b.SD(belief.Flow))
		add("fill time", "s", now.FillSeconds, r.Was.FillSeconds, 0)
		not(finding.WatchFouled, "the pause between fills has not grown with them")
		not(finding.EvaporationChanged, "the pause between fills is as before")
	case finding.PumpSeized:
		unit = "s"
		add("last run", "s", r.Amount, r.Was.FillSeconds, 0)
	case finding.WatchFouled:
		switch r.Subject {
		case finding.ByBand:
			unit = "times its band"
			now := w.Tank.Levels(b, w.PredictedLDay)
			add("one fill", "L", scale*t.BandL*now.Band, scale*t.BandL*r.Was.Band, scale*t.BandL*b.SD(belief.Band))
			not(finding.PumpWeak, "the pause between fills has changed by as much as the fills")
			not(finding.EvaporationChanged, "fills have changed by as much as the pauses")
		case finding.ByShift, finding.ByCreep:
			unit = "mm"
			add("switching level", "mm", r.Amount, 0, r.AmountSD)
			if r.Subject == finding.ByShift {
				not(finding.InstrumentOff, "the water moved with it")
			}
		default:
			unit = "times its variance"
			add("spread of the fills", unit, w.Dispersion, 1, 0)
		}
	case finding.WatchStuck, finding.TopOffOverdue:
		unit = "h"
		if r.Subject == finding.ByDry {
			unit = "s"
			add("last run", "s", r.Amount, r.Was.FillSeconds, 0)
		} else {
			add("time since the last fill", "h", r.Amount, r.Was.PauseHours, 0)
			add("water missing", "L", scale*b.X[belief.Deficit], scale*t.BandL*b.X[belief.Band], scale*b.SD(belief.Deficit))
		}
	case finding.FreshLeak:
		unit = litresADay
		if r.Subject == finding.ByFloor {
			unit = "L"
		} else {
			add("water going elsewhere", unit, r.Amount, 0, r.AmountSD)
			not(finding.EvaporationChanged, "what reaches the tank has not changed with it")
		}
	case finding.EndlessFill:
		unit = "L"
		if r.Subject == "" {
			add("run", "s", at.Sub(r.Since).Seconds(), r.Was.FillSeconds, 0)
		}
	case finding.RestartDip:
		unit = "L"
		add("filled into the dip", "L", r.Amount, 0, r.AmountSD)
	case finding.ReservoirEmptyBy:
		unit = "days"
		add("left in the reservoir", "L", max(w.Reservoir.LeftL, 0), t.Reservoir.CapacityL, math.Sqrt(w.Reservoir.LeftVar))
		add("use", litresADay, scale*w.DemandLDay(w.Tank), 0, scale*w.DemandSD())
	case finding.InstrumentOff:
		unit = psu
		if r.Subject == finding.ByGauge {
			unit = "mm"
		}
		add("difference", unit, r.Amount, 0, r.AmountSD)
	case finding.DeviceSilent:
		unit = "h"
	}
	return unit, e, out
}

const minutesPerDay = 1440.0
