package account

import (
	"fmt"
	"math"

	"isohaline/evaporation"
	"isohaline/hydraulics"
	"isohaline/internal/tankfile"
	"isohaline/reliability"
	"isohaline/seawater"
)

const (
	litresPerM3   = 1000.0
	mmPerM        = 1000.0
	secondsPerDay = 86400.0
	daysAYear     = reliability.DaysPerYear
)

// tank is what the site's drawing says, worked out once. It is where the
// filter starts from, never what it ends with: a drawing's flow, band and
// evaporation are wrong by tens of per cent on a real tank.
type tank struct {
	systemL   float64 // all water that takes part in the mixing
	targetPSU float64
	// bandL is the water between the watch sensor's two switching levels; 0
	// without a watch sensor.
	bandL float64
	// chamber is the vessel where the level shows, chamberM2 its surface at the
	// watch level.
	chamber   hydraulics.Vessel
	chamberM2 float64
	watchMM   float64 // NaN: not known
	// intakeMM is where the return pump draws air: below, the display takes the
	// losses, and the chamber's level says nothing.
	intakeMM float64
	// flowLDay is the top-off at work, skimLDay the skimmer's habit.
	flowLDay, skimLDay float64
	// reserveL is the water between watch level and return-pump intake, marginL
	// what fits between watch level and rim after drain-down.
	reserveL, marginL float64
	// reservoirL is what the pump can take from a full reservoir, lowL what is
	// left at its low sensor; 0 without one.
	reservoirL, lowL float64
	endless          bool // a plumbed line behind pump or reservoir
	visitDays        float64
	limits           tankfile.Limits
	thirst           thirst
}

func newTank(s *tankfile.Tank, o *Settings) (tank, error) {
	t := tank{targetPSU: s.Water.SalinityPSU, limits: s.Limits, visitDays: s.People.DaysBetweenVisits}
	if s.Skimmer != nil {
		t.skimLDay = s.Skimmer.SkimmateM3Day * litresPerM3
	}
	display, err := s.Display.Shape.Vessel()
	if err != nil {
		return t, fmt.Errorf("account: display: %w", err)
	}
	chamber, fixedM3 := display, 0.0
	if s.HasSump() {
		if chamber, err = s.Sump.Vessel(); err != nil {
			return t, fmt.Errorf("account: sump: %w", err)
		}
		fixedM3 = s.Sump.FixedM3() + display.VolumeM3(s.Overflow.CrestHeightM)
	}
	levelM := watchLevelM(s, o)
	t.watchMM = levelM * mmPerM
	if math.IsNaN(levelM) {
		levelM = chamber.RimM() / 2
	}
	t.systemL = (fixedM3 + chamber.VolumeM3(levelM)) * litresPerM3
	t.chamber, t.chamberM2 = chamber, chamber.AreaM2(levelM)
	if w := s.TopOff.Watch; w != nil {
		t.bandL = (chamber.VolumeM3(levelM+w.HysteresisM/2) - chamber.VolumeM3(levelM-w.HysteresisM/2)) * litresPerM3
	}
	t.marginL = (chamber.CapacityM3() - chamber.VolumeM3(levelM)) * litresPerM3
	if s.HasSump() {
		t.reserveL = (chamber.VolumeM3(levelM) - chamber.VolumeM3(s.Return.IntakeElevationM)) * litresPerM3
		t.intakeMM = s.Return.IntakeElevationM * mmPerM
		lowest := max(s.Return.OutletHeightM, s.Return.SiphonBreakHeightM)
		down := display.VolumeM3(s.Overflow.CrestHeightM) - display.VolumeM3(lowest)
		t.marginL -= max(down, 0) * litresPerM3
	}
	if err := t.source(s, levelM); err != nil {
		return t, err
	}
	t.thirst, err = newThirst(s)
	return t, err
}

// most is how far the states of any tank may go: nonsense ends there.
func (t *tank) most() [states]float64 {
	return [states]float64{deficit: 20 * t.systemL, evap: 100, weather: 100, flow: 100, band: 100,
		leak: 2 * t.systemL, salt: 100, gauge: 20 * t.systemL}
}

// watchLevelM is where the watch sensor switches: as set up, else as drawn.
func watchLevelM(s *tankfile.Tank, o *Settings) float64 {
	switch w := s.TopOff.Watch; {
	case o.WatchM > 0:
		return o.WatchM
	case w != nil && !math.IsNaN(w.ElevationM):
		return w.ElevationM
	case s.TopOff.FloatValve != nil:
		return s.TopOff.FloatValve.ShutElevationM
	case !s.HasSump():
		return s.Display.FillHeightM
	}
	return math.NaN()
}

// source is where the fresh water comes from and how fast.
func (t *tank) source(s *tankfile.Tank, levelM float64) error {
	top := &s.TopOff
	if top.Plumbed != nil {
		t.endless = true
		t.flowLDay = top.Plumbed.ProductM3S * litresPerM3 * secondsPerDay
		return nil
	}
	r := top.Reservoir
	v, err := r.Shape.Vessel()
	if err != nil {
		return fmt.Errorf("account: reservoir: %w", err)
	}
	intakeM3 := v.VolumeM3(r.PumpIntakeHeightM)
	t.reservoirL = (v.VolumeM3(r.FillHeightM) - intakeM3) * litresPerM3
	if r.LowSensor != nil {
		t.lowL = max(v.VolumeM3(r.LowSensor.HeightM)-intakeM3, 0) * litresPerM3
	}
	t.endless = r.Refill != nil
	if top.Pump == nil {
		return nil
	}
	points := make([]hydraulics.PumpPoint, len(top.Pump.Curve))
	for i, p := range top.Pump.Curve {
		points[i] = hydraulics.PumpPoint{FlowM3S: p.FlowM3S, HeadM: p.HeadM}
	}
	curve, err := hydraulics.NewPumpCurve(points)
	if err != nil {
		return fmt.Errorf("account: top-off pump: %w", err)
	}
	line := hydraulics.Tube{LengthM: top.Tube.LengthM, BoreM: top.Tube.BoreM,
		MinorLossK: top.Tube.MinorLossK, RoughnessM: hydraulics.RoughnessSmoothM}
	// Half a reservoir is the lift on average.
	surfaceM := r.FloorElevationM + (r.FillHeightM+r.PumpIntakeHeightM)/2
	liftM := max(top.TubeEndElevationM, levelM) - surfaceM
	flow := hydraulics.OperatingFlowM3S(curve, line, liftM, hydraulics.FreshWaterViscosityM2S(s.Water.TempC))
	t.flowLDay = max(flow, 0) * litresPerM3 * secondsPerDay
	return nil
}

// thirst is what the air takes, by the physics alone.
type thirst struct {
	model   evaporation.Model
	seasons []seasonAir
	waterC  float64
	psu     float64
	// usualLDay is the year's mean, the prediction while no room air is told.
	usualLDay float64
	// factor is what the site's own record makes of the prediction, bandFrac
	// the mean deviation that is left.
	factor, bandFrac float64
	// seasonFrac is how far the seasons lie from the year's mean, airFrac how far
	// a room's ordinary days lie from its season, one standard deviation.
	seasonFrac, airFrac float64
}

// seasonAir is a season's air and the open waters under it.
type seasonAir struct {
	share         float64 // of the year
	air           evaporation.Air
	display, sump evaporation.Surface
}

func newThirst(s *tankfile.Tank) (thirst, error) {
	h := thirst{waterC: s.Water.TempC, psu: s.Water.SalinityPSU, factor: 1}
	var err error
	if name := s.Room.EvaporationModel; name != "" {
		if h.model, err = evaporation.ParseModel(name); err != nil {
			return h, fmt.Errorf("account: %w", err)
		}
	}
	var year evaporation.Estimate
	squares := 0.0
	for _, season := range s.Room.Seasons {
		a := seasonAir{share: season.Days / daysAYear, air: evaporation.Air{TempC: season.AirC,
			RHFrac: season.RHFrac, SpeedMS: season.AirSpeedMS, PressurePa: s.Room.PressurePa}}
		if a.display, a.sump, err = openWaters(s, season); err != nil {
			return h, err
		}
		h.seasons = append(h.seasons, a)
		waterC := season.WaterTempC
		if math.IsNaN(waterC) {
			waterC = h.waterC
		}
		e := h.over(&a, waterC, a.air)
		year.LitresPerDay += e.LitresPerDay * a.share
		year.LowLitresPerDay += e.LowLitresPerDay * a.share
		year.HighLitresPerDay += e.HighLitresPerDay * a.share
		squares += e.LitresPerDay * e.LitresPerDay * a.share
	}
	h.usualLDay = year.LitresPerDay
	if !(h.usualLDay > 0) || math.IsInf(h.usualLDay, 1) {
		return h, fmt.Errorf("account: room: the physics predicts %v L of evaporation a day: check air, humidity and water temperature", h.usualLDay)
	}
	h.bandFrac = year.HighLitresPerDay/year.LitresPerDay - 1
	h.seasonFrac = math.Sqrt(max(squares-h.usualLDay*h.usualLDay, 0)) / h.usualLDay
	h.airFrac = h.restless()
	if record := s.Room.MeasuredLitresPerDay; record > 0 {
		c, err := evaporation.Calibrate(year, record, daysAYear)
		if err != nil {
			return h, fmt.Errorf("account: room.measured top-off: %w", err)
		}
		h.factor, h.bandFrac = c.Multiplier, c.BandFrac
	}
	return h, nil
}

// openWaters are the surfaces of display and sump in a season.
func openWaters(s *tankfile.Tank, season tankfile.Season) (display, sump evaporation.Surface, err error) {
	levelM := s.Display.FillHeightM
	if s.HasSump() {
		levelM = s.Overflow.CrestHeightM
	}
	display = evaporation.Surface{AreaM2: s.Display.Shape.PlanAreaM2(levelM), LidFrac: s.Display.LidFrac,
		FanSpeedMS: season.FanSpeedMS, FanDutyFrac: season.FanDutyFrac}
	if display.Agitation, err = evaporation.ParseAgitation(s.Display.Agitation); err != nil {
		return display, sump, fmt.Errorf("account: display.surface: %w", err)
	}
	if s.HasSump() {
		sump = evaporation.Surface{AreaM2: s.Sump.SurfaceM2(), LidFrac: s.Sump.LidFrac}
		if sump.Agitation, err = evaporation.ParseAgitation(s.Sump.Agitation); err != nil {
			return display, sump, fmt.Errorf("account: sump.surface: %w", err)
		}
	}
	return display, sump, nil
}

// A lived-in room's air from day to day, one standard deviation. Judgements.
const (
	roomTempC  = 0.8
	roomRHFrac = 0.05
)

// restless is what an ordinary room's ups and downs do to the evaporation, as a
// share: little over warm water in dry air, much where the vapour pressures of
// water and room nearly cancel.
func (h *thirst) restless() float64 {
	sum := 0.0
	for i := range h.seasons {
		a := &h.seasons[i]
		at := func(tempC, rhFrac float64) float64 {
			air := a.air
			air.TempC, air.RHFrac = air.TempC+tempC, min(max(air.RHFrac+rhFrac, 0), 1)
			return h.over(a, h.waterC, air).LitresPerDay
		}
		if now := at(0, 0); now > 0 {
			temp, rh := (at(roomTempC, 0)-at(-roomTempC, 0))/2/now, (at(0, roomRHFrac)-at(0, -roomRHFrac))/2/now
			sum += a.share * math.Hypot(temp, rh)
		}
	}
	return sum
}

func (h *thirst) over(a *seasonAir, waterC float64, air evaporation.Air) evaporation.Estimate {
	w := evaporation.Water{TempC: waterC, Activity: seawater.WaterActivity(seawater.AbsoluteSalinity(h.psu), waterC)}
	e := evaporation.Predict(h.model, a.display, w, air)
	if a.sump.AreaM2 > 0 {
		e = e.Plus(evaporation.Predict(h.model, a.sump, w, air))
	}
	return e
}

// in is the prediction for a room as read, L/day: the mean of the seasons'
// draughts and fans under that air. It is at least a twentieth of the usual, so
// that an absurd room cannot stop the account.
func (h *thirst) in(airC, rhFrac, waterC float64) float64 {
	sum := 0.0
	for i := range h.seasons {
		a := &h.seasons[i]
		air := a.air
		air.TempC, air.RHFrac = airC, rhFrac
		sum += a.share * h.over(a, waterC, air).LitresPerDay
	}
	const leastShare = 0.05
	if !(sum > leastShare*h.usualLDay) || math.IsInf(sum, 1) {
		return leastShare * h.usualLDay
	}
	return sum
}
