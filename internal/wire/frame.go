package wire

import (
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// A frame is one message of the log: readings that were on their way together and
// share one acknowledgement. It is CBOR, [version, [reading, ...]], a reading
// being a map with the integer labels of frameReading.
const frameVersion = 1

// Bounds of a frame. NATS takes a megabyte unless told otherwise, and a frame has
// to be small enough for a consumer to hold many of them.
const (
	maxFrameBytes    = 256 << 10
	maxFrameReadings = 4096
)

// frame is generic in its readings so that the version is known before they are
// read.
type frame[R cbor.RawMessage | []cbor.RawMessage] struct {
	_        struct{} `cbor:",toarray"`
	Version  uint
	Readings R
}

// frameReading is a Reading as the log keeps it. Labels are for ever: a label
// that falls out of use is not given to something else.
type frameReading struct {
	Site      string  `cbor:"1,keyasint"`
	Device    string  `cbor:"2,keyasint"`
	Channel   string  `cbor:"3,keyasint"`
	AtUS      int64   `cbor:"4,keyasint"`           // microseconds since 1970
	AgeUS     int64   `cbor:"5,keyasint,omitempty"` // Received minus At
	Clock     Clock   `cbor:"6,keyasint,omitempty"`
	SkewNanos int64   `cbor:"7,keyasint,omitempty"`
	Value     float64 `cbor:"8,keyasint,omitempty"`
	Unit      string  `cbor:"9,keyasint,omitempty"`
	Text      string  `cbor:"10,keyasint,omitempty"`
}

var frameIn = must(cbor.DecOptions{MaxArrayElements: maxFrameReadings}.DecMode())

// must is for constant options, which a test run would find broken at once.
func must[M any](mode M, err error) M {
	if err != nil {
		panic(err)
	}
	return mode
}

// encodeReading checks a reading and writes it for a frame.
func encodeReading(r Reading) (cbor.RawMessage, error) {
	if err := r.Validate(); err != nil {
		return nil, err
	}
	at := r.At.UnixMicro()
	return cbor.Marshal(frameReading{
		r.Site, r.Device, r.Channel, at, r.Received.UnixMicro() - at, r.Clock, int64(r.Skew), r.Value, r.Unit, r.Text,
	})
}

func encodeFrame(readings []cbor.RawMessage) ([]byte, error) {
	return cbor.Marshal(frame[[]cbor.RawMessage]{Version: frameVersion, Readings: readings})
}

// decodeFrame reads a frame and checks every reading in it.
func decodeFrame(data []byte) ([]Reading, error) {
	var f frame[cbor.RawMessage]
	if err := frameIn.Unmarshal(data, &f); err != nil {
		return nil, fmt.Errorf("frame: %w", err)
	}
	if f.Version != frameVersion {
		return nil, fmt.Errorf("frame: version %d is not understood; this program reads version %d", f.Version, frameVersion)
	}
	var readings []frameReading
	if err := frameIn.Unmarshal(f.Readings, &readings); err != nil {
		return nil, fmt.Errorf("frame: readings: %w", err)
	}
	out := make([]Reading, len(readings))
	for i, r := range readings {
		out[i] = Reading{
			Site: r.Site, Device: r.Device, Channel: r.Channel,
			At: time.UnixMicro(r.AtUS).UTC(), Received: time.UnixMicro(r.AtUS + r.AgeUS).UTC(),
			Clock: r.Clock, Skew: time.Duration(r.SkewNanos),
			Value: r.Value, Unit: r.Unit, Text: r.Text,
		}
		if err := out[i].Validate(); err != nil {
			return nil, fmt.Errorf("frame: reading %d: %w", i+1, err)
		}
	}
	return out, nil
}
