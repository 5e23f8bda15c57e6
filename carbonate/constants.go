package carbonate

import (
	"fmt"
	"math"
)

// CarbonicFit is a published pair of K1 and K2.
type CarbonicFit uint8

const (
	// Lueker2000 is Lueker, Dickson and Keeling (2000), the default: salinity
	// 19 to 43, 2 to 35 °C.
	Lueker2000 CarbonicFit = iota
	// Waters2014 is Waters, Millero and Woosley (2014): salinity 0 to 50, 0 to
	// 50 °C. It ends in pure water's own constants, so it is the one for water
	// that has turned brackish or fresh.
	Waters2014
)

// BorateRatio is a published ratio of total boron to salinity.
type BorateRatio uint8

const (
	Lee2010      BorateRatio = iota // Lee et al. (2010), the default
	Uppstrom1974                    // Uppström (1974), 4 % lower
)

// FluorideFit is a published dissociation constant of hydrogen fluoride. The
// choice moves pH by less than 0.0001.
type FluorideFit uint8

const (
	DicksonRiley1979 FluorideFit = iota // Dickson and Riley (1979), the default
	PerezFraga1987                      // Perez and Fraga (1987), read as total scale
)

// Options choose among published constants. The zero value is the default.
type Options struct {
	Carbonic CarbonicFit
	Borate   BorateRatio
	Fluoride FluorideFit
}

func (o Options) check() error {
	if o.Carbonic > Waters2014 || o.Borate > Uppstrom1974 || o.Fluoride > PerezFraga1987 {
		return fmt.Errorf("options %+v name a fit that does not exist: use the package's constants", o)
	}
	return nil
}

// Limits of At. The published fits below hold over most of this range; the
// doc of each names its own.
const (
	SalinityMinPSU = 0.0
	SalinityMaxPSU = 50.0
	TempMinC       = 0.0
	TempMaxC       = 45.0
)

// Constants are the equilibrium constants and conservative totals of seawater
// at one salinity and temperature. Get one from At and treat it as read-only:
// it is a value, safe to copy and to share.
//
// K0 is in mol kg⁻¹ atm⁻¹, the other constants in mol kg⁻¹ or mol² kg⁻², totals
// in mol kg⁻¹, all per kilogram of solution.
type Constants struct {
	SalinityPSU, TempC float64
	Options            Options

	K0             float64 // solubility of CO2
	K1, K2, KB, KW float64 // total scale
	KS, KF         float64 // free scale

	KspAragonite, KspCalcite float64

	BorateTotal, SulfateTotal, FluorideTotal, CalciumTotal float64

	// FugacityFactor is fCO2 over pCO2.
	FugacityFactor float64
	// TotalPerFree is [H⁺] on the total scale over [H⁺] free;
	// SeawaterPerTotal is that on the seawater scale over the total scale.
	TotalPerFree, SeawaterPerTotal float64
}

// At computes the constants at a practical salinity (0 to 50) and a temperature
// (0 to 45 °C). Outside, or for NaN, it returns a *RangeError. Inside, but
// beyond what the chosen K1 and K2 were measured in (see CarbonicFit), it
// extrapolates: with Lueker2000 pH is off by about 0.03 at salinity 5 and by 0.2
// and more in fresh water.
func At(salinityPSU, tempC float64, options Options) (Constants, error) {
	if err := checkRange("salinity", salinityPSU, SalinityMinPSU, SalinityMaxPSU, "PSU"); err != nil {
		return Constants{}, err
	}
	if err := checkRange("temperature", tempC, TempMinC, TempMaxC, "°C"); err != nil {
		return Constants{}, err
	}
	if err := options.check(); err != nil {
		return Constants{}, err
	}
	p := newPoint(salinityPSU, tempC)
	c := Constants{
		SalinityPSU: salinityPSU, TempC: tempC, Options: options,
		K0: p.k0(), KB: p.kb(), KS: p.ks(),
		BorateTotal:    borateTotal(salinityPSU, options.Borate),
		SulfateTotal:   sulfateTotal(salinityPSU),
		FluorideTotal:  fluorideTotal(salinityPSU),
		CalciumTotal:   calciumTotal(salinityPSU),
		FugacityFactor: p.fugacityFactor(),
	}
	c.TotalPerFree = 1 + c.SulfateTotal/c.KS
	switch options.Fluoride {
	case PerezFraga1987:
		c.KF = p.kfPerezFraga() / c.TotalPerFree
	default:
		c.KF = p.kfDicksonRiley()
	}
	c.SeawaterPerTotal = (c.TotalPerFree + c.FluorideTotal/c.KF) / c.TotalPerFree
	// Scale conversion is exact here. A widely used shortcut subtracts 0.015
	// from ln KW instead, which moves pH by 0.0001 near pH 8.
	c.KW = p.kwSeawater() / c.SeawaterPerTotal
	switch options.Carbonic {
	case Waters2014:
		k1, k2 := p.watersSeawater()
		c.K1, c.K2 = k1/c.SeawaterPerTotal, k2/c.SeawaterPerTotal
	default:
		c.K1, c.K2 = p.lueker()
	}
	c.KspAragonite, c.KspCalcite = p.mucci()
	return c, nil
}

// kelvinOffset is 0 °C in kelvin, exact by definition.
const kelvinOffset = 273.15

// point is a salinity and temperature with the powers that the fits share.
type point struct {
	s, rootS, s15 float64 // salinity, its square root, its power 1.5
	t, lnT        float64 // kelvin and its natural logarithm
	ionic         float64 // ionic strength, mol per kg of water
	lnSolution    float64 // ln of kg of water per kg of solution
}

func newPoint(salinityPSU, tempC float64) point {
	t := tempC + kelvinOffset
	root := math.Sqrt(salinityPSU)
	return point{
		s: salinityPSU, rootS: root, s15: salinityPSU * root,
		t: t, lnT: math.Log(t),
		// Dickson, Sabine and Christian (2007), Guide to Best Practices for
		// Ocean CO2 Measurements, chapter 5.
		ionic:      19.924 * salinityPSU / (1000 - 1.005*salinityPSU),
		lnSolution: math.Log(1 - 0.001005*salinityPSU),
	}
}

// k0 is the solubility of CO2: Weiss (1974), Mar. Chem. 2, 203, equation 12
// with the mol kg⁻¹ atm⁻¹ column. Salinity 0 to 40, -1 to 40 °C.
func (p point) k0() float64 {
	h := p.t / 100
	return math.Exp(-60.2409 + 93.4517/h + 23.3585*math.Log(h) +
		p.s*(0.023517-0.023656*h+0.0047036*h*h))
}

// fugacityFactor is fCO2 over pCO2 at one atmosphere: the virial form of Weiss
// (1974), equations 6 and 11, with CO2 dilute in air.
func (p point) fugacityFactor() float64 {
	const (
		gasConstant = 83.14462618 // cm³ bar mol⁻¹ K⁻¹, CODATA 2018
		atmosphere  = 1.01325     // bar, exact by definition
	)
	virial := -1636.75 + p.t*(12.0408+p.t*(-0.0327957+p.t*3.16528e-5)) // cm³/mol
	cross := 57.7 - 0.118*p.t                                          // cm³/mol
	return math.Exp((virial + 2*cross) * atmosphere / (gasConstant * p.t))
}

// lueker is Lueker, Dickson and Keeling (2000), Mar. Chem. 70, 105: total scale.
func (p point) lueker() (k1, k2 float64) {
	pk1 := 3633.86/p.t - 61.2172 + 9.6777*p.lnT - 0.011555*p.s + 0.0001152*p.s*p.s
	pk2 := 471.78/p.t + 25.9290 - 3.16967*p.lnT - 0.01781*p.s + 0.0001122*p.s*p.s
	return antilog(pk1), antilog(pk2)
}

// watersSeawater is Waters, Millero and Woosley (2014), Mar. Chem. 165, 66 (the
// corrigendum to Waters and Millero 2013), seawater scale. Its pure-water part
// is the Harned and Davis (1943) and Harned and Scholes (1941) measurements as
// fitted by Millero (1979).
func (p point) watersSeawater() (k1, k2 float64) {
	pk1 := -126.34048 + 6320.813/p.t + 19.568224*p.lnT +
		13.409160*p.rootS + 0.031646*p.s - 5.1895e-5*p.s*p.s +
		(-531.3642*p.rootS-5.713*p.s)/p.t - 2.0669166*p.rootS*p.lnT
	pk2 := -90.18333 + 5143.692/p.t + 14.613358*p.lnT +
		21.225890*p.rootS + 0.12450870*p.s - 3.7243e-4*p.s*p.s +
		(-779.3444*p.rootS-19.91739*p.s)/p.t - 3.3534679*p.rootS*p.lnT
	return antilog(pk1), antilog(pk2)
}

// kb is Dickson (1990b), Deep-Sea Res. 37, 755: total scale, salinity 5 to 45,
// 0 to 45 °C.
func (p point) kb() float64 {
	return math.Exp((-8966.90-2890.53*p.rootS-77.942*p.s+1.728*p.s15-0.0996*p.s*p.s)/p.t +
		148.0248 + 137.1942*p.rootS + 1.62142*p.s +
		(-24.4344-25.085*p.rootS-0.2474*p.s)*p.lnT + 0.053105*p.rootS*p.t)
}

// kwSeawater is Millero (1995), Geochim. Cosmochim. Acta 59, 661, equation 63:
// seawater scale.
func (p point) kwSeawater() float64 {
	return math.Exp(148.9802 - 13847.26/p.t - 23.6521*p.lnT +
		(118.67/p.t-5.977+1.0495*p.lnT)*p.rootS - 0.01615*p.s)
}

// ks is Dickson (1990a), J. Chem. Thermodyn. 22, 113: bisulfate, free scale,
// salinity 5 to 45, 0 to 45 °C.
func (p point) ks() float64 {
	i, rootI := p.ionic, math.Sqrt(p.ionic)
	return math.Exp(-4276.1/p.t + 141.328 - 23.093*p.lnT +
		(-13856/p.t+324.57-47.986*p.lnT)*rootI +
		(35474/p.t-771.54+114.723*p.lnT)*i -
		2698/p.t*i*rootI + 1776/p.t*i*i + p.lnSolution)
}

// kfDicksonRiley is Dickson and Riley (1979), Mar. Chem. 7, 89: hydrogen
// fluoride, free scale.
func (p point) kfDicksonRiley() float64 {
	return math.Exp(1590.2/p.t - 12.641 + 1.525*math.Sqrt(p.ionic) + p.lnSolution)
}

// kfPerezFraga is Perez and Fraga (1987), Mar. Chem. 21, 161, on the total
// scale as the Guide of 2007 gives it. Salinity 10 to 40, 9 to 33 °C.
func (p point) kfPerezFraga() float64 {
	return math.Exp(874/p.t - 9.68 + 0.111*p.rootS)
}

// mucci is Mucci (1983), Am. J. Sci. 283, 780: solubility products. Salinity 5
// to 44, 5 to 40 °C.
func (p point) mucci() (aragonite, calcite float64) {
	log10T := p.lnT / math.Ln10
	pAragonite := 171.945 + 0.077993*p.t - 2903.293/p.t - 71.595*log10T -
		(-0.068393+0.0017276*p.t+88.135/p.t)*p.rootS + 0.10018*p.s - 0.0059415*p.s15
	pCalcite := 171.9065 + 0.077993*p.t - 2839.319/p.t - 71.595*log10T -
		(-0.77712+0.0028426*p.t+178.34/p.t)*p.rootS + 0.07711*p.s - 0.0041249*p.s15
	return antilog(pAragonite), antilog(pCalcite)
}

// antilog is ten to the power of minus p.
func antilog(p float64) float64 { return math.Exp(-p * math.Ln10) }
