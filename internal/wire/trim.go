package wire

import (
	"context"
	"errors"
	"sort"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

const (
	trimEvery   = 10 * time.Minute
	trimTimeout = time.Minute
)

func (l *Log) trimNowAndThen() {
	ticker := time.NewTicker(trimEvery)
	defer ticker.Stop()
	for {
		select {
		case <-l.life.Done():
			return
		case <-ticker.C:
			l.trim(l.keep)
		}
	}
}

// trim removes frames that every consumer has done with and that are older than
// keep. A log that nobody consumes is not trimmed: somebody may come.
func (l *Log) trim(keep time.Duration) {
	ctx, cancel := context.WithTimeout(context.Background(), trimTimeout)
	defer cancel()
	if err := l.trimBefore(ctx, time.Now().Add(-keep)); err != nil {
		l.logger.Warn("the log could not be trimmed", "error", err)
	}
}

func (l *Log) trimBefore(ctx context.Context, before time.Time) error {
	done, err := l.consumed(ctx)
	if err != nil {
		return err
	}
	info, err := l.stream.Info(ctx)
	if err != nil {
		return err
	}
	first := info.State.FirstSeq
	if done < first {
		return nil
	}
	// The frames are in order of time: the first to keep is found by halving.
	var failed error
	n := sort.Search(int(done-first+1), func(i int) bool {
		message, err := l.stream.GetMsg(ctx, first+uint64(i))
		if err != nil {
			if !errors.Is(err, jetstream.ErrMsgNotFound) {
				failed = err
			}
			return false
		}
		return !message.Time.Before(before)
	})
	if failed != nil || n == 0 {
		return failed
	}
	if err := l.stream.Purge(ctx, jetstream.WithPurgeSequence(first+uint64(n))); err != nil {
		return err
	}
	l.Counters.Trimmed.Add(int64(n))
	return nil
}

// consumed is the sequence up to which every consumer has acknowledged, 0 without
// a consumer.
func (l *Log) consumed(ctx context.Context) (uint64, error) {
	var lowest uint64
	any := false
	consumers := l.stream.ListConsumers(ctx)
	for c := range consumers.Info() {
		if !any || c.AckFloor.Stream < lowest {
			lowest, any = c.AckFloor.Stream, true
		}
	}
	return lowest, consumers.Err()
}
