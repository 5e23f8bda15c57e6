package units_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"isohaline/internal/problem"
	"isohaline/internal/units"
)

var kinds = map[string]*units.Kind{
	"length": units.Length, "area": units.Area, "volume": units.Volume, "flow": units.Flow,
	"daily": units.DailyVolume, "litres per day": units.LitresPerDay, "temperature": units.Temperature,
	"salinity": units.Salinity, "salinity change": units.SalinityChange, "alkalinity": units.Alkalinity,
	"duration": units.Duration, "hours": units.Hours, "days": units.Days, "speed": units.Speed,
	"alkalinity a day": units.AlkalinityPerDay, "dissolved": units.Dissolved, "gas": units.Gas,
	"pressure": units.Pressure, "fraction": units.Fraction, "number": units.Number,
}

func TestParse(t *testing.T) {
	const (
		inch   = "international inch, 25.4 mm exactly: NIST SP 811 B.6"
		gallon = "US gallon, 231 cubic inches exactly: NIST Handbook 44 C"
		ounce  = "US fluid ounce, 1/128 gallon: NIST Handbook 44 C"
		si     = "SI Brochure, 9th edition"
		litre  = "litre, 1 dm3 exactly: SI Brochure, table 8"
		fahren = "t/°C = (t/°F - 32) / 1.8: NIST SP 811 B.8"
		mercur = "conventional inch of mercury: NIST SP 811 B.8"
	)
	for _, c := range []struct {
		kind   *units.Kind
		text   string
		want   float64
		source string
	}{
		{units.Length, "1 in", 0.0254, inch},
		{units.Length, "12 in", 0.3048, inch},
		{units.Length, "1 ft", 0.3048, "international foot, 12 inches: NIST SP 811 B.6"},
		{units.Length, "340 mm", 0.34, si},
		{units.Length, "0.1 mm", 0.0001, si},
		{units.Length, "34.5cm", 0.345, si},
		{units.Length, "-20 mm", -0.02, si},
		{units.Length, "+2.5 m", 2.5, si},
		{units.Length, "340\u00a0mm", 0.34, si},
		{units.Length, "340\u202fmm", 0.34, si},
		{units.Length, "\u221220 mm", -0.02, si},
		{units.Length, "1e3 mm", 1, si},
		{units.Length, "010 m", 10, si},
		{units.Area, "1 in2", 0.00064516, inch},
		{units.Area, "1 ft2", 0.09290304, "international foot squared: NIST SP 811 B.6"},
		{units.Area, "7200 cm2", 0.72, si},
		{units.Volume, "1 gal", 0.003785411784, gallon},
		{units.Volume, "231 in3", math.NaN(), "no cubic inches: refused"},
		{units.Volume, "128 fl oz", 0.003785411784, ounce},
		{units.Volume, "1 L", 0.001, litre},
		{units.Volume, "250 mL", 0.00025, litre},
		{units.Volume, "1.5 m3", 1.5, litre},
		{units.Flow, "3600000 L/h", 1, litre},
		{units.Flow, "60 L/min", 0.001, litre},
		{units.Flow, "60 mL/min", 1e-6, litre},
		{units.Flow, "86400 L/day", 0.001, litre},
		{units.Flow, "3600 gph", 0.003785411784, gallon},
		{units.Flow, "60 gpm", 0.003785411784, gallon},
		{units.Flow, "86400 gpd", 0.003785411784, gallon},
		{units.Flow, "86400 gal/day", 0.003785411784, gallon},
		{units.DailyVolume, "0.25 L/day", 0.00025, litre},
		{units.DailyVolume, "100 gpd", 0.3785411784, gallon},
		{units.LitresPerDay, "1 gal/day", 3.785411784, gallon},
		{units.LitresPerDay, "4200 mL/day", 4.2, litre},
		{units.Temperature, "32 °F", 0, fahren},
		{units.Temperature, "212F", 100, fahren},
		{units.Temperature, "77 °F", 25, fahren},
		{units.Temperature, "-40 °F", -40, fahren},
		{units.Temperature, "25.5 ºC", 25.5, si},
		{units.Salinity, "35 ppt", 35, "PSS-78 number as instruments call it: common practice, no source"},
		{units.Salinity, "33.5 PSU", 33.5, "PSS-78"},
		{units.Duration, "10 min", 600, si},
		{units.Duration, "2 days", 172800, si},
		{units.Hours, "1 day", 24, si},
		{units.Hours, "90 min", 1.5, si},
		{units.Days, "1 week", 7, si},
		{units.Days, "12 h", 0.5, si},
		{units.Speed, "1 ft/min", 0.00508, "NIST SP 811 B.8"},
		{units.Speed, "30 fpm", 0.1524, "NIST SP 811 B.8"},
		{units.Pressure, "1013.25 hPa", 101325, si},
		{units.Pressure, "1013.25 mbar", 101325, si},
		{units.Pressure, "1 inHg", 3386.389, mercur},
		{units.AlkalinityPerDay, "0.5 meq/L/day", 0.5 * 2.80385, "20 meq to 56.077 mg of CaO, IUPAC 2021 atomic weights"},
		{units.Dissolved, "420 ppm", 420, "test kits measure volumes: common practice, no source"},
		{units.Gas, "700 ppm", 700, si},
		{units.Fraction, "12 %", 0.12, si},
		{units.Fraction, "0.5%", 0.005, si},
		{units.Number, "1.5", 1.5, "no unit"},
	} {
		got, err := c.kind.Parse(c.text)
		if math.IsNaN(c.want) {
			if err == nil {
				t.Errorf("%s: got %v, want it refused (%s)", c.text, got, c.source)
			}
			continue
		}
		// Tolerance zero: a conversion is rounded once.
		if err != nil || got != c.want {
			t.Errorf("%s: got %v, %v; want %v (%s)", c.text, got, err, c.want, c.source)
		}
	}
}

// TestGallonIsCubicInches checks the gallon's decimal against its definition
// and the atmosphere in inches of mercury against the handbook's 29.92126
// (ASHRAE Handbook Fundamentals 2017, chapter 1, gives 29.921).
func TestGallonIsCubicInches(t *testing.T) {
	inch, _ := units.Length.Parse("1 in")
	gallon, _ := units.Volume.Parse("1 gal")
	if d := math.Abs(231*inch*inch*inch - gallon); d > 1e-17 {
		t.Errorf("gallon is %g m3 off 231 cubic inches", d)
	}
	atm, _ := units.Pressure.Parse("29.921 inHg")
	if math.Abs(atm-101325) > 2 {
		t.Errorf("29.921 inHg = %g Pa, want 101325 within the last printed digit", atm)
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		kind        *units.Kind
		text        string
		reason, fix string
	}{
		{units.Length, "340", "has no unit", `"340 mm"`},
		{units.Length, "", "is not a length", `"340 mm"`},
		{units.Length, "mm", "is not a length", "mm, cm, m, in or ft"},
		{units.Length, "12 furlong", `has the unit "furlong"`, "mm, cm, m, in or ft"},
		{units.Length, "13 3/8 in", `has the unit "3/8 in"`, "mm"},
		{units.Length, "25,5 mm", "has a comma", "point for decimals"},
		{units.Length, ".inf m", "is not a length", "mm"},
		{units.Length, "-.inf m", "is not a length", "mm"},
		{units.Length, "NaN mm", "is not a length", "mm"},
		{units.Length, "Infinity m", "is not a length", "mm"},
		{units.Length, "0x10 m", `has the unit "x10 m"`, "mm"},
		{units.Length, "1_000 mm", `has the unit "_000 mm"`, "mm"},
		{units.Length, "1.2.3 m", `has the unit ".3 m"`, "mm"},
		{units.Length, "1e999 m", "is not a number of a sensible size", "mm"},
		{units.Length, "-1e999 m", "is not a number of a sensible size", "mm"},
		{units.Length, "1e1000 m", "is not a number of a sensible size", "mm"},
		{units.Length, "1e99999999999 m", "is not a number of a sensible size", "mm"},
		{units.Length, strings.Repeat("9", 200) + " m", "is too long", "mm"},
		{units.Length, "5 L", `has the unit "L"`, "mm"},
		{units.Volume, "2 cup", `has the unit "cup"`, "gal"},
		{units.Flow, "1,500 L/h", "has a comma", "nothing for thousands"},
		{units.Duration, "1 month", `has the unit "month"`, "days"},
		{units.Temperature, "25", "has no unit", `"25 °C"`},
		{units.Salinity, "1.0264", "has no unit", "SG@25/25"},
		{units.Salinity, "1.0264 SG", "without its two temperatures", "1.0264 SG@25/25"},
		{units.Salinity, "1.0264 SG@25", "without its two temperatures", "1.0264 SG@25/25"},
		{units.Salinity, "1.0264 SG@/", "without its two temperatures", "1.0264 SG@25/25"},
		{units.Salinity, "53 mS/cm", "without the temperature", "mS/cm@25°C"},
		{units.Salinity, "53 mS/cm@25", "without the temperature", "mS/cm@25°C"},
		{units.Salinity, "35 g/kg", `has the unit "g/kg"`, "PSU"},
		{units.Salinity, "2 SG@25/25", "no specific gravity of seawater", "SG@25/25"},
		{units.Salinity, "900 mS/cm@25°C", "no conductivity of seawater", "mS/cm@25°C"},
		{units.Salinity, "53 mS/cm@900°C", "no conductivity of seawater", "mS/cm@25°C"},
		{units.Fraction, "0.12", "has no unit", `"0.12 %"`},
		{units.Number, "1.5 mm", `has the unit "mm"`, "nothing else"},
	} {
		_, err := c.kind.Parse(c.text)
		if err == nil {
			t.Errorf("%q: accepted", c.text)
			continue
		}
		e := err.(*problem.Problem)
		if !strings.Contains(e.Why, c.reason) || !strings.Contains(e.Fix, c.fix) {
			t.Errorf("%q: got %q; %q, want %q; %q", c.text, e.Why, e.Fix, c.reason, c.fix)
		}
	}
}

// TestExactRoundTrip: whatever a float64 is, its text means exactly that.
func TestExactRoundTrip(t *testing.T) {
	for name, k := range kinds {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			x := rapid.Float64Range(-1e9, 1e9).Draw(t, "x")
			if math.Abs(x) < 1e-300 {
				x = 0 // where a float64 has fewer digits
			}
			text := k.Exact(x)
			got, err := k.Parse(text)
			if err != nil || got != x {
				t.Fatalf("%v written %q read %v, %v", x, text, got, err)
			}
		}))
	}
}

func TestExactIsShort(t *testing.T) {
	for _, c := range []struct {
		kind *units.Kind
		base float64
		want string
	}{
		{units.Length, 0.56, "560 mm"},
		{units.Length, 2.5, "2.5 m"},
		{units.Length, 0, "0 mm"},
		{units.Volume, 0.04, "40 L"},
		{units.Volume, 0.0003, "0.3 L"},
		{units.Flow, 2500 / 3.6e6, "2500 L/h"},
		{units.Fraction, 0.07, "7 %"},
		{units.Temperature, 25.5, "25.5 °C"},
		{units.Pressure, 100900, "1009 hPa"},
		{units.Duration, 600, "10 min"},
		{units.Number, 3, "3"},
		{units.Length, 1e-15, "1e-12 mm"},
		{units.Length, math.NaN(), "NaN"},
		{units.Length, math.Inf(1), "+Inf"},
	} {
		if got := c.kind.Exact(c.base); got != c.want {
			t.Errorf("%v: got %q, want %q", c.base, got, c.want)
		}
	}
}

func TestSystem(t *testing.T) {
	m, us := units.Metric, units.US
	for _, c := range []struct{ got, want string }{
		{m.Length(0.3403), "340 mm"},
		{m.Length(0.0034), "3.4 mm"},
		{m.Length(2.5), "2.5 m"},
		{us.Length(0.3403), "13.4 in"},
		{us.Length(3.048), "10 ft"},
		{m.Volume(0.0123), "12.3 L"},
		{m.Volume(1.2346), "1235 L"},
		{m.Volume(0.00005), "50 mL"},
		{us.Volume(0.0123), "3.25 gal"},
		{us.Volume(0.0003), "10.1 fl oz"},
		{m.Flow(1500 / 3.6e6), "1500 L/h"},
		{m.Flow(1e-6), "60 mL/min"},
		{us.Flow(1500 / 3.6e6), "396 gph"},
		{us.Flow(1e-6), "22.8 gal/day"},
		{m.DailyVolume(0.0042), "4.2 L/day"},
		{us.DailyVolume(0.0042), "1.11 gal/day"},
		{m.Temp(25.5), "25.5 °C"},
		{us.Temp(25.5), "77.9 °F"},
		{m.Speed(0.15), "0.15 m/s"},
		{us.Speed(0.15), "29.5 ft/min"},
		{m.Salinity(35.18), "35.2 PSU"},
		{m.Alkalinity(8), "8 dKH"},
		{m.Percent(0.123), "12.3 %"},
		{m.Duration(45), "45 s"},
		{m.Duration(600), "10 min"},
		{m.Duration(86400), "24 h"},
		{m.Duration(604800), "7 days"},
		{m.Length(math.NaN()), "unknown"},
		{us.Volume(math.Inf(-1)), "unknown"},
		{m.Length(-1e-12), "0 mm"},
		{m.Flow(0), "0 L/h"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// TestSystemIsReadBack: what a person is shown, they may type.
func TestSystemIsReadBack(t *testing.T) {
	for name, c := range map[string]struct {
		kind   *units.Kind
		format func(units.System, float64) string
	}{
		"length":       {units.Length, units.System.Length},
		"volume":       {units.Volume, units.System.Volume},
		"flow":         {units.Flow, units.System.Flow},
		"daily volume": {units.DailyVolume, units.System.DailyVolume},
		"temperature":  {units.Temperature, units.System.Temp},
		"speed":        {units.Speed, units.System.Speed},
		"salinity":     {units.Salinity, units.System.Salinity},
		"alkalinity":   {units.Alkalinity, units.System.Alkalinity},
		"fraction":     {units.Fraction, units.System.Percent},
		"duration":     {units.Duration, units.System.Duration},
	} {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			x := rapid.Float64Range(1e-3, 1e5).Draw(t, "x")
			system := rapid.SampledFrom([]units.System{units.Metric, units.US}).Draw(t, "system")
			text := c.format(system, x)
			got, err := c.kind.Parse(text)
			// Three digits: half a unit of the third, at worst 0.5 %; a
			// temperature near zero keeps three digits of its own scale.
			tolerance := 0.0051 * x
			if c.kind == units.Temperature {
				tolerance += 0.1
			}
			if err != nil || math.Abs(got-x) > tolerance {
				t.Fatalf("%v shown as %q reads %v, %v", x, text, got, err)
			}
		}))
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"340 mm", "1.0264 SG@25/25", "53 mS/cm@25°C", "1e99 m", "-.5 ft", "1.0 SG@60/60°F", "\xff 1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for name, k := range kinds {
			v, err := k.Parse(s)
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Errorf("%s: %q read as %v", name, s, v)
			}
			if err != nil && (err.(*problem.Problem).Why == "" || err.(*problem.Problem).Fix == "") {
				t.Errorf("%s: %q: %#v", name, s, err)
			}
		}
	})
}
