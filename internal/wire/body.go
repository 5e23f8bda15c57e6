package wire

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"isohaline/internal/problem"
	"isohaline/internal/wire/senml"
)

// MaxMessage is how many bytes one message may have.
const MaxMessage = 1 << 20

// A CBOR array begins with one of these bytes (RFC 8949 section 3.1, major type
// 4), which no JSON text begins with.
const (
	cborArrayFirst = 0x80
	cborArrayLast  = 0x9f
)

// ReadBody turns a message into readings: SenML in JSON or CBOR, or a plain JSON
// object {"word": value} through the profile's Plain mappings. It is told by the
// first byte. A message is taken whole or refused whole; the error is a *Problem.
//
// received is when it came. A time that the device gives is believed unless it
// lies more than MaxAhead after that, or before any clock of ours was set; then
// it is moved and the reading says so. At is rounded to the microsecond.
func ReadBody(dev DeviceID, p *Profile, body []byte, received time.Time) ([]Reading, error) {
	if err := checkSize(body); err != nil {
		return nil, err
	}
	in := intake{dev, p, received}
	text := bytes.TrimLeft(body, " \t\r\n")
	switch {
	case len(text) == 0:
		return nil, &Problem{Malformed, problem.Problem{Field: "message", Why: "is empty", Fix: bodyFix}}
	case text[0] == '[':
		return in.senml(senml.DecodeJSON(body))
	case cborArrayFirst <= body[0] && body[0] <= cborArrayLast:
		return in.senml(senml.DecodeCBOR(body))
	case text[0] == '{':
		return in.object(body)
	}
	return nil, &Problem{Malformed, problem.Problem{Field: "message", Value: printable(body), Why: "is neither SenML nor a JSON object", Fix: bodyFix}}
}

const bodyFix = `send SenML (RFC 8428) like [{"n":"level","u":"m","v":0.312}]`

// ReadPlain turns a bare value on one of the device's own topics into a reading.
// word is the topic below <site>/<device>/. The error is a *Problem.
func ReadPlain(dev DeviceID, p *Profile, word string, payload []byte, received time.Time) ([]Reading, error) {
	if err := checkSize(payload); err != nil {
		return nil, err
	}
	if !utf8.Valid(payload) {
		return nil, &Problem{Malformed, problem.Problem{Field: word, Value: printable(payload), Why: "is not UTF-8", Fix: "send a number as text, like 24.8"}}
	}
	r, err := intake{dev, p, received}.plain(word, strings.TrimSpace(string(payload)))
	if err != nil {
		return nil, err
	}
	return []Reading{r}, nil
}

func checkSize(message []byte) error {
	if len(message) <= MaxMessage {
		return nil
	}
	return &Problem{TooLarge, problem.Problem{Field: "message", Value: fmt.Sprintf("%d bytes", len(message)), Why: fmt.Sprintf("is more than the %d bytes of a message", MaxMessage), Fix: "send it in parts"}}
}

// intake makes readings of one message.
type intake struct {
	dev      DeviceID
	profile  *Profile
	received time.Time
}

// reading is one that came without a time of its own.
func (in intake) reading(channel string) Reading {
	received := in.received.UTC().Round(time.Microsecond)
	return Reading{
		Site: in.dev.Site, Device: in.dev.Device, Channel: channel,
		At: received, Received: received, Clock: ByArrival,
	}
}

func (in intake) senml(pack senml.Pack, err error) ([]Reading, error) {
	var records []senml.Resolved
	if err == nil {
		records, err = senml.Resolve(pack, in.received)
	}
	if err != nil {
		return nil, malformed(err)
	}
	if len(records) == 0 {
		return nil, &Problem{Malformed, problem.Problem{Field: "message", Why: "has base fields and no reading", Fix: bodyFix}}
	}
	out := make([]Reading, len(records))
	for i := range records {
		if out[i], err = in.record(&records[i]); err != nil {
			if p := new(Problem); errors.As(err, &p) {
				p.Record = records[i].Record
			}
			return nil, err
		}
	}
	restamp(out, in.received)
	if err := once(out); err != nil {
		return nil, err
	}
	return out, nil
}

// malformed keeps the words of the codec.
func malformed(err error) error {
	p := &Problem{Malformed, problem.Problem{Field: "message", Why: err.Error()}}
	if e := new(problem.Problem); errors.As(err, &e) {
		p.Problem = *e
	}
	if errors.Is(err, senml.ErrTooMany) {
		p.Reason = TooLarge
	}
	return p
}

// record makes a reading of a SenML Record. Its name is one of the profile's
// Names, or a channel, which may have the device's own name before it.
func (in intake) record(rec *senml.Resolved) (Reading, error) {
	name, ok := in.profile.Names[rec.Name]
	if !ok {
		name = strings.TrimPrefix(rec.Name, in.dev.String()+"/")
	}
	channel, ok := in.profile.Channels[name]
	if !ok {
		return Reading{}, in.profile.noChannel(name)
	}
	r := in.reading(name)
	if !rec.Relative {
		r.Clock = ByDevice
	}
	r.At = rec.Time.UTC().Round(time.Microsecond)
	wrong := func(want string) error {
		return &Problem{Malformed, problem.Problem{Field: name, Why: "has the wrong kind of value", Fix: want}}
	}
	if rec.Sum != nil {
		return r, wrong("send no sum s: a meter's count is a channel of its own")
	}
	var err error
	switch channel.Kind {
	case Number:
		if rec.Value == nil {
			return r, wrong("send its number as v")
		}
		r.Unit = channel.Unit
		r.Value, err = channel.number(name, *rec.Value, rec.Unit)
	case Switch:
		if rec.BoolValue == nil {
			return r, wrong("send true or false as vb")
		}
		if *rec.BoolValue {
			r.Value = 1
		}
	case Text:
		if rec.StringValue == nil {
			return r, wrong("send its words as vs")
		}
		r.Text, err = text(name, *rec.StringValue)
	}
	return r, err
}

// object makes readings of the members of a JSON object.
func (in intake) object(body []byte) ([]Reading, error) {
	if !utf8.Valid(body) || !json.Valid(body) {
		return nil, &Problem{Malformed, problem.Problem{Field: "message", Value: printable(body), Why: "is no valid JSON", Fix: `send an object like {"level": 0.312}`}}
	}
	var out []Reading
	d := json.NewDecoder(bytes.NewReader(body)) // which keeps what stands twice, and cannot fail on valid JSON
	for _, _ = d.Token(); d.More(); {
		word, _ := d.Token()
		var value json.RawMessage
		_ = d.Decode(&value)
		r, err := in.member(word.(string), value)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if len(out) == 0 {
		return nil, &Problem{Malformed, problem.Problem{Field: "message", Why: "has no members", Fix: `send some, like {"level": 0.312}`}}
	}
	if err := once(out); err != nil {
		return nil, err
	}
	return out, nil
}

// member makes a reading of one member of a JSON object.
func (in intake) member(word string, value json.RawMessage) (Reading, error) {
	plain := string(value)
	switch value[0] {
	case '"':
		if err := json.Unmarshal(value, &plain); err != nil {
			return Reading{}, malformed(err)
		}
	case '{', '[', 'n':
		return Reading{}, &Problem{Malformed, problem.Problem{Field: word, Value: plain, Why: "is no single value", Fix: "send a number, true, false or text"}}
	}
	return in.plain(word, plain)
}

// once refuses two values for one channel at one instant: one of them would be
// lost behind the reading's key.
func once(readings []Reading) error {
	if len(readings) < 2 {
		return nil
	}
	seen := make(map[Key]bool, len(readings))
	for _, r := range readings {
		if seen[r.Key()] {
			return &Problem{Malformed, problem.Problem{Field: r.Channel, Why: "stands twice at " + r.At.Format(time.RFC3339Nano), Fix: "send one value for an instant"}}
		}
		seen[r.Key()] = true
	}
	return nil
}

// plain makes a reading of a bare value.
func (in intake) plain(word, value string) (Reading, error) {
	m, ok := in.profile.Plain[word]
	if !ok {
		return Reading{}, &Problem{UnknownChannel, problem.Problem{Field: "name", Value: word, Why: "has no mapping", Fix: "say on the device's page which channel it is, or send SenML"}}
	}
	channel, ok := in.profile.Channels[m.Channel]
	if !ok {
		p := in.profile.noChannel(m.Channel)
		p.Field = word + ": " + p.Field
		return Reading{}, p
	}
	r := in.reading(m.Channel)
	field := word
	if word != m.Channel {
		field += ": " + m.Channel
	}
	var err error
	switch channel.Kind {
	case Text:
		r.Text, err = text(field, value)
		return r, err
	case Switch:
		if r.Value, ok = state(value); !ok {
			return r, &Problem{Malformed, problem.Problem{Field: word, Value: value, Why: "is no state of a switch", Fix: "send 1 or 0, on or off, true or false, wet or dry"}}
		}
		if r.Value = m.scaled(r.Value); r.Value != 0 && r.Value != 1 {
			return r, &Problem{OutOfRange, problem.Problem{Field: word, Value: value, Why: "is no state of a switch once scaled", Fix: "map it with scale 1, or with scale -1 and offset 1"}}
		}
		return r, nil
	}
	raw, err := parseNumber(value)
	if err != nil {
		return r, &Problem{Malformed, problem.Problem{Field: word, Value: value, Why: "is no number", Fix: "send digits with a point, like 24.8"}}
	}
	unit := m.Unit
	if unit == "" {
		unit = channel.Unit
	}
	r.Unit = channel.Unit
	r.Value, err = channel.number(field, m.scaled(raw), unit)
	return r, err
}

func (m Mapping) scaled(x float64) float64 {
	if m.Scale != 0 {
		x *= m.Scale
	}
	return x + m.Offset
}

// parseNumber reads a decimal number. strconv would also take hexadecimal, "inf"
// and "nan", which no sensor means.
func parseNumber(s string) (float64, error) {
	if strings.Trim(s, "+-0123456789.eE") != "" {
		return 0, strconv.ErrSyntax
	}
	x, err := strconv.ParseFloat(s, 64)
	if math.IsInf(x, 0) {
		return 0, strconv.ErrRange
	}
	return x, err
}

// state reads the state of a switch.
func state(s string) (value float64, ok bool) {
	switch strings.ToLower(s) {
	case "1", "on", "true", "wet":
		return 1, true
	case "0", "off", "false", "dry":
		return 0, true
	}
	return 0, false
}

func text(channel, s string) (string, error) {
	if !validText(s) {
		return "", &Problem{OutOfRange, problem.Problem{Field: channel, Value: s, Why: "is no text that can be kept", Fix: textFix}}
	}
	return s, nil
}

// printable is the beginning of a message for an error.
func printable(message []byte) string {
	const enough = 200 // bytes: more than an error shows
	return strings.ToValidUTF8(string(message[:min(len(message), enough)]), "?")
}
