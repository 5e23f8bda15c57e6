package senml

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"github.com/fxamacker/cbor/v2"

	"isohaline/internal/problem"
)

// Limits of one Pack in CBOR. A Record has fifteen fields; the rest is room for
// extensions that we ignore.
const (
	maxFields = 64
	maxNested = 16
)

// Major types of RFC 8949 section 3.1: the upper three bits of an item.
const (
	majorBytes = 2
	majorText  = 3
	majorArray = 4
)

// decimalFraction is the CBOR tag of [exponent, mantissa], a number in base ten
// (RFC 8949 section 3.4.4), which section 6 allows for numbers.
const decimalFraction = 4

// maxDecimalExponent is beyond what a float64 can hold for any 64-bit mantissa.
const maxDecimalExponent = 400

var cborIn = mustMode(cbor.DecOptions{
	DupMapKey:        cbor.DupMapKeyEnforcedAPF,
	MaxArrayElements: MaxRecords,
	MaxMapPairs:      maxFields,
	MaxNestedLevels:  maxNested,
}.DecMode())

// mustMode is for constant options, which a test run would find broken at once.
func mustMode[M any](mode M, err error) M {
	if err != nil {
		panic(err)
	}
	return mode
}

// DecodeCBOR reads a Pack in CBOR (section 6). A label may stand once in a
// Record, and nothing may follow the Pack.
func DecodeCBOR(data []byte) (Pack, error) {
	var records []map[any]cbor.RawMessage
	const fix = "send one array of maps, as in RFC 8428 section 6"
	if !cborValue(data).major(majorArray) {
		return nil, &problem.Problem{Field: "pack", Why: "is no CBOR array", Fix: fix}
	}
	if err := cborIn.Unmarshal(data, &records); errors.As(err, new(*cbor.MaxArrayElementsError)) {
		return nil, ErrTooMany
	} else if err != nil {
		return nil, &problem.Problem{Field: "pack", Why: fmt.Sprintf("is no SenML in CBOR (%v)", err), Fix: fix}
	}
	p := make(Pack, len(records))
	for i, fields := range records {
		if fields == nil {
			return nil, &problem.Problem{Record: i + 1, Field: "record", Why: "is null", Fix: fix}
		}
		for key, value := range fields {
			if err := p[i].setCBOR(key, cborValue(value)); err != nil {
				return nil, inRecord(err, i+1)
			}
		}
	}
	return p, nil
}

func (r *Record) setCBOR(key any, value cborValue) error {
	switch k := key.(type) {
	case uint64:
		if k <= math.MaxInt64 {
			return r.set(cborLabels[int64(k)], value)
		}
	case int64:
		return r.set(cborLabels[k], value)
	case string:
		if slices.Contains(slices.Collect(maps.Values(cborLabels)), k) {
			return &problem.Problem{Field: k, Why: "is spelled as text", Fix: "use its integer label, as in RFC 8428 table 4"}
		}
		return r.set(k, value)
	}
	return &problem.Problem{Field: fmt.Sprint(key), Why: "is no label", Fix: "label fields with the integers of RFC 8428 table 4, or text"}
}

// cborValue is one well-formed CBOR data item.
type cborValue []byte

func (v cborValue) String() string {
	s, err := cbor.Diagnose(v)
	if err != nil {
		return fmt.Sprintf("0x%x", []byte(v))
	}
	return s
}

func (v cborValue) number() (float64, bool) {
	var x any
	if cborIn.Unmarshal(v, &x) != nil {
		return 0, false
	}
	switch x := x.(type) {
	case uint64:
		return float64(x), true
	case int64:
		return float64(x), true
	case float64:
		return x, finite(x)
	case cbor.Tag:
		return decimal(x)
	}
	return 0, false
}

func decimal(t cbor.Tag) (float64, bool) {
	parts, ok := t.Content.([]any)
	if t.Number != decimalFraction || !ok || len(parts) != 2 {
		return 0, false
	}
	exponent, ok := integer(parts[0])
	mantissa, ok2 := integer(parts[1])
	if !ok || !ok2 || exponent > maxDecimalExponent || exponent < -maxDecimalExponent {
		return 0, false
	}
	x, err := strconv.ParseFloat(fmt.Sprintf("%de%d", mantissa, exponent), 64)
	return x, err == nil
}

func integer(x any) (int64, bool) {
	switch x := x.(type) {
	case uint64:
		return int64(x), x <= math.MaxInt64
	case int64:
		return x, true
	}
	return 0, false
}

func (v cborValue) text() (s string, ok bool) {
	return s, v.major(majorText) && cborIn.Unmarshal(v, &s) == nil
}

func (v cborValue) truth() (b bool, ok bool) {
	const isFalse, isTrue = 0xf4, 0xf5
	return len(v) == 1 && v[0] == isTrue, len(v) == 1 && (v[0] == isFalse || v[0] == isTrue)
}

func (v cborValue) octets() (b []byte, ok bool) {
	if !v.major(majorBytes) || cborIn.Unmarshal(v, &b) != nil {
		return nil, false
	}
	if b == nil {
		b = []byte{}
	}
	return b, true
}

// major says whether the item is of this major type, so that null and tags do
// not pass for empty values.
func (v cborValue) major(t byte) bool { return len(v) > 0 && v[0]>>5 == t }
