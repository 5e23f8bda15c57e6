package bench

import "testing"

const gallonL = 3.785411784

// TestSourceAgainstWorkedExamples: a supplier's sheet (1800 gal/day at 77 °F give
// 1266 at 59 °F) and a water treatment company's article on capacity (20 ft³ of
// new mixed bed on 25 grains to the gallon: 8000 gal).
func TestSourceAgainstWorkedExamples(t *testing.T) {
	// No osmotic pressure, so that the label's pressure is the net one.
	q := SourceWater{RatedLitresDay: 1800 * gallonL, RatedBar: ptr(4), PressureBar: 4, TempC: 15, LitresDay: 10}
	near(t, "product", value(t, ask(t, &q), "product")/gallonL, 1266, 0.5)

	// 25 grains to the gallon behind the membrane: half of twice that.
	q = SourceWater{RatedLitresDay: 1000, PressureBar: 4, TempC: 25, TDSMgL: 2 * 25 * 17.118, RejectionPercent: ptr(50),
		LitresDay: 10, ResinL: 20 * 28.316846592}
	near(t, "resin, full", *ask(t, &q).Figure("resin-life").High/gallonL, 8000, 1)
}

// TestSourceDates: litres over litres a day, the band in order, waste counted by
// the prefilters.
func TestSourceDates(t *testing.T) {
	q := SourceWater{RatedLitresDay: 190, PressureBar: 4.1, TempC: 25, TDSMgL: 250, LitresDay: 10, RejectRatio: ptr(3), FilterL: 4000, FilterUsedL: 1000, ReservoirL: 40}
	a := ask(t, &q)
	near(t, "days", value(t, a, "filter-days"), 75, 1e-9)
	if d := a.Dates[0]; d.Likely.Sub(noon.Now).Hours() != 75*24 || !d.Earliest.Before(d.Likely) || !d.Latest.After(d.Likely) {
		t.Errorf("%+v", d)
	}
	near(t, "waste", value(t, a, "waste"), 30, 1e-9)
	near(t, "refill", value(t, a, "refill-hours"), 40/value(t, a, "product")*24, 1e-9)
}
