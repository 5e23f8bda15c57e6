package purewater

import "math"

// if97N are n1 to n10 of IAPWS R7-97(2012) table 34.
var if97N = [...]float64{
	0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2,
	0.12020824702470e5, -0.32325550322333e7, 0.14915108613530e2,
	-0.48232657361591e4, 0.40511340542057e6, -0.23855557567849,
	0.65017534844798e3,
}

// SaturationPressureIF97 gives the saturation pressure of water in Pa at tempC,
// 0 to 373.946, by the explicit equation of the industrial formulation (IAPWS
// R7-97 eq. 30): within 8e-5 of IAPWS-95 from 0 to 40 °C. NaN outside.
func SaturationPressureIF97(tempC float64) float64 {
	tempK := tempC + kelvinAtZeroC
	if !(tempC >= 0 && tempK <= criticalTempK) {
		return math.NaN()
	}
	const reducingPa = 1e6
	n := if97N
	theta := tempK + n[8]/(tempK-n[9])
	a := theta*theta + n[0]*theta + n[1]
	b := n[2]*theta*theta + n[3]*theta + n[4]
	c := n[5]*theta*theta + n[6]*theta + n[7]
	root := 2 * c / (math.Sqrt(b*b-4*a*c) - b)
	return reducingPa * root * root * root * root
}
