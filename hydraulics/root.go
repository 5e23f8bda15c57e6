package hydraulics

import "math"

const (
	// rootTolerance is the relative change of the estimate below which a root
	// is found: near a double's precision, so that results are smooth enough
	// to take differences of.
	rootTolerance = 1e-14
	// rootSteps bounds the search. Each step at least halves the bracket, and
	// a bracket here starts at zero flow, so 100 reach any precision asked.
	rootSteps = 100
)

// fallingRoot finds where a falling function crosses zero between lo and hi, by
// the method of Ridders (1979, IEEE Trans. Circuits and Systems 26, 979): false
// position through a midpoint, of second order and never slower than bisection.
// Where f does not change sign between lo and hi it returns the nearer end.
func fallingRoot(f func(float64) float64, lo, hi float64) float64 {
	fLo, fHi := f(lo), f(hi)
	if fLo <= 0 {
		return lo
	}
	if fHi >= 0 {
		return hi
	}
	x := hi
	for range rootSteps {
		mid := lo + (hi-lo)/2
		fMid := f(mid)
		before := x
		x = mid + (mid-lo)*fMid/math.Sqrt(fMid*fMid-fLo*fHi)
		fx := f(x)
		if fx == 0 || math.Abs(x-before) <= rootTolerance*x {
			break
		}
		// x lies on the root's side of mid; narrow to the two points, of mid,
		// x and the old ends, that stand closest around the root.
		if fMid > 0 {
			lo, fLo = mid, fMid
		} else {
			hi, fHi = mid, fMid
		}
		if fx > 0 {
			lo, fLo = x, fx
		} else {
			hi, fHi = x, fx
		}
	}
	return x
}
