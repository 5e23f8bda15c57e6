// Package talk is what an edge and its hub say to each other, beside readings.
//
// The hub asks with a requests.Request, written as JSON, as often as it likes until
// it is answered: the edge knows a request by its id. The edge tells with a Tell:
// that it has a request in hand, what became of it, and how it stands. Nothing of
// this waits for a link; what has to be known for ever goes as readings do, and into
// the hub's audit log.
package talk

import (
	"encoding/json"
	"fmt"
	"time"

	"isohaline/internal/edge/requests"
)

// TellEvery is how often an edge tells how it stands when nothing changes, and
// Silence after how long without a word the hub calls the link down: two words may
// go astray.
const (
	TellEvery = 5 * time.Second
	Silence   = 3 * TellEvery
)

// maxMessage is far more than either side has to say, in bytes.
const maxMessage = 64 << 10

// Tell is one message of an edge; the members that it has nothing to say of are
// absent.
type Tell struct {
	// Received is the id of a request that the edge has in hand.
	Received string `json:"received,omitempty"`
	// Answer is what became of one.
	Answer *requests.Answer `json:"answer,omitempty"`
	// Picture is how the edge stands.
	Picture *Picture `json:"picture,omitempty"`
}

// Picture is how an edge stands at a moment.
type Picture struct {
	At time.Time `json:"at"`
	// Phase and Reason are the guard's, in words.
	Phase  string `json:"phase"`
	Reason string `json:"reason"`
	// Alarms are the reasons that need a person, in words.
	Alarms []string `json:"alarms,omitempty"`
	// OnHold: by a person. Latched: only somebody on site can clear it, and Look
	// says where to look first.
	OnHold    bool   `json:"on_hold,omitempty"`
	Latched   bool   `json:"latched,omitempty"`
	ValveShut bool   `json:"valve_shut,omitempty"`
	Look      string `json:"look,omitempty"`
	// What is on now.
	Pump bool `json:"pump,omitempty"`
	Horn bool `json:"horn,omitempty"`
	// LevelMM is the level, in mm above the chamber's floor; nil without a sensor.
	LevelMM *float64 `json:"level_mm,omitempty"`
	// GiveMostML is the most that may be asked for now.
	GiveMostML float64 `json:"give_most_ml,omitempty"`
	// ProofTest is what the test under way asks of whoever is at the tank.
	ProofTest string `json:"proof_test,omitempty"`
	// LastSeq is the highest number of a request that has reached the guard.
	LastSeq uint64 `json:"last_seq"`
}

// Encode writes a message.
func Encode[M Tell | requests.Request](m M) ([]byte, error) {
	data, err := json.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("message: %w", err)
	}
	return data, nil
}

// Decode reads a message. Any bytes may come.
func Decode[M Tell | requests.Request](data []byte) (m M, err error) {
	if len(data) > maxMessage {
		return m, fmt.Errorf("message: %d bytes are too many; send at most %d", len(data), maxMessage)
	}
	if err := json.Unmarshal(data, &m); err != nil {
		return m, fmt.Errorf("message: %w", err)
	}
	return m, nil
}
