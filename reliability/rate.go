package reliability

import (
	"math"
	"strconv"
	"strings"
)

// PerHour is a constant failure rate or a frequency, per hour.
type PerHour float64

const (
	hoursPerDay = 24
	// DaysPerYear is the length of a year wherever something is counted by the
	// year: the 8760 h of the tables of IEC 61508-6:2010 Annex B. It is what the
	// seasons of a tank file add up to; a leap year's day is a quarter of a
	// per cent off.
	DaysPerYear  = 365
	HoursPerYear = DaysPerYear * hoursPerDay
	// hoursPerFIT: one FIT is one failure in 1e9 hours.
	hoursPerFIT = 1e9
)

// rateUnits are the units ParseRate reads, with the hours in each.
var rateUnits = []struct {
	suffix string
	hours  float64
}{
	{"/h", 1}, {"per hour", 1},
	{"/d", hoursPerDay}, {"per day", hoursPerDay},
	{"/yr", HoursPerYear}, {"per year", HoursPerYear},
	{"FIT", hoursPerFIT},
}

// ParseRate reads a rate with its unit: "1e-5/h", "1e-5 per hour", "0.2/d",
// "0.2 per day", "0.09/yr", "0.09 per year" or "200 FIT" (failures in 1e9
// hours). A number alone is refused, since a rate per year read as one per
// hour is wrong by a factor of nearly nine thousand.
func ParseRate(s string) (PerHour, error) {
	const fix = `write it with a unit, as "1e-5/h", "0.09/yr" or "200 FIT"`
	s = strings.TrimSpace(s)
	for _, u := range rateUnits {
		number, ok := strings.CutSuffix(s, u.suffix)
		if !ok {
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil {
			return 0, refuse("rate", fix, "%q does not begin with a number", s)
		}
		rate := PerHour(v / u.hours)
		return rate, checkRate(rate)
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		return 0, refuse("rate", fix, "%q has no unit", s)
	}
	return 0, refuse("rate", fix, "%q is not a number with a known unit", s)
}

// ParseRange reads a rate, "0.2/yr", or two that hold 90 % of a belief between
// them, "0.05/yr to 0.4/yr". A rate alone is known exactly: both ends are it.
func ParseRange(s string) (low, high PerHour, err error) {
	lowText, highText, ranged := strings.Cut(s, " to ")
	if low, err = ParseRate(lowText); err != nil || !ranged {
		return low, low, err
	}
	if high, err = ParseRate(highText); err != nil {
		return 0, 0, err
	}
	if !(low < high) {
		return 0, 0, refuse("rate", "give the lower end first", "%q does not rise", s)
	}
	return low, high, nil
}

// checkRate refuses a rate that is negative or not finite.
func checkRate(r PerHour) error {
	if r >= 0 && !math.IsInf(float64(r), 1) {
		return nil
	}
	return refuse("rate", "give a rate of 0 or more per hour", "%v/h is not a failure rate", float64(r))
}
