package deliver

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net/mail"
	"net/textproto"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"isohaline/internal/alarm"
)

// Security is how a connection to a mail server is protected.
type Security string

const (
	StartTLS Security = "starttls" // RFC 3207; refused if the server does not offer it
	TLS      Security = "tls"      // from the first byte, RFC 8314
	Plain    Security = "none"     // to this machine only, if there is a password
)

// SMTP is a mail server that takes our messages.
type SMTP struct {
	Host     string
	Port     int
	Security Security
	User     string // empty: no authentication
	Password Secret
	From     string
	// RootCAs are the authorities that may vouch for the server; nil: the
	// system's.
	RootCAs *x509.CertPool
	Timeout time.Duration // of one message; 0: Timeout
}

// Check says what is wrong with the settings, nil if nothing.
func (s *SMTP) Check() error {
	const lastPort = 65535
	switch {
	case s.Host == "":
		return errors.New("host is empty, name the mail server")
	case s.Port < 1 || s.Port > lastPort:
		return fmt.Errorf("port %d, use 1 to %d; 587 is usual for %s, 465 for %s", s.Port, lastPort, StartTLS, TLS)
	case s.Security != StartTLS && s.Security != TLS && s.Security != Plain:
		return fmt.Errorf("security %q, use %q, %q or %q", s.Security, StartTLS, TLS, Plain)
	case s.Security == Plain && s.Password != "" && !loopback(s.Host):
		return fmt.Errorf("security %q would send the password to %s in the clear, use %q", s.Security, s.Host, StartTLS)
	case (s.User == "") != (s.Password == ""):
		return errors.New("user and password go together, give both or none")
	}
	if _, err := mail.ParseAddress(s.From); err != nil {
		return fmt.Errorf("from %q is no mail address, use one like alarms@example.org", s.From)
	}
	return nil
}

// send takes one message to the server.
func (s *SMTP) send(ctx context.Context, to alarm.Contact, m alarm.Message) error {
	msg, err := s.compose(to, m)
	if err != nil {
		return hopeless(err)
	}
	timeout := orDefault(s.Timeout)
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	options := []gomail.Option{
		gomail.WithPort(s.Port),
		gomail.WithTimeout(timeout),
		gomail.WithTLSConfig(&tls.Config{ServerName: s.Host, RootCAs: s.RootCAs, MinVersion: tls.VersionTLS12}),
	}
	switch s.Security {
	case TLS:
		options = append(options, gomail.WithSSL())
	case Plain:
		options = append(options, gomail.WithTLSPolicy(gomail.NoTLS))
	default:
		options = append(options, gomail.WithTLSPolicy(gomail.TLSMandatory))
	}
	if s.User != "" {
		options = append(options, gomail.WithSMTPAuth(gomail.SMTPAuthAutoDiscover),
			gomail.WithUsername(s.User), gomail.WithPassword(string(s.Password)))
	}
	client, err := gomail.NewClient(s.Host, options...)
	if err != nil {
		return fmt.Errorf("setting up mail to %s:%d: %w", s.Host, s.Port, err)
	}
	if err := client.DialAndSendWithContext(ctx, msg); err != nil {
		err = fmt.Errorf("mail to %s through %s:%d: %w", to.Address, s.Host, s.Port, err)
		if permanentFailure(err) {
			return hopeless(err)
		}
		return err
	}
	return nil
}

// compose makes the mail. The Message-ID is made of the message's own, so that
// a message that is sent again is the same one to a mail program.
func (s *SMTP) compose(to alarm.Contact, m alarm.Message) (*gomail.Msg, error) {
	msg := gomail.NewMsg()
	if err := msg.From(s.From); err != nil {
		return nil, fmt.Errorf("from %q is no mail address, correct it", s.From)
	}
	if err := msg.To(to.Address); err != nil {
		return nil, fmt.Errorf("address %q of %s is no mail address, correct it", to.Address, to.Person)
	}
	digest := sha256.Sum256([]byte(m.ID))
	_, domain, _ := strings.Cut(strings.TrimSuffix(s.From, ">"), "@")
	msg.SetMessageIDWithValue(hex.EncodeToString(digest[:16]) + "@" + domain)
	msg.SetDate()
	msg.Subject(m.Subject)
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no out-of-office answers
	if m.Priority >= alarm.High && !m.End {
		msg.SetImportance(gomail.ImportanceHigh)
	}
	msg.SetBodyString(gomail.TypeTextPlain, m.Text)
	return msg, nil
}

// permanentFailure says whether the server answered with a permanent failure,
// 5xx in RFC 5321 section 4.2.1.
func permanentFailure(err error) bool {
	const permanent = 500
	var send *gomail.SendError
	if errors.As(err, &send) && send.ErrorCode() >= permanent {
		return true
	}
	var answer *textproto.Error
	return errors.As(err, &answer) && answer.Code >= permanent
}
