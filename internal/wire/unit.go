package wire

// secondary is a unit that stands for another one times a factor.
type secondary struct {
	of       string
	mul, div float64 // value in `of` = value * mul / div, both exact
}

// secondaryUnits are those of RFC 8798 (C. Bormann: Additional Units for Sensor
// Measurement Lists, June 2020, table 1), all but dBm, which is no multiple. A factor
// is kept as a fraction, so that 312 mm is 0.312 m to the last digit.
var secondaryUnits = map[string]secondary{
	"ms":     {"s", 1, 1000},
	"min":    {"s", 60, 1},
	"h":      {"s", 3600, 1},
	"MHz":    {"Hz", 1_000_000, 1},
	"kW":     {"W", 1000, 1},
	"kVA":    {"VA", 1000, 1},
	"kvar":   {"var", 1000, 1},
	"Ah":     {"C", 3600, 1},
	"Wh":     {"J", 3600, 1},
	"kWh":    {"J", 3_600_000, 1},
	"varh":   {"vars", 3600, 1},
	"kvarh":  {"vars", 3_600_000, 1},
	"kVAh":   {"VAs", 3_600_000, 1},
	"Wh/km":  {"J/m", 3600, 1000},
	"KiB":    {"B", 1024, 1},
	"GB":     {"B", 1e9, 1},
	"Mbit/s": {"bit/s", 1_000_000, 1},
	"B/s":    {"bit/s", 8, 1},
	"MB/s":   {"bit/s", 8_000_000, 1},
	"mV":     {"V", 1, 1000},
	"mA":     {"A", 1, 1000},
	"ug/m3":  {"kg/m3", 1, 1e9},
	"ppm":    {"/", 1, 1_000_000},
	"/100":   {"/", 1, 100},
	"/1000":  {"/", 1, 1000},
	"hPa":    {"Pa", 100, 1},
	"mm":     {"m", 1, 1000},
	"cm":     {"m", 1, 100},
	"km":     {"m", 1000, 1},
	"mm/h":   {"m/s", 1, 3_600_000},
	"m/h":    {"m/s", 1, 3600},
	"km/h":   {"m/s", 1000, 3600},
}

// convert gives a value in another unit. ok is false where the units measure
// different things, or nothing is known of them.
func convert(value float64, from, to string) (converted float64, ok bool) {
	if from == to {
		return value, true
	}
	if u, ok := secondaryUnits[from]; ok {
		if u.of == to {
			return value * u.mul / u.div, true
		}
		value, from = value*u.mul/u.div, u.of
	}
	if u, ok := secondaryUnits[to]; ok && u.of == from {
		return value * u.div / u.mul, true
	}
	return 0, false
}
