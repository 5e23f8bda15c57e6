package sender

import (
	"context"
	"errors"
	"fmt"

	"isohaline/internal/alarm/deliver"
	"isohaline/internal/store"
)

// Settings are the channels that are set up, with their secrets.
type Settings struct {
	Mail     *Mail
	Webhooks []Webhook
}

// Mail is a mail server.
type Mail struct {
	Host     string
	Port     int
	Security deliver.Security
	User     string
	Password deliver.Secret
	From     string
}

// Webhook is an address that takes messages by HTTP POST, by the name that
// contacts use.
type Webhook struct {
	Name  string
	URL   deliver.Secret
	Token deliver.Secret
	// Inside: it may be on this machine or its own network.
	Inside bool
}

// settingName is what the store keeps them under.
const settingName = "delivery"

// kept are the settings as the store keeps them: secrets are written out there,
// because mail servers and webhooks want to see them.
type kept struct {
	Mail     *keptMail
	Webhooks []keptWebhook
}

type keptMail struct {
	Host           string
	Port           int
	Security       deliver.Security
	User, Password string
	From           string
}

type keptWebhook struct {
	Name, URL, Token string
	Inside           bool
}

func (s *Settings) kept() kept {
	var k kept
	if m := s.Mail; m != nil {
		k.Mail = &keptMail{m.Host, m.Port, m.Security, m.User, string(m.Password), m.From}
	}
	for _, h := range s.Webhooks {
		k.Webhooks = append(k.Webhooks, keptWebhook{h.Name, string(h.URL), string(h.Token), h.Inside})
	}
	return k
}

func (k *kept) settings() Settings {
	var s Settings
	if m := k.Mail; m != nil {
		s.Mail = &Mail{m.Host, m.Port, m.Security, m.User, deliver.Secret(m.Password), m.From}
	}
	for _, h := range k.Webhooks {
		s.Webhooks = append(s.Webhooks, Webhook{h.Name, deliver.Secret(h.URL), deliver.Secret(h.Token), h.Inside})
	}
	return s
}

// post is the channels of the settings, ready to send.
func (s *Settings) post() *deliver.Post {
	p := &deliver.Post{Webhooks: map[string]*deliver.Webhook{}}
	if m := s.Mail; m != nil {
		p.Mail = &deliver.SMTP{Host: m.Host, Port: m.Port, Security: m.Security, User: m.User, Password: m.Password, From: m.From}
	}
	for _, h := range s.Webhooks {
		p.Webhooks[h.Name] = &deliver.Webhook{URL: string(h.URL), Token: h.Token, Inside: h.Inside}
	}
	return p
}

// Webhook is the webhook of a name, nil if there is none.
func (s *Settings) Webhook(name string) *Webhook {
	for i := range s.Webhooks {
		if s.Webhooks[i].Name == name {
			return &s.Webhooks[i]
		}
	}
	return nil
}

// Check says what is wrong with the settings, nil if nothing.
func (s *Settings) Check() error {
	names := map[string]bool{}
	for _, h := range s.Webhooks {
		if names[h.Name] {
			return fmt.Errorf("webhook %q is there twice, name one of them again", h.Name)
		}
		names[h.Name] = true
	}
	return s.post().Check()
}

// recall reads the settings from the store; none are no channels.
func recall(ctx context.Context, s *store.Store) (Settings, error) {
	var k kept
	if err := s.Setting(ctx, settingName, &k); err != nil && !errors.Is(err, store.ErrNotFound) {
		return Settings{}, fmt.Errorf("reading how messages are delivered: %w", err)
	}
	return k.settings(), nil
}
