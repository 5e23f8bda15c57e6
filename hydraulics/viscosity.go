package hydraulics

// The correlations of Sharqawy, Lienhard and Zubair (2010, Desalination and
// Water Treatment 16, 354), for 0 to 180 °C and salinity up to 0.15 kg/kg:
// viscosity eqs 22 and 23 (water within 0.05 %, seawater within 1.5 %), density
// eq. 8 (within 0.1 %). Outside the temperature range they are extrapolated.
//
// Density here serves only to turn viscosity into its kinematic form; package
// seawater has the exact one.

// kgKgPerPSU turns practical salinity into absolute salinity as a mass
// fraction: reference composition, 35.16504/35 g/kg (Millero et al. 2008).
const kgKgPerPSU = 35.16504 / 35 / 1000

// FreshWaterViscosityM2S is the kinematic viscosity of pure water at
// atmospheric pressure, m2/s.
func FreshWaterViscosityM2S(tempC float64) float64 { return SeawaterViscosityM2S(0, tempC) }

// SeawaterViscosityM2S is the kinematic viscosity of seawater at a practical
// salinity (0 to about 120) and atmospheric pressure, m2/s.
func SeawaterViscosityM2S(sp, tempC float64) float64 {
	s := sp * kgKgPerPSU
	return viscosityPaS(s, tempC) / densityKgM3(s, tempC)
}

// viscosityPaS is eqs 22 and 23; s in kg/kg.
func viscosityPaS(s, t float64) float64 {
	water := 4.2844e-5 + 1/(0.157*(t+64.993)*(t+64.993)-91.296)
	a := 1.541 + t*(1.998e-2-t*9.52e-5)
	b := 7.974 + t*(-7.561e-2+t*4.724e-4)
	return water * (1 + s*(a+s*b))
}

// densityKgM3 is eq. 8; s in kg/kg.
func densityKgM3(s, t float64) float64 {
	water := 9.999e2 + t*(2.034e-2+t*(-6.162e-3+t*(2.261e-5-t*4.657e-8)))
	salt := 8.020e2 + t*(-2.001+t*(1.677e-2-t*3.060e-5))
	return water + s*(salt-1.613e-5*s*t*t)
}
