package chart

import "math"

// Thicknesses and distances that a tank file does not state. They are drawn,
// not measured, and the drawing says so.
const (
	glassM     = 0.010 // walls of display and sump
	thinWallM  = 0.005 // of the reservoir
	baffleM    = 0.006
	drainBoreM = 0.032
	clearM     = 0.055 // between things that stand side by side
	weirBoxM   = 0.090 // width of the box behind a weir
	weirDeepM  = 0.160 // its depth below the crest
)

// plan is where everything stands from left to right, in metres; the display's
// inside begins at 0 where it is widest. The order is that of the water: the
// drain on the left, through the sump to the return chamber, up on the right.
type plan struct {
	s *Section

	displayMidM, displayWidthM float64
	// insideLeftM, insideRightM bound what is inside the display at any height.
	insideLeftM, insideRightM float64
	drainM, emergencyM        float64 // middle of the drain pipes
	sumpM                     float64 // inside left
	compartmentM              []span  // inside left and right
	pumpM, tubeEndM           float64 // in the return chamber
	crossElevationM           float64 // of the return line's run to the riser
	riserM, returnM           float64 // the way up, the way down into the display
	reservoirMidM             float64
	reservoirWidthM           float64
	tubeDropM                 float64 // where a high tube comes down
	lineM                     float64 // a plumbed line's tap
	leftM, rightM             float64 // extent of everything
	bottomM, topM             float64 // elevations
	groundM                   float64
}

func planOf(s *Section) *plan {
	p := &plan{s: s, lineM: math.NaN(), reservoirMidM: math.NaN(), tubeDropM: math.NaN()}
	narrowest, widest := s.Display.extremes()
	p.displayMidM, p.displayWidthM = widest/2, widest
	p.insideLeftM, p.insideRightM = (widest-narrowest)/2, (widest+narrowest)/2
	p.leftM, p.rightM = -glassM, widest+glassM
	p.bottomM = s.Display.FloorElevationM - glassM
	p.topM = s.Display.rimElevationM()
	if s.Sump != nil {
		p.circulation()
	} else {
		p.tubeEndM = p.insideRightM - 0.12*narrowest
	}
	p.source()
	p.groundM = p.bottomM
	return p
}

// circulation places drain, sump and return.
func (p *plan) circulation() {
	s := p.s
	if s.Overflow.Standpipe {
		p.drainM = p.insideLeftM + clearM
		p.emergencyM = p.drainM + clearM + drainBoreM
	} else {
		p.drainM = -glassM - clearM + drainBoreM/2
		p.emergencyM = p.drainM - clearM
	}
	first := p.drainM
	if !math.IsNaN(s.Overflow.EmergencyHeightM) {
		first = min(first, p.emergencyM)
	}
	p.sumpM = first - drainBoreM
	x := p.sumpM
	for _, c := range s.Sump.Compartments {
		p.compartmentM = append(p.compartmentM, span{x, x + c.LengthM})
		x += c.LengthM + baffleM
	}
	chamber := p.compartmentM[len(p.compartmentM)-1]
	const pumpAt, tubeAt = 0.28, 0.86 // of the chamber's length
	p.pumpM = chamber.lo + pumpAt*(chamber.hi-chamber.lo)
	p.tubeEndM = chamber.lo + tubeAt*(chamber.hi-chamber.lo)
	p.leftM = min(p.leftM, p.sumpM-glassM)
	p.riserM = max(p.displayWidthM+glassM+clearM, p.pumpM)
	p.returnM = p.insideRightM - 0.045
	p.crossElevationM = max(s.Display.FloorElevationM-glassM-clearM, s.Sump.HeightM+clearM/2)
	p.rightM = max(p.riserM+s.Return.BoreM/2+0.01, chamber.hi+glassM)
	p.bottomM = min(p.bottomM, -glassM)
	p.topM = max(p.topM, s.Sump.HeightM) + clearM // the return line goes over the rim
}

// source places the reservoir or the plumbed line.
func (p *plan) source() {
	s := p.s
	p.topM = max(p.topM, s.TopOff.HighElevationM+0.01, s.TopOff.EndElevationM)
	right := p.displayWidthM + glassM
	if s.Sump != nil {
		right = p.compartmentM[len(p.compartmentM)-1].hi + glassM
	}
	if r := s.Reservoir; r != nil {
		_, p.reservoirWidthM = r.extremes()
		outer := p.reservoirWidthM/2 + thinWallM
		top := max(r.rimElevationM(), s.TopOff.HighElevationM)
		// It stands beside the sump if it fits under the display, else right of
		// everything.
		left := right + clearM
		if s.Sump == nil || top+clearM > p.crossElevationM {
			left = max(left, p.rightM+clearM)
		}
		p.reservoirMidM = left + outer
		p.rightM = max(p.rightM, p.reservoirMidM+outer)
		p.bottomM = min(p.bottomM, r.FloorElevationM-thinWallM)
		p.topM = max(p.topM, r.rimElevationM())
		// A tube from above comes down beside the riser.
		p.tubeDropM = left - 0.4*clearM
		right = p.reservoirMidM + outer
	}
	if s.TopOff.Plumbed {
		p.lineM = max(p.rightM, right) + clearM
		p.rightM = p.lineM + 0.03
	}
}

// used are the stretches of elevation where something stands, so that the empty
// ones between can be left out.
func (p *plan) used() []span {
	s := p.s
	const around = 0.05
	u := []span{{s.Display.FloorElevationM - clearM - around, s.Display.rimElevationM() + clearM}}
	if s.Sump != nil {
		u = append(u, span{-glassM, s.Sump.HeightM + around})
	}
	if s.Reservoir != nil {
		u = append(u, span{s.Reservoir.FloorElevationM - thinWallM, s.Reservoir.rimElevationM()})
	}
	for _, m := range []float64{s.TopOff.HighElevationM, s.TopOff.EndElevationM} {
		u = append(u, span{m - around, m + around})
	}
	return u
}
