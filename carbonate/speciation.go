package carbonate

import "math"

const umolPerMol = 1e6

// State is one water's carbonate system, complete. Concentrations are in
// µmol per kilogram of solution.
type State struct {
	TAUmolKg  float64 // total alkalinity
	DICUmolKg float64 // dissolved inorganic carbon
	PHTotal   float64 // total scale
	PCO2Uatm  float64
	FCO2Uatm  float64 // fugacity

	CO2UmolKg  float64 // dissolved CO2 with carbonic acid
	HCO3UmolKg float64
	CO3UmolKg  float64

	BorateUmolKg       float64 // B(OH)4⁻
	HydroxideUmolKg    float64
	HydrogenFreeUmolKg float64
	BisulfateUmolKg    float64
	HFUmolKg           float64

	OmegaAragonite, OmegaCalcite float64

	// RevelleFactor is the relative rise of pCO2 over that of DIC at constant
	// TA: 9 to 15 in the sea. It is 1 by limit where DIC is zero.
	RevelleFactor float64
	// BufferIntensityUmolKg is the strong base that raises pH by one unit, per
	// kg, at constant DIC: the slope of TA against pH.
	BufferIntensityUmolKg float64
}

// species are concentrations at one hydrogen ion concentration, mol/kg.
type species struct {
	co2, hco3, co3              float64
	borate, hydroxide           float64
	hydrogenFree, bisulfate, hf float64

	alkalinity float64
	// slope is the derivative of alkalinity with respect to ln[H⁺]: always
	// negative, so alkalinity and [H⁺] determine one another.
	slope float64
}

// carbon says what is held constant while [H⁺] varies: DIC in closed water,
// dissolved CO2 in water that is open to a gas.
type carbon struct {
	open  bool
	molKg float64 // of DIC, or of CO2 if open
}

// speciesAt evaluates total alkalinity (Dickson 1981) and its parts at a
// hydrogen ion concentration h, mol/kg on the total scale.
func (c *Constants) speciesAt(fixed carbon, h float64) species {
	var s species
	k12 := c.K1 * c.K2
	var carbonSlope float64
	if fixed.open {
		s.co2 = fixed.molKg
		s.hco3 = s.co2 * c.K1 / h
		s.co3 = s.hco3 * c.K2 / h
		carbonSlope = -s.hco3 - 4*s.co3
	} else {
		co2Share, hco3Share := h*h, c.K1*h // of DIC, before scaling
		scale := 1 / (co2Share + hco3Share + k12)
		s.co2 = fixed.molKg * co2Share * scale
		s.hco3 = fixed.molKg * hco3Share * scale
		s.co3 = fixed.molKg * k12 * scale
		protons := (2*co2Share + hco3Share) * scale // mean protons per carbonate
		carbonSlope = s.hco3 - protons*(s.hco3+2*s.co3)
	}

	borateShare := c.KB / (c.KB + h)
	s.borate = c.BorateTotal * borateShare
	s.hydroxide = c.KW / h
	s.hydrogenFree = h / c.TotalPerFree
	bisulfateShare := s.hydrogenFree / (s.hydrogenFree + c.KS)
	s.bisulfate = c.SulfateTotal * bisulfateShare
	hfShare := s.hydrogenFree / (s.hydrogenFree + c.KF)
	s.hf = c.FluorideTotal * hfShare

	s.alkalinity = s.hco3 + 2*s.co3 + s.borate + s.hydroxide -
		s.hydrogenFree - s.bisulfate - s.hf
	s.slope = carbonSlope - s.borate*(1-borateShare) - s.hydroxide -
		s.hydrogenFree - s.bisulfate*(1-bisulfateShare) - s.hf*(1-hfShare)
	return s
}

// stateAt fills a State from [H⁺] and DIC, both mol/kg.
func (c *Constants) stateAt(h, dic float64) State {
	s := c.speciesAt(carbon{molKg: dic}, h)
	fugacity := s.co2 / c.K0
	return State{
		TAUmolKg:  s.alkalinity * umolPerMol,
		DICUmolKg: dic * umolPerMol,
		PHTotal:   -math.Log10(h),
		PCO2Uatm:  fugacity / c.FugacityFactor * uatmPerAtm,
		FCO2Uatm:  fugacity * uatmPerAtm,

		CO2UmolKg:  s.co2 * umolPerMol,
		HCO3UmolKg: s.hco3 * umolPerMol,
		CO3UmolKg:  s.co3 * umolPerMol,

		BorateUmolKg:       s.borate * umolPerMol,
		HydroxideUmolKg:    s.hydroxide * umolPerMol,
		HydrogenFreeUmolKg: s.hydrogenFree * umolPerMol,
		BisulfateUmolKg:    s.bisulfate * umolPerMol,
		HFUmolKg:           s.hf * umolPerMol,

		OmegaAragonite: c.CalciumTotal * s.co3 / c.KspAragonite,
		OmegaCalcite:   c.CalciumTotal * s.co3 / c.KspCalcite,

		RevelleFactor:         revelle(s, dic),
		BufferIntensityUmolKg: -s.slope * math.Ln10 * umolPerMol,
	}
}

// revelle is d ln pCO2 / d ln DIC at constant alkalinity, analytically. With
// x = ln[H⁺], pCO2 goes as DIC·CO2 share, whose logarithm rises with x by the
// carbonate charge per carbon, and constant TA ties dx to dDIC.
func revelle(s species, dic float64) float64 {
	if dic == 0 {
		return 1
	}
	charge := (s.hco3 + 2*s.co3) / dic
	hydrogenPerDIC := -(s.hco3 + 2*s.co3) / s.slope // d ln[H⁺] / d ln DIC
	return 1 + charge*hydrogenPerDIC
}
