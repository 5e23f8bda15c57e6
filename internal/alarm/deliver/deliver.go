// Package deliver takes the messages that package alarm decides on to people, by
// mail and by webhook. It tries once and says what went wrong; when to try
// again, whom to tell instead and when to give up is decided by alarm.
//
// Every attempt has a time limit. Nothing it returns holds a password, a token
// or the path of a webhook's address, which often is a secret too.
package deliver

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"isohaline/internal/alarm"
)

// Post is the channels that are set up.
type Post struct {
	Mail     *SMTP               // nil: no mail
	Webhooks map[string]*Webhook // by the name that contacts use
}

// Check says what is wrong with the settings, nil if nothing.
func (p *Post) Check() error {
	if p.Mail != nil {
		if err := p.Mail.Check(); err != nil {
			return fmt.Errorf("mail: %w", err)
		}
	}
	for name, hook := range p.Webhooks {
		if err := hook.Check(); err != nil {
			return fmt.Errorf("webhook %q: %w", name, err)
		}
	}
	return nil
}

// Send takes one message to one contact, once.
func (p *Post) Send(ctx context.Context, to alarm.Contact, m alarm.Message) error {
	switch to.Channel {
	case alarm.Mail:
		if p.Mail == nil {
			return hopeless(errors.New("mail is not set up"))
		}
		return p.Mail.send(ctx, to, m)
	case alarm.Webhook:
		hook := p.Webhooks[to.Address]
		if hook == nil {
			return hopeless(fmt.Errorf("there is no webhook %q", to.Address))
		}
		if err := hook.send(ctx, to, m); err != nil {
			return fmt.Errorf("webhook %q: %w", to.Address, err)
		}
		return nil
	}
	return hopeless(fmt.Errorf("channel %q: use %q or %q", to.Channel, alarm.Mail, alarm.Webhook))
}

// Test sends a message that says it is a test, as behind the button for it.
func (p *Post) Test(ctx context.Context, to alarm.Contact, site string, now time.Time) error {
	return p.Send(ctx, to, alarm.Message{
		ID:      fmt.Sprintf("test/%s/%s/%s", to.Channel, to.Address, now.UTC().Format(time.RFC3339Nano)),
		Site:    site,
		Subject: "Test: " + site + ": alarms reach you",
		Text:    fmt.Sprintf("This is a test, asked for at %s.\nNothing is wrong. Alarms for %s reach you this way.\n", now.Format("Mon 2 Jan 15:04 MST"), to.Person),
	})
}

// Outgoing is a notice and its message.
type Outgoing struct {
	Notice  alarm.Notice
	Message alarm.Message
}

// Result is what came of an attempt, as Record.Report takes it.
type Result struct {
	ID        string
	At        time.Time
	Problem   string // "" if the channel took the message
	Permanent bool
}

// atOnce is how many messages travel at the same time, so that one mail server
// that does not answer does not hold up every other message.
const atOnce = 8

// SendAll tries every message once and returns what came of each attempt, in
// the order of the messages. Messages that were not finished when ctx ended have
// no result: they are still pending.
func (p *Post) SendAll(ctx context.Context, all []Outgoing, now func() time.Time) []Result {
	results := make([]Result, len(all))
	var group sync.WaitGroup
	places := make(chan struct{}, atOnce)
	for i, out := range all {
		group.Go(func() {
			places <- struct{}{}
			defer func() { <-places }()
			if ctx.Err() != nil {
				return
			}
			err := p.Send(ctx, out.Notice.Contact, out.Message)
			if err != nil && ctx.Err() != nil {
				return
			}
			results[i] = Result{ID: out.Notice.ID, At: now(), Permanent: Permanent(err)}
			if err != nil {
				results[i].Problem = err.Error()
			}
		})
	}
	group.Wait()
	finished := results[:0]
	for _, r := range results {
		if r.ID != "" {
			finished = append(finished, r)
		}
	}
	return finished
}

// permanentError is a failure that trying again cannot mend.
type permanentError struct{ error }

func (e permanentError) Unwrap() error { return e.error }

func hopeless(err error) error { return permanentError{err} }

// Permanent says whether trying again is useless: the mailbox or the address is
// refused for good, or the channel is not set up.
func Permanent(err error) bool {
	var h permanentError
	return errors.As(err, &h)
}

// Timeout is the time limit of one attempt where the settings name none; common
// practice, no source.
const Timeout = 30 * time.Second

func orDefault(d time.Duration) time.Duration {
	if d <= 0 {
		return Timeout
	}
	return d
}
