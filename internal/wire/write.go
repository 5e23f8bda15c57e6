package wire

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// queueLen is how many messages may wait for the writer. Publishers beyond it
// wait to get in.
const queueLen = 1024

// maxFrameHeader is room for the headers of a frame.
const maxFrameHeader = 1 << 10

// How the writer meets a log that does not answer.
const (
	publishTimeout = 2 * time.Second
	retryPause     = 200 * time.Millisecond
)

// entry is a part of an Append that goes into one frame.
type entry struct {
	from DeviceID // of the first reading
	// gone is closed once nobody waits any more.
	gone     <-chan struct{}
	readings []cbor.RawMessage
	bytes    int
	done     chan error // of one
}

// Append writes readings and returns when the log has acknowledged them; the
// error is then nil. Any other way the readings may be in the log or not, and the
// caller has to see to it that they are sent again. Readings of one call are in
// the log in their order; calls at the same time share frames, and with them a
// sync.
func (l *Log) Append(ctx context.Context, readings []Reading) error {
	entries, err := split(readings)
	if err != nil {
		return err
	}
	for _, e := range entries {
		e.gone = ctx.Done()
		if err := l.enqueue(ctx, e); err != nil {
			return err
		}
	}
	for _, e := range entries {
		if err := l.await(ctx, e); err != nil {
			return err
		}
	}
	l.Counters.Readings.Add(int64(len(readings)))
	return nil
}

// enqueue hands an entry to the writer.
func (l *Log) enqueue(ctx context.Context, e *entry) error {
	select {
	case l.queue <- e:
	case <-l.life.Done():
		return ErrLogClosed
	case <-ctx.Done():
		return fmt.Errorf("log: no room in time: %w", context.Cause(ctx))
	}
	if len(l.hurry) == 0 && l.hurries(e) {
		select {
		case l.hurry <- struct{}{}:
		default:
		}
	}
	return nil
}

// await waits for the writer's answer. A writer that has ended answers nobody who
// came after.
func (l *Log) await(ctx context.Context, e *entry) error {
	select {
	case err := <-e.done:
		return err
	case <-ctx.Done():
		return fmt.Errorf("log: no acknowledgement in time: %w", context.Cause(ctx))
	case <-l.written:
	}
	select {
	case err := <-e.done:
		return err
	default:
		return ErrLogClosed
	}
}

// split encodes readings into entries that fit a frame each.
func split(readings []Reading) ([]*entry, error) {
	var out []*entry
	var e *entry
	for _, r := range readings {
		encoded, err := encodeReading(r)
		if err != nil {
			return nil, err
		}
		if e == nil || !e.fits(1, len(encoded)) {
			e = &entry{from: DeviceID{r.Site, r.Device}, done: make(chan error, 1)}
			out = append(out, e)
		}
		e.readings = append(e.readings, encoded)
		e.bytes += len(encoded)
	}
	return out, nil
}

// fits says whether an entry has room for more in its frame.
func (e *entry) fits(readings, bytes int) bool {
	return len(e.readings)+readings <= maxFrameReadings && e.bytes+bytes <= maxFrameBytes-maxFrameHeader
}

// While readings come one by one, frames are no closer than framePace, so that several
// readings share one: a frame costs many times what a reading in it does. The first
// after a pause goes at once. So does one that frameEntries wait for, and one with a
// reading of a device that the frame before had one of: that device may be waiting
// for each answer before it sends more. Both numbers are judgements.
const (
	framePace    = 10 * time.Millisecond
	frameEntries = 64
)

// hurries says whether the next frame is not to wait for more, now that an entry is
// in the queue.
func (l *Log) hurries(e *entry) bool {
	last := l.last.Load()
	return len(l.queue) >= frameEntries || last != nil && slices.ContainsFunc(*last, func(before *entry) bool { return before.from == e.from })
}

// write is the one writer. While a frame is on its way whatever arrives gathers
// for the next: the slower the log, the larger the frames. One frame at a time
// keeps the log in order.
func (l *Log) write() {
	defer close(l.written)
	run := rand.Text() // sets the ids of this run apart
	var next *entry    // did not fit the last frame
	var began time.Time
	for n := 1; ; n++ {
		if next == nil {
			select {
			case next = <-l.queue:
			case <-l.life.Done():
				return
			}
			l.gather(next, framePace-time.Since(began))
		}
		var whole entry
		var waiting []*entry
		for next != nil && whole.fits(len(next.readings), next.bytes) {
			select {
			case <-next.gone: // whoever gave up sends again
			default:
				whole.readings = append(whole.readings, next.readings...)
				whole.bytes += next.bytes
				waiting = append(waiting, next)
			}
			select {
			case next = <-l.queue:
			default:
				next = nil
			}
		}
		if len(waiting) == 0 {
			continue
		}
		began = time.Now()
		l.last.Store(&waiting)
		err := l.publish(whole.readings, fmt.Sprintf("%s-%d", run, n))
		for _, e := range waiting {
			e.done <- err
		}
		if err != nil && next != nil {
			next.done <- err
			next = nil
		}
	}
}

// gather lets more entries come after the first of a frame, for so long at most.
func (l *Log) gather(first *entry, early time.Duration) {
	if early <= 0 || l.hurries(first) {
		return
	}
	select {
	case <-time.After(early):
	case <-l.hurry:
	case <-l.life.Done():
	}
}

// publish brings one frame into the stream and returns when it is there. It tries
// until the log is closed: those who wait for it have their own patience. The id
// keeps a frame single whose acknowledgement was lost.
func (l *Log) publish(readings []cbor.RawMessage, id string) error {
	data, err := encodeFrame(readings)
	if err != nil {
		return fmt.Errorf("log: %w", err)
	}
	for attempt := 1; ; attempt++ {
		err := l.publishOnce(data, id)
		if err == nil {
			if attempt > 1 {
				l.logger.Info("the log takes readings again")
			}
			l.Counters.Frames.Add(1)
			l.Counters.Bytes.Add(int64(len(data)))
			return nil
		}
		l.Counters.Retries.Add(1)
		if attempt == 1 {
			l.logger.Error("the log does not take readings; devices wait", "error", err)
		}
		if errors.Is(err, errDiskFull) || strings.Contains(err.Error(), streamFull) {
			l.trim(l.trimFull)
		}
		select {
		case <-l.life.Done():
			return ErrLogClosed
		case <-time.After(retryPause):
		}
	}
}

// errDiskFull is said before the disk is full to the last byte.
var errDiskFull = errors.New("the disk is full")

// leastRoom is what has to be free on the disk for a frame to be written, in bytes.
// A write that fails for want of room leaves JetStream unable to write, and to make
// room, until it is started again; so there is always some left to make room with.
// How much is a judgement.
const leastRoom = 32 << 20

func (l *Log) publishOnce(data []byte, id string) error {
	if l.embed != nil && l.embed.options.JetStream {
		if room := roomBytes(l.embed.options.StoreDir); room >= 0 && room < leastRoom {
			return errDiskFull
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), publishTimeout)
	defer cancel()
	_, err := l.js.PublishMsg(ctx, &nats.Msg{Subject: l.stored.subject, Data: data},
		jetstream.WithMsgID(id), jetstream.WithExpectStream(l.stored.name))
	return err
}

// streamFull is in the error of a stream that has its MaxBytes. JetStream gives
// it no code of its own.
const streamFull = "maximum bytes exceeded"
