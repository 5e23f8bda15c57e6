package purewater

import (
	"fmt"
	"math"
)

// Constants of IAPWS R6-95, with terms 1 to 3 of its table 1 as revised in 2016;
// the first two set the zeros of entropy and energy.
const (
	criticalTempK       = 647.096
	criticalDensityKgM3 = 322.0
	gasConstantJKgK     = 461.51805
	idealN1             = -8.3204464837497
	idealN2             = 6.6832105275932
	idealN3             = 3.00632
)

const (
	kelvinAtZeroC    = 273.15
	triplePointTempC = 0.01

	minLiquidTempC      = 261.0 - kelvinAtZeroC // as IAPWS R13-08, which adds the salt
	maxLiquidTempC      = 100.0
	maxLiquidPressurePa = 1e9 // the range of IAPWS-95
	// maxSaturationTempC stops short of the critical point, 373.946 °C, where
	// the two densities merge and Newton's method with them.
	maxSaturationTempC = 360.0

	newtonRounds = 50
	// Newton's method doubles its digits: a step this small ends in rounding.
	newtonRelativeChange = 1e-9
)

// idealExponential are terms 4 to 8 of R6-95 table 1: n ln(1 - exp(-γ τ)).
var idealExponential = [...]struct{ n, gamma float64 }{
	{0.012436, 1.28728967},
	{0.97315, 3.53734222},
	{1.27950, 7.74073708},
	{0.96956, 9.24437796},
	{0.24873, 27.5075105},
}

// ideal is the ideal-gas part of IAPWS-95: R6-95 eq. (5) and table 4.
func ideal(delta, tau float64) helmholtz {
	h := helmholtz{
		f:  math.Log(delta) + idealN1 + idealN2*tau + idealN3*math.Log(tau),
		d:  1,
		dd: -1,
		t:  idealN2*tau + idealN3,
		tt: -idealN3,
	}
	for _, k := range idealExponential {
		g := k.gamma * tau
		e := math.Exp(-g)
		h.f += k.n * math.Log1p(-e)
		h.t += k.n * g * e / (1 - e)
		h.tt -= k.n * g * g * e / ((1 - e) * (1 - e))
	}
	return h
}

// State is water of one phase.
type State struct {
	DensityKgM3      float64
	PressurePa       float64
	GibbsJKg         float64 // chemical potential per kilogram
	EnthalpyJKg      float64
	EntropyJKgK      float64
	HeatCapacityJKgK float64 // isobaric, J/(kg K)
}

// stateAt evaluates R6-95 table 3.
func stateAt(tempK, densityKgM3 float64) State {
	delta, tau := densityKgM3/criticalDensityKgM3, criticalTempK/tempK
	i, r := ideal(delta, tau), residual(delta, tau)
	rt := gasConstantJKgK * tempK
	entropy := gasConstantJKgK * (i.t + r.t - i.f - r.f)
	enthalpy := rt * (1 + i.t + r.t + r.d)
	expansion := 1 + r.d - r.dt
	return State{
		DensityKgM3:      densityKgM3,
		PressurePa:       densityKgM3 * rt * (1 + r.d),
		EnthalpyJKg:      enthalpy,
		EntropyJKgK:      entropy,
		GibbsJKg:         rt * (1 + i.f + r.f + r.d),
		HeatCapacityJKgK: gasConstantJKgK * (-(i.tt + r.tt) + expansion*expansion/(1+2*r.d+r.dd)),
	}
}

// Liquid gives liquid water at tempC, -12.15 to 100, and absolute pressure, 0 to
// 1 GPa, by Newton's method on density. Below the saturation pressure or the
// freezing point it is the metastable liquid. The error says which argument is
// out of range.
func Liquid(tempC, pressurePa float64) (State, error) {
	if !(tempC >= minLiquidTempC && tempC <= maxLiquidTempC) {
		return State{}, fmt.Errorf("liquid water: temperature %g °C must lie from %.2f to %g °C", tempC, minLiquidTempC, maxLiquidTempC)
	}
	if !(pressurePa >= 0 && pressurePa <= maxLiquidPressurePa) {
		return State{}, fmt.Errorf("liquid water: pressure %g Pa must lie from 0 to %g Pa", pressurePa, maxLiquidPressurePa)
	}
	tempK := tempC + kelvinAtZeroC
	tau := criticalTempK / tempK
	rt := gasConstantJKgK * tempK
	// Below freezing this start is extrapolated, and still good to a per cent.
	density := saturatedLiquidGuess(tempK)
	for range newtonRounds {
		r := residual(density/criticalDensityKgM3, tau)
		step := (pressurePa - density*rt*(1+r.d)) / (rt * (1 + 2*r.d + r.dd))
		density += step
		if math.Abs(step) <= newtonRelativeChange*density {
			return stateAt(tempK, density), nil
		}
	}
	return State{}, fmt.Errorf("liquid water at %g °C, %g Pa: no density found", tempC, pressurePa)
}
