package evaporation

import (
	"fmt"
	"math"
)

// Estimate is a prediction with its band. The band is one mean deviation wide on
// either side, the figure in which studies of these formulas report their error:
// a little under six in ten true values lie in it, nine in ten in twice the
// band. It is a ratio, the estimate divided and multiplied by the same number,
// because errors here multiply.
//
// The band does not know the readings it was fed: where the surface's and the
// room's vapour pressures nearly cancel, a few percent of humidity move the
// estimate by more than its band.
type Estimate struct {
	LitresPerDay, LowLitresPerDay, HighLitresPerDay float64
	// Condensing says the room's vapour pressure is above the surface's: the
	// estimate is zero, and in truth the tank gains a little.
	Condensing bool
}

const (
	// tankBandFrac is the mean deviation for a real tank, with rims, covers,
	// fans and ripple, before its own record is known: a judgement.
	tankBandFrac = 0.35
	// quietBandFrac is the mean deviation for quiet, open water at known
	// temperatures (Shah 2002, HVAC&R Research 8(1): 18 % over eleven sources).
	quietBandFrac = 0.20

	// topOffKgPerLitre is the density of the fresh water that replaces the
	// loss, at 20 °C (IAPWS-95: 998.21 kg/m3).
	topOffKgPerLitre = 0.99821
)

// Predict is the fresh water needed to replace what a surface loses in a day,
// before the tank's own record is known: within 35 %, or 20 % for a still, open
// surface without fans.
func Predict(m Model, s Surface, w Water, a Air) Estimate {
	band := tankBandFrac
	if s.Agitation == Still && share(s.LidFrac) == 0 && share(s.FanDutyFrac) == 0 {
		band = quietBandFrac
	}
	e := withBand(KgPerDay(m, s, w, a)/topOffKgPerLitre, band)
	e.Condensing = DrivingPressurePa(w, a) < 0
	return e
}

func withBand(litresPerDay, bandFrac float64) Estimate {
	return Estimate{
		LitresPerDay:     litresPerDay,
		LowLitresPerDay:  litresPerDay / (1 + bandFrac),
		HighLitresPerDay: litresPerDay * (1 + bandFrac),
	}
}

// Plus is the estimate of two surfaces together, a display and its sump. The
// bands add in full: the same formula in the same room errs the same way on
// both.
func (e Estimate) Plus(o Estimate) Estimate {
	return Estimate{
		LitresPerDay:     e.LitresPerDay + o.LitresPerDay,
		LowLitresPerDay:  e.LowLitresPerDay + o.LowLitresPerDay,
		HighLitresPerDay: e.HighLitresPerDay + o.HighLitresPerDay,
		Condensing:       e.Condensing || o.Condensing,
	}
}

// Calibration is what a tank's top-off record taught about its model.
type Calibration struct {
	// Multiplier takes the model's prediction to the tank's.
	Multiplier float64
	// BandFrac is the mean deviation left after it.
	BandFrac float64
	// SurpriseBands is how far the record lay from the prediction, in mean
	// deviations of the two together. Above about 3, one tank in sixty, look for
	// a leak, a wet skimmer or a wrong area before believing the multiplier: a
	// leak that is calibrated away is a leak that nobody will find.
	SurpriseBands float64
}

// What a top-off record of some days says about evaporation over the year. Mean
// deviations; judgements, to be replaced when records have been gathered.
const (
	// recordBandFrac is the error of the record itself, pump flow or counted
	// containers; it stays however long the record is.
	recordBandFrac = 0.05
	// yearBandFrac is what a multiplier learnt in one season is wrong by in
	// another.
	yearBandFrac = 0.10
	// dayBandFrac is how far one day strays from what the room's average
	// explains, with the level read at its ends; days average out.
	dayBandFrac = 0.25
)

// Calibrate weighs a prediction against a record of top-off over some days and
// returns the tank's multiplier. The prediction must be for the conditions of
// those days, and the record must be evaporation only: skimmate, water changes
// and leaks taken off.
//
// The statistics: the logarithms of the true ratio (spread: the prior's band)
// and of the record's error (spread: record, year, and day over the root of the
// days, in quadrature) are normal and independent. The multiplier is then the
// measured ratio to the power of the share of the spread that is the prior's,
// and the band is what is left: narrower than before, never narrower than the
// record and the year allow, and narrower the longer the record.
//
// Errors name the argument: the record and the prior must be more than zero, the
// prior's band more than nothing, the days at least one.
func Calibrate(prior Estimate, measuredLitresPerDay, days float64) (Calibration, error) {
	switch {
	case !(prior.LitresPerDay > 0) || math.IsInf(prior.HighLitresPerDay, 1) || !(prior.HighLitresPerDay > prior.LitresPerDay):
		return Calibration{}, fmt.Errorf("calibrate: prior is %g (up to %g) L/day: give a prediction above zero, with its band", prior.LitresPerDay, prior.HighLitresPerDay)
	case !(measuredLitresPerDay > 0) || math.IsInf(measuredLitresPerDay, 1):
		return Calibration{}, fmt.Errorf("calibrate: measured is %g L/day: give the long-run average top-off, more than zero", measuredLitresPerDay)
	case !(days >= 1):
		return Calibration{}, fmt.Errorf("calibrate: days is %g: give a record of at least one whole day", days)
	}
	priorVar := square(math.Log(prior.HighLitresPerDay / prior.LitresPerDay))
	recordVar := square(math.Log1p(recordBandFrac)) + square(math.Log1p(yearBandFrac)) + square(math.Log1p(dayBandFrac))/days
	ratio := math.Log(measuredLitresPerDay / prior.LitresPerDay)
	trust := priorVar / (priorVar + recordVar)
	return Calibration{
		Multiplier:    math.Exp(trust * ratio),
		BandFrac:      math.Expm1(math.Sqrt(trust * recordVar)),
		SurpriseBands: math.Abs(ratio) / math.Sqrt(priorVar+recordVar),
	}, nil
}

func square(x float64) float64 { return x * x }

// Apply is a prediction by the same model as the prior's, at this tank.
func (c Calibration) Apply(e Estimate) Estimate {
	calibrated := withBand(e.LitresPerDay*c.Multiplier, c.BandFrac)
	calibrated.Condensing = e.Condensing
	return calibrated
}
