package carbonate

import (
	"fmt"
	"math"
)

// Scale is a definition of pH. The same water reads differently on each: near
// salinity 35 and 25 °C the seawater scale is 0.01 below the total scale, the
// free scale 0.11 above it, and the NBS scale 0.14 above it.
type Scale uint8

const (
	// Total counts free hydrogen ion and bisulfate (Hansson 1973).
	Total Scale = iota
	// Free counts hydrogen ion alone.
	Free
	// Seawater counts hydrogen fluoride too (Dickson and Millero 1987).
	Seawater
	// NBS is the activity scale of the usual dilute buffers, 4, 7 and 10: what
	// a hobby probe reads. In seawater it carries the electrode's own liquid
	// junction error, 0.01 to 0.05.
	NBS
)

// Salinity range of the NBS scale's activity factor.
const NBSSalinityMinPSU, NBSSalinityMaxPSU = 20.0, 40.0

func (s Scale) String() string {
	switch s {
	case Total:
		return "total"
	case Free:
		return "free"
	case Seawater:
		return "seawater"
	case NBS:
		return "NBS"
	}
	return fmt.Sprintf("scale %d", uint8(s))
}

// ConvertPH takes a pH from one scale to another. It returns a *RangeError for
// a pH outside 2 to 14, or for NBS outside salinity 20 to 40, where the
// activity factor has no measurements behind it.
func (c *Constants) ConvertPH(pH float64, from, to Scale) (float64, error) {
	if err := checkRange("pH", pH, PHMin, PHMax, ""); err != nil {
		return 0, err
	}
	factorFrom, err := c.hydrogenOverTotal(from)
	if err != nil {
		return 0, err
	}
	factorTo, err := c.hydrogenOverTotal(to)
	if err != nil {
		return 0, err
	}
	return pH + math.Log10(factorFrom/factorTo), nil
}

// hydrogenOverTotal is [H⁺] (for NBS: the activity) on a scale over that on the
// total scale.
func (c *Constants) hydrogenOverTotal(scale Scale) (float64, error) {
	switch scale {
	case Total:
		return 1, nil
	case Free:
		return 1 / c.TotalPerFree, nil
	case Seawater:
		return c.SeawaterPerTotal, nil
	case NBS:
		if err := checkRange("salinity for the NBS scale", c.SalinityPSU, NBSSalinityMinPSU, NBSSalinityMaxPSU, "PSU"); err != nil {
			return 0, err
		}
		return c.SeawaterPerTotal * c.activityFactor(), nil
	}
	return 0, fmt.Errorf("%v is no pH scale: use total, free, seawater or NBS", scale)
}

// activityFactor is the NBS activity over [H⁺] on the seawater scale: Takahashi,
// Williams and Bos (1982), GEOSECS Pacific Expedition vol. 3, chapter 3
// (coefficients from memory). Salinity 20 to 40.
func (c *Constants) activityFactor() float64 {
	t := c.TempC + kelvinOffset
	return 1.2948 - 0.002036*t + (0.0004607-0.000001475*t)*c.SalinityPSU*c.SalinityPSU
}
