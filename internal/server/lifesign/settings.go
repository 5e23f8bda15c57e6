package lifesign

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/store"
)

// Settings say where signs of life go. The zero value sends none.
type Settings struct {
	// URL is called every so often; empty: no address is.
	URL    deliver.Secret
	Method string // GET or POST; empty: GET
	Every  time.Duration
	// Inside: it may be on this machine or its own network.
	Inside bool
	// Daily is the message of each day; nil: none.
	Daily *Daily
}

// Daily says once a day that the service works.
type Daily struct {
	// At is the time of day, like 07:30, in Zone, an IANA name; empty: UTC.
	At, Zone string
	To       alarm.Contact
}

// The interval between signals. Judgements: whoever waits for them elsewhere waits
// for a few intervals, and a minute is soon enough for water.
const (
	ShortestEvery = 30 * time.Second
	LongestEvery  = 24 * time.Hour
	UsualEvery    = 5 * time.Minute
)

// Check says what is wrong with the settings, nil if nothing.
func (s *Settings) Check() error {
	if s.URL != "" {
		if err := s.address().Check(); err != nil {
			return err
		}
		if s.Every < ShortestEvery || s.Every > LongestEvery {
			return fmt.Errorf("interval: %v cannot be, give %v to %v", s.Every, ShortestEvery, LongestEvery)
		}
	}
	if s.Daily == nil {
		return nil
	}
	if _, _, err := s.Daily.due(time.Now()); err != nil {
		return err
	}
	switch s.Daily.To.Channel {
	case alarm.Mail, alarm.Webhook:
	default:
		return fmt.Errorf("daily: channel %q, use %q or %q", s.Daily.To.Channel, alarm.Mail, alarm.Webhook)
	}
	if s.Daily.To.Address == "" {
		return errors.New("daily: nobody is named, give a mail address or a webhook")
	}
	return nil
}

func (s *Settings) address() *deliver.Address {
	method := s.Method
	if method == "" {
		method = http.MethodGet
	}
	return &deliver.Address{URL: string(s.URL), Method: method, Inside: s.Inside, Timeout: callTimeout}
}

// due is when the message of the day that now is in is to be sent, and the name of
// that day.
func (d *Daily) due(now time.Time) (at time.Time, day string, err error) {
	const clock, date = "15:04", "2006-01-02"
	zone, err := time.LoadLocation(d.Zone)
	if err != nil {
		return at, "", fmt.Errorf("daily: zone %q is not known, use a name like Europe/Berlin, or none for UTC", d.Zone)
	}
	t, err := time.Parse(clock, d.At)
	if err != nil {
		return at, "", fmt.Errorf("daily: time %q cannot be, give one like 07:30", d.At)
	}
	here := now.In(zone)
	at = time.Date(here.Year(), here.Month(), here.Day(), t.Hour(), t.Minute(), 0, 0, zone)
	return at, at.Format(date), nil
}

// What the store keeps under which name: the settings, and the day of the last
// daily message.
const (
	settingName = "sign-of-life"
	dayName     = "sign-of-life.day"
)

// kept are the settings as the store keeps them: the address is written out there,
// because it has to be called.
type kept struct {
	URL, Method string
	Every       time.Duration
	Inside      bool
	Daily       *Daily
}

func (s *Settings) kept() kept {
	return kept{string(s.URL), s.Method, s.Every, s.Inside, s.Daily}
}

func recall(ctx context.Context, s *store.Store) (Settings, string, error) {
	var k kept
	var day string
	for name, into := range map[string]any{settingName: &k, dayName: &day} {
		if err := s.Setting(ctx, name, into); err != nil && !errors.Is(err, store.ErrNotFound) {
			return Settings{}, "", fmt.Errorf("reading where signs of life go: %w", err)
		}
	}
	return Settings{deliver.Secret(k.URL), k.Method, k.Every, k.Inside, k.Daily}, day, nil
}
