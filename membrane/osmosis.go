package membrane

import (
	"fmt"
	"math"
)

// Response is how strongly a membrane's flow follows temperature: the factor is
// exp(K (1/298 - 1/(273+t))), which is 1 at 25 °C.
type Response struct{ WarmK, ColdK float64 } // kelvin, from 25 °C up and below it

// ThinFilm is the pair that thin-film makers' tables are computed with (from
// memory; it reproduces a published table within 0.0005). Other membranes have
// values from 2300 to 3300.
func ThinFilm() Response { return Response{WarmK: 2640, ColdK: 3020} }

// Factor is the flow at tempC over the flow at 25 °C. ASTM D4516 leaves it to
// the membrane's maker. Valid for liquid water, 0 to 45 °C; it is not checked
// here.
func (r Response) Factor(tempC float64) float64 {
	// Rounded kelvin, as the makers' tables have them.
	const reference, zero = 298.0, 273.0
	k := r.WarmK
	if tempC < reference-zero {
		k = r.ColdK
	}
	return math.Exp(k * (1/reference - 1/(zero+tempC)))
}

// OsmoticBarPerMgL is the osmotic pressure of tap water over its dissolved
// solids: 1 psi per 100 mg/L, a supplier's rule of thumb.
const OsmoticBarPerMgL = barPerPsi / 100

const barPerPsi = 0.06894757293168 // of the international pound and inch

// Element is a membrane as its label rates it.
type Element struct {
	// RatedLitresPerDay is the product at 25 °C at the net driving pressure
	// RatedNetBar, when new.
	RatedLitresPerDay float64
	RatedNetBar       float64
	Response          Response
	// RejectionFrac is the share of dissolved solids held back, 0 to 1.
	RejectionFrac float64
	// YearlyLossFrac is the share of flow lost in a year to fouling and
	// compaction: 0.05 to 0.1 where the prefilters are changed in time (common
	// practice, no source).
	YearlyLossFrac float64
}

// Feed is the water that meets the membrane.
type Feed struct {
	PressureBar float64 // gauge, before the membrane
	BackBar     float64 // gauge, of the product line: a pressure tank or a rise
	TempC       float64
	TDSMgL      float64 // dissolved solids
}

// Output is what the unit makes.
type Output struct {
	NetBar              float64 // net driving pressure
	ProductLitresPerDay float64
	ProductTDSMgL       float64
	// RejectLitresPerDay goes to the drain.
	RejectLitresPerDay float64
	// DrawnLitresPerDay is what the mains give: product and reject.
	DrawnLitresPerDay float64
}

// Limits of Element, Feed and the arguments of Produce.
const (
	RatedLitresPerDayMax       = 100_000.0
	PressureMaxBar             = 80.0
	TempMinC, TempMaxC         = 0.0, 45.0
	TDSMaxMgL                  = 5_000.0
	AgeMaxYears                = 30.0
	RejectRatioMax             = 50.0
	ResponseMinK, ResponseMaxK = 500.0, 6_000.0

	// smallest stands for "more than nothing" where a quantity divides.
	smallest = 1e-6
)

// checkRange refuses a value outside lo to hi, NaN included.
func checkRange(field string, value, lo, hi float64, unit string) error {
	if value >= lo && value <= hi {
		return nil
	}
	return fmt.Errorf("%s is %.6g %s: it must lie from %g to %g", field, value, unit, lo, hi)
}

// first returns the first error there is.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (e Element) check() error {
	return first(
		checkRange("rated product", e.RatedLitresPerDay, smallest, RatedLitresPerDayMax, "L/day"),
		checkRange("rated net driving pressure", e.RatedNetBar, 0.1, PressureMaxBar, "bar"),
		checkRange("temperature response above 25 °C", e.Response.WarmK, ResponseMinK, ResponseMaxK, "K"),
		checkRange("temperature response below 25 °C", e.Response.ColdK, ResponseMinK, ResponseMaxK, "K"),
		checkRange("rejection", e.RejectionFrac, 0, 1, "as a share of 1"),
		checkRange("yearly loss", e.YearlyLossFrac, 0, 0.9, "as a share of 1"),
	)
}

func (f Feed) check() error {
	return first(
		checkRange("feed pressure", f.PressureBar, 0, PressureMaxBar, "bar"),
		checkRange("back pressure", f.BackBar, 0, PressureMaxBar, "bar"),
		checkRange("feed temperature", f.TempC, TempMinC, TempMaxC, "°C"),
		checkRange("feed dissolved solids", f.TDSMgL, 0, TDSMaxMgL, "mg/L"),
	)
}

// Produce is what an element of an age makes from a feed when rejectRatio parts
// go to the drain for each part of product: 2 to 4 in common practice.
//
// Product is in proportion to net driving pressure (feed less back less osmotic
// pressure), to the temperature factor, and to what the years have left. A
// feed that cannot overcome back and osmotic pressure makes nothing. The
// product's solids are those of the steady state: see the package comment on
// the first minutes. It returns an error for input outside the
// limits.
func (e Element) Produce(feed Feed, ageYears, rejectRatio float64) (Output, error) {
	if err := first(e.check(), feed.check(),
		checkRange("age", ageYears, 0, AgeMaxYears, "years"),
		checkRange("reject ratio", rejectRatio, 0, RejectRatioMax, "parts"),
	); err != nil {
		return Output{}, err
	}
	net := math.Max(0, feed.PressureBar-feed.BackBar-OsmoticBarPerMgL*feed.TDSMgL)
	product := e.RatedLitresPerDay * net / e.RatedNetBar *
		e.Response.Factor(feed.TempC) * math.Pow(1-e.YearlyLossFrac, ageYears)
	return Output{
		NetBar:              net,
		ProductLitresPerDay: product,
		ProductTDSMgL:       feed.TDSMgL * (1 - e.RejectionFrac),
		RejectLitresPerDay:  product * rejectRatio,
		DrawnLitresPerDay:   product * (1 + rejectRatio),
	}, nil
}

// RefillHours is how long the unit needs for litres of product: 0 for none or
// less, +Inf if the unit makes nothing.
func (o Output) RefillHours(litres float64) float64 {
	const hoursPerDay = 24
	if !(litres > 0) {
		return 0
	}
	return litres / o.ProductLitresPerDay * hoursPerDay
}
