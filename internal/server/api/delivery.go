package api

import (
	"context"
	"time"
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
}

type deliveryOut struct{ Body Delivery }

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
}

// Recipient is one person on one channel.
type Recipient struct {
	Person  string `json:"person" minLength:"1" maxLength:"120"`
	Channel string `json:"channel" enum:"mail,webhook"`
	Address string `json:"address" minLength:"1" maxLength:"254" doc:"a mail address, or a webhook's name"`
}

// Rung is who is told once an alarm has called so long without an
// acknowledgement.
type Rung struct {
	WaitS    float64     `json:"waitS" minimum:"0" maximum:"86400" doc:"seconds after the alarm called"`
	Contacts []Recipient `json:"contacts" maxItems:"8"`
}

// Route is how an alarm of one priority climbs from person to person.
type Route struct {
	Rungs   []Rung  `json:"rungs" maxItems:"8" doc:"none: this priority takes the route of the one below it"`
	Rounds  int     `json:"rounds,omitempty" minimum:"0" maximum:"12" doc:"how often the climb is begun in all; 0 is 1"`
	RepeatS float64 `json:"repeatS,omitempty" minimum:"0" maximum:"604800" doc:"seconds until it begins again"`
}

// Plan is who is told of a site's alarms, and when.
type Plan struct {
	Critical Route  `json:"critical"`
	High     Route  `json:"high"`
	Medium   Route  `json:"medium"`
	Low      Route  `json:"low"`
	TellEnd  bool   `json:"tellEnd" doc:"those who were told hear when it is over"`
	Zone     string `json:"zone" example:"Europe/Berlin" maxLength:"64" doc:"the time zone of times in messages, by its IANA name; empty: UTC"`
}

// PlanPage is a site's plan and what it can be made of.
type PlanPage struct {
	Plan     Plan     `json:"plan"`
	HasMail  bool     `json:"hasMail" doc:"a mail server is set up"`
	Webhooks []string `json:"webhooks" doc:"the names of those that are set up"`
	People   []Known  `json:"people" doc:"accounts that may see the site and have a mail address"`
}

// Known is somebody with an account.
type Known struct {
	Name string `json:"name"`
	Mail string `json:"mail"`
}

type SiteIn struct {
	Site string `path:"site" maxLength:"64" example:"harbour-stair"`
}

type planOut struct{ Body PlanPage }

type planIn struct {
	SiteIn
	Body Plan
}

type tryDeliveryIn struct {
	Body struct {
		SiteID  string  `json:"siteId,omitempty" maxLength:"64" doc:"named in the message"`
		Contact Contact `json:"contact"`
	}
}

// Tried is what came of a test message.
type Tried struct {
	At        time.Time `json:"at"`
	Delivered bool      `json:"delivered" doc:"the mail server or the webhook took it"`
	Words     string    `json:"words" doc:"what happened"`
}

type triedOut struct{ Body Tried }

// Notice is one message to one contact about one alarm: who was told what and
// when, and what became of it.
type Notice struct {
	ID       string    `json:"id"`
	AlarmID  string    `json:"alarmId"`
	SiteID   string    `json:"siteId"`
	TankID   string    `json:"tankId,omitempty"`
	Title    string    `json:"title" doc:"the alarm's"`
	Contact  Recipient `json:"contact"`
	Decided  time.Time `json:"decided"`
	Called   time.Time `json:"called" doc:"the alarm's call that it is about"`
	Rung     int       `json:"rung" doc:"from 1; 0 where it tells the end"`
	Round    int       `json:"round" doc:"from 1; 0 where it tells the end"`
	End      bool      `json:"end" doc:"it tells that the condition is gone"`
	Outcome  string    `json:"outcome" enum:"pending,sent,failed,dropped"`
	Reason   string    `json:"reason" doc:"why it was decided or dropped"`
	Attempts []Attempt `json:"attempts" doc:"oldest first"`
}

// Attempt is one try to deliver a notice.
type Attempt struct {
	At      time.Time `json:"at"`
	Problem string    `json:"problem" doc:"what went wrong, empty if nothing"`
	Subject string    `json:"subject,omitempty" doc:"what was sent"`
	Text    string    `json:"text,omitempty"`
}

type noticesOut struct {
	Body struct {
		Notices []Notice `json:"notices" doc:"newest first"`
	}
}

type noticesIn struct {
	From    time.Time `query:"from" required:"true"`
	To      time.Time `query:"to" required:"true"`
	Outcome string    `query:"outcome" enum:"pending,sent,failed,dropped" doc:"only those; absent: all"`
}

func (a *API) delivery(ctx context.Context, _ *struct{}) (*deliveryOut, error) {
	return nil, later()
}

func (a *API) saveDelivery(ctx context.Context, in *deliveryIn) (*deliveryOut, error) {
	return nil, later()
}

func (a *API) tryDelivery(ctx context.Context, in *tryDeliveryIn) (*triedOut, error) {
	return nil, later()
}

func (a *API) plan(ctx context.Context, in *SiteIn) (*planOut, error) {
	return nil, later()
}

func (a *API) savePlan(ctx context.Context, in *planIn) (*planOut, error) {
	return nil, later()
}

func (a *API) alarmNotices(ctx context.Context, in *AlarmIn) (*noticesOut, error) {
	return nil, later()
}

func (a *API) notices(ctx context.Context, in *noticesIn) (*noticesOut, error) {
	return nil, later()
}
