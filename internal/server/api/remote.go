package api

import (
	"context"
	"errors"
	"net"
	"net/http"
	"time"

	"isohaline/internal/edge/join"
	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/server/remote"
	"isohaline/internal/store"
)

// Edge is the computer beside a tank that runs its guard, as the hub knows it.
type Edge struct {
	Device   Device     `json:"device"`
	Linked   bool       `json:"linked" doc:"it has been heard of within seconds"`
	ToldAt   *time.Time `json:"toldAt,omitempty" doc:"when it was last heard of"`
	Picture  *Picture   `json:"picture,omitempty" doc:"how it stood then"`
	Requests []Request  `json:"requests" doc:"newest first, the last few"`
}

// Picture is how an edge stands at a moment.
type Picture struct {
	At         time.Time `json:"at"`
	Phase      string    `json:"phase" example:"resting" doc:"the guard's state"`
	Reason     string    `json:"reason" doc:"why it is in that state"`
	Alarms     []string  `json:"alarms" doc:"what needs a person"`
	OnHold     bool      `json:"onHold" doc:"by a person"`
	Latched    bool      `json:"latched" doc:"only somebody on site can clear it"`
	ValveShut  bool      `json:"valveShut"`
	Look       string    `json:"look,omitempty" doc:"latched: where to look first"`
	Pump       bool      `json:"pump"`
	Horn       bool      `json:"horn"`
	LevelMM    *float64  `json:"levelMM,omitempty" doc:"in the return chamber above its floor"`
	GiveMostML float64   `json:"giveMostML" doc:"the most that may be asked for now, and no promise"`
	ProofTest  string    `json:"proofTest,omitempty" doc:"what the test under way asks of whoever is at the tank"`
}

// Request is what somebody asked of an edge, and what became of it.
type Request struct {
	ID      string     `json:"id"`
	Kind    string     `json:"kind" enum:"hold,resume,give,shut-valve,silence,proof-test,clear"`
	GiveML  float64    `json:"giveML,omitempty"`
	Who     string     `json:"who"`
	At      time.Time  `json:"at"`
	Stage   string     `json:"stage" enum:"asked,received,done,refused,unanswered"`
	Why     string     `json:"why,omitempty" doc:"the guard's reason"`
	Settled *time.Time `json:"settled,omitempty"`
	Expires time.Time  `json:"expires" doc:"from then on no edge takes it"`
}

// JoinFile is said once, when an edge is made or gets another key.
type JoinFile struct {
	Device  Device `json:"device"`
	Name    string `json:"name" example:"lobby-reef-join.yaml"`
	Content string `json:"content" doc:"not kept: it is shown this once"`
	Run     string `json:"run" doc:"the line that starts the agent with it"`
}

// EdgeEvent is that a tank's edge stands otherwise, or a request has moved on.
type EdgeEvent struct {
	TankID string `json:"tankId"`
	Edge   Edge   `json:"edge"`
}

type requestIn struct {
	TankIn
	Body struct {
		Kind   string  `json:"kind" enum:"hold,resume,give,shut-valve,silence,proof-test,clear"`
		GiveML float64 `json:"giveML,omitempty" minimum:"0" maximum:"1000000" doc:"for a give alone"`
	}
}

type newEdgeIn struct {
	Host string `header:"Host" hidden:"true"`
	Body struct {
		TankID string `json:"tankId" maxLength:"64"`
		Name   string `json:"name" minLength:"1" maxLength:"120"`
	}
}

type renewKeyIn struct {
	Device string `path:"device" maxLength:"64"`
	Host   string `header:"Host" hidden:"true"`
}

func (a *API) edge(ctx context.Context, in *TankIn) (*reply[Edge], error) {
	e, ok := a.showEdge(in.Tank)
	if !ok {
		return nil, notFound("edge of tank", in.Tank)
	}
	return &reply[Edge]{Body: e}, nil
}

func (a *API) askEdge(ctx context.Context, in *requestIn) (*reply[Request], error) {
	kind, ml := requests.Kind(in.Body.Kind), in.Body.GiveML
	switch {
	case kind == requests.Give && ml == 0:
		return nil, refused(http.StatusUnprocessableEntity, "body.giveML", "0", "gives nothing", "say how many millilitres")
	case kind != requests.Give && ml != 0:
		return nil, refused(http.StatusUnprocessableEntity, "body.giveML", in.Body.Kind, "has no millilitres", "leave them out")
	}
	r, err := a.remote.Ask(ctx, remote.Person{Name: personOf(ctx).Name, From: addressOf(ctx)}, in.Tank, kind, ml)
	switch {
	case errors.Is(err, remote.ErrNoEdge):
		return nil, refused(http.StatusConflict, "tank", in.Tank, "has no edge that could be asked", "make one on its devices page, or go there")
	case err != nil:
		return nil, err
	}
	return &reply[Request]{Body: showRequest(&r)}, nil
}

func (a *API) newEdge(ctx context.Context, in *newEdgeIn) (*reply[JoinFile], error) {
	siteID, known := a.monitor.SiteOfTank(in.Body.TankID)
	if !known || !personOf(ctx).sees(siteID) {
		return nil, refused(http.StatusUnprocessableEntity, "body.tankId", in.Body.TankID, "is not monitored", "name a tank that is")
	}
	d, seed, err := a.devices.NewEdge(ctx, a.edit(ctx), store.Device{SiteID: siteID, TankID: in.Body.TankID, Name: in.Body.Name})
	if err != nil {
		return nil, err
	}
	return a.admit(&d, seed, in.Host)
}

func (a *API) renewKey(ctx context.Context, in *renewKeyIn) (*reply[JoinFile], error) {
	d, seed, err := a.devices.RenewKey(ctx, a.edit(ctx), in.Device)
	if errors.Is(err, store.ErrNotFound) {
		return nil, refused(http.StatusConflict, "device", in.Device, "has no key", "only an edge that may report has one")
	}
	if err != nil {
		return nil, err
	}
	return a.admit(&d, seed, in.Host)
}

// admit lets in whoever may link, and writes the file for an edge that is new
// among them.
func (a *API) admit(d *store.Device, seed, host string) (*reply[JoinFile], error) {
	if err := a.edges.Admit(a.devices.EdgeKeys()); err != nil {
		return nil, err
	}
	file := join.File{Hub: reachable(a.edges.Address(), host), Site: d.SiteID, Edge: d.ID, Key: seed, TLS: a.edges.Encrypted()}
	text, err := file.Write()
	if err != nil {
		return nil, err
	}
	name := d.TankID + "-join.yaml"
	return &reply[JoinFile]{Body: JoinFile{Device: a.showDevice(d), Name: name, Content: text,
		Run: "isohaline edge " + d.TankID + ".yaml --wiring " + d.TankID + "-wiring.yaml --hub " + name}}, nil
}

// reachable is an address that listens, as one reaches it who has reached the
// pages by a host: one that listens everywhere is at that host too.
func reachable(address, host string) string {
	at, port, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	if ip := net.ParseIP(at); at != "" && (ip == nil || !ip.IsUnspecified()) {
		return address
	}
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return net.JoinHostPort(host, port)
}

func (a *API) showEdge(tankID string) (Edge, bool) {
	v, ok := a.remote.Tank(tankID)
	if !ok {
		return Edge{}, false
	}
	d, ok := a.devices.Device(v.Edge.Device)
	if !ok {
		return Edge{}, false
	}
	return Edge{Device: a.showDevice(&d), Linked: v.Linked, ToldAt: known(v.Told), Picture: showPicture(v.Picture), Requests: listed(v.Asks, showRequest)}, true
}

func showRequest(r *remote.Request) Request {
	return Request{ID: r.ID, Kind: string(r.Kind), GiveML: r.GiveML, Who: r.Who, At: r.At, Stage: string(r.Stage), Why: r.Why,
		Settled: known(r.Settled), Expires: r.At.Add(requests.Fresh)}
}

func showPicture(p *talk.Picture) *Picture {
	if p == nil {
		return nil
	}
	alarms := p.Alarms
	if alarms == nil {
		alarms = []string{}
	}
	return &Picture{At: p.At, Phase: p.Phase, Reason: p.Reason, Alarms: alarms, OnHold: p.OnHold, Latched: p.Latched, ValveShut: p.ValveShut,
		Look: p.Look, Pump: p.Pump, Horn: p.Horn, LevelMM: p.LevelMM, GiveMostML: p.GiveMostML, ProofTest: p.ProofTest}
}
