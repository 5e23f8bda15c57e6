package report

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"isohaline/internal/chart"
	"isohaline/internal/odds"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

// Odds is how likely the harm is that a check found possible.
type Odds struct {
	// Answer is nil where there is none, and Refused says why.
	Answer  *odds.Answer
	Refused string
	// Changes are what odds.Improve found, with the prices it was given; nil:
	// nobody asked.
	Changes *ChangesTried
	// Lived is what odds.Simulate counted; nil: nobody asked.
	Lived *odds.Tally
}

// NoOdds says why there is no answer.
func NoOdds(err error) *Odds {
	var refused *reliability.InputError
	if errors.As(err, &refused) {
		return &Odds{Refused: "No odds for this design: " + refused.Problem + "; " + refused.Fix + "."}
	}
	return &Odds{Refused: "The odds could not be worked out: " + err.Error() + "."}
}

// ChangesTried are changes by what they take away, and the prices stated.
type ChangesTried struct {
	Improvements []odds.Improvement
	Prices       map[string]float64
}

// Likely is the section on how likely the harm is, in words.
type Likely struct {
	Refused    string
	Lead       []string // what the figures are, before any of them
	Safe       string
	Harms      []HarmLine
	Dominating []DominantLine
	Testing    string
	Intervals  []IntervalLine
	Changes    *ChangesInWords
	Lived      []string
	Rates      []RateLine
	Notes      []string
}

// HarmLine is one harm: how often it is to be expected, the band in words, and
// how many combinations lead there.
type HarmLine struct{ Name, Expected, Band, Ways string }

// DominantLine is a combination that leads to serious harm often, and why.
type DominantLine struct{ Share, Harm, Why string }

// IntervalLine is one test interval; Frac is its frequency as a share of the
// highest in the list.
type IntervalLine struct {
	Name, Expected, Band string
	Frac                 float64
}

// ChangesInWords is what each change would take away.
type ChangesInWords struct {
	Words string
	List  []ChangeInWords
	Idle  []string // priced, and no help
}

// ChangeInWords is a change and what the check says of it, if that is news.
type ChangeInWords struct{ ID, Words, Verdict string }

// RateLine is a row of the table of rates.
type RateLine struct{ Words, Mean, Range, Stands, From string }

// leading is how many of the answer's notes stand before every figure: what the
// figures are, and where they are lower bounds.
const leading = 2

// LikelyOf puts the odds of a report into words; nil without any.
func LikelyOf(r *verify.Report, o *Odds) *Likely {
	if o == nil {
		return nil
	}
	if o.Answer == nil {
		return &Likely{Refused: o.Refused}
	}
	a := o.Answer
	l := &Likely{Safe: a.Safe, Testing: a.Testing.Sentence, Intervals: intervals(a), Changes: changesOf(r, o.Changes)}
	first := min(leading, len(a.Notes))
	l.Lead, l.Notes = a.Notes[:first], a.Notes[first:]
	for _, f := range a.Harms {
		l.Harms = append(l.Harms, harmLineOf(f))
	}
	for _, c := range a.Dominating {
		l.Dominating = append(l.Dominating, DominantLine{Share: share(c.Share), Harm: c.Harm, Why: c.Why})
	}
	if o.Lived != nil {
		l.Lived = lived(a, o.Lived)
	}
	for _, rate := range a.Rates {
		l.Rates = append(l.Rates, rateLineOf(r, rate))
	}
	return l
}

func harmLineOf(f odds.Frequency) HarmLine {
	l := HarmLine{Name: capitalise(f.Harm.String()), Expected: "not found possible", Ways: "no combination that was tried leads there"}
	if f.Combinations == 0 {
		return l
	}
	l.Expected = odds.Once(f.PerYear)
	l.Band = band(f.Low, f.High)
	if f.PerYear > f.High && l.Expected != odds.Once(f.High) {
		l.Band += " (rare bad cases carry the mean beyond it)"
	}
	l.Ways = counted(f.Combinations, "combination") + " of faults"
	return l
}

// expected is the answer in one line: how often serious harm is to be expected.
func expected(o *Odds) string {
	if o == nil || o.Answer == nil {
		return ""
	}
	f := o.Answer.Harms[odds.Danger]
	if f.Combinations == 0 {
		return "no combination that was tried does any"
	}
	return odds.Once(f.PerYear) + " (90 %: " + band(f.Low, f.High) + ")"
}

// band is from the worst to the best that is believed, with the unit once where
// it is the same.
func band(low, high float64) string {
	worst, best := timeBetween(high), timeBetween(low)
	if worst == best {
		return worst
	}
	number, unit, _ := strings.Cut(worst, " ")
	if strings.HasSuffix(best, " "+unit) {
		worst = number
	}
	return worst + " to " + best
}

// share writes a share of one to the per cent.
func share(frac float64) string {
	if frac < 0.005 {
		return "less than 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*frac)
}

// points are the curve's, and the tank's own interval among them.
func points(a *odds.Answer) []odds.Point {
	own := odds.Point{Days: a.Testing.IntervalDays, Low: a.Harms[odds.Danger].Low, High: a.Harms[odds.Danger].High}
	for kind, f := range a.Harms {
		own.PerYear[kind] = f.PerYear
	}
	out := slices.Clone(a.Testing.Curve)
	at, found := slices.BinarySearchFunc(out, own.Days, func(p odds.Point, days float64) int { return cmp.Compare(p.Days, days) })
	if found {
		return out
	}
	return slices.Insert(out, at, own)
}

// usual names the curve's intervals.
var usual = map[float64]string{7: "weekly", 14: "every two weeks", 30: "monthly", 61: "every two months", 91: "every three months", 182: "twice a year", 365: "yearly"}

func intervalName(days float64) string {
	if name, ok := usual[days]; ok {
		return name
	}
	return fmt.Sprintf("every %.3g days", days)
}

func intervals(a *odds.Answer) []IntervalLine {
	all := points(a)
	most := 0.0
	for _, p := range all {
		most = max(most, p.PerYear[odds.Danger])
	}
	if most == 0 {
		return nil
	}
	var out []IntervalLine
	for _, p := range all {
		l := IntervalLine{Name: intervalName(p.Days), Expected: odds.Once(p.PerYear[odds.Danger]), Band: band(p.Low, p.High), Frac: p.PerYear[odds.Danger] / most}
		if p.Days == a.Testing.IntervalDays {
			l.Name += ", as now"
		}
		out = append(out, l)
	}
	return out
}

// Testing is the drawing of what the proof test buys; nil where no combination
// does serious harm, so that there is nothing to buy.
func Testing(a *odds.Answer) *chart.Testing {
	if a.Harms[odds.Danger].PerYear == 0 {
		return nil
	}
	d := &chart.Testing{
		Title: "What the proof test buys", Harm: "Serious harm", Knee: chart.TestingMark{Days: math.NaN()},
		Subtitle:     a.Report.Tank.Name + ". Estimates from generic rates: to compare, not to promise.",
		FloorPerYear: a.Testing.FloorPerYear, FloorWords: "what no testing can take away: " + odds.Once(a.Testing.FloorPerYear),
	}
	for _, p := range points(a) {
		d.Points = append(d.Points, chart.TestingPoint{Days: p.Days, PerYear: p.PerYear[odds.Danger], LowPerYear: p.Low, HighPerYear: p.High,
			Words: timeBetween(p.PerYear[odds.Danger])})
	}
	own := a.Testing.IntervalDays
	d.Now = chart.TestingMark{Days: own, Words: fmt.Sprintf("now, every %.3g days: %s", own, odds.Once(a.Harms[odds.Danger].PerYear))}
	first, last := a.Testing.Curve[0].Days, a.Testing.Curve[len(a.Testing.Curve)-1].Days
	if k := a.Testing.KneeDays; k > first && k < last {
		d.Knee = chart.TestingMark{Days: k, Words: fmt.Sprintf("the knee, near %.0f days: more testing buys less than half", k)}
	}
	return d
}

// timeBetween is how long it is from one to the next, in words.
func timeBetween(perYear float64) string {
	words := odds.Once(perYear)
	rarer, time, found := strings.Cut(words, "once in ")
	switch {
	case !found:
		return words
	case rarer != "":
		return "over " + time
	}
	return time
}

func changesOf(r *verify.Report, tried *ChangesTried) *ChangesInWords {
	if tried == nil {
		return nil
	}
	c := &ChangesInWords{Words: "Each change was made by itself, tried by the twin with every fault and pair like the tank, and reckoned the same way, with every rate at its mean: the bands are as wide as the tank’s own. By what they take away."}
	if len(tried.Prices) > 0 {
		c.Words = strings.TrimSuffix(c.Words, "By what they take away.") + "Those with a price first, by what they take away for their money."
	}
	if len(tried.Improvements) == 0 {
		c.Words = "No change that was tried takes away as much as a hundredth of the serious harm."
	}
	helps := map[string]bool{}
	for _, im := range tried.Improvements {
		t := ChangeInWords{ID: im.ID, Words: im.Sentence}
		switch {
		case im.Accepted && !r.Verdict.Accepted:
			t.Verdict = "With it alone the check accepts the design."
		case !im.Accepted && r.Verdict.Accepted:
			t.Verdict = "But with it the check no longer accepts the design."
		}
		helps[im.ID] = true
		c.List = append(c.List, t)
	}
	for _, id := range slices.Sorted(maps.Keys(tried.Prices)) {
		if !helps[id] {
			c.Idle = append(c.Idle, id)
		}
	}
	return c
}

// lived sets the years lived beside what the tree says.
func lived(a *odds.Answer, t *odds.Tally) []string {
	words := fmt.Sprintf("%s tank-years were lived, with the twin and the real controller: faults came at their mean rates, tests were done, skipped or left something off.", grouped(t.Years()))
	if n := t.EffectiveYears(odds.Danger); n > 0 {
		words += fmt.Sprintf(" For serious harm they are worth about %s years in which faults come no oftener than they do.", grouped(twoDigits(n)))
	}
	words += " The tree is what the figures above come from."
	out := []string{words}
	for _, g := range odds.Compare(a, *t) {
		out = append(out, g.Sentence)
	}
	sum := t.Sum[odds.Danger]
	if sum == 0 {
		return out
	}
	apart := fmt.Sprintf("Of the serious harm lived, %s came by faults that contain none of the tree’s combinations. The tree also counts harm that did not come, for what else stood at the time: as much as %s of it.",
		share(t.Unforeseen[odds.Danger]/sum), share(t.Averted[odds.Danger]/sum))
	if t.Unsettled > 0 {
		apart += fmt.Sprintf(" %s of it is meetings of faults that the twin could not finish; they count as harm.", capitalise(share(t.Unsettled/sum)))
	}
	return append(out, apart)
}

// twoDigits rounds a number above 0 to two significant digits, and to a whole.
func twoDigits(v float64) int {
	unit := math.Pow(10, max(0, math.Floor(math.Log10(v))-1))
	return int(math.Round(v/unit) * unit)
}

// grouped writes a whole number in groups of three.
func grouped(n int) string {
	digits := strconv.Itoa(n)
	for at := len(digits) - 3; at > 0; at -= 3 {
		digits = digits[:at] + "," + digits[at:]
	}
	return digits
}

func rateLineOf(r *verify.Report, rate odds.Rate) RateLine {
	l := RateLine{Words: capitalise(rate.Words), Mean: odds.Once(rate.MeanPerYear), Range: band(rate.LowPerYear, rate.HighPerYear)}
	if rate.Hidden {
		l.Stands = "unseen, until the " + rate.FoundBy
	} else {
		l.Stands = r.Units.Duration(rate.StandsH * 3600)
	}
	switch {
	case rate.Given:
		l.From = rate.Why
	case len(rate.Sources) == 0:
		l.From = "judgement: " + rate.Why
	default:
		l.From = strings.Join(rate.Sources, ", ") + ": " + rate.Why
	}
	return l
}
