package odds

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"isohaline/internal/longtest"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

// within fails where got is further than a share from want.
func within(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*want) {
		t.Errorf("%s: %.6g, by hand %.6g", what, got, want)
	}
}

// TestByHand: tanks on which only two or three faults happen, worked on paper.
// The window nano has three combinations that these faults make: the tube on the
// floor with its air hole blocked (the pump's stop does not stop the water), and
// a weeping reservoir that the floor sensor or the alarm does not report.
func TestByHand(t *testing.T) {
	r := reportOf(t, nano)
	danger := func(rates map[string]string, h Habits) float64 {
		t.Helper()
		return estimate(t, r, Options{Rates: onlyThese(r.Tank, rates), Habits: &h, Samples: 1}).Harms[Danger].PerYear
	}
	const tubeStands, leakStands = 12.723, 16.8 // hours until somebody answers the alarm
	const yearH = 8760.0

	// A hidden failure that waits for the overhaul is there for half a year on
	// average; or it comes while the tube already lies there.
	got := danger(map[string]string{"tube-out": "1e-3/yr", "topoff-siphon": "1e-3/yr"}, Habits{})
	within(t, "tube and hole", got, 1e-6*(0.5+tubeStands/yearH), 1e-3)

	// Found by tests every 30 days with coverage 0.9. The tests leave five days
	// before the overhaul: the mean age is (12*30²+5²)/(2*365) days.
	age := (12*30.0*30 + 5*5) / (2 * 365) / 365
	got = danger(map[string]string{"reservoir-leak": "1e-3/yr", "floor-sensor-dead": "1e-3/yr"}, Habits{})
	leakFirst := got - 1e-6*(0.9*age+0.1*0.5)
	if leakFirst < 0 || leakFirst > 1e-6*leakStands/yearH*1.01 {
		t.Errorf("leak and floor sensor: %.6g, of which the sensor first should be %.6g and the leak first at most %.2g",
			got, 1e-6*(0.9*age+0.1*0.5), 1e-6*leakStands/yearH)
	}

	// Nothing fails, but one test in a hundred leaves something off: the floor
	// sensor or the alarm by itself (0.7 of it each), or all at once (0.3).
	got = danger(map[string]string{"reservoir-leak": "1e-3/yr"}, Habits{LeftOffProb: 0.01})
	within(t, "left off", got, 1e-3*(1-0.993*0.993*0.997), 1e-5)

	// A demand alone does no harm here.
	if got = danger(map[string]string{"tube-out": "1e-3/yr"}, Habits{}); got != 0 {
		t.Errorf("the tube alone: %v", got)
	}
}

// TestSingleFault: on a design that one fault brings down, the harm comes as
// often as the fault does, whatever is tested.
func TestSingleFault(t *testing.T) {
	longtest.Only(t, "a slow check")
	r := reportOf(t, plumbed)
	a := estimate(t, r, Options{Rates: onlyThese(r.Tank, map[string]string{"float-valve-stuck-open": "0.01/yr"}), Samples: 10})
	for _, f := range a.Harms {
		// It stands for five days in which it cannot come again.
		within(t, f.Harm.String(), f.PerYear, 0.01/(1+0.01*5/365), 1e-6)
		if f.High-f.Low > 1e-12 {
			t.Errorf("%v: a band of %v to %v about a rate known exactly", f.Harm, f.Low, f.High)
		}
	}
	if p := a.Testing.Curve; p[0].PerYear[Loss]-p[len(p)-1].PerYear[Loss] > 1e-12 || a.Testing.KneeDays != longestDays || a.Testing.SkipFactor != 1 {
		t.Errorf("testing is said to help: %+v", a.Testing)
	}
	if len(a.Dominating) != 1 || a.Dominating[0].Share != 1 {
		t.Errorf("dominating: %+v", a.Dominating)
	}
}

// TestTestingBuys: the published rule of thumb that monthly against yearly
// testing is worth a factor 12 for one hidden failure (safety.md's derivation
// from IEC 61508-6 Annex B: rate*T/2) holds for the part that tests find.
func TestTestingBuys(t *testing.T) {
	r := reportOf(t, nano)
	f := forestOf(t, r, Options{Habits: &Habits{},
		Rates: onlyThese(r.Tank, map[string]string{"reservoir-leak": "1e-4/yr", "floor-sensor-dead": "1e-4/yr"})})
	means := f.w.means()
	at := func(days float64) float64 {
		p, err := f.perYear(means, f.w.momentsAt(means, days*hoursADay))
		if err != nil {
			t.Fatal(err)
		}
		return p[Danger]
	}
	fresh := f.w.momentsAt(means, lifeH)
	for i := range fresh {
		fresh[i].ageH = 0
	}
	floor, err := f.perYear(means, fresh)
	if err != nil {
		t.Fatal(err)
	}
	const month = 365.0 / 12
	within(t, "yearly over monthly", (at(365)-floor[Danger])/(at(month)-floor[Danger]), 12, 1e-3)
}

func TestKnee(t *testing.T) {
	straight := func(floor, perDay float64) func(float64) ([harmCount]float64, error) {
		return func(days float64) ([harmCount]float64, error) {
			return [harmCount]float64{Danger: floor + perDay*days}, nil
		}
	}
	for _, row := range []struct {
		floor, perDay, want, within float64
	}{
		{1, 1.0 / 50, 50, 1},
		{1, 1, shortestDays, 0},
		{1, 1e-4, longestDays, 0},
		{0, 1, shortestDays, 0},
	} {
		got, err := knee(row.floor, straight(row.floor, row.perDay))
		if err != nil || got != row.want && !(math.Abs(got-row.want) <= row.within) {
			t.Errorf("%+v: %v, %v", row, got, err)
		}
	}
}

// TestProperties: over the whole of what is believed, more testing never makes
// danger more frequent, nor does a part that fails less often.
func TestProperties(t *testing.T) {
	for _, name := range quick() {
		f := forestOf(t, reportOf(t, name), Options{})
		danger := func(values []float64, days float64) float64 {
			p, err := f.perYear(values, f.w.momentsAt(values, days*hoursADay))
			if err != nil {
				t.Fatal(err)
			}
			return p[Danger]
		}
		rapid.Check(t, func(rt *rapid.T) {
			values := make([]float64, len(f.w.columns))
			for i, c := range f.w.columns {
				values[i] = c.quantile(rapid.Float64Range(0.001, 0.999).Draw(rt, "quantile"))
			}
			days := rapid.Float64Range(5, 365).Draw(rt, "days")
			now := danger(values, days)
			const rounding = 1e-9
			if seldom := danger(values, days*rapid.Float64Range(1, 4).Draw(rt, "longer")); now > seldom*(1+rounding) {
				rt.Fatalf("tested every %v days %v, less often %v", days, now, seldom)
			}
			i := rapid.IntRange(0, len(values)-1).Draw(rt, "part")
			values[i] *= rapid.Float64Range(0, 1).Draw(rt, "better")
			if better := danger(values, days); better > now*(1+rounding) {
				rt.Fatalf("with column %d better %v, before %v", i, better, now)
			}
		})
	}
}

// TestBand: the ends of the band are in order, whatever the seed, and the same
// seed gives the same figures.
func TestBand(t *testing.T) {
	r := reportOf(t, nano)
	f := forestOf(t, r, Options{})
	for seed := range uint64(5) {
		o := Options{Seed: seed, Samples: 60}
		harms, err := f.bands(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range harms[:Loss] {
			if !(0 < h.Low && h.Low < h.Median && h.Median < h.High) {
				t.Errorf("seed %d: %+v", seed, h)
			}
		}
		again, err := f.bands(t.Context(), o)
		if err != nil || again != harms {
			t.Errorf("seed %d: %+v, then %+v, %v", seed, harms, again, err)
		}
	}
	a, b := estimate(t, r, Options{Seed: 1, Samples: 60}), estimate(t, r, Options{Seed: 2, Samples: 60})
	if a.Harms[Danger].Low == b.Harms[Danger].Low {
		t.Error("the seed does nothing")
	}
	if a.Harms[Danger].PerYear != b.Harms[Danger].PerYear {
		t.Error("the expected frequency depends on the seed")
	}
}

// TestBandAlong: the band along the curve meets the full one at the tank's own
// interval; elsewhere it is near what all the draws give; it never narrows to
// nothing; and it rises with the interval, as every draw does.
func TestBandAlong(t *testing.T) {
	r := reportOf(t, nano)
	a := estimate(t, r, Options{})
	f := forestOf(t, r, Options{})
	rows, err := f.w.sample(0, DefaultSamples)
	if err != nil {
		t.Fatal(err)
	}
	const few = 0.1 // two hundred draws against four hundred
	worst := 0.0
	for i, p := range a.Testing.Curve {
		if own := a.Harms[Danger]; p.Days == a.Testing.IntervalDays {
			within(t, "low end, own interval", p.Low, own.Low, 1e-12)
			within(t, "high end, own interval", p.High, own.High, 1e-12)
		}
		if p.Days >= 30 { // weekly with every draw takes a second
			all, err := f.drawn(t.Context(), rows, p.Days*hoursADay)
			if err != nil {
				t.Fatal(err)
			}
			within(t, "low end", p.Low, all[Danger].Low, few)
			within(t, "high end", p.High, all[Danger].High, few)
			worst = max(worst, math.Abs(p.Low/all[Danger].Low-1), math.Abs(p.High/all[Danger].High-1))
		}
		if i > 0 && (p.Low < a.Testing.Curve[i-1].Low || p.High < a.Testing.Curve[i-1].High) || !(p.Low < p.High) {
			t.Errorf("every %v days: %v to %v", p.Days, p.Low, p.High)
		}
	}
	t.Logf("worst end %.1f %% off", 100*worst)
}

// TestAnswer: what a client reads of the examples.
func TestAnswer(t *testing.T) {
	a := estimate(t, reportOf(t, nano), Options{Samples: 50})
	if len(a.Dominating) != dominatingCount {
		t.Fatalf("%d dominating combinations", len(a.Dominating))
	}
	for i, c := range a.Dominating {
		if c.Harm == "" || c.Why == "" || !(c.Share > 0 && c.Share <= 1) || i > 0 && c.PerYear > a.Dominating[i-1].PerYear {
			t.Errorf("dominating %d: %+v", i, c)
		}
	}
	if s := a.Harms[Danger].Sentence(); !strings.HasPrefix(s, "Animals at risk or a wet floor: to be expected once in ") {
		t.Errorf("%q", s)
	}
	if s := a.Harms[Loss].Sentence(); !strings.Contains(s, "no combination of faults that was tried") {
		t.Errorf("%q", s)
	}
	all := strings.Join(a.Notes, " ")
	for _, word := range []string{"no certificate", "salt creep", "lower bounds", "local codes", "licensed"} {
		if !strings.Contains(all, word) {
			t.Errorf("the notes do not say %q", word)
		}
	}
	if tt := a.Testing; len(tt.Curve) != len(curveDays) || !(tt.SkipFactor > 1) || !(tt.SkipAdds > 0) || !strings.Contains(tt.Sentence, "ordinary days") {
		t.Errorf("testing: %+v", tt)
	}
	within(t, "ordinary days", a.Testing.SkipDays*a.Harms[Danger].PerYear/365, a.Testing.SkipAdds, 1e-12)
	if len(a.Rates) == 0 || a.Rates[0].MeanPerYear <= 0 {
		t.Errorf("rates: %+v", a.Rates)
	}
}

// TestInherentlySafe: only a bounded reservoir within what may safely enter at
// once is called so.
func TestInherentlySafe(t *testing.T) {
	s := example(t, nano)
	for _, row := range []struct {
		name   string
		safeM3 float64
		change func(*tankfile.Tank)
		want   bool
	}{
		{"all of it may enter", 1, func(*tankfile.Tank) {}, true},
		{"more than may enter", 1e-3, func(*tankfile.Tank) {}, false},
		{"refilled by itself", 1, func(s *tankfile.Tank) { s.TopOff.Reservoir.Refill = &tankfile.Refill{} }, false},
		{"plumbed", 1, func(s *tankfile.Tank) { s.TopOff.Plumbed = &tankfile.WaterLine{} }, false},
	} {
		c := *s
		reservoir := *s.TopOff.Reservoir
		c.TopOff.Reservoir = &reservoir
		row.change(&c)
		got := inherentlySafe(&verify.Report{Tank: &c, Geometry: verify.Geometry{DumpSafeM3: row.safeM3}})
		if (got != "") != row.want {
			t.Errorf("%s: %q", row.name, got)
		}
	}
}

// TestRefusals: wrong input is refused with its place and the way out.
func TestRefusals(t *testing.T) {
	r := reportOf(t, nano)
	rate := func(id, text string) Options { return Options{Rates: map[string]string{id: text}} }
	noTest, noPairs, harmful := *r, *r, *r
	s := *r.Tank
	s.People.ProofTestDays = 0
	noTest.Tank = &s
	noPairs.Pairs = nil
	harmful.AsBuilt.Class = 3
	for _, row := range []struct {
		name        string
		r           *verify.Report
		o           Options
		place, says string
	}{
		{"no unit", r, rate("tube-out", "0.1"), "rate of tube-out", "no unit"},
		{"no number", r, rate("tube-out", "often"), "rate of tube-out", "not a number"},
		{"negative", r, rate("tube-out", "-1/yr"), "rate of tube-out", "not a failure rate"},
		{"range turned round", r, rate("tube-out", "1/yr to 0.1/yr"), "rate of tube-out", "lower end first"},
		{"wider than anything known", r, rate("tube-out", "1e-9/yr to 1/yr"), "rate of tube-out", "narrower"},
		{"hourly", r, rate("tube-out", "2/h"), "rate of tube-out", "unit"},
		{"unknown fault", r, rate("tube-in", "0.1/yr"), "rate of tube-in", "not one of them"},
		{"fault of another tank", r, rate("float-valve-stuck-open", "0.1/yr"), "rate of float-valve-stuck-open", "not one of them"},
		{"skips more than all", r, Options{Habits: &Habits{SkipProb: 1.2}}, "Habits.SkipProb", "out of range"},
		{"left off below none", r, Options{Habits: &Habits{LeftOffProb: -0.1}}, "Habits.LeftOffProb", "outside 0 to 1"},
		{"not a number", r, Options{Habits: &Habits{LeftOffProb: math.NaN()}}, "Habits.LeftOffProb", "outside 0 to 1"},
		{"no samples", r, Options{Samples: -1}, "n:", "samples"},
		{"no interval", &noTest, Options{}, "people.proof test every", "not an interval"},
		{"no pairs", &noPairs, Options{}, "report", "pairs"},
		{"harm as built", &harmful, Options{}, "tank", "nothing wrong"},
	} {
		_, err := Estimate(t.Context(), row.r, row.o)
		var refused *reliability.InputError
		if !errors.As(err, &refused) || !strings.Contains(err.Error(), row.place) || !strings.Contains(err.Error(), row.says) || refused.Fix == "" {
			t.Errorf("%s: %v", row.name, err)
		}
	}
}

func TestStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Estimate(ctx, reportOf(t, nano), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

// FuzzRates: no text for a rate panics, and what is taken is a rate.
func FuzzRates(f *testing.F) {
	for _, text := range []string{"0.1/yr", "1e-5/h to 1e-4/h", " to ", "NaN/yr", "1/yr to Inf/yr", "200 FIT"} {
		f.Add(text)
	}
	faults := forestOf(f, reportOf(f, nano), Options{}).w.faults
	f.Fuzz(func(t *testing.T, text string) {
		columns, err := given(map[string]string{"tube-out": text}, faults)
		if c := columns["tube-out"]; err == nil && !(c.mean() >= 0 && c.mean() <= maxPerHour*maxErrorFactor) {
			t.Errorf("%q was taken as %v", text, c.mean())
		}
	})
}

func TestWords(t *testing.T) {
	for _, row := range []struct {
		perYear float64
		want    string
	}{
		{1e-9, "less than once in 10,000 years"}, {1.0 / 1234, "once in 1200 years"}, {1.0 / 12.3, "once in 12 years"},
		{1.0 / 2.345, "once in 2.3 years"}, {1, "once in 12 months"}, {12.0 / 3.26, "once in 3.3 months"},
		{365.0 / 20, "once in 20 days"}, {1e6, "daily"},
	} {
		if got := Once(row.perYear); got != row.want {
			t.Errorf("%v a year: %q, want %q", row.perYear, got, row.want)
		}
	}
}
