package live

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"isohaline/internal/account"
)

// encodingVersion is that of an encoded Value: one more whenever what is saved of
// a tank changes its meaning.
const encodingVersion = 1

// ErrOtherVersion: another version of the program encoded the value. Its tank
// begins afresh and works through its records again.
var ErrOtherVersion = errors.New("was saved by another version of the program")

// encoded is a Value as it is saved.
type encoded struct {
	Version int
	Value   *Value
}

// Encode is a value as bytes, for Decode.
func (v *Value) Encode() ([]byte, error) {
	data, err := json.Marshal(encoded{encodingVersion, v})
	if err != nil {
		return nil, fmt.Errorf("saving what is known of a tank: %w", err)
	}
	return data, nil
}

// Decode is the value that was encoded.
func Decode(data []byte) (*Value, error) {
	e := encoded{Value: &Value{}}
	if err := json.Unmarshal(data, &e); err != nil {
		return nil, fmt.Errorf("reading what is known of a tank: %w", err)
	}
	if e.Version != encodingVersion || e.Value == nil {
		return nil, fmt.Errorf("what is known of the tank %w (%d, this is %d)", ErrOtherVersion, e.Version, encodingVersion)
	}
	if e.Value.Last == nil {
		e.Value.Last = Lasts{}
	}
	if e.Value.Conditions == nil {
		e.Value.Conditions = map[account.Code]time.Time{}
	}
	return e.Value, nil
}
