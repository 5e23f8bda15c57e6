package bulk

import (
	"fmt"
	"math"

	"isohaline/carbonate"
	"isohaline/moistair"
	"isohaline/seawater"
	"isohaline/seawater/purewater"
)

// state is one row: what its inputs say.
type state struct {
	sp, cMSCm, tempC, pressureDbar, wavelengthNM float64
	dryC, rhPct, airPa                           float64
	taUmolKg, dicUmolKg, pHTotal, pCO2Uatm       float64

	solved carbonate.State // where two of the last four are given
}

// input is a column that can be computed from. A value from lo to hi is taken;
// between fittedLo and fittedHi the formulas were fitted.
type input struct {
	name, words        string
	lo, hi             float64
	fittedLo, fittedHi float64
	field              func(*state) *float64
}

func (in *input) refusal() string {
	return fmt.Sprintf("is not a number from %g to %g", in.lo, in.hi)
}

// The limits of package seawater: where it gives values (IAPWS R13-08), and
// where its formulas were fitted (TEOS-10 and PSS-78).
const (
	maxSP       = 119.4
	fittedMaxSP = 42
)

var knownInputs = []input{
	{"SP", "practical salinity", 0, maxSP, 0, fittedMaxSP, func(s *state) *float64 { return &s.sp }},
	// What seawater conducts at most depends on the temperature; compute says.
	{"C_mS_cm", "conductivity of the water at its temperature, mS/cm", 0, 1000, 0, 1000, func(s *state) *float64 { return &s.cMSCm }},
	{"t_degC", "temperature of the water, °C", -12.15, 79.85, -2, 40, func(s *state) *float64 { return &s.tempC }},
	{"p_dbar", "sea pressure, dbar; 0, the surface, without it", 0, 10000, 0, 10000, func(s *state) *float64 { return &s.pressureDbar }},
	{"wavelength_nm", "wavelength of light, nm; 589.3 without it", 400, 700, 400, 700, func(s *state) *float64 { return &s.wavelengthNM }},
	// Moist air as ASHRAE's ideal gas holds to 0.5 %; pressures from the highest
	// mountain to the deepest mine.
	{"tdb_degC", "temperature of the air, °C", 0, 60, 0, 60, func(s *state) *float64 { return &s.dryC }},
	{"rh_pct", "relative humidity, %", 0, 100, 0, 100, func(s *state) *float64 { return &s.rhPct }},
	{"p_Pa", "pressure of the air, Pa", 30000, 120000, 30000, 120000, func(s *state) *float64 { return &s.airPa }},
}

// saturationTemp is t_degC for pure water: from the freezing point to the limit
// of package purewater.
var saturationTemp = input{"t_degC", "temperature of pure water, °C", 0, 360, 0, 360, func(s *state) *float64 { return &s.tempC }}

func inputNamed(name string) *input {
	for i := range knownInputs {
		if knownInputs[i].name == name {
			return &knownInputs[i]
		}
	}
	return nil
}

// group is a set of columns that are computed together.
type group struct {
	columns []Column
	// compute sets one value for each column; NaN where it is not defined.
	compute func(s *state, values []float64)
}

var practical = &group{
	[]Column{{"SP", "practical salinity", ""}},
	func(s *state, v []float64) { v[0] = s.sp },
}

var absolute = &group{
	[]Column{{"SA_g_kg", "absolute salinity", "g/kg"}},
	func(s *state, v []float64) { v[0] = seawater.AbsoluteSalinity(s.sp) },
}

// conductivity is left out where the conductivity is given.
var conductivity = &group{
	[]Column{{"C_mS_cm", "conductivity", "mS/cm"}},
	func(s *state, v []float64) {
		v[0] = seawater.ConductivityFromPracticalSalinity(s.sp, s.tempC, s.pressureDbar)
	},
}

var thermodynamic = &group{
	[]Column{
		{"CT_degC", "conservative temperature", "°C"},
		{"rho_kg_m3", "density", "kg/m³"},
		{"cp_J_kg_K", "heat capacity", "J/(kg K)"},
		{"latent_heat_J_kg", "heat of evaporation, at the surface", "J/kg"},
		{"osmotic_coefficient", "osmotic coefficient", ""},
		{"water_activity", "water activity, at the surface", ""},
		{"refractive_index", "refractive index, at the surface", ""},
	},
	func(s *state, v []float64) {
		sa := seawater.AbsoluteSalinity(s.sp)
		v[0] = seawater.ConservativeTemperature(sa, s.tempC, s.pressureDbar)
		v[1] = seawater.Density(sa, s.tempC, s.pressureDbar)
		v[2] = seawater.HeatCapacity(sa, s.tempC, s.pressureDbar)
		v[3] = seawater.LatentHeatEvaporation(sa, s.tempC)
		v[4] = seawater.OsmoticCoefficient(sa, s.tempC, s.pressureDbar)
		v[5] = seawater.WaterActivity(sa, s.tempC)
		v[6] = seawater.RefractiveIndex(s.sp, s.tempC, s.wavelengthNM)
	},
}

// sixtyFC is 60 °F, where older hydrometers were made to read.
const sixtyFC = (60.0 - 32) * 5 / 9

// gravities are what instruments with a scale read in the water, at the
// temperatures they were made for.
var gravities = &group{
	[]Column{
		{"sg_25_25", "specific gravity 25/25 °C", ""},
		{"sg_20_20", "specific gravity 20/20 °C", ""},
		{"sg_20_4", "specific gravity 20/4 °C", ""},
		{"sg_15_15", "specific gravity 15/15 °C", ""},
		{"sg_15.5556_15.5556", "specific gravity 60/60 °F", ""},
		{"sg_25_4", "specific gravity 25/4 °C", ""},
		{"nacl_mass_pct", "brine refractometer, at 20 °C", "% NaCl"},
	},
	func(s *state, v []float64) {
		v[0] = seawater.SpecificGravity(s.sp, 25, 25)
		v[1] = seawater.SpecificGravity(s.sp, 20, 20)
		v[2] = seawater.SpecificGravity(s.sp, 20, 4)
		v[3] = seawater.SpecificGravity(s.sp, 15, 15)
		v[4] = seawater.SpecificGravity(s.sp, sixtyFC, sixtyFC)
		v[5] = seawater.SpecificGravity(s.sp, 25, 4)
		v[6] = seawater.BrineScaleReading(s.sp) / gKgPerPercent
	},
}

const (
	gKgPerPercent  = 10
	percentPerUnit = 100
	joulesPerKJ    = 1e3
)

var saturation = &group{
	[]Column{
		{"p_sat_iapws95_Pa", "vapour pressure at saturation (IAPWS-95)", "Pa"},
		{"p_sat_if97_Pa", "vapour pressure at saturation (IAPWS-IF97)", "Pa"},
		{"rho_sat_liquid_kg_m3", "density of the liquid at saturation", "kg/m³"},
		{"latent_heat_kJ_kg", "heat of evaporation", "kJ/kg"},
	},
	func(s *state, v []float64) {
		v[1] = purewater.SaturationPressureIF97(s.tempC)
		sat, err := purewater.Saturated(s.tempC)
		if err != nil { // below the triple point there is no IAPWS-95 liquid
			v[0], v[2], v[3] = math.NaN(), math.NaN(), math.NaN()
			return
		}
		v[0], v[2], v[3] = sat.PressurePa, sat.Liquid.DensityKgM3, sat.LatentHeatJKg()/joulesPerKJ
	},
}

var moistAir = &group{
	[]Column{
		{"humidity_ratio_kg_kg", "humidity ratio", "kg/kg"},
		{"twb_degC", "wet-bulb temperature", "°C"},
		{"tdew_degC", "dew point", "°C"},
		{"vapour_pressure_Pa", "vapour pressure", "Pa"},
		{"enthalpy_J_kg", "enthalpy of the air, per kg of dry air", "J/kg"},
		{"specific_volume_m3_kg", "volume of the air, per kg of dry air", "m³/kg"},
		{"moist_air_density_kg_m3", "density of the air", "kg/m³"},
		{"p_sat_Pa", "vapour pressure at saturation", "Pa"},
	},
	func(s *state, v []float64) {
		a := moistair.Air{TempC: s.dryC, RHFrac: s.rhPct / percentPerUnit, PressurePa: s.airPa}
		v[0] = a.HumidityRatio()
		v[1] = a.WetBulbC()
		v[2] = a.DewPointC()
		v[3] = a.VapourPressurePa()
		v[4] = a.EnthalpyJKg()
		v[5] = a.SpecificVolumeM3Kg()
		v[6] = a.DensityKgM3()
		v[7] = moistair.SaturationPressurePa(s.dryC)
	},
}
