package reliability

import (
	"math"
	"slices"
	"testing"
)

// TestLognormal: NUREG/CR-1278 (1983) Table 20-7 item 3, omitting one step of
// a short list without check-off: median 0.003, error factor 3, and its mean
// 0.00375 as printed in a worked example; the report itself was not read.
func TestLognormal(t *testing.T) {
	l := Lognormal{Median: 0.003, ErrorFactor: 3}
	rows := []struct {
		name            string
		got, want, tolR float64
	}{
		{"mean", l.Mean(), 0.00375, 0.005 / 3.75},
		{"5 %", l.Quantile(0.05), 0.001, 1e-12},
		{"50 %", l.Quantile(0.5), 0.003, 1e-12},
		{"95 %", l.Quantile(0.95), 0.009, 1e-12},
		{"lowest", l.Quantile(0), 0, 0},
		{"cut to a probability", Lognormal{Median: 0.3, ErrorFactor: 5, AtMost: 1}.Quantile(0.95), 1, 0},
		{"known exactly", Lognormal{Median: 0.3, ErrorFactor: 1}.Quantile(0.99), 0.3, 1e-12},
	}
	for _, r := range rows {
		if math.Abs(r.got-r.want) > r.tolR*r.want {
			t.Errorf("%s: %v, want %v", r.name, r.got, r.want)
		}
	}
	between, err := LognormalBetween(0.001, 0.009)
	if err != nil || !near(between.Median, 0.003) || !near(between.ErrorFactor, 3) {
		t.Errorf("from its ends: %+v, %v", between, err)
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if got := l.Quantile(p); !math.IsNaN(got) {
			t.Errorf("quantile %v: %v, want NaN", p, got)
		}
	}
}

func sample(t testing.TB, seed uint64, n int, ranges ...Lognormal) [][]float64 {
	t.Helper()
	rows, err := Sample(seed, n, ranges)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func column(rows [][]float64, c int) []float64 {
	var v []float64
	for _, r := range rows {
		v = append(v, r[c])
	}
	return v
}

// TestLatinHypercube: exactly one value in every part of equal belief, and the
// parts of different ranges unrelated.
func TestLatinHypercube(t *testing.T) {
	const n = 1000
	ranges := []Lognormal{{Median: 1e-6, ErrorFactor: 3}, {Median: 0.1, ErrorFactor: 10}}
	rows := sample(t, 7, n, ranges...)
	ranks := make([][]float64, 2)
	for c, r := range ranges {
		values := slices.Sorted(slices.Values(column(rows, c)))
		for i, v := range values {
			if low, high := r.Quantile(float64(i)/n), r.Quantile(float64(i+1)/n); v < low || v > high {
				t.Fatalf("range %d: value %d is %v, outside its part %v to %v", c, i, v, low, high)
			}
		}
		for _, row := range rows {
			i, _ := slices.BinarySearch(values, row[c])
			ranks[c] = append(ranks[c], float64(i)-(n-1)/2.0)
		}
	}
	product, squares := 0.0, 0.0
	for i := range n {
		product += ranks[0][i] * ranks[1][i]
		squares += ranks[0][i] * ranks[0][i]
	}
	// Rank correlation of n unrelated pairs has standard deviation 1/sqrt(n-1).
	if r := product / squares; math.Abs(r) > 4/math.Sqrt(n-1) {
		t.Errorf("rank correlation %v", r)
	}
}

func TestSampleIsRepeatable(t *testing.T) {
	a, b := Lognormal{Median: 1, ErrorFactor: 2}, Lognormal{Median: 5, ErrorFactor: 3}
	first := sample(t, 1, 50, a, b)
	if !slices.Equal(column(first, 1), column(sample(t, 1, 50, a, b), 1)) {
		t.Error("the same seed gave other values")
	}
	if slices.Equal(column(first, 0), column(sample(t, 2, 50, a, b), 0)) {
		t.Error("another seed gave the same values")
	}
	if !slices.Equal(column(first, 0), column(sample(t, 1, 50, a), 0)) {
		t.Error("adding a range at the end changed the first")
	}
}

// TestPropagation: the product of lognormals is lognormal, with the medians
// multiplied and the variances of the logarithms added. Two parts that share
// their ignorance count it twice: their deviations add, not their variances.
func TestPropagation(t *testing.T) {
	_, d := compile(t, Model{Top: "both", Gates: []Gate{{Name: "both", Kind: And, Inputs: []string{"a", "b"}}}, Events: []Event{{Name: "a"}, {Name: "b"}}})
	a, b := Lognormal{Median: 1e-3, ErrorFactor: 3}, Lognormal{Median: 1e-4, ErrorFactor: 5}
	logA, logB := math.Log(3), math.Log(5)
	rows := []struct {
		name        string
		second      int
		median      float64
		errorFactor float64
		mean        float64
	}{
		{"unrelated", 1, 1e-7, math.Exp(math.Hypot(logA, logB)), a.Mean() * b.Mean()},
		{"one generic rate", 0, 1e-6, math.Exp(2 * logA), 1e-6 * math.Exp(2*math.Pow(logA/z95, 2))},
	}
	for _, r := range rows {
		var tops []float64
		for _, draw := range sample(t, 11, 20_000, a, b) {
			q, err := d.ProbabilityWith([]float64{draw[0], draw[r.second]})
			if err != nil {
				t.Fatal(err)
			}
			tops = append(tops, q)
		}
		band, err := Summarize(tops)
		if err != nil {
			t.Fatal(err)
		}
		// About four standard errors of a 5 % point of 20,000 draws.
		for _, c := range []struct{ got, want float64 }{
			{band.Low, r.median / r.errorFactor}, {band.Median, r.median}, {band.High, r.median * r.errorFactor}, {band.Mean, r.mean},
		} {
			if math.Abs(math.Log(c.got/c.want)) > 0.06 {
				t.Errorf("%s: %v, want %v", r.name, c.got, c.want)
			}
		}
	}
}

func TestSummarize(t *testing.T) {
	var v []float64
	for i := 100; i >= 1; i-- {
		v = append(v, float64(i))
	}
	got, err := Summarize(v)
	if want := (Band{Low: 5, Median: 50, Mean: 50.5, High: 95}); err != nil || got != want {
		t.Errorf("1 to 100: %+v, %v, want %+v", got, err, want)
	}
	_, err = Summarize(nil)
	wantRefusal(t, "nothing", err, "results", "none")
	_, err = Summarize([]float64{1, math.NaN()})
	wantRefusal(t, "NaN", err, "results", "number 1")
}

func TestRefusedRanges(t *testing.T) {
	good := Lognormal{Median: 1, ErrorFactor: 3}
	rows := []struct {
		name           string
		n              int
		second         Lognormal
		place, problem string
	}{
		{"median of zero", 10, Lognormal{ErrorFactor: 3}, "range 1 Median", "0"},
		{"median NaN", 10, Lognormal{Median: math.NaN(), ErrorFactor: 3}, "range 1 Median", "NaN"},
		{"error factor below 1", 10, Lognormal{Median: 1, ErrorFactor: 0.5}, "range 1 ErrorFactor", "0.5"},
		{"no error factor", 10, Lognormal{Median: 1}, "range 1 ErrorFactor", "0"},
		{"limit below the median", 10, Lognormal{Median: 2, ErrorFactor: 3, AtMost: 1}, "range 1 AtMost", "1"},
		{"no samples", 0, good, "n", "0 samples"},
		{"too many samples", MaxSamples, good, "n", "samples"},
	}
	for _, r := range rows {
		_, err := Sample(1, r.n, []Lognormal{good, r.second})
		wantRefusal(t, r.name, err, r.place, r.problem)
	}
	for _, ends := range [][2]float64{{0, 1}, {2, 1}, {-1, 1}, {1, math.Inf(1)}, {math.NaN(), 1}} {
		_, err := LognormalBetween(ends[0], ends[1])
		wantRefusal(t, "ends", err, "range", "is not a range")
	}
	if rows, err := Sample(1, 3, nil); err != nil || len(rows) != 3 {
		t.Errorf("no ranges: %v, %v", rows, err)
	}
}
