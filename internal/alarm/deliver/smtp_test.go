package deliver_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"net"
	"net/http/httptest"
	"net/mail"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/freeport"
)

// mailServer is a real SMTP server in this process, with a certificate for
// 127.0.0.1.
type mailServer struct {
	host  string
	port  int
	roots *x509.CertPool

	mu     sync.Mutex
	mails  []*mail.Message
	bodies []string
	users  []string
	refuse error // what RCPT answers
}

const password = "the tide is out"

// certificate borrows the one that httptest keeps for 127.0.0.1.
func certificate(t *testing.T) (tls.Certificate, *x509.CertPool) {
	server := httptest.NewTLSServer(nil)
	defer server.Close()
	roots := x509.NewCertPool()
	roots.AddCert(server.Certificate())
	return server.TLS.Certificates[0], roots
}

func newMailServer(t *testing.T, security deliver.Security) *mailServer {
	t.Helper()
	own, roots := certificate(t)
	m := &mailServer{roots: roots}
	server := smtp.NewServer(m)
	server.Domain = "mail.example.org"
	server.AllowInsecureAuth = security == deliver.Plain
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	config := &tls.Config{Certificates: []tls.Certificate{own}}
	switch security {
	case deliver.TLS:
		listener = tls.NewListener(listener, config)
	case deliver.StartTLS:
		server.TLSConfig = config
	}
	go server.Serve(listener)
	t.Cleanup(func() { server.Close() })
	address := listener.Addr().(*net.TCPAddr)
	m.host, m.port = "127.0.0.1", address.Port
	return m
}

// settings are those that reach the server.
func (m *mailServer) settings(security deliver.Security) *deliver.SMTP {
	return &deliver.SMTP{
		Host: m.host, Port: m.port, Security: security, User: "alarms", Password: password,
		From: "Isohaline <alarms@example.org>", RootCAs: m.roots, Timeout: 5 * time.Second,
	}
}

func (m *mailServer) NewSession(*smtp.Conn) (smtp.Session, error) {
	return &mailSession{server: m}, nil
}

// mailSession is one connection.
type mailSession struct{ server *mailServer }

func (s *mailSession) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *mailSession) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, given string) error {
		if given != password {
			return smtp.ErrAuthFailed
		}
		s.server.mu.Lock()
		defer s.server.mu.Unlock()
		s.server.users = append(s.server.users, user)
		return nil
	}), nil
}

func (s *mailSession) Mail(string, *smtp.MailOptions) error { return nil }
func (s *mailSession) Reset()                               {}
func (s *mailSession) Logout() error                        { return nil }

func (s *mailSession) Rcpt(string, *smtp.RcptOptions) error {
	s.server.mu.Lock()
	defer s.server.mu.Unlock()
	return s.server.refuse
}

func (s *mailSession) Data(r io.Reader) error {
	m, err := mail.ReadMessage(r)
	if err != nil {
		return err
	}
	text, err := io.ReadAll(m.Body)
	if err != nil {
		return err
	}
	s.server.mu.Lock()
	defer s.server.mu.Unlock()
	s.server.mails = append(s.server.mails, m)
	s.server.bodies = append(s.server.bodies, string(text))
	return nil
}

var ines = alarm.Contact{Person: "Ines", Channel: alarm.Mail, Address: "ines@example.org"}

var wet = alarm.Message{
	ID: "lobby//floor-wet/1", Site: "Harbour house", Key: alarm.Key{Code: alarm.FloorWet, Tank: "lobby"},
	Priority: alarm.Critical, State: alarm.Unacknowledged,
	Subject: "Critical: Harbour house, lobby: Water on the floor", Text: "Water on the floor.\nSwitch off first.\n",
}

// TestMail in every kind of protection, with authentication: headers, body and
// an ID that is the same when sent again.
func TestMail(t *testing.T) {
	for _, security := range []deliver.Security{deliver.StartTLS, deliver.TLS, deliver.Plain} {
		t.Run(string(security), func(t *testing.T) {
			server := newMailServer(t, security)
			settings := server.settings(security)
			if security == deliver.Plain {
				settings.User, settings.Password = "", ""
			}
			post := &deliver.Post{Mail: settings}
			if err := post.Check(); err != nil {
				t.Fatal(err)
			}
			for range 2 {
				if err := post.Send(t.Context(), ines, wet); err != nil {
					t.Fatal(err)
				}
			}
			if len(server.mails) != 2 {
				t.Fatalf("%d mails arrived, want 2", len(server.mails))
			}
			got := server.mails[0].Header
			for header, want := range map[string]string{
				"Subject": wet.Subject, "To": "<ines@example.org>", "From": `"Isohaline" <alarms@example.org>`,
				"Auto-Submitted": "auto-generated", "Importance": "high",
			} {
				if got.Get(header) != want {
					t.Errorf("%s: %q, want %q", header, got.Get(header), want)
				}
			}
			if id := got.Get("Message-ID"); id != server.mails[1].Header.Get("Message-ID") || !strings.HasSuffix(id, "@example.org>") {
				t.Errorf("Message-ID %q, sent again %q", id, server.mails[1].Header.Get("Message-ID"))
			}
			if text := strings.ReplaceAll(server.bodies[0], "\r\n", "\n"); strings.TrimSpace(text) != strings.TrimSpace(wet.Text) {
				t.Errorf("body %q", text)
			}
			if wantUsers := map[bool]int{true: 0, false: 2}[security == deliver.Plain]; len(server.users) != wantUsers {
				t.Errorf("authenticated as %q, want %d times", server.users, wantUsers)
			}
		})
	}
}

// TestMailHeaderInjection: a subject cannot add headers.
func TestMailHeaderInjection(t *testing.T) {
	server := newMailServer(t, deliver.StartTLS)
	m := wet
	m.Subject = "Over\r\nBcc: everybody@example.org\r\n\r\nbody"
	post := &deliver.Post{Mail: server.settings(deliver.StartTLS)}
	if err := post.Send(t.Context(), ines, m); err != nil {
		t.Fatal(err)
	}
	if bcc := server.mails[0].Header.Get("Bcc"); bcc != "" {
		t.Errorf("the subject added Bcc: %s", bcc)
	}
}

// TestMailRefused: what the server refuses for good is hopeless, what it cannot
// do now is not; no error shows the password.
func TestMailRefused(t *testing.T) {
	for _, row := range []struct {
		name     string
		spoil    func(server *mailServer, s *deliver.SMTP)
		to       alarm.Contact
		hopeless bool
		want     string
	}{
		{"no such mailbox", func(m *mailServer, _ *deliver.SMTP) {
			m.refuse = &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such mailbox"}
		}, ines, true, "no such mailbox"},
		{"mailbox busy", func(m *mailServer, _ *deliver.SMTP) {
			m.refuse = &smtp.SMTPError{Code: 450, EnhancedCode: smtp.EnhancedCode{4, 2, 1}, Message: "busy"}
		}, ines, false, "busy"},
		{"wrong password", func(_ *mailServer, s *deliver.SMTP) { s.Password = "wrong " + password }, ines, true, "535"},
		{"wrong authority", func(_ *mailServer, s *deliver.SMTP) { s.RootCAs = x509.NewCertPool() }, ines, false, "certificate"},
		{"nobody listens", func(_ *mailServer, s *deliver.SMTP) { s.Port = closedPort(t) }, ines, false, "refused"},
		{"no mail address", func(*mailServer, *deliver.SMTP) {}, alarm.Contact{Person: "Ines", Channel: alarm.Mail, Address: "ines at home"}, true, `"ines at home" of Ines is no mail address`},
	} {
		t.Run(row.name, func(t *testing.T) {
			server := newMailServer(t, deliver.StartTLS)
			settings := server.settings(deliver.StartTLS)
			row.spoil(server, settings)
			err := (&deliver.Post{Mail: settings}).Send(t.Context(), row.to, wet)
			if err == nil || !strings.Contains(err.Error(), row.want) {
				t.Fatalf("%v, want %q", err, row.want)
			}
			if deliver.Permanent(err) != row.hopeless {
				t.Errorf("%v: hopeless is %v, want %v", err, !row.hopeless, row.hopeless)
			}
			if strings.Contains(err.Error(), password) {
				t.Errorf("the error shows the password: %v", err)
			}
		})
	}
}

// TestNoDowngrade: a server that offers no STARTTLS gets neither the password
// nor the message.
func TestNoDowngrade(t *testing.T) {
	server := newMailServer(t, deliver.Plain)
	err := (&deliver.Post{Mail: server.settings(deliver.StartTLS)}).Send(t.Context(), ines, wet)
	if err == nil || len(server.users)+len(server.mails) > 0 {
		t.Errorf("error %v, authenticated %q, %d mails", err, server.users, len(server.mails))
	}
}

// TestMailServerHangs: a server that accepts and says nothing is given up after
// the time limit.
func TestMailServerHangs(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	post := &deliver.Post{Mail: &deliver.SMTP{
		Host: "127.0.0.1", Port: listener.Addr().(*net.TCPAddr).Port, Security: deliver.Plain,
		From: "alarms@example.org", Timeout: 50 * time.Millisecond,
	}}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if err := post.Send(ctx, ines, wet); err == nil || deliver.Permanent(err) || ctx.Err() != nil {
		t.Errorf("a server that hangs: %v, context %v", err, ctx.Err())
	}
}

// closedPort is a port nobody listens on.
func closedPort(t *testing.T) int {
	return int(netip.MustParseAddrPort(freeport.Reserve(t)).Port())
}

func TestSMTPCheck(t *testing.T) {
	for _, row := range []struct {
		name  string
		spoil func(s *deliver.SMTP)
		want  string
	}{
		{"good", func(*deliver.SMTP) {}, ""},
		{"no host", func(s *deliver.SMTP) { s.Host = "" }, "host is empty"},
		{"port 0", func(s *deliver.SMTP) { s.Port = 0 }, "port 0"},
		{"port 65536", func(s *deliver.SMTP) { s.Port = 65536 }, "port 65536"},
		{"security", func(s *deliver.SMTP) { s.Security = "ssl" }, `security "ssl"`},
		{"password in the clear", func(s *deliver.SMTP) { s.Security = deliver.Plain }, "in the clear"},
		{"in the clear to this machine", func(s *deliver.SMTP) { s.Security, s.Host = deliver.Plain, "::1" }, ""},
		{"no user", func(s *deliver.SMTP) { s.User = "" }, "user and password go together"},
		{"no password", func(s *deliver.SMTP) { s.Password = "" }, "user and password go together"},
		{"from", func(s *deliver.SMTP) { s.From = "alarms" }, `from "alarms" is no mail address`},
	} {
		s := &deliver.SMTP{Host: "mail.example.org", Port: 587, Security: deliver.StartTLS, User: "u", Password: "p", From: "alarms@example.org"}
		row.spoil(s)
		err := (&deliver.Post{Mail: s}).Check()
		if row.want == "" && err != nil || row.want != "" && (err == nil || !strings.Contains(err.Error(), row.want)) {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}
