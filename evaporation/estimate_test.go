package evaporation_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "isohaline/evaporation"
	"isohaline/moistair"
)

var (
	reef = Water{TempC: 25.5, Activity: 0.9812}
	room = Air{TempC: 22, RHFrac: 0.5, SpeedMS: 0.1, PressurePa: atmospherePa}
)

func TestSurfaces(t *testing.T) {
	open := Surface{AreaM2: 0.72}
	base := KgPerDay(Shah, open, reef, room)
	fanAir := room
	fanAir.SpeedMS = 0.8
	swept := KgPerDay(Shah, open, reef, fanAir)
	for _, row := range []struct {
		name    string
		surface Surface
		want    float64
	}{
		{"a day of the flux", open, 24 * 0.72 * FluxKgM2H(Shah, reef, room)},
		{"rippled", Surface{AreaM2: 0.72, Agitation: Rippled}, 1.3 * base},
		{"rough", Surface{AreaM2: 0.72, Agitation: Rough}, 1.7 * base},
		{"half covered: a tenth of that half passes", Surface{AreaM2: 0.72, LidFrac: 0.5}, 0.55 * base},
		{"covered, as VDI 2089's 0.7 to 7", Surface{AreaM2: 0.72, LidFrac: 1}, 0.1 * base},
		{"more than covered", Surface{AreaM2: 0.72, LidFrac: 3}, 0.1 * base},
		{"fans all day", Surface{AreaM2: 0.72, FanSpeedMS: 0.8, FanDutyFrac: 1}, swept},
		{"fans a quarter of the day", Surface{AreaM2: 0.72, FanSpeedMS: 0.8, FanDutyFrac: 0.25}, 0.75*base + 0.25*swept},
		{"fans slower than the draught", Surface{AreaM2: 0.72, FanSpeedMS: 0.01, FanDutyFrac: 1}, base},
		{"fans that never run", Surface{AreaM2: 0.72, FanSpeedMS: 0.8}, base},
		{"no water", Surface{}, 0},
	} {
		if got := KgPerDay(Shah, row.surface, reef, room); math.Abs(got-row.want) > 1e-12 {
			t.Errorf("%s: %g kg/day, want %g", row.name, got, row.want)
		}
	}
	for _, odd := range []Surface{
		{AreaM2: 1, LidFrac: math.NaN()}, {AreaM2: 1, FanDutyFrac: math.NaN()}, {AreaM2: 1, Agitation: 9},
	} {
		if got := KgPerDay(Shah, odd, reef, room); !math.IsNaN(got) {
			t.Errorf("%+v: %g kg/day, want NaN", odd, got)
		}
	}
}

func TestAgitationNames(t *testing.T) {
	for _, g := range []Agitation{Still, Rippled, Rough} {
		if back, err := ParseAgitation(g.String()); err != nil || back != g {
			t.Errorf("%v comes back as %v, %v", g, back, err)
		}
	}
	if _, err := ParseAgitation("wavy"); err == nil || !strings.Contains(err.Error(), `"wavy"`) || !strings.Contains(err.Error(), "still, rippled, rough") {
		t.Errorf("error %v, want the value and the valid names", err)
	}
	if Agitation(9).String() != "Agitation(9)" {
		t.Error("an unknown agitation must say its number")
	}
}

func FuzzParseAgitation(f *testing.F) {
	f.Add("still")
	f.Add("rough ")
	f.Fuzz(func(t *testing.T, name string) {
		if g, err := ParseAgitation(name); err == nil && g.String() != name {
			t.Errorf("%q reads as %v", name, g)
		}
	})
}

func TestPredictionBands(t *testing.T) {
	for _, row := range []struct {
		name    string
		surface Surface
		band    float64
	}{
		{"quiet and open", Surface{AreaM2: 1}, 0.20},
		{"rippled", Surface{AreaM2: 1, Agitation: Rippled}, 0.35},
		{"lid", Surface{AreaM2: 1, LidFrac: 0.3}, 0.35},
		{"fans", Surface{AreaM2: 1, FanSpeedMS: 0.5, FanDutyFrac: 0.3}, 0.35},
	} {
		e := Predict(Shah, row.surface, reef, room)
		if math.Abs(e.HighLitresPerDay/e.LitresPerDay-1-row.band) > 1e-12 || math.Abs(e.LitresPerDay/e.LowLitresPerDay-1-row.band) > 1e-12 {
			t.Errorf("%s: %+v, want a band of %g", row.name, e, row.band)
		}
		// 998.21 kg/m3: fresh water at 20 °C (IAPWS-95).
		if kg := KgPerDay(Shah, row.surface, reef, room); math.Abs(e.LitresPerDay*0.99821-kg) > 1e-12 {
			t.Errorf("%s: %g L/day for %g kg/day", row.name, e.LitresPerDay, kg)
		}
	}
}

func TestCondensation(t *testing.T) {
	e := Predict(Shah, Surface{AreaM2: 1, Agitation: Rippled}, Water{18, 0.981}, Air{30, 0.8, 0.1, atmospherePa})
	if e != (Estimate{Condensing: true}) {
		t.Errorf("cold water in a sultry room: %+v, want zero and condensing", e)
	}
	if e := Predict(Shah, Surface{AreaM2: 1}, reef, room); e.Condensing {
		t.Error("a usual room must not condense")
	}
}

func TestSurfacesTogether(t *testing.T) {
	display := Predict(Shah, Surface{AreaM2: 0.72, Agitation: Rippled}, reef, room)
	sump := Predict(Shah, Surface{AreaM2: 0.35, Agitation: Rough}, reef, room)
	both := display.Plus(sump)
	if both.LitresPerDay != display.LitresPerDay+sump.LitresPerDay {
		t.Error("litres must add")
	}
	if math.Abs(both.HighLitresPerDay/both.LitresPerDay-1.35) > 1e-12 || math.Abs(both.LitresPerDay/both.LowLitresPerDay-1.35) > 1e-12 {
		t.Errorf("%+v: two surfaces wrong together keep their band", both)
	}
}

func anyEstimate(t *rapid.T) Estimate {
	litres := rapid.Float64Range(0.05, 50).Draw(t, "litres")
	band := rapid.Float64Range(0.02, 1).Draw(t, "band")
	return Estimate{LitresPerDay: litres, LowLitresPerDay: litres / (1 + band), HighLitresPerDay: litres * (1 + band)}
}

// TestCalibrationIsHonest: the multiplier lies between no change and the
// record's, the band is narrower than before, narrower still with more days, and
// never narrower than the record and the year allow.
func TestCalibrationIsHonest(t *testing.T) {
	const floor = 0.05 // the record's own error alone
	rapid.Check(t, func(t *rapid.T) {
		prior := anyEstimate(t)
		ratio := rapid.Float64Range(0.2, 5).Draw(t, "ratio")
		days := rapid.Float64Range(1, 1000).Draw(t, "days")
		c := must(t)(Calibrate(prior, ratio*prior.LitresPerDay, days))
		longer := must(t)(Calibrate(prior, ratio*prior.LitresPerDay, 2*days))

		priorBand := prior.HighLitresPerDay/prior.LitresPerDay - 1
		if !(c.BandFrac < priorBand && longer.BandFrac < c.BandFrac) {
			t.Fatalf("band %g before, %g after, %g after twice the days", priorBand, c.BandFrac, longer.BandFrac)
		}
		if priorBand > 0.2 && c.BandFrac < floor {
			t.Fatalf("band %g is narrower than the record", c.BandFrac)
		}
		low, high := math.Min(1, ratio), math.Max(1, ratio)
		if c.Multiplier < low-1e-12 || c.Multiplier > high+1e-12 {
			t.Fatalf("multiplier %g for a ratio of %g", c.Multiplier, ratio)
		}
		if math.Abs(math.Log(longer.Multiplier)) < math.Abs(math.Log(c.Multiplier)) {
			t.Fatal("a longer record must weigh more")
		}
		e := c.Apply(prior)
		if !(e.LowLitresPerDay < e.LitresPerDay && e.LitresPerDay < e.HighLitresPerDay) ||
			math.Abs(e.LitresPerDay-c.Multiplier*prior.LitresPerDay) > 1e-12*e.LitresPerDay {
			t.Fatalf("applied: %+v", e)
		}
	})
}

// TestBandCoverage draws tanks and records as the documentation says they
// scatter and counts how many true values the calibrated band holds: a normal
// variable lies within one mean deviation of its mean in 57.5 % of cases and
// within two in 88.9 %.
func TestBandCoverage(t *testing.T) {
	const tanks, days = 20000, 30
	random := rand.New(rand.NewPCG(1, 2))
	// A mean deviation of ln(1+band) is sqrt(2/pi) standard deviations.
	scatter := func(bands ...float64) float64 {
		sum := 0.0
		for _, band := range bands {
			sum += random.NormFloat64() * math.Log1p(band) * math.Sqrt(math.Pi/2)
		}
		return sum
	}
	prior := Estimate{LitresPerDay: 4, LowLitresPerDay: 4 / 1.35, HighLitresPerDay: 4 * 1.35}
	within, withinTwo, surprised := 0, 0, 0
	for range tanks {
		truth := scatter(0.35)
		dayError := scatter(0.25) / math.Sqrt(days)
		c := must(t)(Calibrate(prior, 4*math.Exp(truth+scatter(0.05, 0.10)+dayError), days))
		off := math.Abs(truth-math.Log(c.Multiplier)) / math.Log1p(c.BandFrac)
		if off < 1 {
			within++
		}
		if off < 2 {
			withinTwo++
		}
		if c.SurpriseBands > 3 {
			surprised++
		}
	}
	t.Logf("in one band %.3f, in two %.3f; surprised at one tank in %d", float64(within)/tanks, float64(withinTwo)/tanks, tanks/max(surprised, 1))
	if got := float64(within) / tanks; math.Abs(got-0.575) > 0.015 {
		t.Errorf("the band holds %.3f of true values, want 0.575", got)
	}
	if got := float64(withinTwo) / tanks; math.Abs(got-0.889) > 0.01 {
		t.Errorf("twice the band holds %.3f of true values, want 0.889", got)
	}
	if got := float64(surprised) / tanks; math.Abs(got-1.0/60) > 0.004 {
		t.Errorf("%.4f of sound tanks surprise, want one in sixty", got)
	}
}

func TestCalibrateRefusals(t *testing.T) {
	prior := Estimate{LitresPerDay: 4, LowLitresPerDay: 3, HighLitresPerDay: 5}
	nan := math.NaN()
	for _, row := range []struct {
		name           string
		prior          Estimate
		measured, days float64
		says           string
	}{
		{"nothing predicted", Estimate{Condensing: true}, 4, 30, "prior is 0"},
		{"no band", Estimate{LitresPerDay: 4, LowLitresPerDay: 4, HighLitresPerDay: 4}, 4, 30, "with its band"},
		{"prior NaN", Estimate{LitresPerDay: nan}, 4, 30, "prior is NaN"},
		{"nothing measured", prior, 0, 30, "measured is 0 L/day"},
		{"measured NaN", prior, nan, 30, "measured is NaN"},
		{"measured endless", prior, math.Inf(1), 30, "measured is +Inf"},
		{"an hour", prior, 4, 0.04, "days is 0.04"},
		{"days NaN", prior, 4, nan, "days is NaN"},
	} {
		if c, err := Calibrate(row.prior, row.measured, row.days); err == nil || !strings.Contains(err.Error(), row.says) || c != (Calibration{}) {
			t.Errorf("%s: %+v, error %v, want one that says %q", row.name, c, err, row.says)
		}
	}
}

func must(t interface{ Fatal(...any) }) func(Calibration, error) Calibration {
	return func(c Calibration, err error) Calibration {
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
}

// A tank's first estimate, and the same after a month of top-off.
func ExamplePredict() {
	water := Water{TempC: 25.5, Activity: 0.9812}
	air := Air{TempC: 22, RHFrac: 0.5, SpeedMS: 0.1, PressurePa: moistair.PressureAtElevationPa(40)}
	display := Predict(Shah, Surface{AreaM2: 0.72, Agitation: Rippled}, water, air)
	sump := Predict(Shah, Surface{AreaM2: 0.35, Agitation: Rough}, water, air)
	tank := display.Plus(sump)
	fmt.Printf("predicted %.1f L/day (%.1f to %.1f)\n", tank.LitresPerDay, tank.LowLitresPerDay, tank.HighLitresPerDay)

	record, err := Calibrate(tank, 4.9, 30)
	if err != nil {
		fmt.Println(err)
		return
	}
	tank = record.Apply(tank)
	fmt.Printf("times %.2f: %.1f L/day (%.1f to %.1f)\n", record.Multiplier, tank.LitresPerDay, tank.LowLitresPerDay, tank.HighLitresPerDay)
	// Output:
	// predicted 5.9 L/day (4.3 to 7.9)
	// times 0.85: 5.0 L/day (4.5 to 5.6)
}
