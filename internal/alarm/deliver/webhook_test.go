package deliver_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
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

// hookTo is a post with one webhook at an address, which is this machine's.
func hookTo(url string) *deliver.Post {
	return &deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: url + secretPath, Token: token, Inside: true, Timeout: 5 * time.Second}}}
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
		if (err == nil) != row.taken || deliver.Permanent(err) != row.hopeless {
			t.Errorf("%d: %v, hopeless %v", row.status, err, deliver.Permanent(err))
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
		if err == nil || deliver.Permanent(err) {
			t.Fatalf("%s: %v, hopeless %v", name, err, deliver.Permanent(err))
		}
		noSecrets(t, err.Error())
	}
}

func TestWebhookCheck(t *testing.T) {
	const inside, outside = true, false
	for _, row := range []struct {
		url    string
		token  deliver.Secret
		inside bool
		want   string
	}{
		{"https://example.org/x", "t", outside, ""},
		{"http://example.org/x", "", outside, ""},
		{"http://localhost:8080/x", "t", inside, ""},
		{"http://127.0.0.1/x", "t", inside, ""},
		{"http://192.168.1.4/x", "", inside, ""},
		{"http://example.org/x", "t", outside, "in the clear"},
		{"ftp://example.org", "", outside, "no web address"},
		{"https://", "", outside, "no web address"},
		{"https://exa mple", "", outside, "no web address"},
		{"", "", outside, "no web address"},
		{"http://localhost:8080/x", "t", outside, "is this machine or its own network"},
		{"http://127.0.0.1/x", "t", outside, "is this machine or its own network"},
		{"http://192.168.1.4:8123/x", "", outside, "192.168.1.4:8123 is this machine or its own network"},
		{"https://[::1]/x", "", outside, "is this machine or its own network"},
		{"https://[fd00::7]/x", "", outside, "is this machine or its own network"},
	} {
		err := (&deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: row.url, Token: row.token, Inside: row.inside}}}).Check()
		if row.want == "" && err != nil || row.want != "" && (err == nil || !strings.Contains(err.Error(), row.want)) {
			t.Errorf("%q: %v, want %q", row.url, err, row.want)
		}
		if row.want == "" {
			continue
		}
		err = (&deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: row.url, Token: row.token, Inside: row.inside}}}).Send(t.Context(), desk, wet)
		if !deliver.Permanent(err) {
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
		if !deliver.Permanent(err) || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%v: %v, want %q", row.to, err, row.want)
		}
	}
}

// TestWebhookStaysOutside: what is not allowed to be near by is not called there,
// also where it is a name that says nothing of where it leads.
func TestWebhookStaysOutside(t *testing.T) {
	var called atomic.Int64
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called.Add(1) }))
	defer server.Close()
	answerWith(t, [4]byte{127, 0, 0, 1})
	_, port, _ := strings.Cut(strings.TrimPrefix(server.URL, "http://"), ":")
	post := &deliver.Post{Webhooks: map[string]*deliver.Webhook{"desk": {URL: "http://desk.example.org:" + port, Timeout: 5 * time.Second}}}
	if err := post.Check(); err != nil {
		t.Fatalf("the name gives itself away: %v", err)
	}
	err := post.Send(t.Context(), desk, wet)
	if err == nil || !deliver.Permanent(err) || !strings.Contains(err.Error(), "is this machine or its own network") || called.Load() != 0 {
		t.Errorf("%v, hopeless %v, called %d times", err, deliver.Permanent(err), called.Load())
	}
	post.Webhooks["desk"].Inside = true
	if err := post.Send(t.Context(), desk, wet); err != nil || called.Load() != 1 {
		t.Errorf("allowed: %v, called %d times", err, called.Load())
	}
}

// answerWith makes every name lead to one address, by a name server in this
// process.
func answerWith(t *testing.T, address [4]byte) {
	t.Helper()
	server, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	before := net.DefaultResolver
	net.DefaultResolver = &net.Resolver{PreferGo: true, Dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "udp", server.LocalAddr().String())
	}}
	t.Cleanup(func() { net.DefaultResolver = before; server.Close() })
	go func() {
		buffer := make([]byte, 512)
		for {
			n, from, err := server.ReadFrom(buffer)
			if err != nil {
				return
			}
			// RFC 1035, section 4: the header, the question again, and an answer
			// if the question is for an A record.
			const header, afterName, isA = 12, 4, 1
			end := header + bytes.IndexByte(buffer[header:n], 0) + 1 + afterName
			answer := bytes.Clone(buffer[:end])
			copy(answer[2:header], []byte{0x80, 0, 0, 1, 0, 0, 0, 0, 0, 0})
			if answer[end-afterName+1] == isA {
				answer[7] = 1
				answer = append(answer, 0xc0, header, 0, isA, 0, 1, 0, 0, 0, 60, 0, 4)
				answer = append(answer, address[:]...)
			}
			_, _ = server.WriteTo(answer, from)
		}
	}()
}

// TestPublic: addresses of IANA's special-purpose address registries for IPv4 and
// IPv6 (RFC 6890), whose column "globally reachable" is false, are not out in the
// world; from memory, but for the blocks that RFC 6890 prints.
func TestPublic(t *testing.T) {
	for address, want := range map[string]bool{
		"8.8.8.8": true, "203.0.112.255": true, "100.63.255.255": true, "100.128.0.0": true, "172.15.0.1": true, "172.32.0.1": true,
		"2606:4700::1111": true, "2a00::1": true, "::ffff:8.8.8.8": true, "198.17.255.255": true, "198.20.0.0": true, "2003::1": true,

		"0.0.0.0": false, "0.1.2.3": false, "10.0.0.1": false, "100.64.0.1": false, "100.127.255.255": false, "127.0.0.1": false, "127.255.0.1": false,
		"169.254.169.254": false, "172.16.0.1": false, "172.31.255.255": false, "192.0.0.8": false, "192.0.2.1": false, "192.168.0.1": false,
		"198.18.0.1": false, "198.19.255.255": false, "198.51.100.7": false, "203.0.113.7": false, "224.0.0.1": false, "240.0.0.1": false, "255.255.255.255": false,
		"::": false, "::1": false, "::ffff:127.0.0.1": false, "::ffff:10.0.0.1": false, "::7f00:1": false, "64:ff9b::7f00:1": false, "64:ff9b:1::1": false,
		"100::1": false, "2001::1": false, "2001:db8::1": false, "2002:7f00:1::": false, "fc00::1": false, "fd12::1": false, "fe80::1": false, "fe80::1%eth0": false, "ff02::1": false,
	} {
		if got := deliver.Public(netip.MustParseAddr(address)); got != want {
			t.Errorf("%s: public %v, want %v", address, got, want)
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
	post.Webhooks["slow"] = &deliver.Webhook{URL: hangs.URL, Inside: true, Timeout: 100 * time.Millisecond}
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
		if r.ID != fmt.Sprint(i) || !r.At.Equal(at) || (r.Problem == "") != taken || r.Permanent != lost {
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
