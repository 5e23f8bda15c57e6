package odds

import (
	"cmp"
	"context"
	"math"
	"slices"

	"isohaline/internal/plant"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

// Options say what is known beyond the tank file.
type Options struct {
	// Rates gives a tank's own rates by fault ID, with their unit: "0.2/yr", or
	// a range that holds 90 % of the belief, "0.05/yr to 0.4/yr".
	Rates map[string]string
	// Habits are the tester's; nil: the table's ranges.
	Habits *Habits
	// Seed draws the bands; Samples is how many draws, 0: DefaultSamples.
	Seed    uint64
	Samples int
}

// DefaultSamples is how many draws a band rests on.
const DefaultSamples = 400

// Answer is how likely the harm is.
type Answer struct {
	Report *verify.Report
	// Harms by WetFloor, Danger and Loss.
	Harms [harmCount]Frequency
	// Dominating are the three combinations that lead most often to Danger.
	Dominating []Combination
	Testing    Testing
	// Safe is what no fault can do, whatever its odds; empty: nothing.
	Safe  string
	Rates []Rate
	// Notes are what a reader must know of these figures.
	Notes []string
}

// Frequency is how often a harm is to be expected.
type Frequency struct {
	Harm Harm
	// PerYear is the expected frequency, with every rate at its mean. 90 % of
	// the belief lies between Low and High. A wide range has its mean far above
	// its Median, and may have it above High.
	PerYear, Low, Median, High float64
	// Combinations is how many minimal ones lead there, in some season.
	Combinations int
}

// Years between two harms at a frequency; +Inf if it does not happen.
func Years(perYear float64) float64 { return 1 / perYear }

// Combination is faults that together do harm.
type Combination struct {
	Faults  []plant.Fault
	PerYear float64
	// Share of all the combinations of this harm.
	Share float64
	// Harm is what the twin showed; Why, how it comes to happen so often.
	Harm, Why string
}

// Estimate works out how often the harm found by a check is to be expected.
// The report must have its pairs. It refuses, as a *reliability.InputError,
// what no frequency can be had for: a tank that does harm with nothing wrong, no
// test interval, a rate without its unit, an unknown fault.
func Estimate(ctx context.Context, r *verify.Report, o Options) (*Answer, error) {
	f, err := plantForest(ctx, r, o)
	if err != nil {
		return nil, err
	}
	a := &Answer{Report: r, Rates: f.w.rates}
	if a.Harms, err = f.bands(ctx, o); err != nil {
		return nil, err
	}
	if a.Dominating, err = f.dominating(); err != nil {
		return nil, err
	}
	if a.Testing, err = f.testing(); err != nil {
		return nil, err
	}
	if err = f.bandAlong(ctx, o, a.Harms[Danger], a.Testing.Curve); err != nil {
		return nil, err
	}
	a.Safe = inherentlySafe(r)
	a.Notes = f.w.notes(o)
	return a, nil
}

// plantForest is everything that frequencies need.
func plantForest(ctx context.Context, r *verify.Report, o Options) (*forest, error) {
	w, err := newWorld(r, o)
	if err != nil {
		return nil, err
	}
	combos, err := w.harmful(ctx)
	if err != nil {
		return nil, err
	}
	if err := w.findWindows(ctx, combos); err != nil {
		return nil, err
	}
	return w.grow(combos)
}

// momentsAt is the cycle with the tester's habits at given values.
func (w *world) momentsAt(values []float64, intervalH float64) []moment {
	return cycle(intervalH, values[w.skip])
}

// samples is how many draws are asked for.
func (o Options) samples() int {
	if o.Samples == 0 {
		return DefaultSamples
	}
	return o.Samples
}

// drawn are the bands of the harms over rows of rates, with a test interval.
func (f *forest) drawn(ctx context.Context, rows [][]float64, intervalH float64) ([harmCount]reliability.Band, error) {
	var out [harmCount]reliability.Band
	each := make([][harmCount]float64, len(rows))
	err := runParallel(ctx, len(rows), func(i int) (err error) {
		each[i], err = f.perYear(rows[i], f.w.momentsAt(rows[i], intervalH))
		return err
	})
	if err != nil {
		return out, err
	}
	results := make([]float64, len(rows))
	for kind := range harmCount {
		for i := range each {
			results[i] = each[i][kind]
		}
		if out[kind], err = reliability.Summarize(results); err != nil {
			return out, err
		}
	}
	return out, nil
}

func (f *forest) bands(ctx context.Context, o Options) ([harmCount]Frequency, error) {
	var out [harmCount]Frequency
	rows, err := f.w.sample(o.Seed, o.samples())
	if err != nil {
		return out, err
	}
	bands, err := f.drawn(ctx, rows, f.w.intervalH)
	if err != nil {
		return out, err
	}
	means := f.w.means()
	expected, err := f.perYear(means, f.w.momentsAt(means, f.w.intervalH))
	if err != nil {
		return out, err
	}
	for kind, band := range bands {
		out[kind] = Frequency{Harm: Harm(kind), PerYear: expected[kind], Low: band.Low, Median: band.Median, High: band.High,
			Combinations: f.count(Harm(kind))}
	}
	return out, nil
}

func (f *forest) count(kind Harm) int {
	seen := map[set]bool{}
	for season := range f.w.seasonShares {
		for _, c := range minimal(f.combos, season, kind) {
			seen[c.set] = true
		}
	}
	return len(seen)
}

// dominatingCount is how many combinations a client is told of.
const dominatingCount = 3

func (f *forest) dominating() ([]Combination, error) {
	means := f.w.means()
	moments := f.w.momentsAt(means, f.w.intervalH)
	shares, err := f.shares(Danger, means, moments)
	if err != nil {
		return nil, err
	}
	total := 0.0
	var combos []*combination
	for _, c := range f.combos { // in their own order: sums must not depend on a map's
		if shares[c] > 0 {
			total += shares[c]
			combos = append(combos, c)
		}
	}
	slices.SortStableFunc(combos, func(a, b *combination) int { return cmp.Compare(shares[b], shares[a]) })
	st := f.stateAt(means, moments)
	var out []Combination
	for _, c := range combos[:min(dominatingCount, len(combos))] {
		out = append(out, Combination{Faults: f.w.faultsOf(c.set), PerYear: shares[c], Share: shares[c] / total,
			Harm: c.worst.Sentence, Why: f.w.why(c.set, means, st)})
	}
	return out, nil
}

// Testing is what the proof test buys.
type Testing struct {
	IntervalDays float64
	// Curve is the expected frequency against the interval, weekly to yearly.
	Curve []Point
	// FloorPerYear is the frequency of Danger that no testing can take away.
	FloorPerYear float64
	// KneeDays is the interval at which what tests can change is as large as
	// what they cannot: below it more testing buys less than half. At either end
	// of the curve it lies there or beyond.
	KneeDays float64
	// SkipFactor is how many times as likely one skipped test makes Danger until
	// the next, SkipAdds how much expected Danger that is in all, and SkipDays in
	// how many ordinary days as much is to be expected.
	SkipFactor, SkipAdds, SkipDays float64
	Sentence                       string
}

// Point is one interval of the curve.
type Point struct {
	Days    float64
	PerYear [harmCount]float64
	// Low and High are the band of Danger.
	Low, High float64
}

// curveDays are the intervals of the curve: weekly, fortnightly, monthly, every
// two, three and six months, yearly.
var curveDays = []float64{shortestDays, 14, 30, 61, 91, 182, longestDays}

const shortestDays, longestDays = 7.0, 365.0

func (f *forest) testing() (Testing, error) {
	means := f.w.means()
	t := Testing{IntervalDays: f.w.intervalH / hoursADay}
	at := func(days float64) ([harmCount]float64, error) {
		return f.perYear(means, f.w.momentsAt(means, days*hoursADay))
	}
	for _, days := range curveDays {
		p, err := at(days)
		if err != nil {
			return t, err
		}
		t.Curve = append(t.Curve, Point{Days: days, PerYear: p})
	}
	fresh := f.w.momentsAt(means, lifeH)
	for i := range fresh {
		fresh[i].ageH = 0
	}
	floor, err := f.perYear(means, fresh)
	if err != nil {
		return t, err
	}
	t.FloorPerYear = floor[Danger]
	if t.KneeDays, err = knee(t.FloorPerYear, at); err != nil {
		return t, err
	}
	// A test that is skipped: the second interval after the last test against
	// the first.
	first, err := f.perYear(means, f.sinceTest(0))
	if err != nil {
		return t, err
	}
	second, err := f.perYear(means, f.sinceTest(f.w.intervalH))
	if err != nil {
		return t, err
	}
	if t.SkipFactor = 1; first[Danger] > 0 {
		t.SkipFactor = second[Danger] / first[Danger]
	}
	t.SkipAdds = (second[Danger] - first[Danger]) * t.IntervalDays / reliability.DaysPerYear
	own, err := at(t.IntervalDays)
	if err != nil {
		return t, err
	}
	if own[Danger] > 0 {
		t.SkipDays = t.SkipAdds / own[Danger] * reliability.DaysPerYear
	}
	t.Sentence = t.sentence()
	return t, nil
}

// curveSamples is how many draws the band along the curve rests on at most:
// few, because weekly tests make a year of many moments.
const curveSamples = 200

// bandAlong gives every point of the curve its band. The few draws say by what
// factor an end of the band moves between the tank's own interval and the
// point's; the full band at the tank's own interval says from where. So both
// meet there, and what few draws err by is nearly the same at both and cancels.
func (f *forest) bandAlong(ctx context.Context, o Options, own Frequency, curve []Point) error {
	rows, err := f.w.sample(o.Seed, min(curveSamples, o.samples()))
	if err != nil {
		return err
	}
	here, err := f.drawn(ctx, rows, f.w.intervalH)
	if err != nil {
		return err
	}
	moved := func(end, there, here float64) float64 {
		if here == 0 {
			return there
		}
		return end * there / here
	}
	for i := range curve {
		there, err := f.drawn(ctx, rows, curve[i].Days*hoursADay)
		if err != nil {
			return err
		}
		curve[i].Low = moved(own.Low, there[Danger].Low, here[Danger].Low)
		curve[i].High = moved(own.High, there[Danger].High, here[Danger].High)
	}
	return nil
}

// sinceTest is one test interval that begins some hours after the last test,
// anywhere between two overhauls.
func (f *forest) sinceTest(fromH float64) []moment {
	within := cycle(min(f.w.intervalH, lifeH), 0)
	var out []moment
	for _, m := range within {
		out = append(out, moment{m.ageH + fromH, m.hourH, m.weight})
	}
	return out
}

// knee is the interval at which the frequency is twice the floor.
func knee(floor float64, at func(days float64) ([harmCount]float64, error)) (float64, error) {
	low, high := shortestDays, longestDays
	above := func(days float64) (bool, error) {
		p, err := at(days)
		return p[Danger] > 2*floor, err
	}
	if yes, err := above(low); err != nil || yes {
		return low, err
	}
	if yes, err := above(high); err != nil || !yes {
		return high, err
	}
	for high-low > 1 { // to the day
		mid := (low + high) / 2
		yes, err := above(mid)
		if err != nil {
			return 0, err
		}
		if yes {
			high = mid
		} else {
			low = mid
		}
	}
	return math.Round(low), nil
}
