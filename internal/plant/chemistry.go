package plant

import (
	"fmt"
	"math"

	"isohaline/carbonate"
	"isohaline/internal/tankfile"
)

// water is what the animals feel of their water.
type water struct{ psu, dkh float64 }

func (w water) minus(v water) water { return water{w.psu - v.psu, w.dkh - v.dkh} }

const (
	litresPerM3 = 1000
	umolPerMol  = 1e6
	standardPa  = 101325 // a standard atmosphere, in which carbonate counts CO2
	// kgPerM3 is the density at which a kilogram is a litre.
	kgPerM3 = 1000
)

var (
	// molM3PerDKH is a degree of carbonate hardness in moles to the cubic metre.
	molM3PerDKH = carbonate.UmolKgFromDKH(1, kgPerM3) * litresPerM3 / umolPerMol
	// limeMolPerG is the alkalinity of a gram of Ca(OH)2, two moles to the mole
	// of 74.092 g (IUPAC 2021 atomic weights).
	limeMolPerG = 2 / 74.092
)

// waterOf is zero for an empty parcel.
func (tw *Twin) waterOf(p *parcel) water {
	volumeM3 := tw.fluid.volumeM3(*p)
	return water{psu: p.salinityPSU(), dkh: p.dissolvedIn(volumeM3).alkMolM3 / molM3PerDKH}
}

// seaAt is the tank's water made up at another salinity: its alkalinity goes
// with the salt.
func (tw *Twin) seaAt(psu float64) mix {
	return mix{psu: psu, alkMolM3: tw.target.dkh * molM3PerDKH * psu / tw.target.psu}
}

// buildChemistry works out what each water brings, and what is used up of it.
func (tw *Twin) buildChemistry(season tankfile.Season) error {
	s := tw.tank
	tw.sea = tw.seaAt(tw.target.psu)
	if w := s.WaterChange; w != nil {
		tw.newWater = tw.seaAt(w.SalinityPSU)
	}
	tw.chemistry = chemistry{
		fluid: tw.fluid, tempC: tw.waterC, target: tw.target,
		roomUatm:      s.Room.CO2PPM * s.Room.PressurePa / standardPa,
		calciumUmolKg: carbonate.CalciumUmolKg(s.Water.CalciumMgL, tw.fluid.densityKgM3(tw.target.psu)),
	}
	strength := s.TopOff.Reservoir.LimeStrength()
	if strength == 0 {
		return nil
	}
	lime, err := carbonate.SaturatedLimeWater(season.AirC) // it stands in the room
	if err != nil {
		return fmt.Errorf("top-off.reservoir.lime water: %w", err)
	}
	tw.topOffWater.alkMolM3 = strength * lime.TAUmolKg() / umolPerMol * tw.fluid.densityKgM3(0)

	// As much is used up as the lime water brings, or less if the tank says so.
	dkhDay := max(tw.LimeDKHDay(), 0)
	if stated := s.Water.ConsumptionDKHDay; !math.IsNaN(stated) {
		dkhDay = min(dkhDay, stated)
	}
	tw.uptakeMolS = dkhDay * molM3PerDKH * tw.SystemM3() / secondsPerDay
	tw.uptakeEndsMolM3 = tw.chemistry.saturatedDKH() * molM3PerDKH
	return nil
}

// LimeDKHDay is what lime water adds to the system's alkalinity in a day as
// built: what comes with the top-off less what the skimmer takes. 0 with fresh
// water.
func (tw *Twin) LimeDKHDay() float64 {
	if tw.topOffWater.alkMolM3 == 0 {
		return 0
	}
	skimmateM3Day := 0.0
	if s := tw.tank.Skimmer; s != nil {
		skimmateM3Day = s.SkimmateM3Day
	}
	molDay := tw.topOffWater.alkMolM3*(tw.EvaporationM3Day()+skimmateM3Day) - tw.sea.alkMolM3*skimmateM3Day
	return molDay / (molM3PerDKH * tw.SystemM3())
}

// SafeLimeM3 is the most lime water that may enter the whole system at once
// before alkalinity or pH is in class 3; +Inf where the top-off is fresh water.
func (tw *Twin) SafeLimeM3() float64 {
	if tw.topOffWater.alkMolM3 == 0 {
		return math.Inf(1)
	}
	const danger, halvings = Danger - 1, 40
	low, high := 0.0, tw.SystemM3()
	for range halvings {
		middle := (low + high) / 2
		tank := tw.fluid.parcelOf(tw.SystemM3(), tw.sea)
		tank.add(tw.fluid.parcelOf(middle, tw.topOffWater))
		after := tw.waterOf(&tank)
		closed, _, ok := tw.chemistry.states(after, tw.target)
		climbed := after.dkh - tw.target.dkh
		if ok && closed.PHTotal < HighPH[danger] && climbed < min(AlkalinityOffDKH[danger], AlkalinityDayDKH[danger]) {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// chemistry finds pH from salinity and alkalinity alone, under two assumptions
// between which the truth lies: closed, the water has exchanged nothing with
// the air for a day; settled, it is in balance with the room's.
type chemistry struct {
	fluid           fluid
	tempC, roomUatm float64
	target          water
	calciumUmolKg   float64 // at the target; 0: natural seawater's
}

// states are the animals' water now, given what it was a day ago, when it was in
// balance with the room. ok is false where package carbonate has no answer.
//
// What came in a day is told apart by what it did to alkalinity beside
// salinity. Seawater, fresh water and evaporation move both alike, and
// dissolved carbon with them. Alkalinity beyond that is lime's, which brings no
// carbon. Alkalinity short of that was built into lime by the animals, so slowly
// that the air keeps up: closed leaves it out.
func (c *chemistry) states(now, dayAgo water) (closed, settled carbonate.State, ok bool) {
	before, _, ok := c.settled(dayAgo)
	if !ok || dayAgo.psu <= 0 {
		return closed, settled, false
	}
	settled, k, ok := c.settled(now)
	if !ok {
		return closed, settled, false
	}
	diluted := now.psu / dayAgo.psu
	closed, err := k.Solve(carbonate.TA(max(settled.TAUmolKg, before.TAUmolKg*diluted)), carbonate.DIC(before.DICUmolKg*diluted))
	return closed, settled, err == nil
}

// rankOf are two numbers that rise with the pH of settled and of closed water:
// the logarithm of alkalinity less a little of salinity, and the share of
// alkalinity that lime brought in a day with a ninth of the first, in about
// which proportions pH answers to each.
func rankOf(now, dayAgo water) (settled, closed float64) {
	const ofTheWhole, perPSU = 1.0 / 9, 0.013
	settled = math.Log(max(now.dkh, math.SmallestNonzeroFloat64)) - perPSU*now.psu
	lime := 0.0
	if kept := dayAgo.dkh * now.psu / dayAgo.psu; kept > 0 {
		lime = max(now.dkh/kept-1, 0)
	}
	return settled, lime + ofTheWhole*settled
}

// What may go by before pH is worked out again: 0.01 of it, half of what its
// constants are known to.
const (
	quietSettled = 0.02
	quietClosed  = 0.003
)

// settled is water in balance with the room, with the constants it was found by.
func (c *chemistry) settled(w water) (carbonate.State, carbonate.Constants, bool) {
	var none carbonate.State
	k, err := carbonate.At(w.psu, c.tempC, carbonate.Options{})
	if err != nil {
		return none, k, false
	}
	ta, salt := c.taUmolKg(w), w.psu/c.target.psu
	// Calcium goes with the salt, and half a mole with each of alkalinity.
	calcium := k.CalciumTotal * umolPerMol
	if c.calciumUmolKg > 0 {
		calcium = c.calciumUmolKg * salt
	}
	calcium += (ta - c.taUmolKg(c.target)*salt) / 2
	if k, err = k.WithCalcium(max(calcium, 0)); err != nil {
		return none, k, false
	}
	state, err := k.Solve(carbonate.TA(ta), carbonate.PCO2(c.roomUatm))
	return state, k, err == nil
}

func (c *chemistry) taUmolKg(w water) float64 {
	return w.dkh * molM3PerDKH * umolPerMol / c.fluid.densityKgM3(w.psu)
}

// saturatedDKH is the alkalinity, up to the target, at which settled water is
// just saturated with aragonite: below it animals build no lime.
func (c *chemistry) saturatedDKH() float64 {
	const halvings = 40
	low, high := 0.0, c.target.dkh
	for range halvings {
		middle := (low + high) / 2
		if s, _, ok := c.settled(water{c.target.psu, middle}); ok && s.OmegaAragonite < 1 {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}
