package wire

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// maxFramesAtOnce is how many frames one call of a consumer's function may bring.
const maxFramesAtOnce = 64

// How a consumer waits: for readings, and before it tries again after an error.
const (
	pollWait     = 5 * time.Second
	retryFirst   = 100 * time.Millisecond
	retryLongest = 10 * time.Second
	ackWait      = time.Minute
	ackTimeout   = 10 * time.Second
)

// Consume gives fn every reading of the log, in the order of the log, at least
// once. It remembers under the durable name how far fn got: fn returns nil, then
// the position moves. A later Consume of the same name goes on from there, after
// any kind of end. Where fn fails it is called again, from the same reading on,
// until it succeeds; nothing overtakes it.
//
// After a crash fn sees some readings a second time, and a device that got no
// acknowledgement sends a second time: fn must keep Reading.Key unique, in the
// same transaction as its other effects.
//
// It returns nil when ctx is done, ErrLogClosed when the log is, and another error
// when it cannot go on. One Consume
// at a time may run under a name.
func (l *Log) Consume(ctx context.Context, durableName string, fn func(context.Context, []Reading) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(l.life, cancel)()
	consumer, err := l.stream.CreateOrUpdateConsumer(ctx, jetstream.ConsumerConfig{
		Durable: durableName,
		// One acknowledgement covers all frames before it.
		AckPolicy: jetstream.AckAllPolicy, AckWait: ackWait, MaxAckPending: maxFramesAtOnce,
		DeliverPolicy: jetstream.DeliverAllPolicy, FilterSubject: l.stored.subjects,
	})
	switch {
	case l.life.Err() != nil:
		return ErrLogClosed
	case ctx.Err() != nil:
		return nil
	case err != nil:
		return fmt.Errorf("log: consumer %s: %w", durableName, err)
	}
	for pause := retryFirst; ctx.Err() == nil; pause = min(2*pause, retryLongest) {
		moved, err := l.deliver(ctx, consumer, durableName, fn)
		if errors.Is(err, jetstream.ErrConsumerNotFound) || errors.Is(err, jetstream.ErrConsumerDeleted) {
			return fmt.Errorf("log: consumer %s was deleted: %w", durableName, err)
		}
		if moved {
			pause = retryFirst
		}
		if ctx.Err() == nil {
			l.logger.Warn("a consumer of the log failed and tries again", "consumer", durableName, "error", err)
			wait(ctx, pause)
		}
	}
	if l.life.Err() != nil {
		return ErrLogClosed
	}
	return nil
}

// deliver goes back to the position last acknowledged and on from there until
// something fails. Going back first is what keeps the order: otherwise frames
// that were delivered and not acknowledged would come again some time later,
// after their successors. moved says whether the position has moved.
func (l *Log) deliver(ctx context.Context, consumer jetstream.Consumer, name string, fn func(context.Context, []Reading) error) (moved bool, err error) {
	position, err := l.stream.ResetConsumer(ctx, name)
	if err != nil {
		return false, err
	}
	for next := position.ResetSeq; ; moved = true {
		var frames []jetstream.Msg
		for len(frames) == 0 {
			if frames, err = nextFrames(ctx, consumer); err != nil {
				return moved, err
			}
		}
		if next, err = l.complete(ctx, frames, next); err != nil {
			return moved, err
		}
		if readings := l.readingsOf(frames); len(readings) > 0 {
			if err := fn(ctx, readings); err != nil {
				return moved, err
			}
			l.Counters.Consumed.Add(int64(len(readings)))
		}
		if err := acknowledge(ctx, frames[len(frames)-1]); err != nil {
			return moved, err
		}
	}
}

// complete checks that no frame from sequence next on is missing, and gives the
// sequence after the last. A frame can go astray, delivered to a request that was
// given up in that moment; acknowledging its successor would acknowledge it too.
func (l *Log) complete(ctx context.Context, frames []jetstream.Msg, next uint64) (uint64, error) {
	for _, f := range frames {
		meta, err := f.Metadata()
		if err != nil {
			return 0, err
		}
		at := meta.Sequence.Stream
		if at != next { // missing, unless an operator removed what was between
			first, err := l.stream.GetMsg(ctx, next, jetstream.WithGetMsgSubject(l.stored.subjects))
			if err != nil {
				return 0, err
			}
			if first.Sequence != at {
				return 0, fmt.Errorf("frame %d went astray: frame %d came in its place", first.Sequence, at)
			}
		}
		next = at + 1
	}
	return next, nil
}

// nextFrames waits for a frame and takes what else is there, up to
// maxFramesAtOnce. Nothing within pollWait is no error.
func nextFrames(ctx context.Context, consumer jetstream.Consumer) ([]jetstream.Msg, error) {
	waiting, cancel := context.WithTimeout(ctx, pollWait)
	defer cancel()
	first, err := consumer.Next(jetstream.FetchContext(waiting))
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case errors.Is(err, nats.ErrTimeout), errors.Is(err, context.DeadlineExceeded), errors.Is(err, jetstream.ErrNoMessages):
		return nil, nil
	case err != nil:
		return nil, err
	}
	frames := []jetstream.Msg{first}
	more, err := consumer.FetchNoWait(maxFramesAtOnce - 1)
	if err != nil {
		return nil, err
	}
	for message := range more.Messages() {
		frames = append(frames, message)
	}
	return frames, more.Error()
}

// readingsOf puts the readings of frames in one row. A frame that cannot be read
// is not ours or not of this version: it stays in the log, and is skipped loudly.
func (l *Log) readingsOf(frames []jetstream.Msg) []Reading {
	var out []Reading
	for _, f := range frames {
		readings, err := decodeFrame(f.Data())
		if err != nil {
			l.Counters.Unreadable.Add(1)
			l.logger.Error("a frame of the log cannot be read and is skipped", "subject", f.Subject(), "error", err)
			continue
		}
		out = append(out, readings...)
	}
	return out
}

// acknowledge moves the position and returns when that is known. What fn has done
// is acknowledged also where ctx is done meanwhile.
func acknowledge(ctx context.Context, last jetstream.Msg) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), ackTimeout)
	defer cancel()
	return last.DoubleAck(ctx)
}

func wait(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}
