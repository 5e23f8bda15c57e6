package wire

import (
	"errors"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// FuzzReadBody holds for any bytes: what is taken is valid, unique, in its
// channel's range and not of the future; what is refused has a reason in words.
func FuzzReadBody(f *testing.F) {
	f.Add([]byte(goodBody))
	f.Add([]byte(`{"level": 312, "watch": "on", "temp/f": 77, "note": "x"}`))
	f.Add([]byte(`[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"Cel","v":20},{"t":9e9,"v":21}]`))
	if data, err := cbor.Marshal([]map[int]any{{0: "level", 1: "mm", 6: 1764064800, 2: 0.5}}); err == nil {
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		readings, err := ReadBody(lobby, testProfile, body, arrival)
		sound(t, readings, err)
	})
}

// FuzzReadPlain holds the same for bare values.
func FuzzReadPlain(f *testing.F) {
	for _, payload := range []string{"312", "wet", "77", "1e999", "-0"} {
		f.Add("level", []byte(payload))
		f.Add("dry-contact", []byte(payload))
		f.Add("note", []byte(payload))
	}
	f.Fuzz(func(t *testing.T, word string, payload []byte) {
		readings, err := ReadPlain(lobby, testProfile, word, payload, arrival)
		sound(t, readings, err)
	})
}

func sound(t *testing.T, readings []Reading, err error) {
	if err != nil {
		var p *Problem
		if !errors.As(err, &p) || err.Error() == "" || readings != nil {
			t.Errorf("refused with %v and %v", err, readings)
		}
		return
	}
	if len(readings) == 0 {
		t.Error("accepted, and there is nothing")
	}
	seen := map[Key]bool{}
	for _, r := range readings {
		if err := r.Validate(); err != nil {
			t.Errorf("%+v: %v", r, err)
		}
		c := testProfile.Channels[r.Channel]
		switch {
		case seen[r.Key()]:
			t.Errorf("%v stands twice", r.Key())
		case r.Site != lobby.Site || r.Device != lobby.Device:
			t.Errorf("%+v is of another device", r)
		case c.Kind == Number && (r.Value < c.Min || r.Value > c.Max || r.Unit != c.Unit):
			t.Errorf("%v %s is no value of %s", r.Value, r.Unit, r.Channel)
		case c.Kind == Switch && r.Value != 0 && r.Value != 1:
			t.Errorf("%v is no state", r.Value)
		case r.At.After(arrival.Add(MaxAhead)):
			t.Errorf("%v is ahead of time", r.At)
		case r.At.Nanosecond()%int(time.Microsecond) != 0:
			t.Errorf("%v is finer than a microsecond", r.At)
		}
		seen[r.Key()] = true
	}
}

// FuzzDecodeFrame holds for any bytes: what is read is valid, and can be written
// and read again.
func FuzzDecodeFrame(f *testing.F) {
	data, err := frameOf(numbered(3))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		readings, err := decodeFrame(data)
		if err != nil || len(readings) == 0 {
			return
		}
		again, err := frameOf(readings)
		if err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		second, err := decodeFrame(again)
		if err != nil {
			t.Fatalf("what was written cannot be read: %v", err)
		}
		for i := range readings {
			if readings[i] != second[i] {
				t.Errorf("%+v became %+v", readings[i], second[i])
			}
		}
	})
}
