package senml

// Packs as senders write them.

import (
	"encoding/base64"
	"encoding/json"
	"math"

	"github.com/fxamacker/cbor/v2"

	"isohaline/internal/problem"
)

var cborOut = mustMode(cbor.EncOptions{ShortestFloat: cbor.ShortestFloat16}.EncMode())

// cborRecord is a Record as the CBOR library writes it. The order of fields is
// that of the RFC's example.
type cborRecord struct {
	BaseName    *string   `cbor:"-2,keyasint,omitempty"`
	BaseTime    *shortest `cbor:"-3,keyasint,omitempty"`
	BaseUnit    *string   `cbor:"-4,keyasint,omitempty"`
	BaseVersion *int      `cbor:"-1,keyasint,omitempty"`
	BaseValue   *shortest `cbor:"-5,keyasint,omitempty"`
	BaseSum     *shortest `cbor:"-6,keyasint,omitempty"`
	Name        string    `cbor:"0,keyasint,omitempty"`
	Unit        string    `cbor:"1,keyasint,omitempty"`
	Time        *shortest `cbor:"6,keyasint,omitempty"`
	UpdateTime  *shortest `cbor:"7,keyasint,omitempty"`
	Value       *shortest `cbor:"2,keyasint,omitempty"`
	StringValue *string   `cbor:"3,keyasint,omitempty"`
	BoolValue   *bool     `cbor:"4,keyasint,omitempty"`
	DataValue   *[]byte   `cbor:"8,keyasint,omitempty"`
	Sum         *shortest `cbor:"5,keyasint,omitempty"`
}

// shortest is a number in as few bytes as keep its exact value.
type shortest float64

// MarshalCBOR writes whole numbers as integers, others as the shortest float.
func (s shortest) MarshalCBOR() ([]byte, error) {
	x := float64(s)
	const exact = 1 << 53 // every whole number up to here is a float64
	if x == math.Trunc(x) && math.Abs(x) <= exact && !(x == 0 && math.Signbit(x)) {
		return cborOut.Marshal(int64(x))
	}
	return cborOut.Marshal(x)
}

// EncodeCBOR writes a Pack in CBOR. It fails where a number is not finite.
func EncodeCBOR(p Pack) ([]byte, error) {
	records := make([]cborRecord, len(p))
	for i := range p {
		r := &p[i]
		for _, x := range []*float64{r.BaseTime, r.BaseValue, r.BaseSum, &r.Time, &r.UpdateTime, r.Value, r.Sum} {
			if x != nil && !finite(*x) {
				return nil, &problem.Problem{Record: i + 1, Field: "record", Value: number(*x), Why: "is no number", Fix: "write finite numbers"}
			}
		}
		records[i] = cborRecord{
			r.BaseName, (*shortest)(r.BaseTime), r.BaseUnit, r.BaseVersion, (*shortest)(r.BaseValue), (*shortest)(r.BaseSum),
			r.Name, r.Unit, unlessZero(r.Time), unlessZero(r.UpdateTime),
			(*shortest)(r.Value), r.StringValue, r.BoolValue, nil, (*shortest)(r.Sum),
		}
		if r.DataValue != nil {
			records[i].DataValue = &r.DataValue
		}
	}
	return cborOut.Marshal(records)
}

func unlessZero(x float64) *shortest {
	if x == 0 {
		return nil
	}
	return new(shortest(x))
}

// jsonRecord is a Record as encoding/json writes it.
type jsonRecord struct {
	BaseName    *string  `json:"bn,omitempty"`
	BaseTime    *float64 `json:"bt,omitempty"`
	BaseUnit    *string  `json:"bu,omitempty"`
	BaseVersion *int     `json:"bver,omitempty"`
	BaseValue   *float64 `json:"bv,omitempty"`
	BaseSum     *float64 `json:"bs,omitempty"`
	Name        string   `json:"n,omitempty"`
	Unit        string   `json:"u,omitempty"`
	Time        float64  `json:"t,omitempty"`
	UpdateTime  float64  `json:"ut,omitempty"`
	Value       *float64 `json:"v,omitempty"`
	StringValue *string  `json:"vs,omitempty"`
	BoolValue   *bool    `json:"vb,omitempty"`
	DataValue   *string  `json:"vd,omitempty"`
	Sum         *float64 `json:"s,omitempty"`
}

// EncodeJSON writes a Pack in JSON. It fails where a number is not finite.
func EncodeJSON(p Pack) ([]byte, error) {
	records := make([]jsonRecord, len(p))
	for i := range p {
		r := &p[i]
		records[i] = jsonRecord{
			r.BaseName, r.BaseTime, r.BaseUnit, r.BaseVersion, r.BaseValue, r.BaseSum,
			r.Name, r.Unit, r.Time, r.UpdateTime, r.Value, r.StringValue, r.BoolValue, nil, r.Sum,
		}
		if r.DataValue != nil {
			records[i].DataValue = new(base64.RawURLEncoding.EncodeToString(r.DataValue))
		}
	}
	return json.Marshal(records)
}
