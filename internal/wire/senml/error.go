package senml

import (
	"fmt"
	"strconv"

	"isohaline/internal/problem"
)

// ErrTooMany refuses a Pack of more than MaxRecords.
var ErrTooMany error = &problem.Problem{Field: "pack", Why: fmt.Sprintf("has more than %d records", MaxRecords), Fix: "send it in parts"}

func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
