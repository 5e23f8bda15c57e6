package carbonate

import "math"

// LimeWaterCaution belongs wherever lime water is computed or shown. Common
// practice and the supplier's own safety sheet; no source for the wording.
const LimeWaterCaution = "Lime water is caustic (pH above 12): wear gloves and eye protection, " +
	"avoid the dust, keep it from children and animals, label the reservoir, and dose slowly into moving water."

// LimeWater is a solution of calcium hydroxide in pure water that has met no
// CO2, with what did not dissolve lying below it. Kept open to the air it loses
// strength to a crust of calcium carbonate.
type LimeWater struct {
	TempC float64
	// CalciumMolKgW is what is dissolved, mol per kg of water.
	CalciumMolKgW float64
	// UndissolvedMolKgW is solid, mol per kg of water.
	UndissolvedMolKgW float64
	// PHNBS is on the activity scale of the usual buffers.
	PHNBS float64
}

// LimeMaxGramsPerKgW is the most lime that NewLimeWater takes.
const LimeMaxGramsPerKgW = 1000.0

// SaturatedLimeWater is clear lime water above an excess of lime, at 0 to 45
// °C; outside it returns a *RangeError. Unusually, it is stronger the colder it
// is.
//
// The solubility is that of well crystallised lime: 0.3 % below Bates, Bower
// and Smith (1956) at 25 °C, and 7 % below the pharmacopoeia's rounded figure
// at 15 °C.
func SaturatedLimeWater(tempC float64) (LimeWater, error) {
	return NewLimeWater(tempC, LimeMaxGramsPerKgW)
}

// NewLimeWater is lime, in grams of Ca(OH)2 (0 to 1000) per kg of pure water,
// stirred in at 0 to 45 °C. Outside it returns a *RangeError.
func NewLimeWater(tempC, limeGramsPerKgW float64) (LimeWater, error) {
	if err := checkRange("lime water temperature", tempC, TempMinC, TempMaxC, "°C"); err != nil {
		return LimeWater{}, err
	}
	if err := checkRange("lime", limeGramsPerKgW, 0, LimeMaxGramsPerKgW, "g per kg of water"); err != nil {
		return LimeWater{}, err
	}
	lime := newLimeChemistry(tempC)
	offered := limeGramsPerKgW / massLime
	dissolved := math.Min(offered, lime.solubility())
	return LimeWater{
		TempC:             tempC,
		CalciumMolKgW:     dissolved,
		UndissolvedMolKgW: offered - dissolved,
		PHNBS:             lime.pH(dissolved),
	}, nil
}

// CalciumUmolKg is what is dissolved per kilogram of solution.
func (l LimeWater) CalciumUmolKg() float64 {
	return l.CalciumMolKgW / (1 + l.CalciumMolKgW*massLime/1000) * umolPerMol
}

// TAUmolKg is the alkalinity per kilogram of solution: two for each calcium.
func (l LimeWater) TAUmolKg() float64 { return 2 * l.CalciumUmolKg() }

// GramsPerL is dissolved Ca(OH)2 in a litre of solution of a density in kg/m³.
func (l LimeWater) GramsPerL(densityKgM3 float64) float64 {
	return l.CalciumUmolKg() / umolPerMol * massLime * densityKgM3 / litresPerM3
}

// Water is massKg of the clear solution, ready to Mix. Mixed with what flows
// past the dosing point in the same time, it gives the pH there: an upper
// bound, since above pH 9.5 or so magnesium hydroxide falls out and holds it.
func (l LimeWater) Water(massKg float64) Water {
	return Water{
		MassKg: massKg, TempC: l.TempC,
		TAUmolKg: l.TAUmolKg(), CalciumUmolKg: l.CalciumUmolKg(),
	}
}

// LimeSupply is what lime water in the reservoir gives a tank in a day, in µmol
// per kg of tank water.
type LimeSupply struct{ AlkalinityUmolKg, CalciumUmolKg float64 }

// DailySupply is the supply when clear lime water replaces all of a day's
// evaporation. Supply is bounded by evaporation: what a tank consumes beyond
// it must come from elsewhere. Masses in kg; a tank of no mass gets no supply.
func (l LimeWater) DailySupply(evaporationKg, tankKg float64) LimeSupply {
	if !(tankKg > 0) {
		return LimeSupply{}
	}
	share := evaporationKg / tankKg
	return LimeSupply{AlkalinityUmolKg: share * l.TAUmolKg(), CalciumUmolKg: share * l.CalciumUmolKg()}
}

// PrecipitationRisk says how likely calcium carbonate is to fall out, so that
// lime water takes alkalinity away instead of giving it.
type PrecipitationRisk uint8

const (
	PrecipitationUnlikely PrecipitationRisk = iota
	PrecipitationPossible
	PrecipitationLikely
)

// Saturation states of aragonite at which seawater dosed with calcium hydroxide
// began to lose carbonate, and up to which it was stable: Moras et al. (2022),
// Biogeosciences 19, 3537 (from memory).
const (
	OmegaAragoniteStable  = 5.0
	OmegaAragoniteRunaway = 7.0
)

// PrecipitationRiskAt grades a saturation state of aragonite, of the well-mixed
// tank or of the water around the dosing point, after dosing and before gas
// exchange. NaN is graded likely.
func PrecipitationRiskAt(omegaAragonite float64) PrecipitationRisk {
	switch {
	case omegaAragonite < OmegaAragoniteStable:
		return PrecipitationUnlikely
	case omegaAragonite < OmegaAragoniteRunaway:
		return PrecipitationPossible
	}
	return PrecipitationLikely
}

// limeChemistry is the equilibrium of calcium hydroxide in pure water at one
// temperature:
//
//	Ca(OH)2(s) = Ca²⁺ + 2 OH⁻,  Ca²⁺ + OH⁻ = CaOH⁺,  H2O = H⁺ + OH⁻.
type limeChemistry struct {
	lnSolubility, association, pKW float64
	debyeHuckel                    float64
}

// reaction is a standard change at 25 °C, in J/mol and J/(mol K).
type reaction struct{ gibbs, enthalpy, heatCapacity float64 }

// Differences of the standard properties in the Cemdata18 database: Lothenbach
// et al. (2019), Cem. Concr. Res. 115, 472 (from memory; the portlandite, Ca²⁺,
// OH⁻ and CaOH⁺ entries).
var (
	limeDissolution = reaction{gibbs: 29_680, enthalpy: -18_410, heatCapacity: -391.1}
	limeAssociation = reaction{gibbs: -6_960, enthalpy: 21_430, heatCapacity: 173.3}
)

// lnK is the logarithm of the equilibrium constant at t kelvin, for a heat
// capacity change that does not itself depend on temperature.
func (r reaction) lnK(t float64) float64 {
	const (
		gasConstant = 8.314462618 // J/(mol K), CODATA 2018
		reference   = kelvinOffset + 25
	)
	return -r.gibbs/(gasConstant*reference) -
		r.enthalpy/gasConstant*(1/t-1/reference) +
		r.heatCapacity/gasConstant*(reference/t-1+math.Log(t/reference))
}

func newLimeChemistry(tempC float64) limeChemistry {
	t := tempC + kelvinOffset
	// Dielectric constant of water: Malmberg and Maryott (1956), J. Res. NBS 56, 1.
	dielectric := 87.740 + tempC*(-0.40008+tempC*(9.398e-4-tempC*1.410e-6))
	return limeChemistry{
		lnSolubility: limeDissolution.lnK(t),
		association:  math.Exp(limeAssociation.lnK(t)),
		// Nordstrom et al. (1990), ACS Symp. Ser. 416, 398.
		pKW: 283.9710 + 0.05069842*t - 13323.00/t - 102.24447*math.Log10(t) + 1119669/(t*t),
		// Debye-Hückel slope, log10, for water of 1 kg/L.
		debyeHuckel: 1.82483e6 * math.Pow(dielectric*t, -1.5),
	}
}

// ions are molalities with the activity coefficient of a single charge.
type ions struct{ calcium, hydroxide, gamma float64 }

// dissolved speciates a total calcium molality. Each round sharpens the ionic
// strength, which the ion pair changes little: twenty leave no error.
func (l limeChemistry) dissolved(total float64) ions {
	const rounds = 20
	out := ions{calcium: total, hydroxide: 2 * total, gamma: 1}
	for range rounds {
		ionic := (4*out.calcium + (total - out.calcium) + out.hydroxide) / 2
		rootI := math.Sqrt(ionic)
		// Davies (1962), Ion Association, equation 3.14.
		out.gamma = math.Pow(10, -l.debyeHuckel*(rootI/(1+rootI)-0.3*ionic))
		// pair/((total-pair)(2·total-pair)) = k, its smaller root.
		k := l.association * math.Pow(out.gamma, 4)
		b := 3*k*total + 1
		pair := 4 * k * total * total / (b + math.Sqrt(b*b-8*k*k*total*total))
		out.calcium, out.hydroxide = total-pair, 2*total-pair
	}
	return out
}

// solubility is the total molality at which the ion product meets the
// solubility product: bisection, since one rises with the other.
func (l limeChemistry) solubility() float64 {
	lo, hi := 0.0, 0.1 // mol/kg; five times the true value
	for range 60 {
		middle := (lo + hi) / 2
		i := l.dissolved(middle)
		// γ(Ca) is the fourth power of γ(OH), which counts twice.
		if math.Log(i.calcium*i.hydroxide*i.hydroxide)+6*math.Log(i.gamma) < l.lnSolubility {
			lo = middle
		} else {
			hi = middle
		}
	}
	return lo
}

// pH is that of a solution of a total molality, on the activity scale.
func (l limeChemistry) pH(total float64) float64 {
	i := l.dissolved(total)
	hydroxide := i.gamma * i.hydroxide
	kw := math.Pow(10, -l.pKW)
	// Charge balance with water's own ions: a faint trace of lime is neutral.
	hydrogen := 2 * kw / (hydroxide + math.Sqrt(hydroxide*hydroxide+4*kw))
	return -math.Log10(hydrogen)
}
