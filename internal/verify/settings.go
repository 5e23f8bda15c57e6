package verify

import (
	"fmt"
	"math"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// Proportions of the settings. All are judgement or common practice, no source.
const (
	// budgetOverHigh: the daily budget over the high end of the expected
	// evaporation of the driest season.
	budgetOverHigh = 1.5
	// firstFillOverExpected bounds the first fill, before one is learned.
	firstFillOverExpected = 3.0
	// catchUp: the longest fill makes up this long without any top-off, the
	// ordinary limit a night ...
	catchUp      = 24 * time.Hour
	catchUpNight = 12 * time.Hour
	// ... but neither may spend more than this share of what may safely enter
	// at once, and both must leave room for an ordinary fill.
	limitOfSafe      = 0.25
	limitOverFill    = 1.5
	runLimitOverFill = 3
	shortestLimit    = 5 * time.Second
	// A hold ends sooner than the ordinary limit can make up.
	holdExpires = 8 * time.Hour
	// A level gauge must see this rise, and may wait for it as long as a pump
	// worn to a quarter takes.
	answerMM, answerWear = 1.0, 4
	// settleOverRefill: the pause after a restart over the time the display
	// takes to refill.
	settleOverRefill = 3.0
	shortestSettle   = 2 * time.Minute
	// wetOverPause: the watch sensor may stay wet this many of the longest
	// expected pauses between fills before that is an alarm.
	wetOverPause = 3.0
	longestWet   = 14 * 24 * time.Hour
	shortestWet  = 12 * time.Hour
)

// sketch is what is known of a tank before it has settings.
type sketch struct {
	tank          *tankfile.Tank
	u             units.System
	water         []SeasonWater
	returnFlowM3S float64
	topOffM3S     float64
	levels        plant.Levels
	fillM3        float64
	safeM3        float64
	// What the top-off must give back, m3/day: evaporation and skimmate. The
	// mildest season's low end, the driest's high end and its estimate.
	lossLow, lossHigh, lossMid float64
	chamberM2                  float64
}

// placeSensors proposes the levels the tank file leaves open.
func placeSensors(s *tankfile.Tank, returnFlowM3S float64) (plant.Levels, string, error) {
	t := &s.TopOff
	if t.Watch == nil {
		return plant.Levels{WatchM: math.NaN(), CeilingM: math.NaN()}, "", nil
	}
	v, err := drainDown(s, returnFlowM3S)
	if err != nil {
		return plant.Levels{}, "", err
	}
	gap, why := ceilingGapM, ""
	if !s.HasSump() {
		gap = ceilingGapDisplayM
	}
	gap += t.Watch.HysteresisM / 2
	if t.Ceiling != nil {
		gap += t.Ceiling.HysteresisM / 2
	}
	watch := t.Watch.ElevationM
	if math.IsNaN(watch) {
		if s.HasSump() {
			watch, why = watchInChamber(s, v, gap)
		} else {
			watch = s.Display.FillHeightM
			why = "the display's water level"
		}
	}
	levels := plant.Levels{WatchM: watch, CeilingM: math.NaN()}
	if t.Ceiling != nil {
		levels.CeilingM = t.Ceiling.ElevationM
		if math.IsNaN(levels.CeilingM) {
			levels.CeilingM = roundMM(watch + gap)
		}
	}
	return levels, why, nil
}

// watchInChamber is as high as the margins allow, for every millimetre is time
// before the return pump draws air; never below what the pump's intake asks.
func watchInChamber(s *tankfile.Tank, v vessels, gapM float64) (float64, string) {
	dipM := v.dipM3 / v.chamber.AreaM2(s.Return.IntakeElevationM)
	lowest := s.Return.IntakeElevationM + intakeClearM + dipM + s.TopOff.Watch.HysteresisM/2
	brim := v.chamber.VolumeM3(v.chamber.RimM() - freeboardM)
	// Highest by drain-down from the ceiling level.
	highest := v.chamber.LevelM(brim-v.drainM3()) - gapM
	why := "as high as the drain-down allows"
	if r := s.TopOff.Reservoir; r != nil && s.TopOff.Ceiling == nil {
		// Without a ceiling sensor nothing but the reservoir bounds a dump.
		if rv, err := r.Shape.Vessel(); err == nil {
			if l := v.chamber.LevelM(brim - v.drainM3() - rv.VolumeM3(r.FillHeightM)); l < highest {
				highest, why = l, "as high as lets the whole reservoir and the drain-down fit below the rim"
			}
		}
	} else if r != nil {
		if rv, err := r.Shape.Vessel(); err == nil {
			if l := v.chamber.LevelM(brim - v.drainM3() - rv.VolumeM3(r.FillHeightM)); l >= lowest && l < highest {
				highest, why = l, "as high as lets the whole reservoir and the drain-down fit below the rim"
			}
		}
	}
	if n := len(s.Sump.Compartments); n > 1 {
		if l := s.Sump.Compartments[n-2].BaffleHeightM - baffleClearM; l < highest {
			highest, why = l, "just below the last baffle"
		}
	}
	if highest < lowest {
		return roundMM(lowest), "as low as the return pump's intake and the restart dip allow"
	}
	return roundMM(highest), why
}

func roundMM(m float64) float64 { return math.Round(m*1000) / 1000 }

// fill in what the settings rest on.
func (k *sketch) measure(v vessels) {
	s := k.tank
	if w := s.TopOff.Watch; w != nil {
		lo, hi := k.levels.WatchM-w.HysteresisM/2, k.levels.WatchM+w.HysteresisM/2
		k.fillM3 = v.chamber.VolumeM3(hi) - v.chamber.VolumeM3(lo)
	}
	skimmed := skimmateM3Day(s)
	k.lossLow = math.Inf(1)
	for _, w := range k.water {
		k.lossLow = min(k.lossLow, w.Total.LowLitresPerDay*litre+skimmed)
		k.lossHigh = max(k.lossHigh, w.Total.HighLitresPerDay*litre+skimmed)
		k.lossMid = max(k.lossMid, w.Total.LitresPerDay*litre+skimmed)
	}
	k.chamberM2 = v.chamber.AreaM2(k.levels.WatchM)
}

const litre = 1e-3

func skimmateM3Day(s *tankfile.Tank) float64 {
	if s.Skimmer == nil {
		return 0
	}
	return s.Skimmer.SkimmateM3Day
}

// guardSettings proposes the guard's settings and takes what the tank gives.
func (k *sketch) guardSettings(v vessels) *guard.Settings {
	s, c := k.tank, k.tank.Controller
	if c == nil {
		return nil
	}
	t := &s.TopOff
	g := guard.Typical()
	g.CeilingFitted = t.Ceiling != nil
	g.FloorFitted = s.FloorSensor != nil
	g.ReservoirLowFitted = t.Reservoir != nil && t.Reservoir.LowSensor != nil
	g.ReturnFitted = t.ReturnSensed && s.HasSump()
	g.LevelFitted = t.LevelGauge

	fillS := k.fillM3 / k.topOffM3S
	limit := func(without time.Duration) time.Duration {
		m3 := min(max(k.lossMid*without.Hours()/24, firstFillOverExpected*k.fillM3), limitOfSafe*k.safeM3)
		return clamp(seconds(max(m3, limitOverFill*k.fillM3)/k.topOffM3S), shortestLimit, guard.MaxRun)
	}
	g.HardCap = limit(catchUp)
	g.RunLimitFloor = limit(catchUpNight)
	g.FirstFillLimit = g.RunLimitFloor
	g.RunLimitFactor = runLimitOverFill
	pauseS := k.fillM3 / (2 * k.lossHigh * budgetOverHigh) * day.Seconds()
	g.MinOff = clamp(seconds(pauseS), 30*time.Second, 10*time.Minute)
	if s.HasSump() {
		refillS := (v.drainM3() + v.dipM3) / k.returnFlowM3S
		g.RestartSettle = max(ceilTo(seconds(settleOverRefill*refillS), 30*time.Second), shortestSettle)
	} else {
		g.RestartSettle = shortestSettle
	}
	g.HoldExpires = holdExpires
	g.LevelAnswerMM = answerMM
	g.LevelAnswer = clamp(seconds(answerWear*answerMM/1000*k.chamberM2/k.topOffM3S), g.LevelAnswer, guard.MaxRun)
	g.DailyBudget = clamp(seconds(budgetOverHigh*k.lossHigh/k.topOffM3S), time.Second, day)
	g.GiveMost = k.giveMost(v)
	g.WetTooLong = clamp(seconds(wetOverPause*k.fillM3/k.lossLow*day.Seconds()), shortestWet, longestWet)

	take := func(d *time.Duration, s float64) {
		if s > 0 {
			*d = seconds(s)
		}
	}
	take(&g.ConfirmDry, c.ConfirmDryS)
	take(&g.ConfirmWet, c.ConfirmWetS)
	take(&g.HardCap, c.RunHardCapS)
	g.RunLimitFloor, g.FirstFillLimit = min(g.RunLimitFloor, g.HardCap), min(g.FirstFillLimit, g.HardCap)
	take(&g.FirstFillLimit, c.FirstFillLimitS)
	take(&g.MinOff, c.MinOffS)
	take(&g.RestartSettle, c.RestartSettleS)
	take(&g.HoldExpires, c.HoldExpiresS)
	if c.RunLimitFactor > 0 {
		g.RunLimitFactor = c.RunLimitFactor
		g.RunLimitFloor = clamp(seconds(fillS*c.RunLimitFactor), time.Second, g.HardCap)
	}
	if c.DailyBudgetM3 > 0 {
		g.HoldExpires = holdExpires
		g.LevelAnswerMM = answerMM
		g.LevelAnswer = clamp(seconds(answerWear*answerMM/1000*k.chamberM2/k.topOffM3S), g.LevelAnswer, guard.MaxRun)
		g.DailyBudget = clamp(seconds(c.DailyBudgetM3/k.topOffM3S), time.Second, day)
	}
	return &g
}

const day = 24 * time.Hour

func seconds(s float64) time.Duration {
	if !(s < 1e9) {
		return 1e9 * time.Second
	}
	return time.Duration(s * float64(time.Second))
}

func clamp(d, lo, hi time.Duration) time.Duration { return min(max(d, lo), hi) }

func ceilTo(d, step time.Duration) time.Duration {
	return (d + step - 1) / step * step
}

// items writes the settings down, each with its reason.
func (k *sketch) items(g *guard.Settings, geo *Geometry, watchReason string) []Setting {
	s, u := k.tank, k.u
	t := &s.TopOff
	var out []Setting
	add := func(id, name, value string, si float64, given bool, reason string, args ...any) {
		out = append(out, Setting{ID: id, Name: name, Value: value, SI: si, Given: given,
			Reason: fmt.Sprintf(reason, args...)})
	}
	length := func(id, name string, m float64, given bool, reason string, args ...any) {
		add(id, name, u.Length(m), m, given, reason, args...)
	}
	lasting := func(id, name string, d time.Duration, given bool, reason string, args ...any) {
		if given {
			reason, args = "as the tank file says.", nil
		}
		add(id, name, u.Duration(d.Seconds()), d.Seconds(), given, reason, args...)
	}
	floor := "display"
	if s.HasSump() {
		floor = "chamber"
	}
	if t.Watch != nil {
		given := !math.IsNaN(t.Watch.ElevationM)
		if watchReason == "" {
			watchReason = "as the tank file says"
		}
		reserve := ""
		if s.HasSump() {
			reserve = fmt.Sprintf("; below it %s last %s before the return pump draws air",
				u.Volume(geo.ChamberReserveM3), u.Duration(geo.ChamberReserveM3/k.lossMid*day.Seconds()))
		}
		length("watch", "Watch sensor above the "+floor+" floor", k.levels.WatchM, given, "%s%s.", watchReason, reserve)
	}
	if t.Ceiling != nil {
		from := ""
		if s.HasSump() {
			from = "after drain-down from there "
		}
		length("ceiling", "Ceiling sensor above the "+floor+" floor", k.levels.CeilingM, !math.IsNaN(t.Ceiling.ElevationM),
			"%s above the watch level, clear of both switching bands and of ripples; %s%s stay below the rim.",
			u.Length(k.levels.CeilingM-k.levels.WatchM), from, u.Length(geo.MarginM))
	}
	if g == nil {
		return k.reservoirItem(out, geo)
	}
	c := s.Controller
	add("fill", "One fill", u.Volume(k.fillM3), k.fillM3, false,
		"the watch sensor's band of %s over the chamber's surface.", u.Length(t.Watch.HysteresisM))
	lasting("fill-time", "One fill takes", seconds(k.fillM3/k.topOffM3S), false,
		"at %s through this tube and lift.", u.Flow(k.topOffM3S))
	lasting("first-fill-limit", "First fill limit", g.FirstFillLimit, c.FirstFillLimitS > 0,
		"until a fill has been learned.")
	add("run-limit", "Run limit", fmt.Sprintf("%.3g × the learned fill, at least %s", g.RunLimitFactor, u.Duration(g.RunLimitFloor.Seconds())),
		g.RunLimitFloor.Seconds(), c.RunLimitFactor > 0,
		"one run brings at most %s, enough to make up %s without power; a pump that needs longer is weak, a level that needs more is leaking.",
		u.Volume(g.Limit(seconds(k.fillM3/k.topOffM3S)).Seconds()*k.topOffM3S), u.Duration(catchUpNight.Seconds()))
	lasting("run-hard-cap", "Run limit, whatever was learned", g.HardCap, c.RunHardCapS > 0,
		"at most %s, beside the %s that may safely enter at once; never above ten minutes.",
		u.Volume(g.HardCap.Seconds()*k.topOffM3S), u.Volume(k.safeM3))
	lasting("min-off", "Pause between fills", g.MinOff, c.MinOffS > 0,
		"lets the level settle; still keeps up with twice the daily budget.")
	if s.HasSump() {
		lasting("restart-settle", "Wait after a return-pump restart", g.RestartSettle, c.RestartSettleS > 0,
			"three times what the display needs to refill %s, during which the chamber stands low.",
			u.Volume(geo.DrainDownM3()))
	} else {
		lasting("restart-settle", "Wait after power-up", g.RestartSettle, c.RestartSettleS > 0, "lets the water come to rest.")
	}
	lasting("confirm-dry", "Watch dry before a fill", g.ConfirmDry, c.ConfirmDryS > 0, "longer than a wave.")
	budgetM3 := g.DailyBudget.Seconds() * k.topOffM3S
	add("daily-budget", "Daily budget", u.Volume(budgetM3), budgetM3, c.DailyBudgetM3 > 0,
		"half as much again as the high end of the driest season, %s a day with skimmate; more than that is not evaporation.",
		u.Volume(k.lossHigh))
	lasting("wet-too-long", "Alarm when the watch stays wet", g.WetTooLong, false,
		"three times the longest pause that evaporation leaves between fills.")
	lasting("hold-expires", "A hold ends by itself after", g.HoldExpires, c.HoldExpiresS > 0,
		"so that a forgotten hold does not stop the top-off for days.")
	return k.reservoirItem(out, geo)
}

// lowestM is the level at which a reservoir gives no more.
func lowestM(r *tankfile.Reservoir) float64 {
	if r.LowSensor != nil {
		return max(r.PumpIntakeHeightM, r.LowSensor.HeightM)
	}
	return r.PumpIntakeHeightM
}

// reservoirItem says how long the reservoir lasts and what it may dump.
func (k *sketch) reservoirItem(out []Setting, geo *Geometry) []Setting {
	r := k.tank.TopOff.Reservoir
	if r == nil {
		return out
	}
	v, err := r.Shape.Vessel()
	if err != nil {
		return out
	}
	u := k.u
	full := v.VolumeM3(r.FillHeightM)
	usable := full - v.VolumeM3(lowestM(r))
	days := func(evap float64) string { return u.Duration(usable / evap * day.Seconds()) }
	safe := fmt.Sprintf("All of it at once would go %s past what this system may take (%s).",
		u.Volume(full-geo.DumpSafeM3), u.Volume(geo.DumpSafeM3))
	if full <= geo.DumpSafeM3 {
		safe = fmt.Sprintf("All of it at once does no serious harm (this system may take %s): inherently safe.", u.Volume(geo.DumpSafeM3))
	}
	return append(out, Setting{ID: "reservoir", Name: "Reservoir", Value: u.Volume(full), SI: full, Given: true,
		Reason: fmt.Sprintf("lasts %s in the driest season, %s at the high end; somebody comes every %s. %s",
			days(k.lossMid), days(k.lossHigh), u.Duration(k.tank.People.DaysBetweenVisits*day.Seconds()), safe)})
}
