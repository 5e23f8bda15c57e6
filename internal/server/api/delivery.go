package api

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/server/sender"
)

// Delivery is how messages leave the house. Secrets go in and never come out.
type Delivery struct {
	Mail     *MailServer `json:"mail,omitempty" doc:"absent: no mail is sent"`
	Webhooks []Webhook   `json:"webhooks"`
}

// MailServer takes our mail.
type MailServer struct {
	Host        string `json:"host" example:"mail.example.org"`
	Port        int    `json:"port" example:"587"`
	Security    string `json:"security" enum:"starttls,tls,none"`
	User        string `json:"user" doc:"empty: no authentication"`
	HasPassword bool   `json:"hasPassword"`
	From        string `json:"from" example:"alarms@example.org"`
}

// Webhook is an address that takes messages by HTTP POST.
type Webhook struct {
	Name     string `json:"name" doc:"what contacts call it"`
	Host     string `json:"host" doc:"of its address; the rest of it often is a secret"`
	HasToken bool   `json:"hasToken"`
	Inside   bool   `json:"inside" doc:"it may be on this machine or its own network"`
}

type deliveryIn struct {
	Body struct {
		Mail     *MailServerIn `json:"mail,omitempty" doc:"absent: no mail"`
		Webhooks []WebhookIn   `json:"webhooks" maxItems:"32" doc:"all of them; what is left out is forgotten"`
	}
}

// MailServerIn sets the mail server up.
type MailServerIn struct {
	Host     string  `json:"host" minLength:"1" maxLength:"253"`
	Port     int     `json:"port" minimum:"1" maximum:"65535"`
	Security string  `json:"security" enum:"starttls,tls,none"`
	User     string  `json:"user,omitempty" maxLength:"254"`
	Password *string `json:"password,omitempty" maxLength:"1024" doc:"absent: the one that is kept, if host and user stay the same; empty: none"`
	From     string  `json:"from" maxLength:"254"`
}

// WebhookIn sets a webhook up.
type WebhookIn struct {
	Name  string  `json:"name" minLength:"1" maxLength:"64"`
	URL   *string `json:"url,omitempty" maxLength:"2048" doc:"absent: the one that is kept under this name"`
	Token *string `json:"token,omitempty" maxLength:"1024" doc:"sent as a bearer token; absent: the one that is kept, if the host stays the same; empty: none"`
	// Inside is no secret, and is said each time.
	Inside bool `json:"inside,omitempty" doc:"it may be on this machine or its own network; else only public addresses are called"`
}

type tryDeliveryIn struct {
	Body struct {
		SiteID  string    `json:"siteId,omitempty" maxLength:"64" doc:"named in the message"`
		Contact Recipient `json:"contact"`
	}
}

// Tried is what came of a test message.
type Tried struct {
	At        time.Time `json:"at"`
	Delivered bool      `json:"delivered" doc:"the mail server or the webhook took it"`
	Words     string    `json:"words" doc:"what happened"`
}

func (a *API) delivery(context.Context, *struct{}) (*reply[Delivery], error) {
	settings := a.sender.Settings()
	return showDelivery(&settings), nil
}

func showDelivery(s *sender.Settings) *reply[Delivery] {
	out := &reply[Delivery]{Body: Delivery{Webhooks: listed(s.Webhooks, func(h *sender.Webhook) Webhook {
		return Webhook{Name: h.Name, Host: hostOf(h.URL), HasToken: h.Token != "", Inside: h.Inside}
	})}}
	if m := s.Mail; m != nil {
		out.Body.Mail = &MailServer{Host: m.Host, Port: m.Port, Security: string(m.Security), User: m.User, HasPassword: m.Password != "", From: m.From}
	}
	return out
}

// hostOf is the part of an address that is no secret.
func hostOf(address deliver.Secret) string {
	u, err := url.Parse(string(address))
	if err != nil {
		return ""
	}
	return u.Host
}

func (a *API) saveDelivery(ctx context.Context, in *deliveryIn) (*reply[Delivery], error) {
	old := a.sender.Settings()
	var settings sender.Settings
	if m := in.Body.Mail; m != nil {
		mail, err := m.over(old.Mail)
		if err != nil {
			return nil, err
		}
		settings.Mail = mail
	}
	for _, h := range in.Body.Webhooks {
		hook, err := h.over(old.Webhooks)
		if err != nil {
			return nil, err
		}
		settings.Webhooks = append(settings.Webhooks, hook)
	}
	if err := settings.Check(); err != nil {
		return nil, refused(http.StatusUnprocessableEntity, "body", "", err.Error(), "")
	}
	for _, h := range old.Webhooks {
		if used := a.monitor.TellsBy(alarm.Webhook, h.Name); settings.Webhook(h.Name) == nil && len(used) > 0 {
			return nil, refused(http.StatusConflict, "body.webhooks", h.Name, "is in the plan of "+strings.Join(used, ", "), "change the plan first")
		}
	}
	if d := a.signal.Settings().Daily; d != nil && d.To.Channel == alarm.Webhook && settings.Webhook(d.To.Address) == nil {
		return nil, refused(http.StatusConflict, "body.webhooks", d.To.Address, "takes the message of the day", "change that under Settings first")
	}
	if err := a.sender.Set(ctx, a.edit(ctx), settings); err != nil {
		return nil, err
	}
	return showDelivery(&settings), nil
}

// over is the mail server as asked for, over the one that is kept. A password is
// not taken along to another server or another user, which could be somebody's
// way to learn it.
func (m *MailServerIn) over(old *sender.Mail) (*sender.Mail, error) {
	out := &sender.Mail{Host: m.Host, Port: m.Port, Security: deliver.Security(m.Security), User: m.User, From: m.From}
	switch {
	case m.Password != nil:
		out.Password = deliver.Secret(*m.Password)
	case old == nil || old.Password == "":
	case old.Host == m.Host && old.User == m.User && old.Security == out.Security:
		out.Password = old.Password
	default:
		return nil, refused(http.StatusUnprocessableEntity, "body.mail.password", "", "is kept for another server, user or security", "give it again, or an empty one for none")
	}
	return out, nil
}

// over is the same of a webhook.
func (h *WebhookIn) over(all []sender.Webhook) (sender.Webhook, error) {
	old := (&sender.Settings{Webhooks: all}).Webhook(h.Name)
	if old == nil {
		old = &sender.Webhook{}
	}
	out := sender.Webhook{Name: h.Name, URL: old.URL, Inside: h.Inside}
	if h.URL != nil {
		out.URL = deliver.Secret(*h.URL)
	}
	switch {
	case h.Token != nil:
		out.Token = deliver.Secret(*h.Token)
	case old.Token == "":
	case originOf(old.URL) == originOf(out.URL):
		out.Token = old.Token
	default:
		return out, refused(http.StatusUnprocessableEntity, "body.webhooks.token", "", "is kept for another address", "give it again, or an empty one for none")
	}
	return out, nil
}

// originOf is where a secret goes that is sent to an address: scheme, host and
// port.
func originOf(address deliver.Secret) string {
	u, err := url.Parse(string(address))
	if err != nil {
		return ""
	}
	return u.Scheme + "://" + u.Host
}

func (a *API) tryDelivery(ctx context.Context, in *tryDeliveryIn) (*reply[Tried], error) {
	place := "Isohaline"
	if id := in.Body.SiteID; id != "" {
		if !personOf(ctx).sees(id) || a.monitor.SiteName(id) == "" {
			return nil, refused(http.StatusUnprocessableEntity, "body.siteId", id, "is none of your sites", "leave it out")
		}
		place = a.monitor.SiteName(id)
	}
	c := in.Body.Contact
	err := a.sender.Test(ctx, c.contact(), place)
	out := &reply[Tried]{Body: Tried{At: a.now(), Delivered: err == nil, Words: "the message was taken; see whether it arrives"}}
	if err != nil {
		out.Body.Words = err.Error()
	}
	return out, a.edit(ctx).Note(ctx, "send a test", "delivery", c.Channel+":"+c.Address, out.Body)
}
