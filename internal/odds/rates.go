package odds

import (
	"fmt"
	"maps"
	"slices"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/reliability"
)

// Habits is how the person who does the proof tests really does them.
type Habits struct {
	// SkipProb is the probability that a due test is not done, 0 to
	// maxSkipProb.
	SkipProb float64
	// LeftOffProb is the probability that a test leaves a barrier unable to act
	// until the next one, 0 to 1.
	LeftOffProb float64
}

const (
	// testCoverage is the share of hidden failures that a proof test finds; the
	// rest waits for the overhaul. Judgement, no source.
	testCoverage = 0.9
	// leftOffTogether is the share of LeftOffProb in which one forgotten step
	// leaves off every barrier at once. Judgement, no source.
	leftOffTogether = 0.3
	// maxSkipProb is one test done in twenty; below that, a longer interval says
	// it better.
	maxSkipProb = 0.95
	// lifeH is the time from one overhaul to the next, when everything is
	// looked at and put right. Judgement, no source.
	lifeH = reliability.HoursPerYear
)

// column is a quantity known within a range; everything that rests on the same
// generic figure shares one, and so shares its ignorance.
type column struct {
	belief reliability.Lognormal
	exact  float64 // where belief has no median: known exactly
}

func (c column) mean() float64 {
	if c.belief.Median == 0 {
		return c.exact
	}
	return c.atMost(c.belief.Mean())
}

func (c column) atMost(v float64) float64 {
	if c.belief.AtMost > 0 {
		return min(v, c.belief.AtMost)
	}
	return v
}

// quantile is an end of the range.
func (c column) quantile(p float64) float64 {
	if c.belief.Median == 0 {
		return c.exact
	}
	return c.belief.Quantile(p)
}

// beliefs collects the columns a tank needs.
type beliefs struct {
	columns []column
	byName  map[string]int
}

func (b *beliefs) add(c column) int {
	b.columns = append(b.columns, c)
	return len(b.columns) - 1
}

// of is the column of a range of the table.
func (b *beliefs) of(r rangeRow, atMost float64) (int, error) {
	if i, ok := b.byName[r.name]; ok {
		return i, nil
	}
	belief, err := reliability.LognormalBetween(r.low, r.high)
	if err != nil {
		return 0, fmt.Errorf("range %s: %w", r.name, err)
	}
	belief.AtMost = atMost
	i := b.add(column{belief: belief})
	b.byName[r.name] = i
	return i, nil
}

func (b *beliefs) means() []float64 {
	v := make([]float64, len(b.columns))
	for i, c := range b.columns {
		v[i] = c.mean()
	}
	return v
}

// sample draws n rows of values by Latin hypercube.
func (b *beliefs) sample(seed uint64, n int) ([][]float64, error) {
	var ranges []reliability.Lognormal
	var at []int
	for i, c := range b.columns {
		if c.belief.Median > 0 {
			ranges = append(ranges, c.belief)
			at = append(at, i)
		}
	}
	drawn, err := reliability.Sample(seed, n, ranges)
	if err != nil {
		return nil, err
	}
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = b.means()
		for j, c := range at {
			rows[i][c] = drawn[i][j]
		}
	}
	return rows, nil
}

// habits are the columns of skipped tests and of barriers left off.
func (b *beliefs) habits(t *tables, h *Habits) (skip, leftOff int, err error) {
	if h == nil {
		if skip, err = b.of(t.ranges[skippedRange], maxSkipProb); err != nil {
			return 0, 0, err
		}
		leftOff, err = b.of(t.ranges[leftOffRange], 1)
		return skip, leftOff, err
	}
	if !(h.SkipProb >= 0 && h.SkipProb <= maxSkipProb) {
		return 0, 0, refuse("Habits.SkipProb", fmt.Sprintf("give 0 to %v, or state a longer test interval", maxSkipProb), "%v is out of range", h.SkipProb)
	}
	if !(h.LeftOffProb >= 0 && h.LeftOffProb <= 1) {
		return 0, 0, refuse("Habits.LeftOffProb", "give a probability from 0 to 1", "%v is outside 0 to 1", h.LeftOffProb)
	}
	return b.add(column{exact: h.SkipProb}), b.add(column{exact: h.LeftOffProb}), nil
}

// statedRates are those of the tank file, and those of the options in their
// place.
func statedRates(s *tankfile.Tank, o Options) map[string]string {
	all := map[string]string{}
	for _, r := range s.Rates {
		all[r.Fault] = r.Comes
	}
	maps.Copy(all, o.Rates)
	return all
}

// given reads the rates that a tank gives itself, by fault ID: "0.2/yr", or
// with a range "0.05/yr to 0.4/yr".
func given(overrides map[string]string, faults []plant.Fault) (map[string]column, error) {
	known := map[string]bool{}
	for _, f := range faults {
		known[f.ID] = true
	}
	out := map[string]column{}
	for _, id := range slices.Sorted(maps.Keys(overrides)) {
		place := "rate of " + id
		if !known[id] {
			return nil, refuse(place, "name one of the faults that this tank can have; the check lists them", "%q is not one of them", id)
		}
		c, err := parseRate(place, overrides[id])
		if err != nil {
			return nil, err
		}
		out[id] = c
	}
	return out, nil
}

const (
	// maxPerHour: what comes oftener than hourly is no failure, and nearly
	// always a unit gone wrong.
	maxPerHour = 1
	// maxErrorFactor is a range of a millionfold from end to end.
	maxErrorFactor = 1000
)

func parseRate(place, text string) (column, error) {
	low, high, err := reliability.ParseRange(text)
	if err != nil {
		return column{}, fmt.Errorf("%s: %w", place, err)
	}
	if high > maxPerHour {
		return column{}, refuse(place, "check its unit", "%v/h is more than one an hour", float64(high))
	}
	if low == high {
		return column{exact: float64(low)}, nil
	}
	belief, err := reliability.LognormalBetween(float64(low), float64(high))
	if err != nil {
		return column{}, fmt.Errorf("%s: %w", place, err)
	}
	if belief.ErrorFactor > maxErrorFactor {
		return column{}, refuse(place, "give a narrower range", "%q spans more than a millionfold", text)
	}
	return column{belief: belief}, nil
}

// rangeOf names the range of a fault: a level sensor's goes by its kind.
func rangeOf(s *tankfile.Tank, f faultRow) string {
	const kind = "level sensor "
	switch f.rangeName {
	case "watch":
		return kind + s.TopOff.Watch.Kind
	case "ceiling":
		return kind + s.TopOff.Ceiling.Kind
	}
	return f.rangeName
}

// reasons are why the tank file states its rates, by fault.
func reasons(s *tankfile.Tank, o Options) map[string]string {
	why := map[string]string{}
	for _, r := range s.Rates {
		if _, replaced := o.Rates[r.Fault]; !replaced {
			why[r.Fault] = r.Because
		}
	}
	return why
}

// Rate is how often one fault happens, for printing.
type Rate struct {
	Fault, Words string
	// MeanPerYear, and 90 % of the belief between LowPerYear and HighPerYear.
	// All causes, those shared with other parts included.
	MeanPerYear, LowPerYear, HighPerYear float64
	// Given: by the tank. Otherwise Sources are the published figures behind
	// the range, none where it is judgement, and Why says what else is.
	Given   bool
	Sources []string
	Why     string
	// Hidden: on this tank it shows nothing, and waits for FoundBy. Otherwise
	// it stands for StandsH hours.
	Hidden  bool
	FoundBy string
	StandsH float64
}

func refuse(place, fix, problem string, args ...any) error {
	return &reliability.InputError{Place: place, Problem: fmt.Sprintf(problem, args...), Fix: fix}
}

func perYear(perHour float64) float64 { return perHour * reliability.HoursPerYear }
