package plant

import (
	"fmt"
	"math"

	"isohaline/evaporation"
	"isohaline/internal/tankfile"
	"isohaline/seawater"
)

// climate is a season's room and waters as the evaporation models want them.
type climate struct {
	model         evaporation.Model
	air           evaporation.Air
	waterC        float64
	display, sump evaporation.Surface
}

func climateOf(s *tankfile.Tank, season tankfile.Season) (climate, error) {
	c := climate{waterC: waterTempC(s, season), air: evaporation.Air{
		TempC: season.AirC, RHFrac: season.RHFrac,
		SpeedMS: season.AirSpeedMS, PressurePa: s.Room.PressurePa,
	}}
	if name := s.Room.EvaporationModel; name != "" {
		var err error
		if c.model, err = evaporation.ParseModel(name); err != nil {
			return c, fmt.Errorf("room.evaporation model: %w", err)
		}
	}
	var err error
	c.display, c.sump, err = surfaces(s, season)
	return c, err
}

func waterTempC(s *tankfile.Tank, season tankfile.Season) float64 {
	if math.IsNaN(season.WaterTempC) {
		return s.Water.TempC
	}
	return season.WaterTempC
}

func (c *climate) waterAt(salinityPSU float64) evaporation.Water {
	return evaporation.Water{TempC: c.waterC,
		Activity: seawater.WaterActivity(seawater.AbsoluteSalinity(salinityPSU), c.waterC)}
}

// Evaporation predicts what display and sump lose in a season, at the target
// salinity.
func Evaporation(s *tankfile.Tank, season tankfile.Season) (display, sump evaporation.Estimate, err error) {
	c, err := climateOf(s, season)
	if err != nil {
		return display, sump, err
	}
	w := c.waterAt(s.Water.SalinityPSU)
	display = evaporation.Predict(c.model, c.display, w, c.air)
	if s.HasSump() {
		sump = evaporation.Predict(c.model, c.sump, w, c.air)
	}
	return display, sump, nil
}

// evaporationLine is kg/s against practical salinity, linear about the target:
// water activity is nearly linear in salinity.
type evaporationLine struct{ atTargetKgS, perPSUKgS float64 }

func (e evaporationLine) kgS(offTargetPSU float64) float64 {
	return max(e.atTargetKgS+e.perPSUKgS*offTargetPSU, 0)
}

// lineStepPSU is the span the line is drawn over.
const lineStepPSU = 5

func (c *climate) line(surface evaporation.Surface, targetPSU, factor float64) evaporationLine {
	at := func(psu float64) float64 {
		return evaporation.KgPerDay(c.model, surface, c.waterAt(psu), c.air) / secondsPerDay * factor
	}
	base := at(targetPSU)
	return evaporationLine{atTargetKgS: base, perPSUKgS: (at(targetPSU+lineStepPSU) - base) / lineStepPSU}
}

// surfaces are the open waters of display and sump in a season. The sump's is
// zero where there is none. Rock under water takes no surface away.
func surfaces(s *tankfile.Tank, season tankfile.Season) (display, sump evaporation.Surface, err error) {
	agitation, err := evaporation.ParseAgitation(s.Display.Agitation)
	if err != nil {
		return display, sump, fmt.Errorf("reading the display's surface: %w", err)
	}
	levelM := s.Display.FillHeightM
	if s.HasSump() {
		levelM = s.Overflow.CrestHeightM
	}
	display = evaporation.Surface{
		AreaM2: s.Display.Shape.PlanAreaM2(levelM), LidFrac: s.Display.LidFrac, Agitation: agitation,
		FanSpeedMS: season.FanSpeedMS, FanDutyFrac: season.FanDutyFrac,
	}
	if !s.HasSump() {
		return display, sump, nil
	}
	if agitation, err = evaporation.ParseAgitation(s.Sump.Agitation); err != nil {
		return display, sump, fmt.Errorf("reading the sump's surface: %w", err)
	}
	sump = evaporation.Surface{AreaM2: s.Sump.SurfaceM2(), LidFrac: s.Sump.LidFrac, Agitation: agitation}
	return display, sump, nil
}
