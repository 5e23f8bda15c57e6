package deliver_test

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
)

var desk = alarm.Contact{Person: "Night desk", Channel: alarm.Webhook, Address: "desk"}

const (
	token      = "salt-and-water"
	secretPath = "/hooks/5e2c"
)

// hookTo is a post with one webhook at an address.
func hookTo(url string) *deliver.Post {
	return &deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: url + secretPath, Token: token, Timeout: 5 * time.Second}}}
}

func TestWebhook(t *testing.T) {
	var got *http.Request
	var content map[string]any
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got = r
		if err := json.NewDecoder(r.Body).Decode(&content); err != nil {
			t.Error(err)
		}
		w.WriteHeader(http.StatusAccepted)
	}))
	defer server.Close()
	m := wet
	m.Called = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	if err := hookTo(server.URL).Send(t.Context(), desk, m); err != nil {
		t.Fatal(err)
	}
	for header, want := range map[string]string{
		"Content-Type": "application/json", "Authorization": "Bearer " + token, "Idempotency-Key": `"` + wet.ID + `"`,
	} {
		if got.Method != http.MethodPost || got.URL.Path != secretPath || got.Header.Get(header) != want {
			t.Errorf("%s %s, %s: %q, want %q", got.Method, got.URL, header, got.Header.Get(header), want)
		}
	}
	for field, want := range map[string]any{
		"id": wet.ID, "person": "Night desk", "site": "Harbour house", "tank": "lobby", "code": "floor-wet",
		"priority": "critical", "state": "unacknowledged", "over": false, "calledAt": "2026-03-02T08:00:00Z",
		"subject": wet.Subject, "text": wet.Text,
	} {
		if content[field] != want {
			t.Errorf("%s: %v, want %v", field, content[field], want)
		}
	}
}

// TestWebhookAnswers: what each kind of answer means. The codes are those of RFC
// 9110; 425 is of RFC 8470, 429 of RFC 6585.
func TestWebhookAnswers(t *testing.T) {
	for _, row := range []struct {
		status          int
		taken, hopeless bool
	}{
		{200, true, false}, {204, true, false}, {299, true, false},
		{301, false, true}, {307, false, true},
		{400, false, true}, {401, false, true}, {404, false, true}, {410, false, true},
		{408, false, false}, {425, false, false}, {429, false, false},
		{500, false, false}, {503, false, false},
	} {
		var elsewhere atomic.Int32
		other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			if row.status/100 == 3 {
				w.Header().Set("Location", other.URL)
			}
			w.WriteHeader(row.status)
		}))
		err := hookTo(server.URL).Send(t.Context(), desk, wet)
		if (err == nil) != row.taken || deliver.Hopeless(err) != row.hopeless {
			t.Errorf("%d: %v, hopeless %v", row.status, err, deliver.Hopeless(err))
		}
		if err != nil {
			noSecrets(t, err.Error())
		}
		if elsewhere.Load() > 0 {
			t.Errorf("%d: the redirect was followed", row.status)
		}
		server.Close()
		other.Close()
	}
}

// noSecrets fails if a text shows what must stay hidden.
func noSecrets(t *testing.T, text string) {
	t.Helper()
	for _, secret := range []string{token, secretPath, "5e2c", password} {
		if strings.Contains(text, secret) {
			t.Errorf("%q shows the secret %q", text, secret)
		}
	}
}

// TestWebhookUnreachable: nobody there, or nobody who answers in time, is worth
// another try, and the error does not show the address's path.
func TestWebhookUnreachable(t *testing.T) {
	release := make(chan struct{})
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-release }))
	defer server.Close()
	defer close(release)
	hangs := hookTo(server.URL)
	hangs.Webhooks["desk"].Timeout = 50 * time.Millisecond
	for name, post := range map[string]*deliver.Post{
		"nobody listens": hookTo(fmt.Sprintf("http://127.0.0.1:%d", closedPort(t))),
		"hangs":          hangs,
	} {
		err := post.Send(t.Context(), desk, wet)
		if err == nil || deliver.Hopeless(err) {
			t.Fatalf("%s: %v, hopeless %v", name, err, deliver.Hopeless(err))
		}
		noSecrets(t, err.Error())
	}
}

func TestWebhookCheck(t *testing.T) {
	for _, row := range []struct {
		url   string
		token deliver.Secret
		want  string
	}{
		{"https://example.org/x", "t", ""},
		{"http://example.org/x", "", ""},
		{"http://localhost:8080/x", "t", ""},
		{"http://127.0.0.1/x", "t", ""},
		{"http://example.org/x", "t", "in the clear"},
		{"ftp://example.org", "", "no web address"},
		{"https://", "", "no web address"},
		{"https://exa mple", "", "no web address"},
		{"", "", "no web address"},
	} {
		err := (&deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: row.url, Token: row.token}}}).Check()
		if row.want == "" && err != nil || row.want != "" && (err == nil || !strings.Contains(err.Error(), row.want)) {
			t.Errorf("%q: %v, want %q", row.url, err, row.want)
		}
		if row.want == "" {
			continue
		}
		err = (&deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: row.url, Token: row.token}}}).Send(t.Context(), desk, wet)
		if !deliver.Hopeless(err) {
			t.Errorf("%q: sending: %v", row.url, err)
		}
	}
}

// TestNotSetUp: a channel that is missing is said, and is hopeless.
func TestNotSetUp(t *testing.T) {
	for _, row := range []struct {
		to   alarm.Contact
		want string
	}{
		{ines, "mail is not set up"},
		{desk, `no webhook "desk"`},
		{alarm.Contact{Channel: "pigeon"}, `channel "pigeon"`},
	} {
		err := (&deliver.Post{}).Send(t.Context(), row.to, wet)
		if !deliver.Hopeless(err) || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%v: %v, want %q", row.to, err, row.want)
		}
	}
}

// TestTestMessage: it says that it is a test and names the person.
func TestTestMessage(t *testing.T) {
	var content map[string]any
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_ = json.NewDecoder(r.Body).Decode(&content)
	}))
	defer server.Close()
	if err := hookTo(server.URL).Test(t.Context(), desk, "Harbour house", time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	if content["subject"] != "Test: Harbour house: alarms reach you" || !strings.Contains(fmt.Sprint(content["text"]), "Night desk") {
		t.Errorf("got %v", content)
	}
}

// TestSendAll: one server that hangs does not hold up the others, every message
// has its result, in order.
func TestSendAll(t *testing.T) {
	release := make(chan struct{})
	hangs := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-release }))
	defer hangs.Close()
	works := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	defer works.Close()
	post := hookTo(works.URL)
	post.Webhooks["slow"] = &deliver.Webhook{URL: hangs.URL, Timeout: 100 * time.Millisecond}
	var all []deliver.Outgoing
	for i, address := range []string{"slow", "desk", "nowhere", "desk", "slow"} {
		all = append(all, deliver.Outgoing{Notice: alarm.Notice{
			ID: fmt.Sprint(i), Contact: alarm.Contact{Channel: alarm.Webhook, Address: address},
		}})
	}
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	results := post.SendAll(t.Context(), all, func() time.Time { return at })
	close(release)
	if len(results) != len(all) {
		t.Fatalf("%d results, want %d", len(results), len(all))
	}
	for i, r := range results {
		taken, lost := i == 1 || i == 3, i == 2
		if r.ID != fmt.Sprint(i) || !r.At.Equal(at) || (r.Problem == "") != taken || r.Hopeless != lost {
			t.Errorf("result %d: %+v", i, r)
		}
	}
}

// TestSendAllStopped: what a shutdown interrupts has no result and stays
// pending.
func TestSendAllStopped(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	release := make(chan struct{})
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { stop(); <-release }))
	defer server.Close()
	defer close(release)
	var all []deliver.Outgoing
	for i := range 20 {
		all = append(all, deliver.Outgoing{Notice: alarm.Notice{ID: fmt.Sprint(i), Contact: desk}})
	}
	if results := hookTo(server.URL).SendAll(ctx, all, time.Now); len(results) != 0 {
		t.Errorf("results after a shutdown: %+v", results)
	}
}

// TestSecretsStayHidden in every usual way of writing a value.
func TestSecretsStayHidden(t *testing.T) {
	post := hookTo("https://example.org")
	post.Mail = &deliver.SMTP{Password: password}
	hook, server := *post.Webhooks["desk"], *post.Mail
	hook.URL = "" // which is shown to whoever may edit the settings
	var log strings.Builder
	slog.New(slog.NewJSONHandler(&log, nil)).Info("settings", "mail", server, "hook", hook, "token", hook.Token)
	slog.New(slog.NewTextHandler(&log, nil)).Info("settings", "mail", server, "hook", hook, "token", hook.Token)
	text, err := json.Marshal([]any{hook, server})
	if err != nil {
		t.Fatal(err)
	}
	for _, written := range []string{
		fmt.Sprint(hook, server), fmt.Sprintf("%v %+v %#v", hook, hook, hook), fmt.Sprintf("%v %+v %#v %s %q", server, server, server, server.Password, server.Password),
		log.String(), string(text),
	} {
		noSecrets(t, written)
		if !strings.Contains(written, "[hidden]") {
			t.Errorf("%s shows nothing at all", written)
		}
	}
}
