// Package moistair knows the air over the water: how much vapour it holds and
// how much more it could.
//
// Three measures of the same vapour come up in practice. Relative humidity is
// what a hygrometer shows: the vapour pressure over the saturation pressure at
// the air's own temperature. Dew point is the temperature at which that vapour
// would saturate, and stays put when a room is heated. Wet-bulb temperature is
// where a wetted thermometer, or a tank under a fan, ends up by evaporating.
//
//	room := moistair.Air{TempC: 24, RHFrac: 0.5, PressurePa: moistair.PressureAtElevationPa(40)}
//	room.VapourPressurePa() // 1493 Pa
//	room.DewPointC()        // 12.9 °C: colder glass sweats
//	room.WetBulbC()         // 17.1 °C: no fan cools a tank below this
//
// SI units: °C, Pa, kg of water per kg of dry air, J/kg of dry air. Air and
// vapour are ideal gases, after ASHRAE Handbook Fundamentals (SI) 2017, ch. 1,
// whose equation numbers are given; good to about 0.5 % between 0 and 60 °C near
// atmospheric pressure. Pure functions, nothing panics; NaN gives NaN.
package moistair

import "math"

const (
	// massRatio is the molar mass of water over that of dry air (eq. 20).
	massRatio = 0.621945

	// volumeRatio is its inverse as eq. 26 prints it.
	volumeRatio = 1.607858

	// dryAirGasJKgK is the gas constant of dry air (eq. 1).
	dryAirGasJKgK = 287.042

	// Heat capacities and latent heat, kJ/kg, of the enthalpy and wet-bulb
	// equations (eqs 30, 33, 35); enthalpy counts from dry air and liquid water
	// at 0 °C.
	dryAirHeat       = 1.006
	vapourHeat       = 1.86
	vaporisation     = 2501.0
	waterHeat        = 4.186
	vaporisationFall = 2.326 // of the latent heat per kelvin of wet bulb
	sublimation      = 2830.0
	sublimationFall  = 0.24
	iceHeat          = 2.1
)

// Air is moist air at a temperature, relative humidity (0 to 1) and pressure.
type Air struct{ TempC, RHFrac, PressurePa float64 }

// VapourPressurePa is the partial pressure of water vapour (eq. 22).
func (a Air) VapourPressurePa() float64 { return a.RHFrac * SaturationPressurePa(a.TempC) }

// DewPointC is the air's dew point; below 0.01 °C its frost point.
func (a Air) DewPointC() float64 { return DewPointC(a.VapourPressurePa()) }

// HumidityRatio is the mass of vapour per mass of dry air, kg/kg.
func (a Air) HumidityRatio() float64 { return HumidityRatio(a.VapourPressurePa(), a.PressurePa) }

// HumidityRatio is the mass of vapour per mass of dry air at a vapour pressure,
// kg/kg (eq. 20). +Inf where vapour makes up all the pressure, NaN beyond.
func HumidityRatio(vapourPa, pressurePa float64) float64 {
	if vapourPa > pressurePa {
		return math.NaN()
	}
	return massRatio * vapourPa / (pressurePa - vapourPa)
}

// EnthalpyJKg is the enthalpy per kg of dry air, counted from dry air and liquid
// water at 0 °C (eq. 30).
func (a Air) EnthalpyJKg() float64 {
	return 1000 * (dryAirHeat*a.TempC + a.HumidityRatio()*(vaporisation+vapourHeat*a.TempC))
}

// SpecificVolumeM3Kg is the volume per kg of dry air (eq. 26).
func (a Air) SpecificVolumeM3Kg() float64 {
	return dryAirGasJKgK * (a.TempC + zeroCelsiusK) * (1 + volumeRatio*a.HumidityRatio()) / a.PressurePa
}

// DensityKgM3 is the mass of moist air, vapour included, per volume (eq. 11).
func (a Air) DensityKgM3() float64 { return (1 + a.HumidityRatio()) / a.SpecificVolumeM3Kg() }

// WetBulbC is the thermodynamic wet-bulb temperature: where air is cooled to
// saturation by water that evaporates into it (eq. 33; eq. 35 over ice). The
// air's own temperature when it is saturated or more.
func (a Air) WetBulbC() float64 {
	if a.RHFrac >= 1 {
		return a.TempC
	}
	return invertRising(a.humidityRatioAtWetBulb, a.HumidityRatio(), math.Max(a.DewPointC(), dewPointLeastC), a.TempC)
}

// humidityRatioAtWetBulb is what the air's humidity ratio would be if its wet
// bulb showed wetC.
func (a Air) humidityRatioAtWetBulb(wetC float64) float64 {
	saturated := HumidityRatio(SaturationPressurePa(wetC), a.PressurePa)
	cooling := dryAirHeat * (a.TempC - wetC)
	if wetC < 0 {
		return ((sublimation-sublimationFall*wetC)*saturated - cooling) / (sublimation + vapourHeat*a.TempC - iceHeat*wetC)
	}
	return ((vaporisation-vaporisationFall*wetC)*saturated - cooling) / (vaporisation + vapourHeat*a.TempC - waterHeat*wetC)
}

// PressureAtElevationPa is the pressure of the standard atmosphere at an
// elevation above the sea, 101325 (1 - 2.25577e-5 z)^5.2559 (eq. 3, after the
// U.S. Standard Atmosphere 1976), for -500 to 11000 m. Weather moves it by
// about 3 %. NaN above 44 km, where the formula ends.
func PressureAtElevationPa(elevationM float64) float64 {
	return 101325 * math.Pow(1-2.25577e-5*elevationM, 5.2559)
}
