package evaporation

import (
	"fmt"
	"math"
	"strings"

	"isohaline/moistair"
)

// Air is the room air over the water.
type Air struct {
	TempC  float64
	RHFrac float64 // relative humidity, 0 to 1
	// SpeedMS is the air speed over the water; 0.05 to 0.15 in a quiet room.
	// Negative counts as zero.
	SpeedMS    float64
	PressurePa float64
}

// Water is the water at the surface.
type Water struct {
	TempC float64
	// Activity is the water activity: 1 for fresh water, about 0.981 at a
	// practical salinity of 35.
	Activity float64
}

// room and atSurface see both as moist air: the film at the surface is air at
// the water's temperature with the activity as its humidity.
func (a Air) room() moistair.Air {
	return moistair.Air{TempC: a.TempC, RHFrac: a.RHFrac, PressurePa: a.PressurePa}
}

func (w Water) atSurface(pressurePa float64) moistair.Air {
	return moistair.Air{TempC: w.TempC, RHFrac: w.Activity, PressurePa: pressurePa}
}

// DrivingPressurePa is the vapour pressure at the surface less that in the room.
// Negative where the room's vapour condenses into the tank.
func DrivingPressurePa(w Water, a Air) float64 {
	return w.atSurface(a.PressurePa).VapourPressurePa() - a.room().VapourPressurePa()
}

// Model names a formula for evaporation from a still surface. The zero Model is
// Shah, the default.
type Model uint8

const (
	// Shah is the larger of natural convection and of a floor for the draughts
	// of a closed room, rising with V^0.8 above 0.15 m/s (Shah 2012, ASHRAE
	// Trans. 118(2), SA-12-011; 2014, 120(2), SE-14-001; coefficients at second
	// hand, the exponent from memory). Fitted to eleven sources: 0.07 to 425 m2,
	// water 7 to 94 °C, air 6 to 35 °C, humidity 28 to 95 %. The default,
	// because it is the only formula found that was tried on many independent
	// sources (mean deviation 18 %), if by its own author, and the only one
	// that sees buoyancy and draught both.
	Shah Model = iota

	// SmithLofJones is linear in speed, from 21 nights on an undisturbed outdoor
	// pool, 0 to 2.2 m/s (Smith, Löf and Jones 1994, Solar Energy 53, 3;
	// coefficients from memory, in agreement with the abstract's ratios).
	SmithLofJones

	// Carrier is the oldest, from air blown along a surface (Carrier 1918, as in
	// Smith, Löf and Jones 1998, ASHRAE Trans. 104(1A), 4146). It stands about
	// 40 % above quiet pools.
	Carrier

	// ASHRAE is the natatorium formula of the ASHRAE Handbook, HVAC
	// Applications, at its activity factor for a quiet residential pool, 0.5.
	// At factor 1, public swimming, it is Carrier's.
	ASHRAE

	// VDI2089 is the German rule for pool halls, at its transfer coefficient for
	// a pool not in use, 7 m/h (VDI 2089 Blatt 1; second-hand). It does not look
	// at air speed.
	VDI2089

	// Rohwer is the outdoor pan formula, without the factor 0.771 that turns a
	// pan into a lake (Rohwer 1931, USDA Technical Bulletin 271). It includes
	// outdoor gusts and stands highest.
	Rohwer

	// Analogy is turbulent natural convection by the analogy of heat and mass
	// transfer, Sh = 0.14 (Gr Sc)^(1/3), with buoyancy from moist-air densities
	// (textbook form, from memory). It knows no draught at all: where the air
	// over the water is no lighter than the room's, as over cool water in a warm
	// room, it predicts none, which is too low.
	Analogy

	modelEnd
)

// ActivityQuiet is the ASHRAE activity factor of a residential pool, which the
// handbook takes as its quiet baseline.
const ActivityQuiet = 0.5

// film is what every formula works from.
type film struct {
	surface, room moistair.Air
	speedMS       float64
}

func (f film) drivingPa() float64 { return f.surface.VapourPressurePa() - f.room.VapourPressurePa() }

var models = [modelEnd]struct {
	name     string
	fluxM2H  func(film) float64 // kg/(m2 h); may be negative
	seesWind bool
}{
	Shah:          {"shah", shah, true},
	SmithLofJones: {"smith-lof-jones", func(f film) float64 { return latent(f, 0.0638, 0.0669) }, true},
	Carrier:       {"carrier", func(f film) float64 { return latent(f, 0.0885, 0.0779) }, true},
	ASHRAE:        {"ashrae", func(f film) float64 { return ActivityQuiet * latent(f, 0.089, 0.0782) }, true},
	VDI2089:       {"vdi-2089", vdi2089, false},
	Rohwer:        {"rohwer", rohwer, true},
	Analogy:       {"analogy", analogy, false},
}

// Models lists every model, the default first.
func Models() []Model {
	list := make([]Model, modelEnd)
	for i := range list {
		list[i] = Model(i)
	}
	return list
}

// String is the model's name as ParseModel takes it.
func (m Model) String() string {
	if m >= modelEnd {
		return fmt.Sprintf("Model(%d)", m)
	}
	return models[m].name
}

// SeesWind says whether the model's flux rises with air speed; fans change
// nothing in one that does not.
func (m Model) SeesWind() bool { return m < modelEnd && models[m].seesWind }

// ParseModel reads a model's name.
func ParseModel(name string) (Model, error) {
	var names []string
	for i, m := range models {
		if m.name == name {
			return Model(i), nil
		}
		names = append(names, m.name)
	}
	return 0, fmt.Errorf("evaporation model %q is not known: use one of %s", name, strings.Join(names, ", "))
}

// FluxKgM2H is the water lost from a still, open surface, kg/(m2 h); 1 is close
// to 24 mm a day. Zero where the room's vapour pressure is as high as the
// surface's or higher. Meant for 0 to 50 °C near atmospheric pressure; NaN for
// an unknown model, for NaN, and for water or air too hot for the pressure.
func FluxKgM2H(m Model, w Water, a Air) float64 {
	if m >= modelEnd {
		return math.NaN()
	}
	f := film{surface: w.atSurface(a.PressurePa), room: a.room(), speedMS: math.Max(a.SpeedMS, 0)}
	return math.Max(models[m].fluxM2H(f), 0)
}

const (
	secondsPerHour = 3600

	// vapourGasJKgK is the gas constant of water vapour (IAPWS-95).
	vapourGasJKgK = 461.52
)

func shah(f film) float64 {
	const (
		natural   = 35.0    // kg/(m2 h) per (kg/m3)^(4/3)
		forced    = 0.00005 // kg/(m2 h Pa)
		quietMS   = 0.15    // air speed of a closed room
		windPower = 0.8
	)
	// The constant 35 belongs with the mass of dry air per volume of moist air,
	// though the density that drives real buoyancy is the moist air's: only so
	// does the equation meet its published look-up values.
	room, surface := 1/f.room.SpecificVolumeM3Kg(), 1/f.surface.SpecificVolumeM3Kg()
	buoyant := natural * surface * math.Cbrt(math.Max(room-surface, 0)) *
		(f.surface.HumidityRatio() - f.room.HumidityRatio())
	draught := forced * math.Pow(math.Max(f.speedMS/quietMS, 1), windPower) * f.drivingPa()
	return math.Max(buoyant, draught)
}

// latent is the family of Carrier: heat spent on evaporation is linear in air
// speed, (still + perSpeed V) kW/m2 per kPa, and turned to water by the latent
// heat at the surface.
func latent(f film, still, perSpeed float64) float64 {
	latentKJKg := 2500.8 - 2.36*f.surface.TempC // within 0.03 % of IAPWS-95 from 0 to 40 °C
	return secondsPerHour * (still + perSpeed*f.speedMS) * f.drivingPa() / 1000 / latentKJKg
}

func vdi2089(f film) float64 {
	const unusedMH = 7.0 // transfer coefficient, m/h
	meanK := (f.surface.TempC+f.room.TempC)/2 + 273.15
	return unusedMH * f.drivingPa() / (vapourGasJKgK * meanK)
}

func rohwer(f film) float64 {
	const (
		mmHgPa   = 133.322387 // conventional millimetre of mercury
		kmhPerMS = 3.6
		kgPerMM  = 1.0 // one millimetre over one square metre
	)
	mmDay := (1.465 - 0.000732*f.room.PressurePa/mmHgPa) * (0.44 + 0.0733*f.speedMS*kmhPerMS) * f.drivingPa() / mmHgPa
	return mmDay * kgPerMM / 24
}

func analogy(f film) float64 {
	const (
		sherwood   = 0.14
		gravityMS2 = 9.80665
	)
	surfaceK, roomK := f.surface.TempC+273.15, f.room.TempC+273.15
	meanK := (surfaceK + roomK) / 2
	// Sutherland's law for air (U.S. Standard Atmosphere 1976) and the
	// diffusivity of water vapour (Hall and Pruppacher 1976; from memory).
	viscosityPaS := 1.458e-6 * math.Pow(meanK, 1.5) / (meanK + 110.4)
	diffusivityM2S := 2.11e-5 * math.Pow(meanK/273.15, 1.94) * 101325 / f.room.PressurePa

	room, surface := f.room.DensityKgM3(), f.surface.DensityKgM3()
	kinematicM2S := viscosityPaS / ((room + surface) / 2)
	lift := math.Max(room-surface, 0) / ((room + surface) / 2)
	// Sh D/L: the length cancels at the power of one third.
	transferMS := sherwood * diffusivityM2S * math.Cbrt(gravityMS2*lift/(kinematicM2S*diffusivityM2S))
	vapourKgM3 := f.surface.VapourPressurePa()/(vapourGasJKgK*surfaceK) - f.room.VapourPressurePa()/(vapourGasJKgK*roomK)
	return secondsPerHour * transferMS * vapourKgM3
}
