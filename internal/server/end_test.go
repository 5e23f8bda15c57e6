package server

import (
	"context"
	"net/http"
	"testing"

	"isohaline/internal/server/api"
)

// TestTheEnd: the service ends in order while a browser looks on, and answers
// nobody any more.
func TestTheEnd(t *testing.T) {
	s, err := Open(t.Context(), Options{Dir: t.TempDir(), HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Cost: cheap})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	h := &house{Server: s, t: t}
	b := h.nobody()
	b.want(http.StatusOK, "POST", "/api/first-run", jsonMap{"token": s.Token, "name": "ada", "password": password}, nil)
	looking := b.follow("view=rounds")
	var first api.RoundsEvent
	looking.await(t, "rounds", &first, func() bool { return true })
	b.want(http.StatusOK, "GET", "/healthz", nil, nil)

	stop()
	for looking.lines.Scan() {
	}
	if err := looking.lines.Err(); err != nil {
		t.Errorf("the live updates did not end well: %v", err)
	}
	if err := <-done; err != nil {
		t.Errorf("Run ended with %v", err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("Close: %v", err)
	}
	if resp, err := b.client.Get(s.Address() + "/healthz"); err == nil {
		resp.Body.Close()
		t.Errorf("after the end somebody answers: %s", resp.Status)
	}
}

// TestHealth: a service whose store does not answer is not well.
func TestHealth(t *testing.T) {
	h := open(t, t.TempDir())
	b := h.nobody()
	b.want(http.StatusOK, "GET", "/healthz", nil, nil)
	if err := h.Store.Close(); err != nil {
		t.Fatal(err)
	}
	b.want(http.StatusServiceUnavailable, "GET", "/healthz", nil, nil)
}
