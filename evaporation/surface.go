package evaporation

import (
	"fmt"
	"math"
	"strings"
)

// Agitation is how much the surface moves. Moving water renews its surface and
// makes more of it.
type Agitation uint8

const (
	Still   Agitation = iota // a mirror
	Rippled                  // circulation pumps below the surface: most tanks
	Rough                    // air, splash, overflow: many sumps

	agitationEnd
)

// agitations holds each state's factor on a still surface's loss. Rough is the
// upper end of active over quiet pools (Smith, Löf and Jones 1998, ASHRAE Trans.
// 104(1A), 4146: 1.4 to 1.7); Rippled is a judgement between the two. A tank's
// own record replaces the guess: see Calibrate.
var agitations = [agitationEnd]struct {
	name   string
	factor float64
}{
	Still:   {"still", 1},
	Rippled: {"rippled", 1.3},
	Rough:   {"rough", 1.7},
}

// String is the name as ParseAgitation takes it.
func (g Agitation) String() string {
	if g >= agitationEnd {
		return fmt.Sprintf("Agitation(%d)", g)
	}
	return agitations[g].name
}

// Factor multiplies a still surface's loss; NaN for an unknown agitation.
func (g Agitation) Factor() float64 {
	if g >= agitationEnd {
		return math.NaN()
	}
	return agitations[g].factor
}

// ParseAgitation reads "still", "rippled" or "rough".
func ParseAgitation(name string) (Agitation, error) {
	var names []string
	for i, g := range agitations {
		if g.name == name {
			return Agitation(i), nil
		}
		names = append(names, g.name)
	}
	return 0, fmt.Errorf("surface agitation %q is not known: use one of %s", name, strings.Join(names, ", "))
}

// Surface is one open water surface of a tank.
type Surface struct {
	AreaM2 float64
	// LidFrac is the share of the surface under a lid, 0 to 1.
	LidFrac   float64
	Agitation Agitation
	// FanSpeedMS is the air speed over the water while fans run, FanDutyFrac
	// the share of the day that they run, 0 to 1.
	FanSpeedMS, FanDutyFrac float64
}

// lidPassFrac is what still gets out through the gaps of a lid, as a share of
// what the covered water would lose in the open. VDI 2089 has a covered pool at
// a tenth of an unused one (second-hand); that an aquarium's lid is like a pool's
// cover is a judgement.
const lidPassFrac = 0.1

// KgPerDay is the water a surface loses in a day, kg. A lid takes its share of
// the area away, all but a tenth of it. While fans run the air moves at their
// speed, if that is more than the room's; the day is the average of the two by
// duty. Shares outside 0 to 1 count as the nearer end.
func KgPerDay(m Model, s Surface, w Water, a Air) float64 {
	openM2 := s.AreaM2 * (1 - share(s.LidFrac)*(1-lidPassFrac))
	flux := FluxKgM2H(m, w, a)
	if duty := share(s.FanDutyFrac); duty != 0 {
		swept := a
		swept.SpeedMS = math.Max(a.SpeedMS, s.FanSpeedMS)
		flux += duty * (FluxKgM2H(m, w, swept) - flux)
	}
	return 24 * openM2 * s.Agitation.Factor() * flux
}

// share holds a fraction to 0 to 1 and lets NaN through.
func share(x float64) float64 { return math.Min(math.Max(x, 0), 1) }
