package api

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"time"

	"isohaline/internal/server/devices"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Device is something that reports readings of one tank.
type Device struct {
	ID         string     `json:"id" example:"k3f9x2ab"`
	Name       string     `json:"name" example:"Level head under the lobby"`
	TankID     string     `json:"tankId"`
	SiteID     string     `json:"siteId"`
	Created    time.Time  `json:"created"`
	Revoked    *time.Time `json:"revoked,omitempty"`
	FirstHeard *time.Time `json:"firstHeard,omitempty"`
	LastHeard  *time.Time `json:"lastHeard,omitempty"`
	Records    bool       `json:"records" doc:"not a device but the tank's imported records"`
	Edge       bool       `json:"edge" doc:"a computer that runs the tank's guard, and proves itself by a key"`
	Unwatched  bool       `json:"unwatched,omitempty" doc:"its tank is archived: what it reports is kept, and nobody is alarmed"`
	Refusals   []Refusal  `json:"refusals" doc:"newest first, the last few"`
}

// Refusal is something that a device sent and that was not taken, with why.
type Refusal struct {
	At     time.Time `json:"at" doc:"the last time"`
	Topic  string    `json:"topic"`
	Reason string    `json:"reason" example:"wrong-unit"`
	Words  string    `json:"words" doc:"what was wrong, and the fix"`
	Count  int       `json:"count" doc:"how often the same was refused in a row"`
}

// Credentials are said once, when a device is made.
type Credentials struct {
	Device   Device `json:"device"`
	ClientID string `json:"clientId"`
	User     string `json:"user"`
	Password string `json:"password" doc:"not kept, only its hash is: it is shown this once"`
	Topic    string `json:"topic" doc:"the topic to publish to"`
	Try      string `json:"try" doc:"a mosquitto_pub line that publishes one reading"`
	TryHTTP  string `json:"tryHttp" doc:"a curl line that does the same over HTTP"`
}

type newDeviceIn struct {
	Host string `header:"Host" hidden:"true"`
	Body struct {
		TankID string `json:"tankId" maxLength:"64"`
		Name   string `json:"name" minLength:"1" maxLength:"120"`
	}
}

type devicesOut struct {
	Body struct {
		Devices []Device `json:"devices"`
	}
}

type deviceIn struct {
	Device string `path:"device" maxLength:"64"`
}

// TakenOut says that readings are safely in the log.
type TakenOut struct {
	Taken bool `json:"taken"`
}

type readingsIn struct {
	Authorization string `header:"Authorization" doc:"Basic, with the device's user and password"`
	RawBody       []byte `contentType:"application/senml+json"`
}

func (a *API) siteOfDevice(id string) (siteID string, known bool) {
	d, known := a.devices.Device(id)
	return d.SiteID, known
}

func (a *API) newDevice(ctx context.Context, in *newDeviceIn) (*reply[Credentials], error) {
	siteID, known := a.monitor.SiteOfTank(in.Body.TankID)
	if !known || !personOf(ctx).sees(siteID) {
		return nil, refused(http.StatusUnprocessableEntity, "body.tankId", in.Body.TankID, "is not monitored", "name a tank that is")
	}
	d, password, err := a.devices.New(ctx, a.edit(ctx), store.Device{SiteID: siteID, TankID: in.Body.TankID, Name: in.Body.Name})
	if err != nil {
		return nil, err
	}
	out := &reply[Credentials]{Body: Credentials{
		Device: a.showDevice(&d), ClientID: d.ID, User: d.ID, Password: password,
		Topic: fmt.Sprintf("%s/%s/%s/%s", wire.Root, d.SiteID, d.ID, wire.BodyWord),
	}}
	c := &out.Body
	const reading = `[{"n":"heartbeat","vb":true}]`
	c.Try = fmt.Sprintf("mosquitto_pub %s -i %s -u %s -P %s -q 1 -t %s -m '%s'", doorFlags(a.address), c.ClientID, c.User, c.Password, c.Topic, reading)
	c.TryHTTP = fmt.Sprintf("curl -u %s:%s -H 'Content-Type: application/senml+json' -d '%s' http://%s/api/readings", c.User, c.Password, reading, in.Host)
	return out, nil
}

func (a *API) device(_ context.Context, in *deviceIn) (*reply[Device], error) {
	d, ok := a.devices.Device(in.Device)
	if !ok {
		return nil, notFound("device", in.Device)
	}
	return &reply[Device]{Body: a.showDevice(&d)}, nil
}

func (a *API) listDevices(ctx context.Context, _ *struct{}) (*devicesOut, error) {
	out := &devicesOut{}
	out.Body.Devices = []Device{}
	person := personOf(ctx)
	for _, d := range a.devices.All() {
		if !person.sees(d.SiteID) {
			continue
		}
		out.Body.Devices = append(out.Body.Devices, a.showDevice(&d))
	}
	return out, nil
}

func (a *API) revokeDevice(ctx context.Context, in *deviceIn) (*struct{}, error) {
	d, err := a.devices.Revoke(ctx, a.edit(ctx), in.Device, a.now())
	if err != nil {
		return nil, err
	}
	a.door.Disconnect(wire.DeviceID{Site: d.SiteID, Device: d.ID})
	if devices.IsEdge(&d) {
		return nil, a.edges.Admit(a.devices.EdgeKeys())
	}
	return nil, nil
}

// readings takes what a device hands in over HTTP: the same log, the same
// answer only after it.
func (a *API) readings(ctx context.Context, in *readingsIn) (*reply[TakenOut], error) {
	r := http.Request{Header: http.Header{"Authorization": {in.Authorization}}}
	user, password, _ := r.BasicAuth()
	device, ok := a.devices.Authenticate(user, user, []byte(password))
	if !ok {
		return nil, refused(http.StatusUnauthorized, "Authorization", user, "is no device's user and password", "use the credentials that the device was made with")
	}
	if isTooLarge(ctx) {
		return nil, a.door.TooLarge(device)
	}
	return &reply[TakenOut]{Body: TakenOut{Taken: true}}, a.door.Post(ctx, device, in.RawBody)
}

func (a *API) showDevice(d *store.Device) Device {
	out := Device{ID: d.ID, Name: d.Name, TankID: d.TankID, SiteID: d.SiteID, Created: d.Created,
		Revoked: known(d.Revoked), FirstHeard: known(d.FirstSeen), LastHeard: known(d.LastSeen),
		Records: devices.IsRecords(d), Edge: devices.IsEdge(d), Refusals: []Refusal{}}
	if _, watched := a.monitor.SiteOfTank(d.TankID); !watched {
		out.Unwatched = true
	}
	for _, r := range a.devices.Refusals(d.ID) {
		out.Refusals = append(out.Refusals, Refusal{At: r.At, Topic: r.Topic, Reason: r.Reason.String(), Words: r.Message, Count: r.Count})
	}
	return out
}

// doorFlags are mosquitto_pub's words for an address.
func doorFlags(address string) string {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return "-h " + address
	}
	return "-h " + host + " -p " + port
}
