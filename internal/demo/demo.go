package demo

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/server"
	"isohaline/internal/server/auth"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Person is somebody who can sign in to the demo.
type Person struct {
	Name, Password, Role string
	sites                []string
}

// People are the demo's accounts. Their passwords are no secret.
func People() []Person {
	return []Person{
		{Name: "mira", Password: "demo-operator", Role: string(store.Operator)},
		{Name: "jonas", Password: "demo-technician", Role: string(store.Technician),
			sites: []string{"quill-street", "harbour-stair", "tern-lane", "saltmarsh-clinic", "glasshouse-row", "ferry-office"}},
		{Name: "hotel", Password: "demo-client", Role: string(store.Client), sites: []string{"harbour-stair"}},
	}
}

// Options say how the demo runs.
type Options struct {
	// Dir is an empty folder.
	Dir string
	// Where browsers, devices and edges reach it; empty: the service's defaults.
	HTTP, MQTT, Edges string
	Log               *slog.Logger
	// Tanks are the fleet; nil: Fleet().
	Tanks []Tank
}

// Demo is the service over the fleet.
type Demo struct {
	Server  *server.Server
	devices []*device
	agents  []*agent
	dir     string
}

const (
	// seed makes the fleet's lives. Another gives other weather.
	seed = 7
	// ahead is for how long the devices know what will happen.
	ahead = 14 * day
	// who is named in the audit log for what the demo sets up.
	who = "demo"
)

// Open makes the service, the fleet and its past. Run lets it go on.
func Open(ctx context.Context, o Options) (_ *Demo, err error) {
	if o.Tanks == nil {
		o.Tanks = Fleet()
	}
	lives, err := liveAll(ctx, o.Tanks)
	if err != nil {
		return nil, err
	}
	srv, err := server.Open(ctx, server.Options{Dir: o.Dir, HTTP: o.HTTP, MQTT: o.MQTT, Edges: o.Edges, Log: o.Log})
	if err != nil {
		return nil, err
	}
	d := &Demo{Server: srv, dir: o.Dir}
	defer func() {
		if err != nil {
			srv.Close()
		}
	}()
	now := time.Now().UTC()
	began := now.Add(-HistoryDays * day)
	var histories []monitor.History
	for i, t := range o.Tanks {
		h, err := d.settle(ctx, &t, lives[i], began, o.Log)
		if err != nil {
			return nil, fmt.Errorf("demo tank %s: %w", t.ID, err)
		}
		histories = append(histories, h)
	}
	if err := srv.Monitor.Import(ctx, histories); err != nil {
		return nil, err
	}
	return d, errors.Join(srv.AdmitEdges(), d.invite(ctx, now))
}

// liveAll runs every tank through the twin.
func liveAll(ctx context.Context, tanks []Tank) ([]*Record, error) {
	lives := make([]*Record, len(tanks))
	group, ctx := errgroup.WithContext(ctx)
	for i := range tanks {
		group.Go(func() (err error) {
			lives[i], err = tanks[i].Live(ctx, HistoryDays*day+ahead, seed)
			return err
		})
	}
	return lives, group.Wait()
}

// settle sets a tank up with who reports of it, and gives what has been recorded
// so far.
func (d *Demo) settle(ctx context.Context, t *Tank, life *Record, began time.Time, log *slog.Logger) (monitor.History, error) {
	h := monitor.History{TankID: t.ID}
	w := d.Server.Monitor
	err := w.AddTank(ctx, monitor.NewTank{SiteID: t.SiteID, SiteName: t.SiteName, TankID: t.ID, File: string(life.File), By: who})
	if err != nil {
		return h, err
	}
	reports := d.connect
	if t.guarded {
		reports = d.guard
	}
	id, err := reports(ctx, t, life, began, log)
	if err != nil {
		return h, err
	}
	heard := HistoryDays*day - t.silentFor
	for _, v := range life.Values[:split(life.Values, heard)] {
		h.Readings = append(h.Readings, wire.Reading{Site: t.SiteID, Device: id, Channel: v.Channel, Value: v.Value, At: began.Add(v.At).Round(time.Microsecond)})
	}
	for _, v := range life.Hand[:split(life.Hand, HistoryDays*day)] {
		o, err := d.write(ctx, t, v, began)
		if err != nil {
			return h, err
		}
		h.Seen = append(h.Seen, o)
	}
	return h, nil
}

// split is how many values of a list come before a time.
func split(list []Value, at time.Duration) int {
	n, _ := slices.BinarySearchFunc(list, at, func(v Value, t time.Duration) int { return cmp.Compare(v.At, t) })
	return n
}

// connect gives a tank a device that has its life still to tell.
func (d *Demo) connect(ctx context.Context, t *Tank, life *Record, began time.Time, log *slog.Logger) (id string, err error) {
	made, password, err := d.Server.Devices.New(ctx, d.Server.Store.Edit(who, began),
		store.Device{SiteID: t.SiteID, TankID: t.ID, Name: "Level head, " + life.Site.Name})
	if err != nil {
		return "", err
	}
	if t.silentFor == 0 {
		d.devices = append(d.devices, &device{id: wire.DeviceID{Site: t.SiteID, Device: made.ID}, password: password,
			values: slices.Clone(life.Values[split(life.Values, HistoryDays*day):]), began: began, log: log})
	}
	return made.ID, nil
}

// Run serves, and lets the devices report, until ctx ends.
func (d *Demo) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return d.Server.Run(ctx) })
	for _, dev := range d.devices {
		group.Go(func() error { return dev.run(ctx, d.Server.DoorAddress()) })
	}
	for _, a := range d.agents {
		group.Go(func() error { return a.run(ctx) })
	}
	return group.Wait()
}

// Close gives everything back, after Run has returned.
func (d *Demo) Close() error { return d.Server.Close() }

// handSD is how well the demo's people read a refractometer.
const handSD = 0.2

// write puts what a person did or read into the store, and says what the account
// makes of it.
func (d *Demo) write(ctx context.Context, t *Tank, v Value, began time.Time) (account.Observation, error) {
	at := began.Add(v.At).Round(time.Microsecond)
	r := store.HandReading{ID: fmt.Sprintf("%s-%s-%d", t.ID, v.Channel, at.UnixMicro()), TankID: t.ID, At: at, Value: v.Value}
	o := account.Observation{At: at, Value: v.Value}
	switch v.Channel {
	case channel.Salinity:
		o.Kind, o.SD, o.Instrument = account.Salinity, handSD, "refractometer"
		r.Quantity, r.Unit, r.Instrument = "salinity", "PSU", o.Instrument
	default:
		o.Kind = account.ReservoirFilled
		r.Quantity, r.Unit = o.Kind.String(), "L"
	}
	return o, d.Server.Store.Edit("jonas", at).AddHandReading(ctx, r)
}

// invite makes the demo's accounts.
func (d *Demo) invite(ctx context.Context, now time.Time) error {
	e := d.Server.Store.Edit(who, now)
	here := d.Server.Monitor.Sites()
	for _, p := range People() {
		p.sites = slices.DeleteFunc(p.sites, func(id string) bool {
			return !slices.ContainsFunc(here, func(s monitor.SiteRef) bool { return s.ID == id })
		})
		u := store.User{ID: p.Name, Name: p.Name, Mail: p.Name + "@example.org", Role: store.Role(p.Role),
			PasswordHash: auth.Advised.Hash(p.Password), Sites: p.sites}
		if err := e.CreateUser(ctx, u); err != nil {
			return err
		}
	}
	d.Server.Token = ""
	return nil
}
