package server

import (
	"crypto/tls"
	"encoding/json"
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"isohaline/internal/server/api"
)

// TestMain lets this machine trust the certificate that httptest keeps for
// 127.0.0.1, so that mail can be sent over TLS as in earnest.
func TestMain(m *testing.M) { os.Exit(trusting(m)) }

func trusting(m *testing.M) int {
	server := httptest.NewTLSServer(nil)
	defer server.Close()
	certificate = server.TLS.Certificates[0]
	dir, err := os.MkdirTemp("", "isohaline-roots-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	roots := filepath.Join(dir, "roots.pem")
	text := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: server.Certificate().Raw})
	if err := os.WriteFile(roots, text, 0o600); err != nil {
		panic(err)
	}
	os.Setenv("SSL_CERT_FILE", roots)
	return m.Run()
}

var certificate tls.Certificate

// mailServer is a real SMTP server in this process. It takes mail over TLS from
// whoever has the password.
type mailServer struct {
	port int

	mu    sync.Mutex
	mails []*mail.Message
	texts []string
	// refusals are the answers to the next RCPT commands.
	refusals []error
}

const mailPassword = "seven old lanterns"

func newMailServer(t *testing.T) *mailServer {
	t.Helper()
	m := &mailServer{}
	server := smtp.NewServer(m)
	server.Domain = "mail.example.org"
	server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{certificate}}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go server.Serve(listener)
	t.Cleanup(func() { server.Close() })
	m.port = listener.Addr().(*net.TCPAddr).Port
	return m
}

func (m *mailServer) NewSession(*smtp.Conn) (smtp.Session, error) { return &mailSession{m: m}, nil }

// refuse makes the server answer the next recipients so.
func (m *mailServer) refuse(answers ...error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.refusals = answers
}

// received is how many mails came, and the last one with its text.
func (m *mailServer) received() (int, *mail.Message, string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	n := len(m.mails)
	if n == 0 {
		return 0, nil, ""
	}
	return n, m.mails[n-1], m.texts[n-1]
}

type mailSession struct {
	m  *mailServer
	in bool
}

func (s *mailSession) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *mailSession) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != "alarms" || password != mailPassword {
			return smtp.ErrAuthFailed
		}
		s.in = true
		return nil
	}), nil
}

func (s *mailSession) Mail(string, *smtp.MailOptions) error {
	if !s.in {
		return smtp.ErrAuthRequired
	}
	return nil
}
func (s *mailSession) Reset()        {}
func (s *mailSession) Logout() error { return nil }

func (s *mailSession) Rcpt(string, *smtp.RcptOptions) error {
	s.m.mu.Lock()
	defer s.m.mu.Unlock()
	if len(s.m.refusals) == 0 {
		return nil
	}
	answer := s.m.refusals[0]
	s.m.refusals = s.m.refusals[1:]
	return answer
}

func (s *mailSession) Data(r io.Reader) error {
	message, err := mail.ReadMessage(r)
	if err != nil {
		return err
	}
	text, err := io.ReadAll(message.Body)
	if err != nil {
		return err
	}
	s.m.mu.Lock()
	defer s.m.mu.Unlock()
	s.m.mails, s.m.texts = append(s.m.mails, message), append(s.m.texts, string(text))
	return nil
}

// busy is an answer that says to try again later, RFC 5321 section 4.2.2; gone
// one for good.
var (
	busy = &smtp.SMTPError{Code: 450, EnhancedCode: smtp.EnhancedCode{4, 2, 0}, Message: "mailbox busy"}
	gone = &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such mailbox"}
)

// hook is a webhook that counts what it gets.
type hook struct {
	*httptest.Server
	mu     sync.Mutex
	bodies []jsonMap
	tokens []string
}

const hookToken, hookPath = "token-of-the-hook", "/secret-part-of-the-address"

func newHook(t *testing.T) *hook {
	h := &hook{}
	h.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.mu.Lock()
		defer h.mu.Unlock()
		if r.URL.Path != hookPath {
			http.Error(w, "nobody here", http.StatusGone)
			return
		}
		var body jsonMap
		json.NewDecoder(r.Body).Decode(&body)
		h.bodies, h.tokens = append(h.bodies, body), append(h.tokens, r.Header.Get("Authorization"))
	}))
	t.Cleanup(h.Close)
	return h
}

func (h *hook) received() (int, jsonMap, string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	n := len(h.bodies)
	if n == 0 {
		return 0, nil, ""
	}
	return n, h.bodies[n-1], h.tokens[n-1]
}

func settingsFor(m *mailServer, h *hook) jsonMap {
	return jsonMap{
		"mail":     jsonMap{"host": "127.0.0.1", "port": m.port, "security": "starttls", "user": "alarms", "password": mailPassword, "from": "alarms@example.org"},
		"webhooks": []jsonMap{{"name": "night desk", "url": h.URL + hookPath, "token": hookToken, "inside": true}, {"name": "closed desk", "url": h.URL + "/closed", "inside": true}},
	}
}

func contact(person, channel, address string) jsonMap {
	return jsonMap{"person": person, "channel": channel, "address": address}
}

func route(rungs ...jsonMap) jsonMap { return jsonMap{"rungs": append([]jsonMap{}, rungs...)} }

func rung(waitS int, contacts ...jsonMap) jsonMap {
	return jsonMap{"waitS": waitS, "contacts": append([]jsonMap{}, contacts...)}
}

// TestAnAlarmReachesPeople: a wet floor goes to the first person by mail, at the
// second try, and when she does not answer to the night desk; everything that
// was sent is listed with the alarm, also after a restart, and no secret is.
func TestAnAlarmReachesPeople(t *testing.T) {
	dir := t.TempDir()
	mails, desk := newMailServer(t), newHook(t)
	var alarmID string
	t.Run("first", func(t *testing.T) {
		h := furnishedIn(t, dir)
		olga := h.as("olga")
		olga.want(http.StatusOK, "PUT", "/api/delivery", settingsFor(mails, desk), nil)
		plan := jsonMap{"critical": route(
			rung(0, contact("Ines", "mail", "ines@example.org"), contact("Old desk", "webhook", "closed desk")),
			rung(300, contact("Night desk", "webhook", "night desk"))),
			"high": route(), "medium": route(), "low": route(), "tellEnd": true, "zone": "Europe/Berlin"}
		var page api.PlanPage
		olga.want(http.StatusOK, "PUT", "/api/sites/here/plan", plan, &page)
		if len(page.Plan.Critical.Rungs) != 2 || page.Plan.Zone != "Europe/Berlin" || !page.HasMail || len(page.Webhooks) != 2 || len(page.People) != 3 {
			t.Fatalf("the plan is shown as %+v", page)
		}
		olga.want(http.StatusConflict, "PUT", "/api/delivery", jsonMap{"webhooks": []jsonMap{}}, nil) // the plan needs them

		mails.refuse(busy)
		h.furnish("here", "reef") // has a wet ceiling, which is not urgent enough for this plan
		var made api.Credentials
		olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Floor"}, &made)
		post(t, h, made, `[{"n":"floor","vb":true}]`, http.StatusOK)
		alarmID = "here:reef::floor-wet"
		eventually(t, "there is an alarm", func() bool { return olga.status("GET", "/api/alarms/"+alarmID+"/notices") == http.StatusOK })
		notices := func() (list []api.Notice) {
			var body struct{ Notices []api.Notice }
			olga.want(http.StatusOK, "GET", "/api/alarms/"+alarmID+"/notices", nil, &body)
			return body.Notices
		}
		eventually(t, "both were tried once", func() bool {
			list := notices()
			return len(list) == 2 && len(list[0].Attempts) == 1 && len(list[1].Attempts) == 1
		})
		for _, n := range notices() {
			want := map[string]string{"mail": "pending", "webhook": "failed"}[n.Contact.Channel]
			if n.Outcome != want || n.Attempts[0].Problem == "" {
				t.Errorf("%s to %s is %s, want %s: %+v", n.Title, n.Contact.Person, n.Outcome, want, n.Attempts)
			}
		}
		if n, _, _ := mails.received(); n != 0 {
			t.Errorf("%d mails came though the mailbox was busy", n)
		}
		h.pass(31 * time.Second)
		eventually(t, "the second try reaches her", func() bool { n, _, _ := mails.received(); return n == 1 })
		_, message, text := mails.received()
		if subject := message.Header.Get("Subject"); subject != "Critical: Here, reef: Water on the floor" || message.Header.Get("To") != "<ines@example.org>" {
			t.Errorf("the mail is %v", message.Header)
		}
		if !strings.Contains(text, "has water on the floor") || !strings.Contains(text, "CET") && !strings.Contains(text, "CEST") {
			t.Errorf("the mail says %q", text)
		}
		if n, _, _ := desk.received(); n != 0 {
			t.Error("the night desk was told too early")
		}
		h.pass(5 * time.Minute)
		eventually(t, "the night desk is told", func() bool { n, _, _ := desk.received(); return n == 1 })
		if _, body, token := desk.received(); body["tank"] != "reef" || body["priority"] != "critical" || token != "Bearer "+hookToken {
			t.Errorf("the desk got %v with %q", body, token)
		}
	})
	t.Run("again", func(t *testing.T) {
		h := openAhead(t, dir, time.Hour)
		olga := h.as("olga")
		var al api.Alarm
		olga.want(http.StatusOK, "POST", "/api/alarms/"+alarmID+"/acknowledge", jsonMap{}, &al)
		if al.Told == nil || *al.Told != (api.Told{Sent: 2, Failed: 1}) {
			t.Errorf("told: %+v", al.Told)
		}
		var list struct{ Notices []api.Notice }
		olga.want(http.StatusOK, "GET", "/api/alarms/"+alarmID+"/notices", nil, &list)
		if len(list.Notices) != 3 {
			t.Fatalf("the notices are %+v", list.Notices)
		}
		for _, n := range list.Notices {
			last := n.Attempts[len(n.Attempts)-1]
			if n.Contact.Person == "Ines" && (len(n.Attempts) != 2 || n.Attempts[0].Problem == "" || last.Problem != "") {
				t.Errorf("her attempts are %+v", n.Attempts)
			}
			if last.Subject != "Critical: Here, reef: Water on the floor" || !strings.Contains(last.Text, "has water on the floor") {
				t.Errorf("what was sent to %s is listed as %+v", n.Contact.Person, last)
			}
		}
		now := time.Now()
		failed := "/api/notices?outcome=failed&from=" + now.Add(-time.Hour).UTC().Format(time.RFC3339) + "&to=" + now.Add(time.Hour).UTC().Format(time.RFC3339)
		h.as("timo").want(http.StatusOK, "GET", failed, nil, &list)
		if len(list.Notices) != 1 || list.Notices[0].Contact.Person != "Old desk" {
			t.Errorf("what failed is listed as %+v", list.Notices)
		}
		before, _, _ := desk.received()
		h.pass(time.Hour)
		if n, _, _ := desk.received(); n != before {
			t.Errorf("the desk was told again after somebody had acknowledged")
		}
		var everything []byte
		for _, path := range []string{"/api/delivery", "/api/sites/here/plan", "/api/audit", "/api/alarms/" + alarmID + "/notices", failed} {
			var text json.RawMessage
			olga.want(http.StatusOK, "GET", path, nil, &text)
			everything = append(everything, text...)
		}
		for _, secret := range []string{mailPassword, hookToken, hookPath} {
			if strings.Contains(string(everything), secret) {
				t.Errorf("%q is shown", secret)
			}
		}
	})
}

// TestTheTestButton says what happened, whatever it was.
func TestTheTestButton(t *testing.T) {
	h := furnished(t)
	mails, desk := newMailServer(t), newHook(t)
	olga := h.as("olga")
	try := func(to jsonMap) api.Tried {
		t.Helper()
		var tried api.Tried
		h.as("timo").want(http.StatusOK, "POST", "/api/delivery/test", jsonMap{"siteId": "here", "contact": to}, &tried)
		return tried
	}
	ines := contact("Ines", "mail", "ines@example.org")
	if tried := try(ines); tried.Delivered || !strings.Contains(tried.Words, "mail is not set up") {
		t.Errorf("without a mail server: %+v", tried)
	}
	olga.want(http.StatusOK, "PUT", "/api/delivery", settingsFor(mails, desk), nil)
	if tried := try(ines); !tried.Delivered {
		t.Errorf("a mail: %+v", tried)
	}
	if _, message, text := mails.received(); message == nil || !strings.Contains(message.Header.Get("Subject"), "Test: Here") || !strings.Contains(text, "Nothing is wrong") {
		t.Errorf("the test mail is %v: %q", message, text)
	}
	mails.refuse(gone)
	if tried := try(ines); tried.Delivered || !strings.Contains(tried.Words, "no such mailbox") {
		t.Errorf("a mailbox that is gone: %+v", tried)
	}
	if tried := try(contact("Desk", "webhook", "night desk")); !tried.Delivered {
		t.Errorf("a webhook: %+v", tried)
	}
	if tried := try(contact("Desk", "webhook", "closed desk")); tried.Delivered || !strings.Contains(tried.Words, "410") {
		t.Errorf("a webhook that is gone: %+v", tried)
	}
	h.as("timo").want(http.StatusUnprocessableEntity, "POST", "/api/delivery/test", jsonMap{"siteId": "elsewhere", "contact": ines}, nil)
}

// TestSecretsStayWhereTheyWereGiven: what is kept is used again where nothing
// else is said, and never for somebody else's server.
func TestSecretsStayWhereTheyWereGiven(t *testing.T) {
	h := furnished(t)
	mails, desk := newMailServer(t), newHook(t)
	olga := h.as("olga")
	var shown api.Delivery
	olga.want(http.StatusOK, "PUT", "/api/delivery", settingsFor(mails, desk), &shown)
	if shown.Mail == nil || !shown.Mail.HasPassword || len(shown.Webhooks) != 2 || !shown.Webhooks[0].HasToken || shown.Webhooks[0].Host == "" {
		t.Fatalf("shown as %+v", shown)
	}
	same := func() jsonMap {
		s := settingsFor(mails, desk)
		delete(s["mail"].(jsonMap), "password")
		hooks := s["webhooks"].([]jsonMap)
		delete(hooks[0], "token")
		delete(hooks[0], "url")
		return s
	}
	olga.want(http.StatusOK, "PUT", "/api/delivery", same(), nil)
	for _, to := range []jsonMap{contact("Ines", "mail", "ines@example.org"), contact("Desk", "webhook", "night desk")} {
		var tried api.Tried
		olga.want(http.StatusOK, "POST", "/api/delivery/test", jsonMap{"contact": to}, &tried)
		if !tried.Delivered {
			t.Errorf("with the secrets that were kept: %+v", tried)
		}
	}
	if _, _, token := desk.received(); token != "Bearer "+hookToken {
		t.Errorf("the token that was kept is %q", token)
	}
	for what, spoil := range map[string]func(jsonMap){
		"another mail server": func(s jsonMap) { s["mail"].(jsonMap)["host"] = "localhost" },
		"another user":        func(s jsonMap) { s["mail"].(jsonMap)["user"] = "somebody" },
		"another address":     func(s jsonMap) { s["webhooks"].([]jsonMap)[0]["url"] = "https://elsewhere.example/x" },
		"no address":          func(s jsonMap) { s["webhooks"].([]jsonMap)[0]["name"] = "new desk" },
		"two of a name":       func(s jsonMap) { s["webhooks"].([]jsonMap)[1]["name"] = "night desk" },
		"a password in clear": func(s jsonMap) {
			m := s["mail"].(jsonMap)
			m["host"], m["password"], m["security"] = "mail.example.org", "x", "none"
		},
	} {
		s := same()
		spoil(s)
		resp := olga.do("PUT", "/api/delivery", s)
		resp.Body.Close()
		if resp.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: got %s", what, resp.Status)
		}
	}
}

// TestPlansThatCannotBe are refused with what is wrong.
func TestPlansThatCannotBe(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	for what, row := range map[string]struct {
		critical jsonMap
		zone     string
	}{
		"nobody on a rung":      {route(rung(0)), ""},
		"waits that fall":       {route(rung(60, contact("A", "mail", "a@example.org")), rung(30, contact("B", "mail", "b@example.org"))), ""},
		"a webhook not set up":  {route(rung(0, contact("A", "webhook", "desk"))), ""},
		"a name for an address": {route(rung(0, contact("A", "mail", "Ada"))), ""},
		"a zone of nowhere":     {route(), "Europe/Atlantis"},
	} {
		var p api.Problem
		olga.want(http.StatusUnprocessableEntity, "PUT", "/api/sites/here/plan",
			jsonMap{"critical": row.critical, "high": route(), "medium": route(), "low": route(), "tellEnd": false, "zone": row.zone}, &p)
		if p.Detail == "" {
			t.Errorf("%s: nothing is said", what)
		}
	}
	h.as("timo").want(http.StatusNotFound, "GET", "/api/sites/elsewhere/plan", nil, nil)
}
