package units

// Sources of the factors: the international inch is exactly 25.4 mm (1959
// agreement; NIST Special Publication 811, appendix B.6); the US gallon is
// exactly 231 cubic inches, the US fluid ounce 1/128 of it (NIST Handbook 44,
// appendix C); the conventional inch of mercury is 3386.389 Pa (NIST SP 811,
// appendix B.8, rounded there); a degree of carbonate hardness is 10 mg of CaO
// in a litre, so 20/56.077 meq/L with the IUPAC 2021 atomic weights (Ca 40.078,
// C 12.011, O 15.999), and as much alkalinity as 10 × 100.086/56.077 mg of CaCO3.
const (
	inchM    = "0.0254"
	footM    = "0.3048"
	inch2M2  = "0.00064516"
	foot2M2  = "0.09290304"
	gallonM3 = "0.003785411784"
	gallonL  = "3.785411784"
	inHgPa   = "3386.389"

	ounceGallons = "128"
	minuteS      = "60"
	hourS        = "3600"
	dayS         = "86400"
	caoMgMmol    = "56.077"
	dkhMgL       = "20"      // 10 mg/L of CaO, two equivalents to a mole
	dkhCaCO3MgL  = "1000.86" // 10 mg/L of CaO for each mole of CaCO3, 100.086 g
)

// Length in metres. An elevation is a length too.
var Length = &Kind{name: "a length", example: "340 mm", units: []unit{
	write(by("1", "1000", "mm", "millimetre", "millimetres", "millimeter", "millimeters")),
	by("1", "100", "cm", "centimetre", "centimetres", "centimeter", "centimeters"),
	write(by("1", "1", "m", "metre", "metres", "meter", "meters")),
	by(inchM, "1", "in", "inch", "inches", `"`, "″"),
	by(footM, "1", "ft", "foot", "feet", "'", "′"),
}}

// Area in square metres.
var Area = &Kind{name: "an area", example: "0.72 m2", units: []unit{
	write(by("1", "1", "m2", "m²")),
	by("1", "10000", "cm2", "cm²"),
	by(inch2M2, "1", "in2", "in²", "sq in"),
	by(foot2M2, "1", "ft2", "ft²", "sq ft"),
}}

// Volume in cubic metres. There is no cup here: a cup is 200, 237, 240 or
// 250 mL, depending on the kitchen.
var Volume = &Kind{name: "a volume", example: "40 L", units: []unit{
	write(by("1", "1000", "L", "l", "litre", "litres", "liter", "liters")),
	write(by("1", "1000000", "mL", "ml")),
	by("1", "1", "m3", "m³"),
	by(gallonM3, "1", "gal", "gallon", "gallons", "US gal"),
	by(gallonM3, ounceGallons, "fl oz", "floz"),
}}

// Flow in cubic metres per second.
var Flow = &Kind{name: "a flow", example: "1500 L/h", units: []unit{
	write(by("1", "3600000", "L/h", "l/h", "L/hr", "lph", "LPH")),
	by("1", "60000", "L/min", "l/min", "lpm", "LPM"),
	by("1", "60000000", "mL/min", "ml/min"),
	by("1", "86400000", "L/day", "l/day", "L/d", "l/d"),
	by("1", "3600", "m3/h", "m³/h"),
	by(gallonM3, hourS, "gph", "GPH", "gal/h", "gal/hr"),
	by(gallonM3, minuteS, "gpm", "GPM", "gal/min"),
	by(gallonM3, dayS, "gal/day", "gpd", "GPD", "gal/d"),
}}

// DailyVolume is a slow flow in cubic metres a day.
var DailyVolume = &Kind{name: "a daily volume", example: "0.25 L/day", units: []unit{
	write(by("1", "1000", "L/day", "l/day", "L/d", "l/d")),
	by("1", "1000000", "mL/day", "ml/day", "mL/d", "ml/d"),
	by("1", "1", "m3/day", "m³/day"),
	by(gallonM3, "1", "gal/day", "gpd", "GPD", "gal/d"),
	by(gallonM3, ounceGallons, "fl oz/day"),
}}

// LitresPerDay is a slow flow in litres a day.
var LitresPerDay = &Kind{name: "a daily volume", example: "4.2 L/day", units: []unit{
	write(by("1", "1", "L/day", "l/day", "L/d", "l/d")),
	by("1", "1000", "mL/day", "ml/day", "mL/d", "ml/d"),
	by(gallonL, "1", "gal/day", "gpd", "GPD", "gal/d"),
}}

// Temperature in degrees Celsius.
var Temperature = &Kind{name: "a temperature", example: "25.5 °C", units: []unit{
	write(by("1", "1", "°C", "C", "degC", "deg C")),
	from(by("5", "9", "°F", "F", "degF", "deg F"), "-32"),
}}

// Salinity is practical salinity (PSS-78). The trade's "ppt" is read as the
// same number: what its instruments show under that name is calibrated on the
// practical scale. A specific gravity is read with the two temperatures it
// belongs to, a conductivity with the temperature of the water.
var Salinity = &Kind{
	name: "a salinity", example: "35 ppt",
	units:        practicalSalinity,
	derived:      derivedSalinity,
	derivedForms: []string{"SG@25/25", "mS/cm@25°C"},
}

// SalinityChange is a difference of practical salinities.
var SalinityChange = &Kind{name: "a salinity difference", example: "1.5 PSU", units: practicalSalinity}

var practicalSalinity = []unit{
	write(by("1", "1", "PSU", "psu", "SP")),
	by("1", "1", "ppt", "PPT", "‰"),
}

// Alkalinity in degrees of carbonate hardness.
var Alkalinity = &Kind{name: "an alkalinity", example: "8 dKH", units: []unit{
	write(by("1", "1", "dKH", "°dKH", "dkh", "KH")),
	by(caoMgMmol, dkhMgL, "meq/L", "meq/l", "mEq/L"),
	by(caoMgMmol, dkhCaCO3MgL, "mg/L CaCO3", "mg/l CaCO3", "ppm CaCO3"),
}}

// AlkalinityPerDay in degrees of carbonate hardness a day.
var AlkalinityPerDay = &Kind{name: "an alkalinity a day", example: "0.8 dKH/day", units: []unit{
	write(by("1", "1", "dKH/day", "°dKH/day", "dkh/day", "dKH/d")),
	by(caoMgMmol, dkhMgL, "meq/L/day", "meq/l/day", "mEq/L/day"),
	by(caoMgMmol, dkhCaCO3MgL, "mg/L CaCO3/day", "mg/l CaCO3/day", "ppm CaCO3/day"),
}}

// Dissolved is a concentration in milligrams per litre. The trade's "ppm" of
// something dissolved is read as that number: its test kits measure volumes.
var Dissolved = &Kind{name: "a concentration", example: "420 mg/L", units: []unit{
	write(by("1", "1", "mg/L", "mg/l", "ppm")),
}}

// Gas is a share of the air in parts per million by volume.
var Gas = &Kind{name: "a share of the air", example: "700 ppm", units: []unit{
	write(by("1", "1", "ppm", "PPM", "ppmv")),
}}

// Duration in seconds. A month is not a duration: it has no fixed length.
var Duration = &Kind{name: "a duration", example: "10 min", units: []unit{
	write(by("1", "1", "s", "sec", "second", "seconds")),
	write(by(minuteS, "1", "min", "minute", "minutes")),
	write(by(hourS, "1", "h", "hr", "hour", "hours")),
	by(dayS, "1", "days", "day", "d"),
}}

// Hours is a duration in hours.
var Hours = &Kind{name: "a duration", example: "24 h", units: []unit{
	by("1", hourS, "s", "sec", "second", "seconds"),
	by("1", minuteS, "min", "minute", "minutes"),
	write(by("1", "1", "h", "hr", "hour", "hours")),
	by("24", "1", "days", "day", "d"),
}}

// Days is a duration in days.
var Days = &Kind{name: "a duration", example: "7 days", units: []unit{
	by("1", "24", "h", "hr", "hour", "hours"),
	write(by("1", "1", "days", "day", "d")),
	by("7", "1", "weeks", "week"),
}}

// Speed in metres per second.
var Speed = &Kind{name: "a speed", example: "0.15 m/s", units: []unit{
	write(by("1", "1", "m/s")),
	by("1", "100", "cm/s"),
	by(footM, minuteS, "ft/min", "fpm"),
	by(footM, "1", "ft/s"),
}}

// Pressure in pascals, absolute.
var Pressure = &Kind{name: "a pressure", example: "1013 hPa", units: []unit{
	write(by("100", "1", "hPa")),
	by("1000", "1", "kPa"),
	by("1", "1", "Pa"),
	by("100", "1", "mbar"),
	by(inHgPa, "1", "inHg"),
}}

// Fraction is a share of one.
var Fraction = &Kind{name: "a share", example: "12 %", units: []unit{
	write(by("1", "100", "%", "percent")),
}}

// Number is a plain number: a ratio, a count, a coefficient. It is the one kind
// without a unit.
var Number = &Kind{name: "a number", example: "6", units: []unit{write(by("1", "1", ""))}}
