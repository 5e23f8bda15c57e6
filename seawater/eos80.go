package seawater

import "math"

// EOS-80, the International Equation of State 1980. Source of every coefficient
// in this block: UNESCO 1981, Technical Papers in Marine Science 38; Fofonoff &
// Millard 1983, UNESCO Technical Papers in Marine Science 44, pp. 15-19. Rows
// are powers of temperature (IPTS-68); S is Practical Salinity, p is in bar.
var (
	eos80Water = [...]float64{999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9}
	eos80S     = [...]float64{8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9}
	eos80S32   = [...]float64{-5.72466e-3, 1.0227e-4, -1.6546e-6}

	eos80K    = [...]float64{19652.21, 148.4206, -2.327105, 1.360477e-2, -5.155288e-5}
	eos80KS   = [...]float64{54.6746, -0.603459, 1.09987e-2, -6.1670e-5}
	eos80KS32 = [...]float64{7.944e-2, 1.6483e-2, -5.3009e-4}

	eos80KP   = [...]float64{3.239908, 1.43713e-3, 1.16092e-4, -5.77905e-7}
	eos80KPS  = [...]float64{2.2838e-3, -1.0981e-5, -1.6078e-6}
	eos80KPP  = [...]float64{8.50935e-5, -6.12293e-6, 5.2787e-8}
	eos80KPPS = [...]float64{-9.9348e-7, 2.0816e-8, 9.1697e-10}
)

const (
	eos80S2    = 4.8314e-4
	eos80KPS32 = 1.91075e-4
	dbarPerBar = 10.0
)

// DensityEOS80 gives density in kg/m³ by the equation of state that TEOS-10
// replaced, from Practical Salinity, °C (ITS-90) and dbar. Older hydrometer and
// salinity tables rest on it; at the surface it lies within 0.009 kg/m³ of
// Density at SP 0 to 42 and 0 to 40 °C. Stated range SP 0 to 42, -2 to 40 °C,
// 0 to 10000 dbar. NaN outside the region of the package comment.
func DensityEOS80(sp, tempC, pressureDbar float64) float64 {
	if !inRegion(AbsoluteSalinity(sp), tempC, pressureDbar) {
		return math.NaN()
	}
	t := t68PerT90 * tempC
	s32 := sp * math.Sqrt(sp)
	atSurface := horner(eos80Water[:], t) + sp*horner(eos80S[:], t) + s32*horner(eos80S32[:], t) + sp*sp*eos80S2
	p := pressureDbar / dbarPerBar
	secantBulkModulus := horner(eos80K[:], t) + sp*horner(eos80KS[:], t) + s32*horner(eos80KS32[:], t) +
		p*(horner(eos80KP[:], t)+sp*horner(eos80KPS[:], t)+s32*eos80KPS32) +
		p*p*(horner(eos80KPP[:], t)+sp*horner(eos80KPPS[:], t))
	return atSurface / (1 - p/secantBulkModulus)
}
