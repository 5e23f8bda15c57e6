package api

import (
	"context"
	"net/http"
	"net/mail"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/server/monitor"
)

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
	Zone     string `json:"zone" example:"Europe/Berlin" maxLength:"64" doc:"the time zone of times in messages and findings, by its IANA name; empty: UTC"`
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

type planIn struct {
	SiteIn
	Body Plan
}

func (a *API) plan(ctx context.Context, in *SiteIn) (*reply[PlanPage], error) {
	settings := a.sender.Settings()
	out := &reply[PlanPage]{Body: PlanPage{Plan: showPlan(a.monitor.Plan(in.Site)), HasMail: settings.Mail != nil, Webhooks: []string{}, People: []Known{}}}
	for _, h := range settings.Webhooks {
		out.Body.Webhooks = append(out.Body.Webhooks, h.Name)
	}
	people, err := a.store.Users(ctx)
	for _, u := range people {
		p := showPerson(&u)
		if p.Mail != "" && !p.Disabled && p.sees(in.Site) {
			out.Body.People = append(out.Body.People, Known{Name: p.Name, Mail: p.Mail})
		}
	}
	return out, err
}

func (a *API) savePlan(ctx context.Context, in *planIn) (*reply[PlanPage], error) {
	plan := in.Body.plan()
	if err := plan.Check(); err != nil {
		return nil, refused(http.StatusUnprocessableEntity, "body", "", err.Error(), "")
	}
	if _, err := time.LoadLocation(plan.Zone); err != nil {
		return nil, refused(http.StatusUnprocessableEntity, "body.zone", plan.Zone, "is no time zone", "use a name like Europe/Berlin, or none for UTC")
	}
	if err := a.reachable(&in.Body); err != nil {
		return nil, err
	}
	if err := a.monitor.SetPlan(ctx, a.edit(ctx), in.Site, plan); err != nil {
		return nil, err
	}
	return a.plan(ctx, &in.SiteIn)
}

// reachable says whether the addresses of a plan can be right.
func (a *API) reachable(p *Plan) error {
	for _, route := range []*Route{&p.Critical, &p.High, &p.Medium, &p.Low} {
		for _, rung := range route.Rungs {
			for i := range rung.Contacts {
				if err := a.checkRecipient(&rung.Contacts[i], "body"); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// checkRecipient says whether an address can be right.
func (a *API) checkRecipient(c *Recipient, field string) error {
	settings := a.sender.Settings()
	if c.Channel == string(alarm.Webhook) {
		if settings.Webhook(c.Address) == nil {
			return refused(http.StatusUnprocessableEntity, field, c.Address, "is no webhook that is set up", "set it up first, or correct the name")
		}
	} else if parsed, err := mail.ParseAddress(c.Address); err != nil || parsed.Address != c.Address {
		return refused(http.StatusUnprocessableEntity, field, c.Address, "is no mail address", "use one like ada@example.org")
	}
	return nil
}

func (c *Recipient) contact() alarm.Contact {
	return alarm.Contact{Person: c.Person, Channel: alarm.Channel(c.Channel), Address: c.Address}
}

func showContact(c *alarm.Contact) Recipient {
	return Recipient{Person: c.Person, Channel: string(c.Channel), Address: c.Address}
}

func (p *Plan) plan() monitor.Plan {
	out := monitor.Plan{Zone: p.Zone}
	out.Critical, out.High, out.Medium, out.Low = p.Critical.route(), p.High.route(), p.Medium.route(), p.Low.route()
	out.TellEnd = p.TellEnd
	return out
}

func (r *Route) route() alarm.Route {
	out := alarm.Route{Rounds: r.Rounds, Repeat: duration(r.RepeatS)}
	for _, rung := range r.Rungs {
		n := alarm.Rung{Wait: duration(rung.WaitS)}
		for _, c := range rung.Contacts {
			n.Contacts = append(n.Contacts, c.contact())
		}
		out.Rungs = append(out.Rungs, n)
	}
	return out
}

func duration(seconds float64) time.Duration { return time.Duration(seconds * float64(time.Second)) }

func showPlan(p monitor.Plan) Plan {
	return Plan{Critical: showRoute(&p.Critical), High: showRoute(&p.High), Medium: showRoute(&p.Medium), Low: showRoute(&p.Low),
		TellEnd: p.TellEnd, Zone: p.Zone}
}

func showRoute(r *alarm.Route) Route {
	rungs := listed(r.Rungs, func(n *alarm.Rung) Rung {
		return Rung{WaitS: n.Wait.Seconds(), Contacts: listed(n.Contacts, showContact)}
	})
	return Route{Rungs: rungs, Rounds: r.Rounds, RepeatS: r.Repeat.Seconds()}
}
