package live

import (
	"errors"
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"

	"isohaline/internal/account"
)

// encodingVersion is that of an encoded Value: one more whenever what is saved of
// a tank changes its meaning, but for the account, which has a version of its own.
// Version 1 was JSON.
const encodingVersion = 2

// ErrOtherVersion says that another version of the program encoded the value. The
// caller starts the tank from an empty value and works through its records again.
var ErrOtherVersion = errors.New("was saved by another version of the program")

// encoded is a Value as it is saved; generic so that the version is known before
// the value is read.
type encoded[V cbor.RawMessage | *Value] struct {
	_       struct{} `cbor:",toarray"`
	Version int
	Value   V
}

// encoding keeps every nanosecond of a time; equal values are equal bytes.
var encoding = func() cbor.EncMode {
	m, err := cbor.EncOptions{Time: cbor.TimeRFC3339NanoUTC, Sort: cbor.SortCoreDeterministic}.EncMode()
	if err != nil {
		panic(err) // the options are constants
	}
	return m
}()

// Encode returns the value as CBOR (RFC 8949), for Decode. Equal values give equal
// bytes.
func (v *Value) Encode() ([]byte, error) {
	data, err := encoding.Marshal(encoded[*Value]{Version: encodingVersion, Value: v})
	if err != nil {
		return nil, fmt.Errorf("saving what is known of a tank: %w", err)
	}
	return data, nil
}

// Decode returns the value that Encode made bytes of. The error wraps ErrOtherVersion
// where another version of the program encoded it; any other error means damaged
// bytes.
func Decode(data []byte) (*Value, error) {
	var e encoded[cbor.RawMessage]
	switch err := cbor.Unmarshal(data, &e); {
	case len(data) > 0 && data[0] == '{':
		return nil, fmt.Errorf("what is known of the tank %w (1, this is %d)", ErrOtherVersion, encodingVersion)
	case err != nil:
		return nil, fmt.Errorf("reading what is known of a tank: %w", err)
	case e.Version != encodingVersion:
		return nil, fmt.Errorf("what is known of the tank %w (%d, this is %d)", ErrOtherVersion, e.Version, encodingVersion)
	}
	v := &Value{}
	switch err := cbor.Unmarshal(e.Value, v); {
	case errors.Is(err, account.ErrVersion):
		return nil, fmt.Errorf("what is known of the tank %w: %w", ErrOtherVersion, err)
	case err != nil:
		return nil, fmt.Errorf("reading what is known of a tank: %w", err)
	}
	if v.Last == nil {
		v.Last = Lasts{}
	}
	if v.Conditions == nil {
		v.Conditions = map[account.Code]time.Time{}
	}
	return v, nil
}
