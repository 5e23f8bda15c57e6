package odds

import (
	"fmt"
	"math"
	"testing"
)

// TestCycleAgainstClosedForm: the mean over the cycle of one hidden failure, and
// of two tested together, is what integrating exp(-rate*exposure) by hand gives:
// over one interval (1-exp(-rate*T))/rate, times what had been found in none of
// the earlier tests, for every run of skipped tests.
func TestCycleAgainstClosedForm(t *testing.T) {
	// sound is the mean probability that n like parts have not failed.
	sound := func(rate, intervalH, skip float64, n int) float64 {
		r, sum := float64(n)*rate, 0.0
		for due := 0; float64(due)*intervalH < lifeH; due++ {
			from := float64(due) * intervalH
			span := min(intervalH, lifeH-from)
			within := -math.Expm1(-r*span) / r
			for run := 0; run <= due; run++ {
				p := math.Pow(skip, float64(run))
				if run < due {
					p *= 1 - skip
				}
				sum += p * within * math.Exp(-r*(testCoverage*float64(run)*intervalH+(1-testCoverage)*from))
			}
		}
		return sum / lifeH
	}
	worst := 0.0
	for _, row := range []struct{ ratePerYear, days, skip, tolerance float64 }{
		{0.01, 30, 0, 1e-6}, {0.3, 30, 0, 1e-6}, {0.3, 30, 0.12, 1e-6}, {0.3, 7, 0.3, 1e-6}, {0.05, 91, 0.5, 1e-6}, {0.3, 365, 0.2, 1e-6},
		{2, 182, 0.1, 1e-4}, // three points a test are few where failing is sure
	} {
		rate, intervalH := row.ratePerYear/lifeH, row.days*hoursADay
		one, both := 0.0, 0.0
		for _, m := range cycle(intervalH, row.skip) {
			q := failed(rate, 0, proofTest, m)
			one += m.weight * q
			both += m.weight * q * q
		}
		s1, s2 := sound(rate, intervalH, row.skip, 1), sound(rate, intervalH, row.skip, 2)
		for _, c := range []struct{ got, want float64 }{{one, 1 - s1}, {both, 1 - 2*s1 + s2}} {
			off := math.Abs(c.got/c.want - 1)
			worst = max(worst, off)
			if off > row.tolerance {
				t.Errorf("%+v: %.9g, by hand %.9g", row, c.got, c.want)
			}
		}
	}
	t.Logf("worst deviation %.1e", worst)
}

// TestCycleAgainstStandard: one channel, every test done and finding all, is the
// PFDavg that IEC 61508-6:2010 Annex B prints, tables B.2 and B.3 (through an
// open-source transcription; the pages of the standard were not read), once its
// eight hours of repair are added.
func TestCycleAgainstStandard(t *testing.T) {
	for _, row := range []struct {
		perHour, intervalH float64
		printed            string
	}{{5e-6, 4380, "1.1e-02"}, {2.5e-7, 8760, "1.1e-03"}, {5e-6, 8760, "2.2e-02"}} {
		const repairH = 8
		mean := row.perHour * repairH
		for _, m := range cycle(row.intervalH, 0) {
			mean += m.weight * -math.Expm1(-row.perHour*m.ageH)
		}
		if got := fmt.Sprintf("%.1e", mean); got != row.printed {
			t.Errorf("%+v: %s (%.5g)", row, got, mean)
		}
	}
}

// TestCycleWeights: the moments share out the whole of the time.
func TestCycleWeights(t *testing.T) {
	for _, days := range []float64{1, 7, 30, 200, 365, 700} {
		for _, skip := range []float64{0, 0.1, 0.95} {
			sum := 0.0
			for _, m := range cycle(days*hoursADay, skip) {
				sum += m.weight
				if m.ageH < 0 || m.ageH > m.hourH {
					t.Fatalf("tested %v h ago, overhauled %v h ago", m.ageH, m.hourH)
				}
			}
			if math.Abs(sum-1) > 1e-12 {
				t.Errorf("every %v days, %v skipped: weights add up to %v", days, skip, sum)
			}
		}
	}
}

// TestFailedIsMet: what harm finds is no longer there; worked by hand from
// q' = rate (while not met), so q = 1-exp(-rate (1-exp(-met t))/met).
func TestFailedIsMet(t *testing.T) {
	m := moment{ageH: 100, hourH: 100}
	for _, row := range []struct{ rate, met, want float64 }{
		{1e-3, 0, 0.09516258196404048},
		{1e-3, 1e-2, 0.0612556136887},
		{1e-3, 1e-12, 0.09516258195},
	} {
		if got := failed(row.rate, row.met, proofTest, m); math.Abs(got-row.want) > 1e-9 {
			t.Errorf("%+v: %.12g", row, got)
		}
	}
}
