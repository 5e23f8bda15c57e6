package alarm

import (
	"fmt"
	"time"
)

// Channel is a way a message travels.
type Channel string

const (
	Mail    Channel = "mail"    // Address is a mail address
	Webhook Channel = "webhook" // Address names a webhook of the delivery settings
)

// Contact is one person on one channel.
type Contact struct {
	Person  string
	Channel Channel
	Address string
}

// Rung is who is told once an alarm has called for Wait without an
// acknowledgement.
type Rung struct {
	Wait     time.Duration
	Contacts []Contact
}

// Route is how an alarm of one priority climbs from person to person. With
// Rounds above 1 the whole climb begins again after Repeat.
type Route struct {
	Rungs  []Rung
	Repeat time.Duration
	Rounds int // 0 is read as 1
}

// Plan is who is told when. A priority without rungs takes the route of the one
// below it, so that nothing urgent goes untold; with none there either, the
// screen alone shows it.
type Plan struct {
	Critical, High, Medium, Low Route
	// TellEnd also tells those who were told when it is over.
	TellEnd bool
}

// Own is the route written for a priority from Low to Critical.
func (p *Plan) Own(of Priority) *Route {
	return [...]*Route{Low: &p.Low, Medium: &p.Medium, High: &p.High, Critical: &p.Critical}[of]
}

// route is the route that alarms of a priority take, nil for none.
func (p *Plan) route(of Priority) *Route {
	for ; of >= Low; of-- {
		if r := p.Own(of); len(r.Rungs) > 0 {
			return r
		}
	}
	return nil
}

// The limits of a plan. Common practice, no source; with them one occurrence of
// one alarm makes at most maxRounds·maxRungs·maxContacts messages.
const (
	maxRungs    = 8
	maxContacts = 8
	maxRounds   = 12
	maxWait     = 24 * time.Hour
	maxRepeat   = 7 * 24 * time.Hour
)

// Check says what is wrong with a plan, nil if nothing.
func (p *Plan) Check() error {
	for priority := Low; priority <= Critical; priority++ {
		if err := p.Own(priority).check(); err != nil {
			return fmt.Errorf("plan for %v alarms: %w", priority, err)
		}
	}
	return nil
}

func (r *Route) check() error {
	if len(r.Rungs) > maxRungs {
		return fmt.Errorf("%d rungs, use at most %d", len(r.Rungs), maxRungs)
	}
	if r.Rounds < 0 || r.Rounds > maxRounds {
		return fmt.Errorf("%d rounds, use 1 to %d", r.Rounds, maxRounds)
	}
	var last time.Duration
	for i, rung := range r.Rungs {
		switch {
		case rung.Wait < 0 || rung.Wait > maxWait:
			return fmt.Errorf("rung %d: wait %v, use 0 to %v", i+1, rung.Wait, maxWait)
		case i > 0 && rung.Wait <= last:
			return fmt.Errorf("rung %d: wait %v is not after the %v of the rung before it, use more", i+1, rung.Wait, last)
		case len(rung.Contacts) == 0:
			return fmt.Errorf("rung %d: nobody to tell, name a contact or drop the rung", i+1)
		case len(rung.Contacts) > maxContacts:
			return fmt.Errorf("rung %d: %d contacts, use at most %d", i+1, len(rung.Contacts), maxContacts)
		}
		for j, c := range rung.Contacts {
			if err := c.check(); err != nil {
				return fmt.Errorf("rung %d, contact %d: %w", i+1, j+1, err)
			}
			for _, other := range rung.Contacts[:j] {
				if c == other {
					return fmt.Errorf("rung %d: %s is there twice, drop one", i+1, c.Person)
				}
			}
		}
		last = rung.Wait
	}
	if r.Rounds > 1 && (r.Repeat <= last || r.Repeat > maxRepeat) {
		return fmt.Errorf("repeat %v, use more than the last wait of %v and at most %v", r.Repeat, last, maxRepeat)
	}
	return nil
}

func (c *Contact) check() error {
	switch {
	case c.Person == "":
		return fmt.Errorf("person is empty, say who it is")
	case c.Channel != Mail && c.Channel != Webhook:
		return fmt.Errorf("channel %q, use %q or %q", c.Channel, Mail, Webhook)
	case c.Address == "":
		return fmt.Errorf("address of %s is empty, give one", c.Person)
	}
	return nil
}

// A message that could not be delivered is tried again after retryFirst, then
// after twice as long each time but never longer than retryLongest, and given
// up after maxAttempts: about a quarter of an hour in all. Common practice, no
// source.
const (
	retryFirst   = 30 * time.Second
	retryLongest = 5 * time.Minute
	maxAttempts  = 6
)

// Backoff is the wait after a number of failed attempts, at least one.
func Backoff(failed int) time.Duration {
	wait := retryFirst
	for range failed - 1 {
		wait = min(2*wait, retryLongest)
	}
	return wait
}
