package moistair

import "math"

const (
	zeroCelsiusK = 273.15

	// triplePointC is where ice and liquid water share one vapour pressure.
	triplePointC = 0.01
)

// SaturationPressurePa is the vapour pressure of pure water in equilibrium with
// its vapour alone, Pa: over liquid water above the triple point (0.01 °C), over
// ice below it (Hyland and Wexler 1983, ASHRAE Trans. 89(2A), 500; ASHRAE
// Handbook Fundamentals 2017, ch. 1, eqs 5 and 6). Stated for -100 to 200 °C and
// extrapolated outside; NaN below absolute zero. Within 0.03 % of IAPWS-95
// between 1 and 40 °C.
//
// It leaves out the enhancement factor of moist air, about 0.4 %, as the
// engineering formulas built on it do.
func SaturationPressurePa(tempC float64) float64 {
	t := tempC + zeroCelsiusK
	if tempC <= triplePointC {
		return math.Exp(-5.6745359e3/t + 6.3925247 +
			t*(-9.6778430e-3+t*(6.2215701e-7+t*(2.0747825e-9-t*9.4840240e-13))) +
			4.1635019*math.Log(t))
	}
	return math.Exp(-5.8002206e3/t + 1.3914993 +
		t*(-4.8640239e-2+t*(4.1764768e-5-t*1.4452093e-8)) +
		6.5459673*math.Log(t))
}

const (
	// dewPointLeastC and dewPointMostC are the ends of the saturation formula.
	dewPointLeastC = -100.0
	dewPointMostC  = 200.0
)

// DewPointC is the temperature at which a vapour pressure saturates the air: the
// inverse of SaturationPressurePa, and so the frost point below 0.01 °C. Held
// to -100 and 200 °C; -Inf without any vapour.
func DewPointC(vapourPa float64) float64 {
	if vapourPa <= 0 {
		return math.Inf(-1)
	}
	return invertRising(SaturationPressurePa, vapourPa, dewPointLeastC, dewPointMostC)
}

// invertRising finds where a rising function reaches a value, by bisection until
// the bracket is two neighbouring numbers. The functions here have a kink or a
// small step where water freezes, which bisection does not mind. NaN in, NaN out.
func invertRising(f func(float64) float64, value, lo, hi float64) float64 {
	if math.IsNaN(value) || math.IsNaN(lo) || math.IsNaN(hi) {
		return math.NaN()
	}
	for {
		mid := lo + (hi-lo)/2
		if !(lo < mid && mid < hi) {
			return mid
		}
		if f(mid) < value {
			lo = mid
		} else {
			hi = mid
		}
	}
}
