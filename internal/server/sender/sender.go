// Package sender takes the notices that the alarms decide on to people, by the
// channels that an operator has set up, and writes down what was sent.
//
//	monitor.Outbox --> deliver.Post --> audit log, monitor.Reported
//
// The decision is in the store before a message leaves, what came of it as soon
// as it is known. A process that is killed in between sends a message once more,
// under the same id.
package sender

import (
	"context"
	"log/slog"
	"maps"
	"sync"
	"sync/atomic"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
)

// Sender sends. It may be used from several goroutines.
type Sender struct {
	Counters Counters

	store   *store.Store
	monitor *monitor.Monitor
	log     *slog.Logger
	now     func() time.Time

	health health

	mu       sync.Mutex
	settings Settings
	// inFlight are the notices that travel or are being reported.
	inFlight map[travelling]bool
}

// travelling names a notice among those of all sites.
type travelling struct{ siteID, id string }

// Counters is how much was sent since the start: messages that a channel took,
// attempts that failed, and notices that were given up.
type Counters struct {
	Sent, Problems, GivenUp atomic.Int64
}

// Options are what a sender stands on.
type Options struct {
	Store   *store.Store
	Monitor *monitor.Monitor
	Log     *slog.Logger
	Now     func() time.Time
}

// Open makes a sender with the settings that the store has.
func Open(ctx context.Context, o Options) (*Sender, error) {
	settings, err := recall(ctx, o.Store)
	return &Sender{store: o.Store, monitor: o.Monitor, log: o.Log, now: o.Now, settings: settings, inFlight: map[travelling]bool{}}, err
}

// Settings are the channels that are set up.
func (s *Sender) Settings() Settings {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.settings
}

// Set saves settings, which have passed their Check, and goes on by them.
func (s *Sender) Set(ctx context.Context, e *store.Editor, settings Settings) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := e.Set(ctx, settingName, settings.kept()); err != nil {
		return err
	}
	s.settings = settings
	return nil
}

// Test sends a message that says it is a test.
func (s *Sender) Test(ctx context.Context, to alarm.Contact, place string) error {
	settings := s.Settings()
	return s.noted(ctx, settings.post().Test(ctx, to, place, s.now()))
}

// The rhythm of the sender.
const (
	// askEvery is how often it asks whether somebody is to be told.
	askEvery = time.Second
	// atOnce is how many messages travel at the same time.
	atOnce = 8
	// reportAgain is how long it waits before it reports again to a store that
	// did not take it.
	reportAgain = time.Second
)

// Run sends until ctx ends; what was on its way then is still to be sent.
func (s *Sender) Run(ctx context.Context) error {
	var group sync.WaitGroup
	defer group.Wait()
	places := make(chan struct{}, atOnce)
	tick := time.NewTicker(askEvery)
	defer tick.Stop()
	for {
		s.health.asked(time.Now())
		before := s.travelling() // one that is reported meanwhile is still in the outbox
		for _, out := range s.monitor.Outbox() {
			if before[travelling{out.SiteID, out.Notice.ID}] || !s.begin(out) {
				continue
			}
			group.Go(func() {
				defer s.end(out)
				places <- struct{}{}
				defer func() { <-places }()
				s.send(ctx, out)
			})
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// travelling are the notices on their way now.
func (s *Sender) travelling() map[travelling]bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return maps.Clone(s.inFlight)
}

// begin puts a notice on its way, unless it is.
func (s *Sender) begin(out monitor.Outgoing) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := travelling{out.SiteID, out.Notice.ID}
	if s.inFlight[key] {
		return false
	}
	s.inFlight[key] = true
	return true
}

func (s *Sender) end(out monitor.Outgoing) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.inFlight, travelling{out.SiteID, out.Notice.ID})
}

// send tries one message once and keeps what came of it.
func (s *Sender) send(ctx context.Context, out monitor.Outgoing) {
	settings := s.Settings()
	results := settings.post().SendAll(ctx, []deliver.Outgoing{out.Outgoing}, s.now)
	if len(results) == 0 {
		return // ctx ended first
	}
	r := results[0]
	if r.Problem != "" {
		s.log.Warn("a message was not delivered", "notice", r.ID, "problem", r.Problem, "hopeless", r.Permanent)
	}
	// What has happened is written down even if the program ends meanwhile.
	ctx = context.WithoutCancel(ctx)
	s.insist(r.ID, func() error { return s.note(ctx, out, &r) })
	s.insist(r.ID, func() error {
		outcome, err := s.monitor.Reported(ctx, out.SiteID, r)
		if err == nil {
			s.count(outcome, &r)
		}
		return err
	})
}

// insist does what has to be kept of a notice, again if the store does not take
// it.
func (s *Sender) insist(id string, do func() error) {
	const tries = 5
	for range tries {
		err := do()
		if err == nil {
			return
		}
		s.log.Error("what became of a message could not be kept", "notice", id, "error", err)
		time.Sleep(reportAgain)
	}
}

func (s *Sender) count(o alarm.Outcome, r *deliver.Result) {
	s.health.tried(time.Now(), r.Problem, o == alarm.Failed)
	if r.Problem == "" {
		s.Counters.Sent.Add(1)
		return
	}
	s.Counters.Problems.Add(1)
	if o == alarm.Failed {
		s.Counters.GivenUp.Add(1)
	}
}

// Who is named in the audit log for what the program sends.
const Who = "isohaline"

// What such a line of the audit log says was done, and to what.
const (
	action = "send"
	kind   = "alarm"
)

// Subject is what the audit log calls an alarm.
func Subject(alarmID string) string { return kind + "/" + alarmID }

// Sent is the line of the audit log about one attempt: exactly what was sent.
type Sent struct {
	Notice  string    `json:"notice"`
	At      time.Time `json:"at"`
	Person  string    `json:"person"`
	Channel string    `json:"channel"`
	Address string    `json:"address"`
	Subject string    `json:"subject"`
	Text    string    `json:"text"`
	Problem string    `json:"problem,omitempty"`
}

// note writes an attempt into the audit log.
func (s *Sender) note(ctx context.Context, out monitor.Outgoing, r *deliver.Result) error {
	to := out.Notice.Contact
	return s.store.Edit(Who, r.At).Note(ctx, action, kind, monitor.AlarmID(out.SiteID, out.Notice.Alarm), Sent{
		Notice: r.ID, At: r.At, Person: to.Person, Channel: string(to.Channel), Address: to.Address,
		Subject: out.Message.Subject, Text: out.Message.Text, Problem: r.Problem,
	})
}
