package suspicion

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"isohaline/internal/account/belief"
)

// TestPageRunLengths: Page's test on unit normal readings, looking for a shift of
// one standard deviation. Sums kept as log-likelihood ratios with threshold h are
// the usual chart with reference value 1/2 and decision interval h. Its average
// run lengths are in Montgomery (2009), Introduction to Statistical Quality
// Control, 6th ed., table 9.3 (two-sided; a one-sided test runs twice as long
// when nothing is wrong); from memory.
func TestPageRunLengths(t *testing.T) {
	const runs = 2500
	r := rand.New(rand.NewPCG(1954, 41))
	for _, row := range []struct {
		h, shift, want float64
	}{
		{4, 0, 336}, {4, 1, 8.38}, {4, 2, 3.34},
		{5, 0, 930}, {5, 1, 10.4}, {5, 2, 4.01},
	} {
		total := 0
		for range runs {
			sum, since, n := 0.0, time.Time{}, 0
			for sum <= row.h {
				n++
				Page(&sum, &since, r.NormFloat64()+row.shift-0.5, time.Time{})
			}
			total += n
		}
		got := float64(total) / runs
		// Run lengths are nearly exponential: the mean's error is a share of
		// 1/sqrt(runs); four of them, and the table's rounding.
		tolerance := 4/math.Sqrt(runs) + 0.01
		if math.Abs(got/row.want-1) > tolerance {
			t.Errorf("h %g, shift %g: run length %.4g, want %g within %.1f %%", row.h, row.shift, got, row.want, 100*tolerance)
		}
		// Lorden (1971): no fewer than e^h readings to a false alarm.
		if row.shift == 0 && got < math.Exp(row.h) {
			t.Errorf("h %g: run length %.4g is below e^h", row.h, got)
		}
	}
}

// TestEvidenceIsFair: with nothing wrong, and readings that behave as the model
// says, a likelihood ratio has a mean of one, which is what bounds the rate of
// false alarms (Lorden 1971).
func TestEvidenceIsFair(t *testing.T) {
	const trials, readings = 6000, 5
	r := rand.New(rand.NewPCG(1971, 3))
	mean := 0.0
	for range trials {
		base := belief.Belief{}
		base.X[belief.Band], base.P[belief.Band][belief.Band] = 1, 0.01
		truth := 1 + 0.1*r.NormFloat64()
		wide := base
		wide.Widen(belief.Vector{belief.Band: 0.12})
		ratio := 0.0
		for range readings {
			m := &belief.Measurement{I: belief.Band, J: belief.Band, A: 1, Value: truth + 0.2*r.NormFloat64(), Variance: 0.04,
				Outlier: 1, Mixture: belief.NewMixture(1e-300)}
			ratio += wide.Update(m).LogLik - base.Update(m).LogLik
		}
		mean += math.Exp(ratio) / trials
	}
	if math.Abs(mean-1) > 0.05 {
		t.Errorf("the mean likelihood ratio is %.3f", mean)
	}
}
