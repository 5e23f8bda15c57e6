package purewater

import (
	"fmt"
	"math"
)

// Saturation is liquid and vapour in equilibrium at one temperature.
type Saturation struct {
	PressurePa     float64
	Liquid, Vapour State
}

// LatentHeatJKg is the heat that turns a kilogram of the liquid into vapour.
func (s Saturation) LatentHeatJKg() float64 { return s.Vapour.EnthalpyJKg - s.Liquid.EnthalpyJKg }

// Saturated gives the equilibrium of liquid and vapour at tempC, from the
// triple point, 0.01 °C, to 360 °C: IAPWS-95 with the Maxwell construction. The
// error says when the temperature lies outside.
func Saturated(tempC float64) (Saturation, error) {
	if !(tempC >= triplePointTempC && tempC <= maxSaturationTempC) {
		return Saturation{}, fmt.Errorf("saturated water: temperature %g °C must lie from %g to %g °C", tempC, triplePointTempC, maxSaturationTempC)
	}
	tempK := tempC + kelvinAtZeroC
	tau := criticalTempK / tempK
	liquid := saturatedLiquidGuess(tempK) / criticalDensityKgM3
	vapour := saturatedVapourGuess(tempK) / criticalDensityKgM3
	for range newtonRounds {
		l, v := residual(liquid, tau), residual(vapour, tau)
		// Equal pressure p and Gibbs energy g, both reduced: Newton's method in
		// the two densities.
		pl, pv := liquid*(1+l.d), vapour*(1+v.d)
		gl, gv := math.Log(liquid)+l.f+l.d, math.Log(vapour)+v.f+v.d
		plD, pvD := 1+2*l.d+l.dd, 1+2*v.d+v.dd
		glD, gvD := plD/liquid, pvD/vapour // dg = dp/ρ on an isotherm
		det := plD*gvD - pvD*glD
		stepL := ((pv-pl)*gvD - (gv-gl)*pvD) / det
		stepV := ((pv-pl)*glD - (gv-gl)*plD) / det
		liquid += stepL
		vapour += stepV
		if math.Abs(stepL) <= newtonRelativeChange*liquid && math.Abs(stepV) <= newtonRelativeChange*vapour {
			s := Saturation{
				Liquid: stateAt(tempK, liquid*criticalDensityKgM3),
				Vapour: stateAt(tempK, vapour*criticalDensityKgM3),
			}
			// The vapour knows the pressure; in the cold liquid it is a small
			// difference of large terms.
			s.PressurePa = s.Vapour.PressurePa
			return s, nil
		}
	}
	return Saturation{}, fmt.Errorf("saturated water at %g °C: no equilibrium found", tempC)
}

// Starting densities: Wagner & Pruss 1993, J. Phys. Chem. Ref. Data 22,
// 783-787 (IAPWS SR1-86(1992)), eqs. (2) and (3), good to 2e-4 or better.
var (
	guessLiquid = [...]struct{ n, power float64 }{
		{1.99274064, 1. / 3}, {1.09965342, 2. / 3}, {-0.510839303, 5. / 3},
		{-1.75493479, 16. / 3}, {-45.5170352, 43. / 3}, {-6.74694450e5, 110. / 3},
	}
	guessVapour = [...]struct{ n, power float64 }{
		{-2.03150240, 2. / 6}, {-2.68302940, 4. / 6}, {-5.38626492, 8. / 6},
		{-17.2991605, 18. / 6}, {-44.7586581, 37. / 6}, {-63.9201063, 71. / 6},
	}
)

func saturatedLiquidGuess(tempK float64) float64 {
	theta := 1 - tempK/criticalTempK
	sum := 1.0
	for _, k := range guessLiquid {
		sum += k.n * math.Pow(theta, k.power)
	}
	return criticalDensityKgM3 * sum
}

func saturatedVapourGuess(tempK float64) float64 {
	theta := 1 - tempK/criticalTempK
	sum := 0.0
	for _, k := range guessVapour {
		sum += k.n * math.Pow(theta, k.power)
	}
	return criticalDensityKgM3 * math.Exp(sum)
}
