package monitor

import (
	"context"
	"errors"
	"sync"
	"time"

	"isohaline/internal/store"
)

// commitAgain is how long a commit whose fate is not known waits before it asks
// again.
const commitAgain = time.Second

// commit keeps a commit, and finds out what became of it where the answer is an
// error: that can come after everything was kept, or without any of it. It does
// not end by ctx: half-known is worse than late. Stop ends it.
func (m *Monitor) commit(ctx context.Context, c *store.Commit) error {
	m.commits.begin(c)
	err := m.commitAndAsk(context.WithoutCancel(ctx), c)
	m.commits.end(c, err)
	return err
}

// errAstray ends every commit after one whose fate was not known when the service was
// told to stop: memory may lack what the store has, and a step that is made from it
// could be taken for the one that is there. Nothing is sent from then on either.
var errAstray = errors.New("whether an earlier step was kept is not known; nothing more is kept until the service has been started again")

func (m *Monitor) commitAndAsk(ctx context.Context, c *store.Commit) error {
	if m.astray.Load() {
		return errAstray
	}
	err := m.keeper.Commit(ctx, *c)
	if err == nil || errors.Is(err, store.ErrStale) { // another's step is there: this one is not
		return err
	}
	for {
		kept, looked := m.keeper.Committed(ctx, *c)
		switch {
		case looked == nil && kept:
			return nil
		case looked == nil:
			return err
		}
		select {
		case <-m.stopped:
			m.astray.Store(true)
			return errors.Join(err, looked)
		default:
		}
		m.log.Error("whether a step was kept is not known yet", "error", errors.Join(err, looked))
		m.pause(commitAgain)
	}
}

// Commits is how commits go, by the machine's own clock.
type Commits struct {
	// Open is when the oldest began that has not ended; zero: none is on its way.
	Open time.Time
	// Failing is when the first failed since one was kept, Failed when the last did,
	// and Says why; zero: the last was kept.
	Failing, Failed time.Time
	Says            string
}

// commits keeps track of the commits that are on their way.
type commits struct {
	mu   sync.Mutex
	open map[*store.Commit]time.Time
	last Commits
}

// Commits is how commits go. It waits for none of them.
func (m *Monitor) Commits() Commits {
	m.commits.mu.Lock()
	defer m.commits.mu.Unlock()
	out := m.commits.last
	for _, began := range m.commits.open {
		if out.Open.IsZero() || began.Before(out.Open) {
			out.Open = began
		}
	}
	return out
}

func (s *commits) begin(c *store.Commit) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open == nil {
		s.open = map[*store.Commit]time.Time{}
	}
	s.open[c] = time.Now()
}

func (s *commits) end(c *store.Commit, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.open, c)
	now := time.Now()
	switch {
	case err == nil:
		s.last = Commits{}
	case errors.Is(err, store.ErrExists): // what a person entered twice is no failure of the store
	default:
		if s.last.Failing.IsZero() {
			s.last.Failing = now
		}
		s.last.Failed, s.last.Says = now, err.Error()
	}
}
