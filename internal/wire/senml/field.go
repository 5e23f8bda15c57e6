package senml

import (
	"fmt"
	"math"
	"strings"

	"isohaline/internal/problem"
)

// cborLabels are the integer labels that stand for the JSON ones in CBOR
// (section 6, table 4).
var cborLabels = map[int64]string{
	-1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs",
	0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}

// mustUnderstand ends the label of a field that may not be ignored (section 4.4).
const mustUnderstand = "_"

// raw is a field's value in either format. ok is false where the value is of
// another type.
type raw interface {
	number() (x float64, ok bool)
	text() (s string, ok bool)
	truth() (b bool, ok bool)
	octets() (b []byte, ok bool)
	String() string // for messages
}

// set puts a field into the Record.
func (r *Record) set(label string, value raw) error {
	switch label {
	case "bver":
		return setVersion(&r.BaseVersion, label, value)
	case "bn":
		return setText(&r.BaseName, label, value)
	case "bt":
		return setNumber(&r.BaseTime, label, value)
	case "bu":
		return setText(&r.BaseUnit, label, value)
	case "bv":
		return setNumber(&r.BaseValue, label, value)
	case "bs":
		return setNumber(&r.BaseSum, label, value)
	case "n":
		return setPlainText(&r.Name, label, value)
	case "u":
		return setPlainText(&r.Unit, label, value)
	case "t":
		return setPlainNumber(&r.Time, label, value)
	case "ut":
		return setPlainNumber(&r.UpdateTime, label, value)
	case "v":
		return setNumber(&r.Value, label, value)
	case "vs":
		return setText(&r.StringValue, label, value)
	case "vb":
		b, ok := value.truth()
		if !ok {
			return wrongType(label, value, "true or false")
		}
		r.BoolValue = &b
	case "vd":
		b, ok := value.octets()
		if !ok {
			return wrongType(label, value, "base64url without padding in JSON, a byte string in CBOR")
		}
		r.DataValue = b
	case "s":
		return setNumber(&r.Sum, label, value)
	default:
		if strings.HasSuffix(label, mustUnderstand) {
			return &problem.Problem{Field: label, Why: "must be understood, says its label, and is not", Fix: "leave it out"}
		}
	}
	return nil
}

func setNumber(to **float64, label string, value raw) error {
	x, ok := value.number()
	if !ok {
		return wrongType(label, value, "a finite number")
	}
	*to = &x
	return nil
}

func setPlainNumber(to *float64, label string, value raw) error {
	var p *float64
	if err := setNumber(&p, label, value); err != nil {
		return err
	}
	*to = *p
	return nil
}

func setText(to **string, label string, value raw) error {
	s, ok := value.text()
	if !ok {
		return wrongType(label, value, "text")
	}
	*to = &s
	return nil
}

func setPlainText(to *string, label string, value raw) error {
	var p *string
	if err := setText(&p, label, value); err != nil {
		return err
	}
	*to = *p
	return nil
}

func setVersion(to **int, label string, value raw) error {
	x, ok := value.number()
	if !ok || x != math.Trunc(x) || math.Abs(x) > math.MaxInt16 {
		return wrongType(label, value, fmt.Sprintf("a whole number up to %d", Version))
	}
	v := int(x)
	*to = &v
	return nil
}

func wrongType(label string, value raw, want string) error {
	return &problem.Problem{Field: label, Value: value.String(), Why: "has the wrong type or size", Fix: "send " + want}
}

// inRecord says in which Record an error of set happened.
func inRecord(err error, record int) error {
	if e, ok := err.(*problem.Problem); ok {
		e.Record = record
	}
	return err
}
