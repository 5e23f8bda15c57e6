package api

import (
	"context"
	"net/http"
	"time"

	"isohaline/internal/alarm/deliver"
	"isohaline/internal/server/lifesign"
)

// SignOfLife is how the outside learns that the service works. The address goes in
// and never comes out.
type SignOfLife struct {
	Host   string  `json:"host" doc:"of the address that is called; empty: none is"`
	Method string  `json:"method" enum:"GET,POST"`
	EveryS float64 `json:"everyS" doc:"seconds between calls"`
	Inside bool    `json:"inside" doc:"it may be on this machine or its own network"`
	Daily  *Daily  `json:"daily,omitempty" doc:"absent: no message of the day"`

	Sent      *time.Time `json:"sent,omitempty" doc:"when a call was taken last since the start"`
	Failing   *time.Time `json:"failing,omitempty" doc:"since when calls are not taken"`
	Says      string     `json:"says,omitempty" doc:"why the last call was not taken"`
	Held      string     `json:"held,omitempty" doc:"why none is made now: the service does not do its work"`
	DailySays string     `json:"dailySays,omitempty" doc:"why the last message of the day was not taken"`
}

// Daily is a message each day that the service works, and over how many tanks.
type Daily struct {
	At   string    `json:"at" pattern:"^([01][0-9]|2[0-3]):[0-5][0-9]$" patternDescription:"a time of day like 07:30" example:"07:30"`
	Zone string    `json:"zone" maxLength:"64" example:"Europe/Berlin" doc:"the time zone of at, by its IANA name; empty: UTC"`
	To   Recipient `json:"to"`
}

type signIn struct {
	Body struct {
		URL    *string `json:"url,omitempty" maxLength:"2048" doc:"absent: the one that is kept; empty: none"`
		Method string  `json:"method" enum:"GET,POST"`
		EveryS float64 `json:"everyS" minimum:"30" maximum:"86400"`
		Inside bool    `json:"inside,omitempty" doc:"it may be on this machine or its own network; else only a public address is called"`
		Daily  *Daily  `json:"daily,omitempty" doc:"absent: no message of the day"`
	}
}

func (a *API) signOfLife(context.Context, *struct{}) (*reply[SignOfLife], error) {
	s, is := a.signal.Settings(), a.signal.Status()
	out := SignOfLife{Host: hostOf(s.URL), Method: s.Method, EveryS: s.Every.Seconds(), Inside: s.Inside,
		Sent: known(is.Sent), Failing: known(is.Failing), Says: is.Says, Held: is.Held, DailySays: is.DailySays}
	if out.Method == "" {
		out.Method = http.MethodGet
	}
	if out.EveryS == 0 {
		out.EveryS = lifesign.UsualEvery.Seconds()
	}
	if d := s.Daily; d != nil {
		out.Daily = &Daily{At: d.At, Zone: d.Zone, To: showContact(&d.To)}
	}
	return &reply[SignOfLife]{Body: out}, nil
}

func (a *API) saveSignOfLife(ctx context.Context, in *signIn) (*reply[SignOfLife], error) {
	b := &in.Body
	s := lifesign.Settings{URL: a.signal.Settings().URL, Method: b.Method, Every: duration(b.EveryS), Inside: b.Inside}
	if b.URL != nil {
		s.URL = deliver.Secret(*b.URL)
	}
	if d := b.Daily; d != nil {
		if err := a.checkRecipient(&d.To, "body.daily.to.address"); err != nil {
			return nil, err
		}
		s.Daily = &lifesign.Daily{At: d.At, Zone: d.Zone, To: d.To.contact()}
	}
	if err := s.Check(); err != nil {
		return nil, refused(http.StatusUnprocessableEntity, "body", "", err.Error(), "")
	}
	if err := a.signal.Set(ctx, a.edit(ctx), s); err != nil {
		return nil, err
	}
	return a.signOfLife(ctx, nil)
}

func (a *API) trySignOfLife(ctx context.Context, _ *struct{}) (*reply[Tried], error) {
	s := a.signal.Settings()
	if s.URL == "" {
		return nil, refused(http.StatusConflict, "url", "", "is not set up", "save an address first")
	}
	err := a.signal.Test(ctx)
	out := &reply[Tried]{Body: Tried{At: a.now(), Delivered: err == nil, Words: "the address took it; see whether it is noted there"}}
	if err != nil {
		out.Body.Words = err.Error()
	}
	return out, a.edit(ctx).Note(ctx, "send a test", "sign of life", hostOf(s.URL), out.Body)
}
