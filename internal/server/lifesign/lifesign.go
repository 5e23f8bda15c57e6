// Package lifesign tells the outside that the service works: it calls an address
// every so often, and sends a message once a day, and does neither while the
// service does not do its work. Whoever waits for them elsewhere notices a service
// that stopped, hangs, cannot write or is behind, which it cannot say itself.
package lifesign

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/store"
)

// Options are what signs of life stand on.
type Options struct {
	Store *store.Store
	Log   *slog.Logger
	Now   func() time.Time
	// Works says why the service does not do its work; empty: it does. It takes no
	// lock that the service's work may hold.
	Works func() string
	// Say is what the daily message says.
	Say func() (subject, text string)
	// Send delivers a message once.
	Send func(ctx context.Context, to alarm.Contact, m alarm.Message) error
}

// Signal sends signs of life. It may be used from several goroutines.
type Signal struct {
	// Sent and Failed count calls of the address, Held those that were not made
	// because the service did not work.
	Sent, Failed, Held atomic.Int64

	o Options

	// stepping lets one step go on at a time.
	stepping sync.Mutex

	mu       sync.Mutex
	settings Settings
	status   Status
	tried    time.Time // when the address was called last, or was to be
	day      string    // of the last daily message
	dayTried time.Time
}

// Status is how the signal stands.
type Status struct {
	// Sent is when the address took a call last; zero: not since the start.
	Sent time.Time
	// Failing is since when it does not, Says why; zero: it does.
	Failing time.Time
	Says    string
	// Held is why no sign is given now, empty: one is.
	Held string
	// DailySays is why the daily message could not be sent, empty: it could.
	DailySays string
}

// How signs are sent.
const (
	callTimeout = 15 * time.Second
	// tryAgain: a call that failed is made again sooner than the next is due, and so
	// is a daily message.
	tryAgain = time.Minute
	// lookEvery is how often it is asked whether a sign is due.
	lookEvery = time.Second
)

// Open takes the settings from the store.
func Open(ctx context.Context, o Options) (*Signal, error) {
	settings, day, err := recall(ctx, o.Store)
	return &Signal{o: o, settings: settings, day: day}, err
}

// Settings are those that signs are sent by.
func (s *Signal) Settings() Settings {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.settings
}

// Status is how the signal stands.
func (s *Signal) Status() Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.status
}

// Set saves settings, which have passed their Check, and goes on by them. The first
// call of an address comes at once, the first message of a day at its next time.
func (s *Signal) Set(ctx context.Context, e *store.Editor, settings Settings) error {
	if err := e.Set(ctx, settingName, settings.kept()); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.settings, s.status, s.tried, s.dayTried = settings, Status{}, time.Time{}, time.Time{}
	if settings.Daily != nil {
		if at, day, err := settings.Daily.due(s.o.Now()); err == nil && !at.After(s.o.Now()) {
			s.day = day
		}
	}
	return nil
}

// Test calls the address once, whether or not the service does its work.
func (s *Signal) Test(ctx context.Context) error {
	settings := s.Settings()
	err := settings.address().Ping(ctx)
	s.came(s.o.Now(), err)
	return err
}

// Run gives signs until ctx ends.
func (s *Signal) Run(ctx context.Context) error {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for {
		s.Step(ctx)
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

// Step gives the signs that are due now.
func (s *Signal) Step(ctx context.Context) {
	s.stepping.Lock()
	defer s.stepping.Unlock()
	now := s.o.Now()
	s.mu.Lock()
	settings := s.settings
	call := settings.URL != "" && (s.tried.IsZero() || now.Sub(s.tried) >= s.pause() || now.Before(s.tried))
	message := settings.Daily != nil && s.messageDue(now)
	if call {
		s.tried = now
	}
	if message {
		s.dayTried = now
	}
	s.mu.Unlock()
	if !call && !message {
		return
	}
	if why := s.o.Works(); why != "" {
		s.hold(why, call)
		return
	}
	s.mu.Lock()
	s.status.Held = ""
	s.mu.Unlock()
	if call {
		err := settings.address().Ping(ctx)
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			s.o.Log.Warn("a sign of life was not taken", "error", err)
		}
		s.came(now, err)
	}
	if message {
		s.sendDaily(ctx, settings.Daily, now)
	}
}

// pause is the time to the next call.
func (s *Signal) pause() time.Duration {
	if !s.status.Failing.IsZero() || s.status.Held != "" {
		return min(s.settings.Every, tryAgain)
	}
	return s.settings.Every
}

func (s *Signal) messageDue(now time.Time) bool {
	at, day, err := s.settings.Daily.due(now)
	return err == nil && day != s.day && !now.Before(at) && (s.dayTried.IsZero() || now.Sub(s.dayTried) >= tryAgain || now.Before(s.dayTried))
}

// hold notes why no sign is given.
func (s *Signal) hold(why string, call bool) {
	if call {
		s.Held.Add(1)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.status.Held == "" {
		s.o.Log.Warn("no sign of life is given", "why", why)
	}
	s.status.Held = why
}

// came notes what came of a call.
func (s *Signal) came(now time.Time, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err == nil {
		s.Sent.Add(1)
		s.status.Sent, s.status.Failing, s.status.Says = now, time.Time{}, ""
		return
	}
	s.Failed.Add(1)
	if s.status.Failing.IsZero() {
		s.status.Failing = now
	}
	s.status.Says = err.Error()
}

// sendDaily sends the message of a day, and keeps that it was sent.
func (s *Signal) sendDaily(ctx context.Context, d *Daily, now time.Time) {
	_, day, err := d.due(now)
	if err == nil {
		m := alarm.Message{ID: fmt.Sprintf("all-is-well/%s/%s/%s", day, d.To.Channel, d.To.Address), Site: "Isohaline"}
		m.Subject, m.Text = s.o.Say()
		err = s.o.Send(ctx, d.To, m)
	}
	if ctx.Err() != nil {
		return
	}
	s.mu.Lock()
	if s.status.DailySays = ""; err != nil {
		s.status.DailySays = err.Error()
	} else {
		s.day = day
	}
	s.mu.Unlock()
	if err != nil {
		s.o.Log.Warn("the message of the day was not delivered", "error", err)
		return
	}
	// If that is not kept, it is sent once more after a restart.
	if err := s.o.Store.Edit(who, now).Set(ctx, dayName, day); err != nil {
		s.o.Log.Error("that the message of the day was sent could not be kept", "error", err)
	}
}

// who is named in the audit log for what the program does by itself.
const who = "isohaline"
