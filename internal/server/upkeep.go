package server

import (
	"context"
	"errors"
	"sync/atomic"
	"time"
)

// upkeepEvery is how often the store is tidied.
const upkeepEvery = 24 * time.Hour

// upkeepCounters is how often it was since the start.
type upkeepCounters struct{ done, problems atomic.Int64 }

// upkeep tidies the store, at the start and then each day, until ctx ends.
func (s *Server) upkeep(ctx context.Context) error {
	t := time.NewTicker(upkeepEvery)
	defer t.Stop()
	for {
		err := s.tidy(ctx)
		switch {
		case ctx.Err() != nil:
		case err != nil:
			s.tidied.problems.Add(1)
			s.o.Log.Error("the store could not be tidied", "error", err)
		default:
			s.tidied.done.Add(1)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

// tidy drops readings that are older than they are to be kept, and sessions that
// have expired. Age counts back from the newest reading: a clock that is years
// ahead must not cost a year of readings.
func (s *Server) tidy(ctx context.Context) error {
	now := s.o.Now()
	keep, err := s.Store.Retention(ctx)
	if err != nil {
		return err
	}
	newest, err := s.Store.Newest(ctx)
	if err != nil {
		return err
	}
	if newest.After(now) {
		newest = now
	}
	return errors.Join(s.Store.Prune(ctx, keep, newest), s.Store.DropExpiredSessions(ctx, now))
}
