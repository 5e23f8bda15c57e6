// Package instrument knows what the instruments read that people measure
// salinity with, and how far off a careful reading is.
//
// None of them sees salt. A meter sees conductivity, a refractometer how light
// bends, a hydrometer how dense the water is; a scale printed on the instrument
// turns that into a salinity, true at the temperatures and for the salt that the
// scale was made for. This package goes through what is seen, so that readings
// of any two can be compared.
//
// The errors below are the one place that the account, hand readings and the
// bench take them from. They are common practice, without a source, and hold for
// an instrument that was calibrated and read with care.
package instrument

import (
	"fmt"
	"math"

	"isohaline/seawater"
)

// Kind is how an instrument sees salinity.
type Kind string

const (
	Conductivity       Kind = "conductivity"        // mS/cm at the water's temperature
	Compensated        Kind = "conductivity-at-25"  // mS/cm, brought to 25 °C by the meter
	Meter              Kind = "conductivity-meter"  // PSU, worked out by the meter
	Refractometer      Kind = "refractometer"       // PSU, on a scale for seawater
	BrineRefractometer Kind = "brine-refractometer" // g/kg, on a scale for table salt
	RefractiveIndex    Kind = "refractive-index"    // at the water's temperature, sodium light
	Hydrometer         Kind = "hydrometer"          // specific gravity
	Density            Kind = "density"             // kg/m³ at the water's temperature
)

// Kinds are all of them.
func Kinds() []Kind {
	return []Kind{Conductivity, Compensated, Meter, Refractometer, BrineRefractometer, RefractiveIndex, Hydrometer, Density}
}

// Unit is what a kind reads in: "SG" for a specific gravity, "nD" for a refractive
// index, both without a unit by their nature.
func (k Kind) Unit() string {
	switch k {
	case Conductivity, Compensated:
		return "mS/cm"
	case Meter, Refractometer:
		return "PSU"
	case BrineRefractometer:
		return "g/kg"
	case Hydrometer:
		return "SG"
	case Density:
		return "kg/m³"
	case RefractiveIndex:
		return "nD"
	}
	return ""
}

// Words names an instrument in a sentence.
func (k Kind) Words() string {
	switch k {
	case Conductivity:
		return "conductivity probe"
	case Compensated:
		return "conductivity probe set to 25 °C"
	case Meter:
		return "conductivity meter"
	case Refractometer:
		return "refractometer for seawater"
	case BrineRefractometer:
		return "refractometer for brine"
	case RefractiveIndex:
		return "index refractometer"
	case Density:
		return "density meter"
	}
	return string(k)
}

// Errors of one reading, one standard deviation. Common practice, no source.
const (
	conductivityFrac = 0.005   // of the reading, calibrated
	meterPSU         = 0.3     // the same with its temperature probe
	refractometerPSU = 0.5     // half a line of the scale, and the prism's warmth
	indexSD          = 0.0001  // the fourth decimal
	hydrometerSG     = 0.0005  // half a line and the meniscus
	densityKgM3      = 0.1     // a pycnometer or a bench meter
	tempC            = 0.2     // a glass thermometer or a cheap probe
	slopePerK        = 0.001   // of the meter's compensation, per K
	usualSlopePerK   = 0.02    // what meters take where they do not say
	glassPerK        = 25e-6   // cubic expansion of soda-lime glass (ASTM E126, from memory)
	calibratedAtC    = 25.0    // what meters compensate to
	otherPSU         = 0.7     // any other instrument
	unstatedPSU      = 0.5     // a reading that came without its instrument
	brineGKg         = 0.5     // as a refractometer for seawater
	brineScaleGKg    = 0.6 / 2 // of the brine scale itself: see seawater.BrineScaleReading
)

// HandSDPSU is the error of a salinity read by hand, one standard deviation, by
// the instrument's everyday name.
func HandSDPSU(name string) float64 {
	switch name {
	case "refractometer":
		return refractometerPSU
	case "conductivity meter":
		return meterPSU
	case "hydrometer":
		return otherPSU
	case "":
		return unstatedPSU
	}
	return otherPSU
}

// Errors of the other things people measure, one standard deviation, and of the
// volume of a system that was worked out and not measured. Common practice, no
// source.
const (
	AlkalinitySDDKH = 0.2
	CalciumSDMgL    = 10.0
	MagnesiumSDMgL  = 30.0
	PHSD            = 0.05
	TempSDC         = tempC
	VolumeSDFrac    = 0.08
)

// CalibrationDays is how often an instrument of a kind is calibrated: a meter or
// a refractometer monthly, glass once a year. Common practice, no source.
func (k Kind) CalibrationDays() float64 {
	switch k {
	case Hydrometer, Density:
		return 365
	}
	return 30
}

// Scale is what an instrument's scale was made for.
type Scale struct {
	Kind Kind
	// SampleC over WaterC are the temperatures of a specific gravity, engraved
	// on the hydrometer: 25/25, 20/4, 15.56/15.56.
	SampleC, WaterC float64
	// SlopePerK is the compensation of a meter brought to 25 °C, as a share per
	// kelvin; 0: the usual 2 %.
	SlopePerK float64
}

// Read is what the instrument shows in water of a practical salinity at tempC.
// NaN where package seawater gives none.
func (s Scale) Read(psu, tempC float64) float64 {
	switch s.Kind {
	case Conductivity:
		return seawater.ConductivityFromPracticalSalinity(psu, tempC, 0)
	case Compensated:
		return seawater.ConductivityFromPracticalSalinity(psu, tempC, 0) / s.warmth(tempC)
	case Meter, Refractometer:
		return psu
	case BrineRefractometer:
		return seawater.BrineScaleReading(psu)
	case RefractiveIndex:
		return seawater.RefractiveIndex(psu, tempC, seawater.SodiumDNM)
	case Hydrometer:
		return seawater.SpecificGravity(psu, tempC, s.WaterC) * s.glass(tempC)
	case Density:
		return seawater.Density(seawater.AbsoluteSalinity(psu), tempC, 0)
	}
	return math.NaN()
}

// PSU is the salinity at which the instrument shows a reading in water at tempC.
// The error says what is wrong with the reading.
func (s Scale) PSU(reading, tempC float64) (float64, error) {
	psu, err := s.psu(reading, tempC)
	if err == nil && !(psu >= 0 && psu <= maxPSU) { // NaN too
		err = fmt.Errorf("%g %s is no reading of seawater at %g °C", reading, s.Kind.Unit(), tempC)
	}
	return psu, err
}

// maxPSU is where seawater ends to be a sea's.
const maxPSU = 60.0

func (s Scale) psu(reading, tempC float64) (float64, error) {
	switch s.Kind {
	case Conductivity:
		return seawater.PracticalSalinityFromConductivity(reading, tempC, 0), nil
	case Compensated:
		return seawater.PracticalSalinityFromConductivity(reading*s.warmth(tempC), tempC, 0), nil
	case Meter, Refractometer:
		return reading, nil
	case BrineRefractometer:
		return seawater.PracticalSalinityFromBrineScale(reading)
	case RefractiveIndex:
		return seawater.PracticalSalinityFromRefractiveIndex(reading, tempC, seawater.SodiumDNM)
	case Hydrometer:
		return seawater.PracticalSalinityFromSpecificGravity(reading/s.glass(tempC), tempC, s.WaterC)
	case Density:
		water := seawater.Density(0, tempC, 0)
		return seawater.PracticalSalinityFromSpecificGravity(reading/water, tempC, tempC)
	}
	return 0, fmt.Errorf("%q is none of the instruments there are", string(s.Kind))
}

// warmth is the conductivity at tempC over that at 25 °C, as the meter takes it.
func (s Scale) warmth(tempC float64) float64 {
	slope := s.SlopePerK
	if slope == 0 {
		slope = usualSlopePerK
	}
	return 1 + slope*(tempC-calibratedAtC)
}

// glass is how much larger the hydrometer is than at its own temperature: it
// floats higher in warm water for it.
func (s Scale) glass(tempC float64) float64 { return 1 + glassPerK*(tempC-s.SampleC) }

// SDPSU is the error of a reading as a salinity, one standard deviation: that of
// the reading itself, and that of the thermometer where the temperature counts.
// ownSD is the reading's error in its own unit, 0 for the usual.
func (s Scale) SDPSU(psu, tempC, ownSD float64) float64 {
	if ownSD == 0 {
		ownSD = s.ownSD(psu, tempC)
	}
	const step = 0.01
	perPSU := (s.Read(psu+step, tempC) - s.Read(psu, tempC)) / step
	perC := (s.Read(psu, tempC+step) - s.Read(psu, tempC)) / step
	sd := math.Abs(ownSD / perPSU)
	if s.Kind == Compensated { // the slope of the meter is not known exactly either
		sd = math.Hypot(sd, math.Abs(s.Read(psu, tempC)*slopePerK*(tempC-calibratedAtC)/perPSU))
	}
	sd = math.Hypot(sd, math.Abs(perC*TempSDC/perPSU))
	if math.IsNaN(sd) { // a scale that does not move here says nothing
		return worstPSU
	}
	return min(max(sd, bestPSU), worstPSU)
}

// No hand reading is better than bestPSU, nor worse than not looking.
const bestPSU, worstPSU = 0.01, 20.0

// ownSD is a reading's usual error in its own unit.
func (s Scale) ownSD(psu, tempC float64) float64 {
	switch s.Kind {
	case Conductivity, Compensated:
		return conductivityFrac * s.Read(psu, tempC)
	case Meter:
		return meterPSU
	case BrineRefractometer:
		return math.Hypot(brineGKg, brineScaleGKg)
	case RefractiveIndex:
		return indexSD
	case Hydrometer:
		return hydrometerSG
	case Density:
		return densityKgM3
	}
	return refractometerPSU
}

// ReadingSD is the error of a salinity, one standard deviation, as the
// instrument would show it.
func (s Scale) ReadingSD(psu, sdPSU, tempC float64) float64 {
	const step = 0.01
	return math.Abs(s.Read(psu+step, tempC)-s.Read(psu, tempC)) / step * sdPSU
}
