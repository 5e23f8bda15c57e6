package deliver

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"
)

// Address is one that is called by HTTP to say that this program lives. The same
// rules hold for it as for a webhook's.
type Address struct {
	URL string
	// Method is http.MethodGet or http.MethodPost.
	Method string
	// Inside: it may be on this machine or its own network.
	Inside  bool
	Timeout time.Duration // 0: Timeout
}

// Check says what is wrong with the address, nil if nothing.
func (a *Address) Check() error {
	if a.Method != http.MethodGet && a.Method != http.MethodPost {
		return fmt.Errorf("method %q, use GET or POST", a.Method)
	}
	return checkURL(a.URL, a.Inside)
}

// checkURL says what is wrong with an address to call, nil if nothing.
func checkURL(address string, inside bool) error {
	u, err := url.Parse(address)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http":
		return errNoAddress
	case !inside && plainlyInside(u.Hostname()):
		return fmt.Errorf("url: %s %w", u.Host, errInside)
	}
	return nil
}

var errNoAddress = errors.New("url is no web address, use one that begins with https://")

// Ping calls the address once. The error holds neither its path nor its query,
// which often are the secret.
func (a *Address) Ping(ctx context.Context) error {
	if err := a.Check(); err != nil {
		return hopeless(err)
	}
	ctx, cancel := context.WithTimeout(ctx, orDefault(a.Timeout))
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, a.Method, a.URL, nil)
	if err != nil {
		return hopeless(errNoAddress)
	}
	request.Header.Set("User-Agent", "isohaline")
	return call(request, a.Inside)
}

// call sends a request and judges the answer. A redirect is not followed: it would
// take what is sent to an address nobody entered.
func call(request *http.Request, inside bool) error {
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	if !inside {
		var err error
		if client.Transport, err = toOutside(request); err != nil {
			return err
		}
	}
	answer, err := client.Do(request)
	if errors.Is(err, errInside) {
		return hopeless(fmt.Errorf("%s %w", request.URL.Host, errInside))
	}
	if err != nil {
		return fmt.Errorf("calling %s: %w", request.URL.Host, withoutURL(err))
	}
	defer answer.Body.Close()
	const enough = 64 << 10 // so that the connection can be used again
	_, _ = io.CopyN(io.Discard, answer.Body, enough)
	return judge(answer, request.URL.Host)
}
