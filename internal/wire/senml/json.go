package senml

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"

	"isohaline/internal/problem"
)

// DecodeJSON reads a Pack in JSON (section 5). Labels are matched exactly, a
// label may stand once in a Record, and nothing may follow the Pack.
func DecodeJSON(data []byte) (Pack, error) {
	if !utf8.Valid(data) {
		return nil, &problem.Problem{Field: "pack", Why: "is not UTF-8", Fix: "send JSON in UTF-8"}
	}
	d := decoder{json.NewDecoder(bytes.NewReader(data))}
	d.UseNumber()
	p, err := d.pack()
	if err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, &problem.Problem{Field: "pack", Why: "is followed by something", Fix: "send one array and nothing else"}
	}
	return p, nil
}

type decoder struct{ *json.Decoder }

func (d decoder) pack() (Pack, error) {
	if t, err := d.Token(); err != nil || t != json.Delim('[') {
		return nil, d.broken(err, "pack", "is no JSON array", `send records in an array, like [{"n":"level","u":"m","v":0.3}]`)
	}
	p := Pack{}
	for d.More() {
		if len(p) == MaxRecords {
			return nil, ErrTooMany
		}
		r, err := d.record()
		if err != nil {
			return nil, inRecord(err, len(p)+1)
		}
		p = append(p, r)
	}
	if _, err := d.Token(); err != nil {
		return nil, d.broken(err, "pack", "does not end", "close the array")
	}
	return p, nil
}

func (d decoder) record() (Record, error) {
	var r Record
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return r, d.broken(err, "record", "is no JSON object", `send each record like {"n":"level","u":"m","v":0.3}`)
	}
	seen := map[string]bool{}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return r, d.broken(err, "record", "is broken", "send valid JSON")
		}
		label := t.(string) // inside an object the decoder gives a name here or an error
		if seen[label] {
			return r, &problem.Problem{Field: label, Why: "stands twice in one record", Fix: "send it once"}
		}
		seen[label] = true
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return r, d.broken(err, label, "is broken", "send valid JSON")
		}
		if err := r.set(label, jsonValue(value)); err != nil {
			return r, err
		}
	}
	if _, err := d.Token(); err != nil {
		return r, d.broken(err, "record", "does not end", "close the object")
	}
	return r, nil
}

func (d decoder) broken(err error, field, reason, fix string) error {
	if err != nil && err != io.EOF {
		reason = fmt.Sprintf("%s at byte %d (%v)", reason, d.InputOffset(), err)
	}
	return &problem.Problem{Field: field, Why: reason, Fix: fix}
}

// jsonValue is one valid JSON value.
type jsonValue []byte

func (v jsonValue) String() string { return string(v) }

func (v jsonValue) number() (float64, bool) {
	if len(v) == 0 || v[0] != '-' && (v[0] < '0' || v[0] > '9') {
		return 0, false
	}
	x, err := strconv.ParseFloat(string(v), 64) // an error is a number too large for a float64
	return x, err == nil
}

func (v jsonValue) text() (s string, ok bool) {
	return s, len(v) > 0 && v[0] == '"' && json.Unmarshal(v, &s) == nil
}

func (v jsonValue) truth() (b bool, ok bool) {
	return string(v) == "true", string(v) == "true" || string(v) == "false"
}

func (v jsonValue) octets() ([]byte, bool) {
	s, ok := v.text()
	if !ok {
		return nil, false
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(s) // "" gives an empty slice, not nil
	return b, err == nil
}
