package demo

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
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
	// Progress, if set, is told how many tanks of how many have their past.
	Progress func(done, total int)
}

// Demo is the service over the fleet.
type Demo struct {
	Server *server.Server
	o      Options
	// now is where the past ends, began where it begins.
	now, began time.Time
}

// continuation lets a tank go on, from where its past ends until ctx does.
type continuation func(ctx context.Context) error

const (
	// seed makes the fleet's lives. Another gives other weather.
	seed = 7
	// ahead is for how long the devices know what will happen.
	ahead = 14 * day
	// who is named in the audit log for what the demo sets up.
	who = "demo"
)

// Open makes the service, with its people and places. Run makes the tanks and
// their past, and lets them go on.
func Open(ctx context.Context, o Options) (_ *Demo, err error) {
	if o.Tanks == nil {
		o.Tanks = Fleet()
	}
	if o.Progress == nil {
		o.Progress = func(int, int) {}
	}
	srv, err := server.Open(ctx, server.Options{Dir: o.Dir, HTTP: o.HTTP, MQTT: o.MQTT, Edges: o.Edges, Log: o.Log})
	if err != nil {
		return nil, err
	}
	now := time.Now().UTC()
	d := &Demo{Server: srv, o: o, now: now, began: now.Add(-HistoryDays * day)}
	defer func() {
		if err != nil {
			srv.Close()
		}
	}()
	for _, t := range o.Tanks {
		if err := srv.Monitor.AddSite(ctx, srv.Store.Edit(who, d.began), store.Site{ID: t.SiteID, Name: t.SiteName}); err != nil {
			return nil, fmt.Errorf("demo site %s: %w", t.SiteID, err)
		}
	}
	srv.Monitor.Expect(len(o.Tanks))
	return d, d.invite(ctx, now)
}

// Run serves, and lets the fleet live, until ctx ends.
func (d *Demo) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return d.Server.Run(ctx) })
	group.Go(func() error {
		if err := d.furnish(ctx, group); err != nil && ctx.Err() == nil {
			return err
		}
		return nil
	})
	return group.Wait()
}

// furnish makes the tanks and their past, site by site, because the alarms of a
// site are made in the order of time, and lets each go on.
func (d *Demo) furnish(ctx context.Context, group *errgroup.Group) error {
	d.o.Progress(0, len(d.o.Tanks))
	done := 0
	for site := range sites(d.o.Tanks) {
		lives, err := liveAll(ctx, site)
		if err != nil {
			return err
		}
		var histories []monitor.History
		var onward []continuation
		for i := range site {
			h, on, err := d.settle(ctx, &site[i], lives[i])
			if err != nil {
				return fmt.Errorf("demo tank %s: %w", site[i].ID, err)
			}
			histories = append(histories, h)
			if on != nil {
				onward = append(onward, on)
			}
		}
		if err := d.Server.Monitor.Import(ctx, histories); err != nil {
			return err
		}
		if err := d.Server.AdmitEdges(); err != nil {
			return err
		}
		for _, on := range onward {
			group.Go(func() error { return on(ctx) })
		}
		for range site {
			d.Server.Monitor.Arrived()
			done++
			d.o.Progress(done, len(d.o.Tanks))
		}
	}
	return nil
}

// sites are the tanks of each site in turn, which stand side by side in a fleet.
func sites(tanks []Tank) iter.Seq[[]Tank] {
	return func(yield func([]Tank) bool) {
		for len(tanks) > 0 {
			n := 1
			for n < len(tanks) && tanks[n].SiteID == tanks[0].SiteID {
				n++
			}
			if !yield(tanks[:n]) {
				return
			}
			tanks = tanks[n:]
		}
	}
}

// liveAll runs tanks through the twin.
func liveAll(ctx context.Context, tanks []Tank) ([]*Record, error) {
	lives := make([]*Record, len(tanks))
	var group errgroup.Group
	for i := range tanks {
		group.Go(func() (err error) {
			lives[i], err = tanks[i].Live(HistoryDays*day+ahead, seed)
			return err
		})
	}
	return lives, errors.Join(group.Wait(), ctx.Err())
}

// settle sets a tank up with who reports of it, and gives what has been recorded
// so far and how it goes on; nil: it does not.
func (d *Demo) settle(ctx context.Context, t *Tank, life *Record) (monitor.History, continuation, error) {
	h := monitor.History{TankID: t.ID}
	err := d.Server.Monitor.AddTank(ctx, monitor.NewTank{SiteID: t.SiteID, SiteName: t.SiteName, TankID: t.ID, File: string(life.File), By: who})
	if err != nil {
		return h, nil, err
	}
	reports := d.connect
	if t.guarded {
		reports = d.guard
	}
	id, on, err := reports(ctx, t, life)
	if err != nil {
		return h, nil, err
	}
	heard := HistoryDays*day - t.silentFor
	for _, v := range life.Values[:split(life.Values, heard)] {
		h.Readings = append(h.Readings, wire.Reading{Site: t.SiteID, Device: id, Channel: v.Channel, Value: v.Value, At: d.began.Add(v.At).Round(time.Microsecond)})
	}
	for _, v := range life.Hand[:split(life.Hand, HistoryDays*day)] {
		o, err := d.write(ctx, t, v)
		if err != nil {
			return h, nil, err
		}
		h.Seen = append(h.Seen, o)
	}
	return h, on, nil
}

// split is how many values of a list come before a time.
func split(list []Value, at time.Duration) int {
	n, _ := slices.BinarySearchFunc(list, at, func(v Value, t time.Duration) int { return cmp.Compare(v.At, t) })
	return n
}

// connect gives a tank a device that has its life still to tell.
func (d *Demo) connect(ctx context.Context, t *Tank, life *Record) (id string, on continuation, err error) {
	made, password, err := d.Server.Devices.New(ctx, d.Server.Store.Edit(who, d.began),
		store.Device{SiteID: t.SiteID, TankID: t.ID, Name: "Level head, " + life.Tank.Name})
	if err != nil {
		return "", nil, err
	}
	if t.silentFor != 0 {
		return made.ID, nil, nil
	}
	head := &device{id: wire.DeviceID{Site: t.SiteID, Device: made.ID}, password: password,
		values: slices.Clone(life.Values[split(life.Values, HistoryDays*day):]), began: d.began, log: d.o.Log}
	return made.ID, func(ctx context.Context) error { return head.run(ctx, d.Server.DoorAddress()) }, nil
}

// Close gives everything back, after Run has returned.
func (d *Demo) Close() error { return d.Server.Close() }

// handSD is how well the demo's people read a refractometer.
const handSD = 0.2

// write puts what a person did or read into the store, and says what the account
// makes of it.
func (d *Demo) write(ctx context.Context, t *Tank, v Value) (account.Observation, error) {
	at := d.began.Add(v.At).Round(time.Microsecond)
	r := store.HandReading{ID: fmt.Sprintf("%s-%s-%d", t.ID, v.Channel, at.UnixMicro()), TankID: t.ID, At: at,
		Quantity: v.Channel, Value: v.Value, Unit: channel.Shown(v.Channel).Unit}
	if v.Channel == channel.Salinity {
		r.Instrument = "refractometer"
	}
	o, _ := channel.ByHand(v.Channel, at, v.Value, r.Instrument)
	if v.Channel == channel.Salinity {
		o.SD = handSD
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
