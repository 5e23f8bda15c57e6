package reliability

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// z95 is the 95 % point of the standard normal distribution.
const z95 = 1.6448536269514722

// Lognormal is how a rate or a probability is usually known: a median and an
// error factor, with 90 % of the belief between Median/ErrorFactor and
// Median*ErrorFactor (A. D. Swain and H. E. Guttmann, NUREG/CR-1278, 1983).
type Lognormal struct {
	Median      float64 // above 0
	ErrorFactor float64 // 95 % point over median, 1 (known exactly) or more
	// AtMost cuts the upper tail off, 1 for a probability. 0: not cut.
	AtMost float64
}

// LognormalBetween is the range whose 5 % and 95 % points are low and high.
func LognormalBetween(low, high float64) (Lognormal, error) {
	if !(low > 0 && high >= low) || math.IsInf(high, 1) {
		return Lognormal{}, refuse("range", "give 0 < low <= high", "%v to %v is not a range", low, high)
	}
	return Lognormal{Median: math.Sqrt(low) * math.Sqrt(high), ErrorFactor: math.Sqrt(high / low)}, nil
}

func (l Lognormal) check(place string) error {
	switch {
	case !(l.Median > 0) || math.IsInf(l.Median, 1):
		return refuse(place+" Median", "give a value above 0", "%v cannot be the median of a lognormal", l.Median)
	case !(l.ErrorFactor >= 1) || math.IsInf(l.ErrorFactor, 1):
		return refuse(place+" ErrorFactor", "give 1 or more", "%v is not an error factor", l.ErrorFactor)
	case !(l.AtMost == 0 || l.AtMost >= l.Median):
		return refuse(place+" AtMost", "give at least the median, or 0 for no limit", "%v is below the median %v", l.AtMost, l.Median)
	}
	return nil
}

// sigma is the standard deviation of the logarithm.
func (l Lognormal) sigma() float64 { return math.Log(l.ErrorFactor) / z95 }

// Mean is the mean without regard to AtMost: above the median, by far for a
// wide range.
func (l Lognormal) Mean() float64 {
	return l.Median * math.Exp(l.sigma()*l.sigma()/2)
}

// Quantile is the value that the share p of the belief lies below, for p in 0
// to 1; NaN outside.
func (l Lognormal) Quantile(p float64) float64 {
	if !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	v := l.Median * math.Exp(l.sigma()*distuv.UnitNormal.Quantile(p))
	if l.AtMost > 0 {
		v = min(v, l.AtMost)
	}
	return v
}

// MaxSamples bounds the values of one Sample, samples times ranges.
const MaxSamples = 10_000_000

// Sample draws n rows with one value for each range, by Latin hypercube (M. D.
// McKay, R. J. Beckman and W. J. Conover, Technometrics 21, 1979): each range
// is cut into n parts of equal belief, every part is drawn from once, and the
// parts are matched at random. The same seed gives the same rows.
//
// Parts that share one generic rate share its ignorance too: give them one
// range and use its column for all of them, or the band comes out too narrow.
func Sample(seed uint64, n int, ranges []Lognormal) ([][]float64, error) {
	if n < 1 || n > MaxSamples/max(1, len(ranges)) {
		return nil, refuse("n", fmt.Sprintf("ask for 1 to %d values in all", MaxSamples), "%d samples of %d ranges", n, len(ranges))
	}
	for i, r := range ranges {
		if err := r.check(fmt.Sprintf("range %d", i)); err != nil {
			return nil, err
		}
	}
	rows := make([][]float64, n)
	values := make([]float64, n*len(ranges))
	for i := range rows {
		rows[i], values = values[:len(ranges):len(ranges)], values[len(ranges):]
	}
	// One stream of numbers per range, so that adding a range at the end
	// leaves the others as they were.
	for c, r := range ranges {
		random := rand.New(rand.NewPCG(seed, uint64(c)))
		for row, part := range random.Perm(n) {
			rows[row][c] = r.Quantile((float64(part) + random.Float64()) / float64(n))
		}
	}
	return rows, nil
}

// Band is what a sampled result says: 90 % of it lies between Low and High.
type Band struct{ Low, Median, Mean, High float64 }

// Summarize returns the band of sampled results. It refuses none, and NaN.
func Summarize(results []float64) (Band, error) {
	if len(results) == 0 {
		return Band{}, refuse("results", "sample at least one", "there are none")
	}
	if i := slices.IndexFunc(results, math.IsNaN); i >= 0 {
		return Band{}, refuse("results", "leave out what could not be worked out", "number %d is not a number", i)
	}
	sorted := slices.Sorted(slices.Values(results))
	at := func(p float64) float64 { return stat.Quantile(p, stat.Empirical, sorted, nil) }
	return Band{Low: at(0.05), Median: at(0.5), Mean: stat.Mean(sorted, nil), High: at(0.95)}, nil
}
