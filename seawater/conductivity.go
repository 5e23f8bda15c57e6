package seawater

import "math"

// Practical Salinity Scale 1978. Source of every coefficient in this block:
// UNESCO 1981, Technical Papers in Marine Science 37, and Fofonoff & Millard
// 1983, UNESCO Technical Papers in Marine Science 44, pp. 6-12.
var (
	// Salinity from the root of the conductivity ratio Rt at one temperature
	// and pressure: a at 15 °C, b the correction per reduced temperature.
	pss78A = [...]float64{0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081}
	pss78B = [...]float64{0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144}
	// rt: conductivity at SP 35 over its value at 15 °C.
	pss78Rt = [...]float64{0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9}
	// Rp: what pressure does to the ratio R.
	pss78RpNumerator   = [...]float64{0, 2.070e-5, -6.370e-10, 3.989e-15}
	pss78RpDenominator = [...]float64{1, 3.426e-2, 4.464e-4}
	pss78RpPerRatio    = [...]float64{4.215e-1, -3.107e-3}
)

const (
	pss78K            = 0.0162
	pss78ReferenceT68 = 15.0
	// standardConductivityMSCm is that of SP 35 at 15 °C (IPTS-68) at the
	// surface: Culkin & Smith 1980, IEEE J. Oceanic Eng. OE-5, 22-23.
	standardConductivityMSCm = 42.9140
	// t68PerT90: Saunders 1990, WOCE Newsletter 10. PSS-78 and EOS-80 were
	// fitted on the older temperature scale.
	t68PerT90 = 1.00024
	// hillLimitSP is where the extension to fresh water takes over.
	hillLimitSP = 2.0
)

// PracticalSalinityFromConductivity gives Practical Salinity from conductivity
// in mS/cm, temperature in °C (ITS-90) and sea pressure in dbar.
//
// PSS-78 holds for SP 2 to 42, -2 to 35 °C; above 42 it is extrapolated. Below
// SP 2 the extension of Hill, Dauphinee & Woods 1986 (IEEE J. Oceanic Eng.
// 11(1), 109-112) is used, scaled to meet PSS-78 exactly at SP 2 as TEOS-10
// does. Below about 0.002 mS/cm the extension falls under zero and 0 is
// returned. NaN for negative conductivity, outside the region of the package
// comment, and where SP would pass 119.4.
func PracticalSalinityFromConductivity(cMSCm, tempC, pressureDbar float64) float64 {
	if !(cMSCm >= 0) || !inRegion(0, tempC, pressureDbar) {
		return math.NaN()
	}
	t68 := t68PerT90 * tempC
	r := cMSCm / standardConductivityMSCm
	rt := r / (horner(pss78Rt[:], t68) * pressureRatio(r, t68, pressureDbar))
	root := math.Sqrt(rt)
	scale := newSalinityScale(t68)
	sp := scale.pss78(root)
	if sp < hillLimitSP {
		sp = math.Max(0, scale.hillFactor()*scale.hill(root))
	}
	if !(sp <= maxSP) {
		return math.NaN()
	}
	return sp
}

// ConductivityFromPracticalSalinity is the inverse: the conductivity in mS/cm
// of water of Practical Salinity sp. SP 0 gives 0. NaN for sp outside 0 to
// 119.4 and outside the region of the package comment.
func ConductivityFromPracticalSalinity(sp, tempC, pressureDbar float64) float64 {
	if !(sp >= 0 && sp <= maxSP) || !inRegion(0, tempC, pressureDbar) {
		return math.NaN()
	}
	if sp == 0 {
		return 0
	}
	t68 := t68PerT90 * tempC
	scale := newSalinityScale(t68)
	root := scale.root(sp)
	r := withPressure(root*root*horner(pss78Rt[:], t68), t68, pressureDbar)
	return standardConductivityMSCm * r
}

// pressureRatio is Rp, R over what it would be at the surface.
func pressureRatio(r, t68, pressureDbar float64) float64 {
	return 1 + horner(pss78RpNumerator[:], pressureDbar)/
		(horner(pss78RpDenominator[:], t68)+horner(pss78RpPerRatio[:], t68)*r)
}

// withPressure solves R = atSurface · Rp(R) for R. Rp has R in its denominator,
// so this is a quadratic, d R² + e R - f = 0, with one positive root; it is
// taken in the form that does not cancel.
func withPressure(atSurface, t68, pressureDbar float64) float64 {
	base := horner(pss78RpDenominator[:], t68)
	d := horner(pss78RpPerRatio[:], t68)
	e := base - d*atSurface
	f := atSurface * (base + horner(pss78RpNumerator[:], pressureDbar))
	root := math.Sqrt(e*e + 4*d*f)
	if e > 0 {
		return 2 * f / (e + root)
	}
	return (root - e) / (2 * d)
}

// salinityScale is salinity against the root of Rt at one temperature.
type salinityScale struct {
	from15C float64 // (t-15)/(1+k(t-15))
	c       [len(pss78A)]float64
}

func newSalinityScale(t68 float64) salinityScale {
	dt := t68 - pss78ReferenceT68
	s := salinityScale{from15C: dt / (1 + pss78K*dt)}
	for i := range s.c {
		s.c[i] = pss78A[i] + s.from15C*pss78B[i]
	}
	return s
}

func (s *salinityScale) pss78(root float64) float64 { return horner(s.c[:], root) }

func (s *salinityScale) pss78Slope(root float64) float64 {
	sum := 0.0
	for i := len(s.c) - 1; i >= 1; i-- {
		sum = sum*root + float64(i)*s.c[i]
	}
	return sum
}

// Hill, Dauphinee & Woods 1986: x = 400 Rt and y = 100 Rt.
const (
	hillXPerRt = 400.0
	hillYPerRt = 100.0
)

var (
	hillX     = [...]float64{1, 1.5, 1}
	hillRootY = [...]float64{1, 1, 1, 1}
)

// hill is the fresh-water extension before it is scaled to meet PSS-78.
func (s *salinityScale) hill(root float64) float64 {
	x := hillXPerRt * root * root
	rootY := math.Sqrt(hillYPerRt) * root
	return s.pss78(root) - pss78A[0]/horner(hillX[:], x) -
		s.from15C*pss78B[0]/horner(hillRootY[:], rootY)
}

// hillFactor scales the extension so that it meets PSS-78 at SP 2.
func (s *salinityScale) hillFactor() float64 {
	return hillLimitSP / s.hill(s.rootAtHillLimit())
}

// rootAtHillLimit solves PSS-78 for SP 2 by Newton's method. The start is the
// root at 15 °C; four steps reach rounding over the whole region.
func (s *salinityScale) rootAtHillLimit() float64 {
	const (
		startAt15C = 0.26415
		steps      = 4
	)
	root := startAt15C
	for range steps {
		root -= (s.pss78(root) - hillLimitSP) / s.pss78Slope(root)
	}
	return root
}

// root gives the root of Rt at which salinity is sp, above 0.
func (s *salinityScale) root(sp float64) float64 {
	limit := s.rootAtHillLimit()
	if sp >= hillLimitSP {
		return solveRising(s.pss78, sp, limit, maxRoot)
	}
	return solveRising(s.hill, sp/hillLimitSP*s.hill(limit), belowZeroRoot, limit)
}

// belowZeroRoot is where the extension dips under zero at any temperature of
// the region, on its way from 0 at root 0 to 0 again near root 0.006. Only the
// upper branch is water.
const belowZeroRoot = 0.002

// maxRoot bounds the root of Rt: PSS-78 passes SP 119.4 well before it at any
// temperature of the region.
const maxRoot = 2.5
