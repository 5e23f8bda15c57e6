package server

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"isohaline/internal/server/hub"
	"isohaline/internal/server/monitor"
	"isohaline/internal/wire"
)

// How often the service looks at itself, and how long an answer may take.
const (
	lookEvery   = 15 * time.Second
	lookTimeout = 15 * time.Second
	// refusalsTold is how long what the door refused is counted together.
	refusalsTold = 15 * time.Minute
)

// vitals is what the service has gathered of its own parts, by the machine's own
// clock.
type vitals struct {
	ticked atomic.Pointer[time.Time] // nil: never

	mu       sync.Mutex
	facts    hub.Facts
	findings []hub.Finding
	// As the counters stood at the last look.
	retries, frames, turnedAway, wrongPassword int64
}

// rise is how much a counter has grown since the last look.
func rise(last *int64, now int64) int64 {
	grown := now - *last
	*last = now
	return grown
}

// selfCheck gathers facts until ctx ends.
func (s *Server) selfCheck(ctx context.Context) error {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for {
		s.look(ctx, lookTimeout)
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

// look gathers facts once. What does not answer in time is itself a fact.
func (s *Server) look(ctx context.Context, patience time.Duration) {
	began := time.Now()
	asking, cancel := context.WithTimeout(ctx, patience)
	stored := s.Store.WriteAlive(asking, began)
	cancel()
	asking, cancel = context.WithTimeout(ctx, patience)
	log, logged := s.readings.State(asking, s.Monitor.Taken())
	cancel()
	if ctx.Err() != nil {
		return
	}
	failures := s.Monitor.Failures()
	now := time.Now()

	v := &s.vitals
	v.mu.Lock()
	defer v.mu.Unlock()
	f := &v.facts
	f.Looked = now
	since(&f.StoreFails, &f.StoreSays, stored, began)
	f.RoomBytes = log.RoomBytes
	if logged == nil {
		f.Unread, f.UnreadShare = log.Oldest, log.UnreadShare()
	}
	retried, written := rise(&v.retries, s.readings.Counters.Retries.Load()), rise(&v.frames, s.readings.Counters.Frames.Load())
	if logged == nil && retried > 0 && written == 0 {
		logged = fmt.Errorf("tried %d times in %d s", retried, int(lookEvery.Seconds()))
	}
	since(&f.LogFails, &f.LogSays, logged, began)
	refused := &s.door.Counters.Refused
	count(&f.TurnedAway, &f.TurnedAwayLast, rise(&v.turnedAway, refused[wire.LogUnavailable].Load()), now)
	count(&f.WrongPassword, &f.WrongPasswordLast, rise(&v.wrongPassword, refused[wire.BadCredentials].Load()), now)
	f.Tanks = f.Tanks[:0:0]
	for _, t := range failures {
		f.Tanks = append(f.Tanks, hub.Tank{ID: t.TankID, SiteID: t.SiteID, Name: t.Name, Why: t.Why, Since: t.Since})
	}
	fresh := s.presentFacts()
	before := v.findings
	v.findings = hub.Judge(before, &fresh, now)
	for _, g := range v.findings {
		if !slices.ContainsFunc(before, func(b hub.Finding) bool { return b.Code == g.Code && b.TankID == g.TankID }) {
			s.o.Log.Warn("something is wrong with the service itself", "what", g.Sentence, "do", g.Do)
		}
	}
}

// since notes when a failure began, and what was said last; nothing once it is over.
func since(from *time.Time, says *string, err error, now time.Time) {
	if err == nil {
		*from, *says = time.Time{}, ""
		return
	}
	if from.IsZero() {
		*from = now
	}
	*says = err.Error()
}

// count adds up what happens now and then, from the start again after a pause.
func count(n *int64, last *time.Time, more int64, now time.Time) {
	if now.Sub(*last) > refusalsTold {
		*n = 0
	}
	if more > 0 {
		*n += more
		*last = now
	}
}

// presentFacts are the facts gathered last, with those that wait for nothing as
// they are now. v.mu is held.
func (s *Server) presentFacts() hub.Facts {
	f := s.vitals.facts
	f.CatchingUp = s.Monitor.Progress().String()
	if at := s.vitals.ticked.Load(); at != nil {
		f.Ticked = *at
	}
	commits := s.Monitor.Commits()
	f.Committing, f.CommitFails, f.CommitFailed, f.CommitSays = commits.Open, commits.Failing, commits.Failed, commits.Says
	sending := s.Sender.Health()
	f.Asked, f.Undelivered, f.GaveUp, f.SenderSays = sending.Asked, sending.Undelivered, sending.GaveUp, sending.Says
	signal := s.Signal.Status()
	f.NoSignal, f.SignalSays = signal.Failing, signal.Says
	return f
}

// Works says why the service does not do its work now; empty: it does.
func (s *Server) Works() string { return s.worksAt(time.Now()) }

func (s *Server) worksAt(now time.Time) string {
	s.vitals.mu.Lock()
	defer s.vitals.mu.Unlock()
	f := s.presentFacts()
	return f.Works(now)
}

// Findings are what is wrong with the service itself, the most urgent first.
func (s *Server) Findings() []hub.Finding {
	s.vitals.mu.Lock()
	defer s.vitals.mu.Unlock()
	f := s.presentFacts()
	return hub.Judge(s.vitals.findings, &f, time.Now())
}

// ready answers whether the service does its work: it has caught up, the store and
// the log take what is brought, and somebody would be told.
func (s *Server) ready(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Cache-Control", "no-store")
	if why := s.Works(); why != "" {
		http.Error(w, why, http.StatusServiceUnavailable)
		return
	}
	fmt.Fprintln(w, "ready")
}

// noteAbsence notes for how long nothing ran before this start.
func (s *Server) noteAbsence(ctx context.Context) error {
	last, err := s.Store.LastAlive(ctx)
	if now := time.Now(); err == nil && !last.IsZero() {
		s.vitals.facts.Away, s.vitals.facts.Back = now.Sub(last), now
	}
	s.vitals.facts.RoomBytes = -1
	return err
}

// dailyMessage is the message of the day: how many tanks are watched, which of them
// need somebody, and what is wrong with the service itself.
func (s *Server) dailyMessage() (subject, text string) {
	var need []monitor.View
	tanks := s.Monitor.Tanks()
	for _, v := range tanks {
		if len(v.Findings) > 0 && monitor.NeedsPerson(&v.Findings[0]) {
			need = append(need, v)
		}
	}
	slices.SortFunc(need, func(a, b monitor.View) int { return monitor.Worse(&a.Findings[0], &b.Findings[0]) })
	var b strings.Builder
	watched := plural(len(tanks), "tank")
	switch len(need) {
	case 0:
		subject = "All is well, " + watched
		fmt.Fprintf(&b, "The service works and looks after %s. None needs anybody.\n", watched)
	default:
		subject = fmt.Sprintf("%s monitored, %d to look at", watched, len(need))
		fmt.Fprintf(&b, "The service works and looks after %s. To look at:\n\n", watched)
		for _, v := range need {
			fmt.Fprintf(&b, "- %s: %s\n", s.Monitor.SiteName(v.SiteID), v.Findings[0].Sentence)
		}
	}
	if wrong := s.Findings(); len(wrong) > 0 {
		b.WriteString("\nThe service itself:\n\n")
		for _, g := range wrong {
			fmt.Fprintf(&b, "- %s %s\n", g.Sentence, g.Do)
		}
	}
	b.WriteString("\nThis comes once a day. If it does not come, look whether the service runs.\n")
	return subject, b.String()
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
