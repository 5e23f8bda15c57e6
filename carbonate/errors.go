package carbonate

import "fmt"

// RangeError refuses a value outside the range it must lie in.
type RangeError struct {
	Field           string // "salinity", "TA", …
	Value, Min, Max float64
	Unit            string // "" for pH
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %.6g%s must lie from %g to %g%s", e.Field, e.Value, unit(e.Unit), e.Min, e.Max, unit(e.Unit))
}

// PairError refuses two values that are each possible but not together.
type PairError struct {
	A, B   Known
	Reason string
}

func (e *PairError) Error() string {
	return fmt.Sprintf("%v with %v: %s", e.A, e.B, e.Reason)
}

func unit(u string) string {
	if u == "" {
		return ""
	}
	return " " + u
}

// checkRange returns a *RangeError unless lo <= value <= hi; NaN is refused.
func checkRange(field string, value, lo, hi float64, unit string) error {
	if value >= lo && value <= hi {
		return nil
	}
	return &RangeError{Field: field, Value: value, Min: lo, Max: hi, Unit: unit}
}
