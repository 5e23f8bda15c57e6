package design

import (
	"fmt"
	"math"

	"isohaline/evaporation"
	"isohaline/internal/tankfile"
	"isohaline/seawater"
)

// Evaporation is what the air takes, by the physics alone.
type Evaporation struct {
	model   evaporation.Model
	seasons []seasonAir
	WaterC  float64
	psu     float64
	// UsualLDay is the year's mean, the prediction while no room air is told.
	UsualLDay float64
	// Factor is what the site's own record makes of the prediction, BandFrac
	// the mean deviation that is left.
	Factor, BandFrac float64
	// SeasonFrac is how far the seasons lie from the year's mean, dayFrac how far
	// a room's ordinary days lie from its season, one standard deviation.
	SeasonFrac, dayFrac float64
}

// seasonAir is a season's air and the open waters under it.
type seasonAir struct {
	share         float64 // of the year
	air           evaporation.Air
	display, sump evaporation.Surface
}

func newEvaporation(s *tankfile.Tank) (Evaporation, error) {
	e := Evaporation{WaterC: s.Water.TempC, psu: s.Water.SalinityPSU, Factor: 1}
	var err error
	if name := s.Room.EvaporationModel; name != "" {
		if e.model, err = evaporation.ParseModel(name); err != nil {
			return e, fmt.Errorf("account: %w", err)
		}
	}
	var year evaporation.Estimate
	squares := 0.0
	for _, season := range s.Room.Seasons {
		a := seasonAir{share: season.Days / daysAYear, air: evaporation.Air{TempC: season.AirC,
			RHFrac: season.RHFrac, SpeedMS: season.AirSpeedMS, PressurePa: s.Room.PressurePa}}
		if a.display, a.sump, err = openWaters(s, season); err != nil {
			return e, err
		}
		e.seasons = append(e.seasons, a)
		waterC := season.WaterTempC
		if math.IsNaN(waterC) {
			waterC = e.WaterC
		}
		p := e.estimate(&a, waterC, a.air)
		year.LitresPerDay += p.LitresPerDay * a.share
		year.LowLitresPerDay += p.LowLitresPerDay * a.share
		year.HighLitresPerDay += p.HighLitresPerDay * a.share
		squares += p.LitresPerDay * p.LitresPerDay * a.share
	}
	e.UsualLDay = year.LitresPerDay
	if !(e.UsualLDay > 0) || math.IsInf(e.UsualLDay, 1) {
		return e, fmt.Errorf("account: room: the physics predicts %v L of evaporation a day: check air, humidity and water temperature", e.UsualLDay)
	}
	e.BandFrac = year.HighLitresPerDay/year.LitresPerDay - 1
	e.SeasonFrac = math.Sqrt(max(squares-e.UsualLDay*e.UsualLDay, 0)) / e.UsualLDay
	e.dayFrac = e.dayToDay()
	if record := s.Room.MeasuredLitresPerDay; record > 0 {
		c, err := evaporation.Calibrate(year, record, daysAYear)
		if err != nil {
			return e, fmt.Errorf("account: room.measured top-off: %w", err)
		}
		e.Factor, e.BandFrac = c.Multiplier, c.BandFrac
	}
	return e, nil
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

// dayToDay is what an ordinary room's ups and downs do to the evaporation, as a
// share: little over warm water in dry air, much where the vapour pressures of
// water and room nearly cancel.
func (e *Evaporation) dayToDay() float64 {
	sum := 0.0
	for i := range e.seasons {
		a := &e.seasons[i]
		at := func(tempC, rhFrac float64) float64 {
			air := a.air
			air.TempC, air.RHFrac = air.TempC+tempC, min(max(air.RHFrac+rhFrac, 0), 1)
			return e.estimate(a, e.WaterC, air).LitresPerDay
		}
		if now := at(0, 0); now > 0 {
			temp, rh := (at(roomTempC, 0)-at(-roomTempC, 0))/2/now, (at(0, roomRHFrac)-at(0, -roomRHFrac))/2/now
			sum += a.share * math.Hypot(temp, rh)
		}
	}
	return sum
}

func (e *Evaporation) estimate(a *seasonAir, waterC float64, air evaporation.Air) evaporation.Estimate {
	w := evaporation.Water{TempC: waterC, Activity: seawater.WaterActivity(seawater.AbsoluteSalinity(e.psu), waterC)}
	p := evaporation.Predict(e.model, a.display, w, air)
	if a.sump.AreaM2 > 0 {
		p = p.Plus(evaporation.Predict(e.model, a.sump, w, air))
	}
	return p
}

// PredictLDay is the prediction for a room as read, L/day: the mean of the
// seasons' draughts and fans under that air. It is at least a twentieth of the
// usual, so that an absurd room cannot stop the account.
func (e *Evaporation) PredictLDay(airC, rhFrac, waterC float64) float64 {
	sum := 0.0
	for i := range e.seasons {
		a := &e.seasons[i]
		air := a.air
		air.TempC, air.RHFrac = airC, rhFrac
		sum += a.share * e.estimate(a, waterC, air).LitresPerDay
	}
	const leastShare = 0.05
	if !(sum > leastShare*e.UsualLDay) || math.IsInf(sum, 1) {
		return leastShare * e.UsualLDay
	}
	return sum
}
