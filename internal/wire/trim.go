package wire

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

const (
	trimEvery   = 10 * time.Minute
	trimTimeout = time.Minute
	// fullShare is the part of a full log's frames, one in so many, that has to go
	// at once: enough that it is not full again soon, and little of what a restored
	// backup may need. A judgement.
	fullShare = 8
)

// Release says up to which sequence the log may forget: the consumer has done with
// those frames for good. The log still keeps them for LogOptions.Keep, as far as
// its size allows. Until the first Release nothing is forgotten.
func (l *Log) Release(sequence uint64) {
	for {
		before := l.released.Load()
		if sequence <= before || l.released.CompareAndSwap(before, sequence) {
			return
		}
	}
}

// Reach is the time of the oldest frame in the log, zero while there is none: a
// backup that is older cannot be completed from the log.
func (l *Log) Reach(ctx context.Context) (time.Time, error) {
	info, err := l.stream.Info(ctx)
	if err != nil {
		return time.Time{}, fmt.Errorf("log: %w", err)
	}
	l.noteReach(info)
	return reachOf(info), nil
}

func reachOf(info *jetstream.StreamInfo) time.Time {
	if info.State.Msgs == 0 {
		return time.Time{}
	}
	return info.State.FirstTime
}

func (l *Log) noteReach(info *jetstream.StreamInfo) {
	seconds := int64(0)
	if t := reachOf(info); !t.IsZero() {
		seconds = t.Unix()
	}
	l.Counters.Oldest.Store(seconds)
}

func (l *Log) trimLoop() {
	ticker := time.NewTicker(trimEvery)
	defer ticker.Stop()
	for {
		select {
		case <-l.life.Done():
			return
		case <-ticker.C:
			l.trim(l.trimOld)
		}
	}
}

// trim removes frames in one way or another and keeps Counters.Oldest true.
func (l *Log) trim(way func(context.Context) error) {
	ctx, cancel := context.WithTimeout(context.Background(), trimTimeout)
	defer cancel()
	err := way(ctx)
	if err == nil {
		_, err = l.Reach(ctx)
	}
	if err != nil {
		l.logger.Warn("the log could not be trimmed", "error", err)
	}
}

// trimOld removes the released frames that are older than Keep.
func (l *Log) trimOld(ctx context.Context) error { return l.trimBefore(ctx, time.Now().Add(-l.keep)) }

func (l *Log) trimBefore(ctx context.Context, before time.Time) error {
	first, n, _, err := l.releasable(ctx)
	if err != nil || n == 0 {
		return err
	}
	// The frames are in order of time: the first to keep is found by halving.
	var failed error
	old := sort.Search(n, func(i int) bool {
		message, err := l.stream.GetMsg(ctx, first+uint64(i))
		if err != nil {
			if !errors.Is(err, jetstream.ErrMsgNotFound) {
				failed = err
			}
			return false
		}
		return !message.Time.Before(before)
	})
	if failed != nil {
		return failed
	}
	return l.forget(ctx, first, old)
}

// trimFull makes room in a full log: the oldest released frames go, whatever their
// age, and how far the log reaches back from now on is said.
func (l *Log) trimFull(ctx context.Context) error {
	first, n, info, err := l.releasable(ctx)
	if err != nil || n == 0 {
		return err
	}
	if err := l.forget(ctx, first, min(n, max(1, int(info.State.Msgs)/fullShare))); err != nil {
		return err
	}
	reach, err := l.Reach(ctx)
	if err != nil {
		return err
	}
	if kept := time.Since(reach); !reach.IsZero() && kept < l.keep {
		l.logger.Warn("the log is full and has forgotten readings sooner than it should: an older backup cannot be completed from it; give it more room, or back up more often",
			"reaches back to", reach, "days", kept.Hours()/24, "should be days", l.keep.Hours()/24)
	}
	return nil
}

// releasable is how many frames from the first on every consumer has done with.
// Positions that others keep in the log itself count too.
func (l *Log) releasable(ctx context.Context) (first uint64, n int, info *jetstream.StreamInfo, err error) {
	done := l.released.Load()
	consumers := l.stream.ListConsumers(ctx)
	for c := range consumers.Info() {
		if c.Config.AckPolicy != jetstream.AckNonePolicy {
			done = min(done, c.AckFloor.Stream)
		}
	}
	if err := consumers.Err(); err != nil {
		return 0, 0, nil, err
	}
	if info, err = l.stream.Info(ctx); err != nil {
		return 0, 0, nil, err
	}
	first = info.State.FirstSeq
	done = min(done, info.State.LastSeq)
	return first, max(0, int(done)-int(first)+1), info, nil
}

// forget removes n frames from the first on.
func (l *Log) forget(ctx context.Context, first uint64, n int) error {
	if n == 0 {
		return nil
	}
	if err := l.stream.Purge(ctx, jetstream.WithPurgeSequence(first+uint64(n))); err != nil {
		return err
	}
	l.Counters.Trimmed.Add(int64(n))
	return nil
}
