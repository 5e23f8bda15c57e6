package bench

import (
	"math"
	"strconv"
	"strings"

	"isohaline/internal/units"
)

const (
	litresPerM3    = 1000
	hoursPerDay    = 24
	minutesPerDay  = 1440
	gramsPerKg     = 1000
	kgPerPound     = 0.45359237 // exact, international pound
	psiPerBar      = 14.503773773
	fahrenheitPerC = 1.8
)

// Shown writes a value in a person's units, with about three digits and the unit.
func Shown(value float64, unit string, u units.System) string {
	switch unit {
	case "L":
		return u.Volume(value / litresPerM3)
	case "L/day":
		return u.DailyVolume(value / litresPerM3)
	case "°C":
		return u.Temp(value)
	case "bar":
		if u == units.US {
			return digits(value*psiPerBar, 3) + " psi"
		}
	case "g":
		switch {
		case u == units.US && value >= kgPerPound*gramsPerKg:
			return digits(value/gramsPerKg/kgPerPound, 3) + " lb"
		case u == units.Metric && value >= 10*gramsPerKg:
			return digits(value/gramsPerKg, 3) + " kg"
		}
	case "%":
		return digits(value, 3) + " %"
	case "PSU":
		return digits(value, 4) + " PSU"
	case "°C difference":
		if u == units.US {
			return digits(value*fahrenheitPerC, 2) + " °F"
		}
		return digits(value, 2) + " °C"
	case "":
		return digits(value, 4)
	case "pH":
		return fixed(value, 3)
	case "nD":
		return fixed(value, 5)
	case "kg/m³":
		return fixed(value, 1) + " kg/m³"
	case "SG":
		return fixed(value, 4)
	}
	return digits(value, 3) + " " + unit
}

// ShownFigure writes a figure with its two ends.
func ShownFigure(f Figure, u units.System) string {
	text := Shown(f.Value, f.Unit, u)
	if f.Low != nil && f.High != nil {
		text += " (" + Shown(*f.Low, f.Unit, u) + " to " + Shown(*f.High, f.Unit, u) + ")"
	}
	return text
}

// digits writes a number with some significant digits, and never an exponent.
func digits(v float64, significant int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return units.Unknown
	}
	const finest = 4
	return units.Digits(v, significant, finest)
}

// fixed writes a number with some decimals, and nothing as such.
func fixed(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text
}

// signed writes a change with its sign.
func signed(value float64, unit string, u units.System) string {
	text := Shown(value, unit, u)
	if value > 0 && !strings.HasPrefix(text, "0 ") {
		return "+" + text
	}
	return text
}
