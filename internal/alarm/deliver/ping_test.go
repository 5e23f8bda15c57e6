package deliver_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"isohaline/internal/alarm/deliver"
)

// TestPing: an address is called by its method, once, without following where it
// leads; what it says is judged as a webhook's answer is, and its path is in no error.
func TestPing(t *testing.T) {
	var got []string
	status := http.StatusNoContent
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got = append(got, r.Method+" "+r.URL.Path)
		w.Header().Set("Location", "/elsewhere")
		w.WriteHeader(status)
	}))
	defer server.Close()
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		a := deliver.Address{URL: server.URL + secretPath, Method: method, Inside: true, Timeout: 5 * time.Second}
		for _, c := range []struct {
			status            int
			taken, isHopeless bool
		}{
			{http.StatusNoContent, true, false}, {http.StatusOK, true, false}, {http.StatusFound, false, true},
			{http.StatusNotFound, false, true}, {http.StatusBadGateway, false, false},
		} {
			got, status = nil, c.status
			err := a.Ping(t.Context())
			if (err == nil) != c.taken || deliver.Permanent(err) != c.isHopeless {
				t.Errorf("%s answered with %d: %v", method, c.status, err)
			}
			if len(got) != 1 || got[0] != method+" "+secretPath {
				t.Errorf("it was asked %v", got)
			}
			if err != nil && strings.Contains(err.Error(), secretPath) {
				t.Errorf("the error tells the secret: %v", err)
			}
		}
	}
	server.Close()
	a := deliver.Address{URL: server.URL + secretPath, Method: http.MethodGet, Inside: true}
	if err := a.Ping(t.Context()); err == nil || deliver.Permanent(err) || strings.Contains(err.Error(), secretPath) {
		t.Errorf("nobody there: %v", err)
	}
}

// TestPingOutside: without leave only public addresses are called, whatever a name
// leads to, and methods are the two.
func TestPingOutside(t *testing.T) {
	called := false
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called = true }))
	defer server.Close()
	for url, says := range map[string]string{
		server.URL:               "its own network",
		"http://localhost:1/x":   "its own network",
		"http://10.0.0.1/x":      "its own network",
		"https:///x":             "no web address",
		"file:///etc/hostname":   "no web address",
		"https://example.org/\n": "no web address",
	} {
		a := deliver.Address{URL: url, Method: http.MethodGet}
		if err := a.Ping(t.Context()); err == nil || !deliver.Permanent(err) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", url, err, says)
		}
	}
	if a := (deliver.Address{URL: "https://example.org/x", Method: "DELETE"}); a.Check() == nil {
		t.Error("any method will do")
	}
	if called {
		t.Error("this machine was called")
	}
}
