package sender

import (
	"context"
	"sync"
	"time"

	"isohaline/internal/alarm"
)

// Health is how sending goes, by the machine's own clock.
type Health struct {
	// Asked is when it was last asked who is to be told.
	Asked time.Time
	// Undelivered is since when every attempt failed, Says why the last one did;
	// zero: the last one was taken. GaveUp: a message was given up meanwhile.
	Undelivered time.Time
	GaveUp      bool
	Says        string
}

type health struct {
	mu   sync.Mutex
	last Health
}

// Health is how sending goes.
func (s *Sender) Health() Health {
	s.health.mu.Lock()
	defer s.health.mu.Unlock()
	return s.health.last
}

func (h *health) asked(now time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.last.Asked = now
}

// tried notes what came of an attempt.
func (h *health) tried(now time.Time, problem string, gaveUp bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if problem == "" {
		h.last.Undelivered, h.last.GaveUp, h.last.Says = time.Time{}, false, ""
		return
	}
	if h.last.Undelivered.IsZero() {
		h.last.Undelivered = now
	}
	h.last.GaveUp = h.last.GaveUp || gaveUp
	h.last.Says = problem
}

// Send delivers a message that is about no alarm, once.
func (s *Sender) Send(ctx context.Context, to alarm.Contact, m alarm.Message) error {
	settings := s.Settings()
	return s.noted(ctx, settings.post().Send(ctx, to, m))
}

// noted notes what came of sending, which one success mends.
func (s *Sender) noted(ctx context.Context, err error) error {
	if err == nil && ctx.Err() == nil {
		s.health.tried(time.Now(), "", false)
	}
	return err
}
