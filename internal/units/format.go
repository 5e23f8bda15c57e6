package units

import (
	"math"
	"strconv"
	"strings"
)

// System is the set of units a person wants to read. Its methods take SI values
// (or the base their name says) and return text with about three significant
// digits, which the matching Kind reads back. A value that is not finite comes
// out as "unknown".
type System uint8

const (
	Metric System = iota
	US
)

// Unknown is the text of a value nobody stated.
const Unknown = "unknown"

// significantDigits is what a tape measure, a measuring jug or a flow meter is
// good for.
const significantDigits = 3

// Length writes metres as mm (m from 2 m up), or as in (ft from 10 ft up).
func (s System) Length(m float64) string {
	return s.pick(m, Length, scale{"mm", "m", 2}, scale{"in", "ft", 10})
}

// Volume writes cubic metres as L (mL below 0.1 L), or as gal (fl oz below a
// quarter gallon).
func (s System) Volume(m3 float64) string {
	return s.pick(m3, Volume, scale{"mL", "L", 0.1}, scale{"fl oz", "gal", 0.25})
}

// Flow writes cubic metres per second as L/h (mL/min below 6 L/h), or as gph
// (gal/day below 1 gph).
func (s System) Flow(m3s float64) string {
	return s.pick(m3s, Flow, scale{"mL/min", "L/h", 6}, scale{"gal/day", "gph", 1})
}

// DailyVolume writes cubic metres a day as L/day (mL/day below 0.1 L), or as
// gal/day (fl oz/day below a quarter gallon).
func (s System) DailyVolume(m3Day float64) string {
	return s.pick(m3Day, DailyVolume, scale{"mL/day", "L/day", 0.1}, scale{"fl oz/day", "gal/day", 0.25})
}

// Temp writes a temperature in °C or °F.
func (s System) Temp(c float64) string {
	return s.pick(c, Temperature, scale{large: "°C"}, scale{large: "°F"})
}

// Speed writes metres per second as m/s or ft/min.
func (s System) Speed(ms float64) string {
	return s.pick(ms, Speed, scale{large: "m/s"}, scale{large: "ft/min"})
}

// Salinity writes practical salinity, in both systems as PSU.
func (System) Salinity(psu float64) string { return in(psu, SalinityChange, "PSU") }

// Alkalinity writes dKH in both systems.
func (System) Alkalinity(dKH float64) string { return in(dKH, Alkalinity, "dKH") }

// Percent writes a share of one.
func (System) Percent(frac float64) string { return in(frac, Fraction, "%") }

// Duration writes seconds in the largest of s, min, h and days that it fills
// once (days: twice).
func (System) Duration(s float64) string {
	const minute, hour, twoDays = 60, 3600, 2 * 86400
	switch abs := math.Abs(s); {
	case abs < minute:
		return in(s, Duration, "s")
	case abs < hour:
		return in(s, Duration, "min")
	case abs < twoDays:
		return in(s, Duration, "h")
	}
	return in(s, Duration, "days")
}

// scale is how a quantity is written: in the large unit from a number of it up,
// else in the small one. Nothing at all is written in the large one.
type scale struct {
	small, large string
	from         float64 // 0: always in the large one
}

// pick writes a value on the system's scale.
func (s System) pick(base float64, k *Kind, metric, us scale) string {
	c := metric
	if s == US {
		c = us
	}
	if v := k.in(base, c.large); v != 0 && math.Abs(v) < c.from {
		return in(base, k, c.small)
	}
	return in(base, k, c.large)
}

// in writes a base value in a unit of its kind.
func in(base float64, k *Kind, name string) string {
	if math.IsNaN(base) || math.IsInf(base, 0) {
		return Unknown
	}
	return digits(k.in(base, name)) + " " + name
}

// in is a base value's number in a unit of its kind.
func (k *Kind) in(base float64, name string) float64 {
	u := k.find(name)
	factor, _ := u.factor.Float64()
	value := base / factor
	if u.offset != nil {
		offset, _ := u.offset.Float64()
		value -= offset
	}
	return value
}

// digits writes a number with about three significant digits.
func digits(v float64) string {
	const finest = 6
	return Digits(v, significantDigits, finest)
}

// Digits writes a number with some significant digits and at most so many
// decimals: all digits before the point, none of them an exponent, no zeros at the
// end. v is finite.
func Digits(v float64, significant, finest int) string {
	decimals := finest
	if v != 0 {
		decimals = significant - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	}
	text := strconv.FormatFloat(v, 'f', min(max(decimals, 0), finest), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}
