package seawater

import "math"

// solveRising finds x in [lo, hi] with f(x) = target, where f - target changes
// sign from minus to plus over the bracket; where rounding hides the change at
// an end, that end is the answer. It is the false-position method
// with the Illinois correction (Dowell & Jarratt 1971, BIT 11, 168-174): order
// 1.44, never outside the bracket, no derivative. It stops when the bracket or
// the step reaches rounding, or after 100 rounds, far more than it needs.
func solveRising(f func(float64) float64, target, lo, hi float64) float64 {
	const (
		rounds   = 100
		rounding = 1e-15
	)
	below, above := f(lo)-target, f(hi)-target
	if below >= 0 {
		return lo
	}
	if above <= 0 {
		return hi
	}
	x, side := lo, 0
	for range rounds {
		previous := x
		x = (lo*above - hi*below) / (above - below)
		y := f(x) - target
		if y == 0 || math.Abs(x-previous) <= rounding*math.Abs(x) || hi-lo <= rounding*hi {
			return x
		}
		if y < 0 {
			lo, below = x, y
			if side < 0 {
				above /= 2
			}
			side = -1
		} else {
			hi, above = x, y
			if side > 0 {
				below /= 2
			}
			side = 1
		}
	}
	return x
}
