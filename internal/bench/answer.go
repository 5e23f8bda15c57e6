package bench

import (
	"math"
	"time"

	"isohaline/internal/units"
)

// Question is one of the questions of this package.
type Question interface {
	// answer takes the question as checked: within the ranges of its tags.
	answer(Circumstances) (*BenchAnswer, error)
}

// Circumstances are what an answer depends on besides its question.
type Circumstances struct {
	// Units are those of the words; the figures keep the units they name.
	Units units.System
	// Now is when the question is asked: days to come count from it.
	Now time.Time
}

// BenchAnswer is the answer to any question.
type BenchAnswer struct {
	Sentence string        `json:"sentence" doc:"the answer in one sentence"`
	Figures  []Figure      `json:"figures"`
	Dates    []DueDate     `json:"dates" doc:"when something is due"`
	Steps    []string      `json:"steps" doc:"what to do, in this order"`
	Series   []BenchSeries `json:"series" doc:"the days to come, or the minutes"`
	Notes    []string      `json:"notes" doc:"what the answer takes for granted"`
	Cautions []string      `json:"cautions"`
	Sources  []string      `json:"sources" doc:"where the equations come from"`
}

// Figure is a number with its unit and its error.
type Figure struct {
	Name  string   `json:"name" example:"alkalinity-closed"`
	Words string   `json:"words" example:"alkalinity within minutes"`
	Unit  string   `json:"unit" example:"dKH" doc:"empty for a pure number"`
	Value float64  `json:"value"`
	Low   *float64 `json:"low,omitempty" doc:"nine cases in ten lie between low and high; absent where the figure follows exactly from the question"`
	High  *float64 `json:"high,omitempty"`
}

// BenchSeries is a quantity against time.
type BenchSeries struct {
	Name  string    `json:"name"`
	Words string    `json:"words"`
	Unit  string    `json:"unit"`
	Time  string    `json:"time" enum:"min,h,days" doc:"the unit of at"`
	At    []float64 `json:"at" doc:"from now"`
	Value []float64 `json:"value"`
	Low   []float64 `json:"low,omitempty"`
	High  []float64 `json:"high,omitempty"`
}

// DueDate is when something is due, most likely, at the earliest and at the latest.
type DueDate struct {
	Name     string    `json:"name"`
	Words    string    `json:"words"`
	Likely   time.Time `json:"likely"`
	Earliest time.Time `json:"earliest"`
	Latest   time.Time `json:"latest"`
}

// Ask checks a question and answers it. The error is a *Refusal if a value is
// out of range or the values cannot all be true.
func Ask(q Question, c Circumstances) (*BenchAnswer, error) {
	if err := check(q); err != nil {
		return nil, err
	}
	a, err := q.answer(c)
	if err != nil {
		return nil, err
	}
	a.complete()
	return a, nil
}

// complete leaves no list nil: an empty one is written as such.
func (a *BenchAnswer) complete() {
	a.Figures, a.Dates, a.Series = some(a.Figures), some(a.Dates), some(a.Series)
	a.Steps, a.Notes, a.Cautions, a.Sources = some(a.Steps), some(a.Notes), some(a.Cautions), some(a.Sources)
}

func some[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// exactly adds a figure that follows exactly from the question.
func (a *BenchAnswer) exactly(name, words, unit string, value float64) {
	a.Figures = append(a.Figures, Figure{Name: name, Words: words, Unit: unit, Value: value})
}

// ninety is how many standard deviations to each side hold nine cases in ten.
const ninety = 1.6449

// about adds a figure with an error of one standard deviation.
func (a *BenchAnswer) about(name, words, unit string, value, sd float64) {
	sd = math.Abs(sd)
	if sd == 0 {
		a.exactly(name, words, unit, value)
		return
	}
	a.between(name, words, unit, value, value-ninety*sd, value+ninety*sd)
}

// amount adds a figure of something that cannot be less than nothing.
func (a *BenchAnswer) amount(name, words, unit string, value, sd float64) {
	a.between(name, words, unit, value, max(0, value-ninety*sd), value+ninety*sd)
}

// between adds a figure with its two ends.
func (a *BenchAnswer) between(name, words, unit string, value, low, high float64) {
	a.Figures = append(a.Figures, Figure{Name: name, Words: words, Unit: unit, Value: value, Low: &low, High: &high})
}

// Figure is the figure of a name; its zero value if there is none.
func (a *BenchAnswer) Figure(name string) Figure {
	for _, f := range a.Figures {
		if f.Name == name {
			return f
		}
	}
	return Figure{}
}
