package plant

import (
	"fmt"
	"math"

	"isohaline/evaporation"
	"isohaline/internal/site"
)

// Surfaces are the open waters of display and sump in a season. The sump's is
// zero where there is none. Rock under water takes no surface away.
func Surfaces(s *site.Site, season site.Season) (display, sump evaporation.Surface, err error) {
	agitation, err := evaporation.ParseAgitation(s.Display.Agitation)
	if err != nil {
		return display, sump, fmt.Errorf("reading the display's surface: %w", err)
	}
	levelM := s.Display.FillHeightM
	if s.HasSump() {
		levelM = s.Overflow.CrestHeightM
	}
	display = evaporation.Surface{
		AreaM2: planAreaM2(&s.Display.Shape, levelM), LidFrac: s.Display.LidFrac, Agitation: agitation,
		FanSpeedMS: season.FanSpeedMS, FanDutyFrac: season.FanDutyFrac,
	}
	if !s.HasSump() {
		return display, sump, nil
	}
	if agitation, err = evaporation.ParseAgitation(s.Sump.Agitation); err != nil {
		return display, sump, fmt.Errorf("reading the sump's surface: %w", err)
	}
	sump = evaporation.Surface{LidFrac: s.Sump.LidFrac, Agitation: agitation}
	for _, c := range s.Sump.Compartments {
		sump.AreaM2 += c.LengthM * s.Sump.WidthM
	}
	return display, sump, nil
}

// planAreaM2 is a vessel's plan at a height, rock or no rock.
func planAreaM2(sh *site.Shape, heightM float64) float64 {
	switch sh.Kind {
	case "rectangle":
		return sh.LengthM * sh.WidthM
	case "cylinder":
		return math.Pi / 4 * sh.DiameterM * sh.DiameterM
	}
	t := sh.Table
	for i := 1; i < len(t); i++ {
		if a, b := t[i-1], t[i]; heightM <= b.HeightM {
			if b.HeightM == a.HeightM {
				return b.AreaM2
			}
			return a.AreaM2 + (b.AreaM2-a.AreaM2)*(heightM-a.HeightM)/(b.HeightM-a.HeightM)
		}
	}
	return t[len(t)-1].AreaM2
}
