package account

import (
	"fmt"
	"math"
	"time"
)

// Kind is what was observed.
type Kind uint8

// Of two observations of one moment the earlier kind is taken first: a contact
// before the pump that it starts or stops.
const (
	// Watch, Ceiling, Floor and ReservoirLow are contacts: Value is 1 while there
	// is water at them, 0 while not.
	Watch Kind = iota + 1
	Ceiling
	Floor
	ReservoirLow
	// ReturnPump is 1 when the return pump starts, 0 when it stops.
	ReturnPump
	// PumpOn and PumpOff are the start and end of the top-off pump, or of the
	// valve of a plumbed line.
	PumpOn
	PumpOff
	// PumpRan is a whole run, told at its end: Value is its length in seconds.
	PumpRan
	// Level is a gauge in the chamber: Value in mm above the datum.
	Level
	// Salinity is a reading of the tank's water: Value in PSU, SD its error.
	Salinity
	// WaterTemp is Value in °C.
	WaterTemp
	// RoomAir is Value in °C and Second the relative humidity, 0 to 1.
	RoomAir
	// ReservoirFilled is a reservoir filled to its mark: Value is the litres
	// that went in, 0 if nobody measured.
	ReservoirFilled
	// WaterChange is Value litres exchanged for new water of Second PSU, 0 if
	// nobody measured that.
	WaterChange
	// PowerRestored is a device starting again after a power cut.
	PowerRestored
	// Heartbeat says that the device is alive, and nothing else.
	Heartbeat

	kinds
)

// Observation is one thing that a device or a person measured or noticed. Kind says
// what Value and Second are and in which units.
type Observation struct {
	At    time.Time
	Kind  Kind
	Value float64
	// Second is a second value where a kind has one.
	Second float64 `json:",omitempty"`
	// SD is the error of a reading, one standard deviation in Value's unit; 0:
	// not stated.
	SD float64 `json:",omitempty"`
	// Instrument names what was read with, where a tank has several.
	Instrument string `json:",omitempty"`
}

type span struct{ lo, hi float64 }

func (s span) holds(x float64) bool { return x >= s.lo && x <= s.hi } // false for NaN

// kindTable says what each kind is called and what it may say. Spans are wider
// than any tank's: they keep nonsense out of the filter and nothing else.
var kindTable = [kinds]struct {
	word          string
	value, second span
	// byHand: written down by a person, often hours later.
	byHand bool
}{
	PumpOn:          {word: "pump-on"},
	PumpOff:         {word: "pump-off"},
	PumpRan:         {word: "pump-ran", value: span{0, 86400}},
	Watch:           {word: "watch", value: span{0, 1}},
	Ceiling:         {word: "ceiling", value: span{0, 1}},
	Floor:           {word: "floor", value: span{0, 1}},
	ReservoirLow:    {word: "reservoir-low", value: span{0, 1}},
	ReturnPump:      {word: "return-pump", value: span{0, 1}},
	Level:           {word: "level", value: span{-1000, 10_000}},
	Salinity:        {word: "salinity", value: span{0, 60}, byHand: true},
	WaterTemp:       {word: "water-temp", value: span{-5, 50}},
	RoomAir:         {word: "room-air", value: span{-30, 60}, second: span{0, 1}},
	ReservoirFilled: {word: "reservoir-filled", value: span{0, 100_000}, byHand: true},
	WaterChange:     {word: "water-change", value: span{0, 100_000}, second: span{0, 60}, byHand: true},
	PowerRestored:   {word: "power-restored"},
	Heartbeat:       {word: "heartbeat"},
}

// String returns the kind's word.
func (k Kind) String() string {
	if k == 0 || k >= kinds {
		return fmt.Sprintf("kind-%d", uint8(k))
	}
	return kindTable[k].word
}

// MarshalText returns the kind's word; empty for no kind. It does not fail.
func (k Kind) MarshalText() ([]byte, error) {
	if k == 0 {
		return nil, nil
	}
	return []byte(k.String()), nil
}

// UnmarshalText reads a kind's word. The error names a word that is none.
func (k *Kind) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*k = 0
		return nil
	}
	for i := Kind(1); i < kinds; i++ {
		if kindTable[i].word == string(text) {
			*k = i
			return nil
		}
	}
	return fmt.Errorf("observation: kind %q is not known: use one of the words of account.Kind", text)
}

// The times an account takes, and the largest error of a reading. Outside them
// a clock is wrong, not a tank.
var (
	earliest = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)
)

const (
	largestSD = 1000.0
	// longestName bounds an instrument's name, in bytes.
	longestName = 64
)

// validate names the field that cannot be.
func (o *Observation) validate() error {
	if o.Kind == 0 || o.Kind >= kinds {
		return fmt.Errorf("observation: Kind is %d: use one of account's kinds", o.Kind)
	}
	k := &kindTable[o.Kind]
	switch {
	case o.At.Before(earliest) || o.At.After(latest):
		return fmt.Errorf("observation %v: At is %v: set the device's clock", o.Kind, o.At)
	case !k.value.holds(o.Value):
		return fmt.Errorf("observation %v: Value is %v: give %v to %v", o.Kind, o.Value, k.value.lo, k.value.hi)
	case !k.second.holds(o.Second):
		return fmt.Errorf("observation %v: Second is %v: give %v to %v", o.Kind, o.Second, k.second.lo, k.second.hi)
	case !(o.SD >= 0 && o.SD <= largestSD):
		return fmt.Errorf("observation %v: SD is %v: give the reading's error, 0 if not known", o.Kind, o.SD)
	case k.value == span{0, 1} && o.Value != math.Trunc(o.Value):
		return fmt.Errorf("observation %v: Value is %v: give 0 or 1", o.Kind, o.Value)
	case len(o.Instrument) > longestName:
		return fmt.Errorf("observation %v: Instrument has %d bytes: give at most %d", o.Kind, len(o.Instrument), longestName)
	}
	return nil
}
