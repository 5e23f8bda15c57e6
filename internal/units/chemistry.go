package units

// psiBar is a pound (0.45359237 kg: NIST Special Publication 811, appendix B.8)
// times 9.80665 m/s² on a square inch.
const psiBar = "0.0689475729"

// Strength is what is stirred into a litre, in grams.
var Strength = &Kind{name: "a strength", example: "1.5 g/L", units: []unit{
	write(by("1", "1", "g/L", "g/l")),
	by("1", "1000", "mg/L", "mg/l"),
}}

// DissolvedPerDay is a concentration used or made in a day, in mg/L.
var DissolvedPerDay = &Kind{name: "a concentration a day", example: "8 mg/L/day", units: []unit{
	write(by("1", "1", "mg/L/day", "mg/l/day", "ppm/day")),
}}

// Gauge is a pressure above that of the air, in bar.
var Gauge = &Kind{name: "a pressure above the air's", example: "4.1 bar", units: []unit{
	write(by("1", "1", "bar")),
	by("1", "100", "kPa"),
	by(psiBar, "1", "psi"),
}}
