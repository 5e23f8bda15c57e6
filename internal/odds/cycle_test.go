package odds

import (
	"math"
	"testing"

	"isohaline/reliability"
)

// TestCycleAgainstInPractice: the mean over the cycle of one hidden failure, and
// of two tested together, is what reliability.InPractice finds by its own road
// (which is held to the equations and tables of IEC 61508-6:2010 Annex B).
func TestCycleAgainstInPractice(t *testing.T) {
	worst := 0.0
	for _, row := range []struct{ ratePerYear, days, skip, tolerance float64 }{
		{0.01, 30, 0, 1e-6}, {0.3, 30, 0, 1e-6}, {0.3, 30, 0.12, 1e-6}, {0.3, 7, 0.3, 1e-6}, {0.05, 91, 0.5, 1e-6}, {0.3, 365, 0.2, 1e-6},
		{2, 182, 0.1, 1e-4}, // three points a test are few where failing is sure
	} {
		rate := row.ratePerYear / lifeH
		for _, channels := range []int{1, 2} {
			mean := 0.0
			for _, m := range cycle(row.days*hoursADay, row.skip) {
				mean += m.weight * math.Pow(failed(rate, 0, proofTest, m), float64(channels))
			}
			want, err := reliability.InPractice(reliability.Group{
				Vote:    reliability.KooN{K: 1, N: channels},
				Channel: reliability.Channel{Dangerous: reliability.PerHour(rate)},
				Test:    reliability.ProofTest{IntervalH: row.days * hoursADay, Coverage: testCoverage, RenewalH: lifeH},
			}, reliability.Practice{SkipProb: row.skip})
			if err != nil {
				t.Fatal(err)
			}
			off := math.Abs(mean/want.PFDavg - 1)
			worst = max(worst, off)
			if off > row.tolerance {
				t.Errorf("%+v, %d channels: %.9g, InPractice %.9g", row, channels, mean, want.PFDavg)
			}
		}
	}
	t.Logf("worst deviation %.1e", worst)
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
