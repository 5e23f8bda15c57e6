package membrane

import "math"

// Resin capacity is sold in grains of CaCO3 per cubic foot.
const (
	mgPerGrain       = 64.79891     // exact by definition
	litresPerCubicFt = 28.316846592 // exact by definition
)

// MixedBedNewGrainsFt3 is the capacity of new mixed-bed resin in grains per cubic
// foot, from a water treatment company's article on deionisation capacity.
const MixedBedNewGrainsFt3 = 10_000.0

// Limits of ResinLitres.
const (
	CapacityMinGrainsFt3, CapacityMaxGrainsFt3 = 100.0, 100_000.0
	ResinMaxLitres                             = 10_000.0
	ResinFeedMinMgL, ResinFeedMaxMgL           = 0.01, 5_000.0
)

// ResinLitres is the water that a charge of resin purifies: its capacity in
// grains of CaCO3 per cubic foot, its volume in litres, and the dissolved solids
// that reach it in mg/L as CaCO3.
//
// A conductivity meter's ppm is not ppm as CaCO3, carbon dioxide and silica
// load the resin without showing on the meter, and resin is changed at
// breakthrough, before it is full: give the result a band. It returns an
// error for input outside the limits.
func ResinLitres(capacityGrainsFt3, resinLitres, feedMgLCaCO3 float64) (float64, error) {
	if err := first(
		checkRange("resin capacity", capacityGrainsFt3, CapacityMinGrainsFt3, CapacityMaxGrainsFt3, "grains/ft³"),
		checkRange("resin volume", resinLitres, smallest, ResinMaxLitres, "L"),
		checkRange("dissolved solids before the resin", feedMgLCaCO3, ResinFeedMinMgL, ResinFeedMaxMgL, "mg/L as CaCO3"),
	); err != nil {
		return 0, err
	}
	return capacityGrainsFt3 * mgPerGrain / litresPerCubicFt * resinLitres / feedMgLCaCO3, nil
}

// Band is a quantity with its lower and upper bound.
type Band struct{ Low, Likely, High float64 }

func (b Band) check(field, unit string, lo, hi float64) error {
	return first(
		checkRange(field+", likely", b.Likely, lo, hi, unit),
		checkRange(field+", low", b.Low, lo, b.Likely, unit),
		checkRange(field+", high", b.High, b.Likely, hi, unit),
	)
}

// LifeMaxLitres bounds the litres of DaysLeft.
const LifeMaxLitres = 1e9

// DaysLeft is how long a consumable lasts that is good for lifeLitres, of which
// usedLitres are gone, at litresPerDay: resin, sediment and carbon filters all
// count litres. The low end pairs the shortest life with the heaviest use. A
// consumable past its life has 0 days. It returns an error if a band is not in
// order or not positive.
func DaysLeft(lifeLitres Band, usedLitres float64, litresPerDay Band) (Band, error) {
	if err := first(
		lifeLitres.check("life", "L", smallest, LifeMaxLitres),
		checkRange("used", usedLitres, 0, LifeMaxLitres, "L"),
		litresPerDay.check("use", "L/day", smallest, LifeMaxLitres),
	); err != nil {
		return Band{}, err
	}
	days := func(life, perDay float64) float64 { return math.Max(0, life-usedLitres) / perDay }
	return Band{
		Low:    days(lifeLitres.Low, litresPerDay.High),
		Likely: days(lifeLitres.Likely, litresPerDay.Likely),
		High:   days(lifeLitres.High, litresPerDay.Low),
	}, nil
}
