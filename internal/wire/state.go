package wire

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// LogState is how full a log is, and how far its consumer has come.
type LogState struct {
	// Frames and Bytes are in the log, MaxBytes is its bound.
	Frames          uint64
	Bytes, MaxBytes uint64
	// Unread is how many frames the consumer has still to do with, Oldest when the
	// first of them came; zero: none.
	Unread uint64
	Oldest time.Time
	// RoomBytes is what is free on the disk of an embedded log; negative: unknown.
	RoomBytes int64
}

// UnreadShare is how much of the bound the unread frames take, 0 to 1, if all are
// as long.
func (s *LogState) UnreadShare() float64 {
	if s.Frames == 0 || s.MaxBytes == 0 {
		return 0
	}
	return min(1, float64(s.Bytes)/float64(s.MaxBytes)*float64(s.Unread)/float64(s.Frames))
}

// State is how the log stands, to a consumer that has done with everything up to a
// frame.
func (l *Log) State(ctx context.Context, done uint64) (LogState, error) {
	s := LogState{RoomBytes: -1}
	if l.embed != nil {
		s.RoomBytes = int64(roomBytes(l.embed.options.StoreDir))
	}
	info, err := l.stream.Info(ctx)
	if err != nil {
		return s, fmt.Errorf("log: %w", err)
	}
	s.Frames, s.Bytes, s.MaxBytes = info.State.Msgs, info.State.Bytes, uint64(max(0, info.Config.MaxBytes))
	next := max(done+1, info.State.FirstSeq)
	if s.Frames == 0 || next > info.State.LastSeq {
		return s, nil
	}
	s.Unread = info.State.LastSeq - next + 1
	first, err := l.stream.GetMsg(ctx, next)
	switch {
	case err == nil:
		s.Oldest = first.Time
	case !errors.Is(err, jetstream.ErrMsgNotFound): // it is done with and trimmed meanwhile
		return s, fmt.Errorf("log: frame %d: %w", next, err)
	}
	return s, nil
}
