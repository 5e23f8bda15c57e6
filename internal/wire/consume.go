package wire

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/semaphore"
)

// Bounds of what one call of a consumer's function may bring, and of what waits
// for the next call. A megabyte of frames is about 16,000 readings.
const (
	maxBatchFrames = 1024
	maxBatchBytes  = 1 << 20
)

// How a consumer waits before it tries again after an error, and how often a
// server that has nothing new says that it is still there.
const (
	retryFirst   = 100 * time.Millisecond
	retryLongest = 10 * time.Second
	heartbeat    = time.Second
)

// Frame is what one write of the log holds.
type Frame struct {
	// Sequence is the frame's number in the log, from 1; later frames have higher
	// numbers.
	Sequence uint64
	// Readings of the frame, in their order; none where it cannot be read.
	Readings []Reading
}

// Position is how far a consumer is in a log. It is kept where the effects of the
// readings are kept, in the same transaction.
type Position struct {
	Log      string `json:"log"`      // the log's ID
	Sequence uint64 `json:"sequence"` // the last frame that is done with; 0: none
}

// After is where Consume goes on for a consumer that has got to p: p.Sequence, or
// 0 where p says nothing about this log, because it belongs to another one, or
// because the log has lost its last frames in a power cut. The numbers of those are
// given to new frames, so a consumer that gets 0 for another position must forget
// the old one before anything is appended.
func (l *Log) After(p Position) uint64 {
	if p.Log != l.id || p.Sequence > l.opened {
		return 0
	}
	return p.Sequence
}

// ID tells one log from another: sequences of different logs cannot be compared.
func (l *Log) ID() string { return l.id }

func idOf(info *jetstream.StreamInfo) string { return fmt.Sprint(info.Created.UnixNano()) }

// Head is the sequence of the newest frame, 0 while there is none.
func (l *Log) Head(ctx context.Context) (uint64, error) {
	info, err := l.stream.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("log: %w", err)
	}
	return info.State.LastSeq, nil
}

// ErrLogReplaced is returned by Consume where the log is no longer the one that
// was opened.
var ErrLogReplaced = errors.New("the log was replaced by another; start again")

// Consume gives take every frame after a position, in the order of the log, at
// least once, as soon as it is there. take keeps what follows from the frames and
// the sequence of the last one; a later Consume goes on from there. Where take
// fails it is called again, from the same frame on, until it succeeds; nothing
// overtakes it.
//
// A device that got no acknowledgement sends a second time: take must keep
// Reading.Key unique, in the same transaction as its other effects.
//
// Where the log no longer has the first frames after the position, Consume says
// so in the program's log and in Counters.Missing, and begins with the first that
// it has. After 0 comes the first that there is, and nothing is missing.
//
// It returns nil when ctx is done, ErrLogClosed when the log is closed, and
// ErrLogReplaced.
func (l *Log) Consume(ctx context.Context, after uint64, take func(context.Context, []Frame) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(l.life, cancel)()
	for pause := retryFirst; ctx.Err() == nil; pause = min(2*pause, retryLongest) {
		reached, err := l.follow(ctx, after, take)
		if errors.Is(err, ErrLogReplaced) {
			return err
		}
		if reached > after {
			after, pause = reached, retryFirst
		}
		if ctx.Err() == nil {
			l.logger.Warn("a consumer of the log failed and tries again", "after", after, "error", err)
			wait(ctx, pause)
		}
	}
	if l.life.Err() != nil {
		return ErrLogClosed
	}
	return nil
}

// follow gives take frames until something fails, and says how far it got. The
// ordered consumer sees to it that no frame is lost on the way, when a connection
// breaks for instance; its sequences have holes only where the log has.
func (l *Log) follow(ctx context.Context, after uint64, take func(context.Context, []Frame) error) (uint64, error) {
	info, err := l.stream.Info(ctx)
	switch {
	case err != nil:
		return after, err
	case idOf(info) != l.id, info.State.LastSeq < after:
		return after, fmt.Errorf("log: %w", ErrLogReplaced)
	}
	consumer, err := l.stream.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: after + 1, MaxResetAttempts: 1,
	})
	if err != nil {
		return after, err
	}
	messages, err := consumer.Messages(jetstream.PullHeartbeat(heartbeat),
		// A message larger than the limit would never come.
		jetstream.PullMaxMessagesWithBytesLimit(maxBatchFrames, max(maxBatchBytes, int(l.conn.MaxPayload())+maxFrameHeader)))
	if err != nil {
		return after, err
	}
	defer messages.Stop()
	b := &buffer{frames: make(chan jetstream.Msg, maxBatchFrames), room: semaphore.NewWeighted(maxBatchBytes)}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return b.fill(ctx, messages) })
	group.Go(func() error {
		for {
			batch, bytes, err := b.next(ctx)
			if err != nil {
				return err
			}
			frames, err := l.framesOf(batch, after)
			if err != nil {
				return err
			}
			if err := take(ctx, frames); err != nil {
				return err
			}
			for _, f := range frames {
				l.Counters.Consumed.Add(int64(len(f.Readings)))
			}
			after = frames[len(frames)-1].Sequence
			b.room.Release(bytes)
		}
	})
	err = group.Wait()
	return after, err
}

// buffer is frames that have come and wait for the consumer's function. room is
// taken until that has done with them.
type buffer struct {
	frames chan jetstream.Msg
	room   *semaphore.Weighted
}

// weight is the room that a frame takes. A larger one takes all of it, alone.
func weight(m jetstream.Msg) int64 { return int64(min(len(m.Data()), maxBatchBytes)) }

func (b *buffer) fill(ctx context.Context, messages jetstream.MessagesContext) error {
	for {
		m, err := messages.Next(jetstream.NextContext(ctx))
		if err != nil {
			return err
		}
		if err := b.room.Acquire(ctx, weight(m)); err != nil {
			return err
		}
		select {
		case b.frames <- m:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// next waits for a frame and takes what else is there.
func (b *buffer) next(ctx context.Context) (batch []jetstream.Msg, bytes int64, err error) {
	select {
	case first := <-b.frames:
		batch, bytes = append(batch, first), weight(first)
	case <-ctx.Done():
		return nil, 0, ctx.Err()
	}
	for len(batch) < maxBatchFrames {
		select {
		case m := <-b.frames:
			batch, bytes = append(batch, m), bytes+weight(m)
		default:
			return batch, bytes, nil
		}
	}
	return batch, bytes, nil
}

// framesOf reads frames that come after a position. One that cannot be read is not
// ours or not of this version: it stays in the log, and is skipped loudly.
func (l *Log) framesOf(batch []jetstream.Msg, after uint64) ([]Frame, error) {
	frames := make([]Frame, len(batch))
	for i, m := range batch {
		meta, err := m.Metadata()
		if err != nil {
			return nil, err
		}
		f := &frames[i]
		if f.Sequence = meta.Sequence.Stream; f.Sequence <= after {
			return nil, fmt.Errorf("frame %d came after frame %d", f.Sequence, after)
		}
		if n := f.Sequence - after - 1; n > 0 && after > 0 {
			l.Counters.Missing.Add(int64(n))
			l.logger.Error("frames are no longer in the log and are passed over", "from", after+1, "to", f.Sequence-1)
		}
		after = f.Sequence
		if f.Readings, err = decodeFrame(m.Data()); err != nil {
			l.Counters.Unreadable.Add(1)
			l.logger.Error("a frame of the log cannot be read and is skipped", "sequence", f.Sequence, "subject", m.Subject(), "error", err)
		}
	}
	return frames, nil
}

// Inherit takes over the position that earlier versions kept in the log, as a
// consumer of a name; 0 where there is none. The consumer ends once keep has kept the
// position somewhere else.
func (l *Log) Inherit(ctx context.Context, name string, keep func(position uint64) error) error {
	consumer, err := l.stream.Consumer(ctx, name)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		return keep(0)
	}
	if err != nil {
		return fmt.Errorf("log: consumer %s: %w", name, err)
	}
	if err := keep(consumer.CachedInfo().AckFloor.Stream); err != nil {
		return err
	}
	if err := l.stream.DeleteConsumer(ctx, name); err != nil {
		return fmt.Errorf("log: ending consumer %s: %w", name, err)
	}
	return nil
}

func wait(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}
