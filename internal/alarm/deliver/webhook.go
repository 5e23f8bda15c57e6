package deliver

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"isohaline/internal/alarm"
)

// Webhook is an address that takes messages by HTTP POST.
type Webhook struct {
	URL string
	// Token is sent as a bearer token (RFC 6750); empty: none.
	Token Secret
	// Inside: it may be on this machine or its own network. Without it, whoever
	// may set webhooks up could have this program call what only it can reach.
	Inside  bool
	Timeout time.Duration // of one message; 0: Timeout
}

// Check says what is wrong with the settings, nil if nothing.
func (w *Webhook) Check() error {
	if err := checkURL(w.URL, w.Inside); err != nil {
		return err
	}
	if u, _ := url.Parse(w.URL); u.Scheme == "http" && w.Token != "" && !loopback(u.Hostname()) {
		return fmt.Errorf("url: the token would go to %s in the clear, use https", u.Host)
	}
	return nil
}

// body is what a webhook gets, as JSON.
type body struct {
	ID       string    `json:"id"`
	Person   string    `json:"person"`
	Site     string    `json:"site"`
	Tank     string    `json:"tank,omitempty"`
	Device   string    `json:"device,omitempty"`
	Code     string    `json:"code,omitempty"`
	Priority string    `json:"priority"`
	State    string    `json:"state"`
	Called   time.Time `json:"calledAt,omitzero"`
	Over     bool      `json:"over"`
	Subject  string    `json:"subject"`
	Text     string    `json:"text"`
}

// send posts one message.
func (w *Webhook) send(ctx context.Context, to alarm.Contact, m alarm.Message) error {
	if err := w.Check(); err != nil {
		return hopeless(err)
	}
	content, err := json.Marshal(body{
		ID: m.ID, Person: to.Person, Site: m.Site, Tank: m.Key.Tank, Device: m.Key.Device, Code: string(m.Key.Code),
		Priority: m.Priority.String(), State: m.State.String(), Called: m.Called, Over: m.End, Subject: m.Subject, Text: m.Text,
	})
	if err != nil {
		return hopeless(fmt.Errorf("writing the message: %w", err))
	}
	ctx, cancel := context.WithTimeout(ctx, orDefault(w.Timeout))
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, w.URL, bytes.NewReader(content))
	if err != nil {
		return hopeless(errNoAddress)
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", "isohaline")
	request.Header.Set("Idempotency-Key", strconv.QuoteToASCII(m.ID))
	if w.Token != "" {
		request.Header.Set("Authorization", "Bearer "+string(w.Token))
	}
	return call(request, w.Inside)
}

// judge says what an answer means.
func judge(answer *http.Response, host string) error {
	class := answer.StatusCode / 100
	err := fmt.Errorf("%s answered %s", host, answer.Status)
	switch {
	case class == 2:
		return nil
	case class == 3:
		return hopeless(fmt.Errorf("%w: enter the address it redirects to", err))
	case class == 5, answer.StatusCode == http.StatusRequestTimeout,
		answer.StatusCode == http.StatusTooEarly, answer.StatusCode == http.StatusTooManyRequests:
		return err
	}
	return hopeless(err)
}

// withoutURL takes the address out of an error of package http, because its
// path and query often are the secret.
func withoutURL(err error) error {
	var withURL *url.Error
	if errors.As(err, &withURL) {
		return withURL.Err
	}
	return err
}
