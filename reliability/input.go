package reliability

import (
	"errors"
	"fmt"
)

// ErrTooLarge is returned, wrapped, where an answer would need more room or
// more steps than the limit the caller set. The same tree with a higher limit
// may succeed.
var ErrTooLarge = errors.New("the limit was reached before the answer")

// InputError is a refusal: where the input is wrong, what is wrong with it and
// what to do about it.
type InputError struct {
	Place   string // the field or the part of the model, "gate g7" or "Test.IntervalH"
	Problem string // what it holds and why that cannot be
	Fix     string
}

func (e *InputError) Error() string {
	return e.Place + ": " + e.Problem + "; " + e.Fix
}

func refuse(place, fix, problem string, args ...any) error {
	return &InputError{Place: place, Problem: fmt.Sprintf(problem, args...), Fix: fix}
}

// checkProbability refuses a probability or a share outside 0 to 1, NaN
// included.
func checkProbability(place string, p float64) error {
	if p >= 0 && p <= 1 {
		return nil
	}
	return refuse(place, "give a number from 0 to 1", "%v is outside 0 to 1", p)
}
