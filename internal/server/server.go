package server

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/alexedwards/scs/v2"
	"golang.org/x/sync/errgroup"

	"isohaline/internal/server/api"
	"isohaline/internal/server/auth"
	"isohaline/internal/server/devices"
	"isohaline/internal/server/lifesign"
	"isohaline/internal/server/monitor"
	"isohaline/internal/server/page"
	"isohaline/internal/server/remote"
	"isohaline/internal/server/sender"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Options say how the service runs. The zero value with a Dir works.
type Options struct {
	// Dir holds everything that is kept.
	Dir string
	// HTTP, MQTT and Edges are the addresses to listen at for browsers, devices and
	// edges; empty: the defaults, which only this machine can reach.
	HTTP, MQTT, Edges string
	// Database is the address of a PostgreSQL database; empty: SQLite, in Dir.
	Database string
	// EdgesTLS encrypts the links of edges; nil: in the clear.
	EdgesTLS *tls.Config
	// NATS is the URL of an external log; empty: one within, in Dir.
	NATS string
	// Durability is what acknowledged readings survive.
	Durability wire.Durability
	// Secure says that browsers reach the service over HTTPS, by a proxy.
	Secure bool
	Log    *slog.Logger // nil: silent
	// Cost is what a password's hash takes; zero: auth.Advised.
	Cost auth.Cost
	// Now is the clock; nil: the system's.
	Now func() time.Time
}

// Where the service listens until told otherwise: loopback only.
const (
	DefaultHTTP  = "127.0.0.1:8742"
	DefaultMQTT  = "127.0.0.1:1883"
	DefaultEdges = "127.0.0.1:8743"
)

// How long things may take.
const (
	headerTimeout = 10 * time.Second
	idleTimeout   = 2 * time.Minute
	shutdownAfter = 5 * time.Second
	tickEvery     = time.Second
	// sessionLife is how long a session lasts, sessionIdle how long without use.
	sessionLife = 30 * 24 * time.Hour
	sessionIdle = 7 * 24 * time.Hour
)

// Modes of what only its owner may read.
const (
	private     = 0o700
	privateFile = 0o600
)

// earlierConsumer is under what name earlier versions kept their place in the log.
const earlierConsumer = "watch"

// Server is the whole service.
type Server struct {
	Store   *store.Store
	Monitor *monitor.Monitor
	Devices *devices.Register
	Sender  *sender.Sender
	Remote  *remote.Desk
	Signal  *lifesign.Signal
	// Token is for the first run, empty if somebody has an account.
	Token string

	o        Options
	readings *wire.Log
	door     *wire.FrontDoor
	edges    *wire.EdgePort
	http     *http.Server
	web      net.Listener
	mqtt     net.Listener
	tidied   upkeepCounters
	vitals   vitals
}

// Open makes the service and takes its addresses, so that they are known before
// it runs. Run takes the tanks up.
func Open(ctx context.Context, o Options) (_ *Server, err error) {
	o.complete()
	s := &Server{o: o}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	// Whoever comes from here on waits for a moment, and is not turned away.
	if s.web, err = net.Listen("tcp", o.HTTP); err != nil {
		return nil, fmt.Errorf("listening for browsers: %w", err)
	}
	if s.mqtt, err = net.Listen("tcp", o.MQTT); err != nil {
		return nil, fmt.Errorf("listening for devices: %w", err)
	}
	if err := os.MkdirAll(o.Dir, private); err != nil {
		return nil, fmt.Errorf("making the folder: %w", err)
	}
	if err := s.openStore(ctx); err != nil {
		return nil, err
	}
	if s.Devices, err = devices.Open(ctx, s.Store); err != nil {
		return nil, err
	}
	if s.readings, err = wire.OpenLog(ctx, wire.LogOptions{Dir: filepath.Join(o.Dir, logName), URL: o.NATS, Durability: o.Durability,
		Edges: wire.EdgeOptions{Address: o.Edges, TLS: o.EdgesTLS}, Logger: o.Log}); err != nil {
		return nil, err
	}
	if err := s.readings.Inherit(ctx, earlierConsumer, func(position uint64) (err error) {
		s.Monitor, err = monitor.Open(ctx, monitor.Options{Store: s.Store, Log: o.Log, Now: o.Now, TankOf: s.Devices.TankOf, Reports: s.Devices.Reports, Heard: s.Devices.Heard,
			Source: s.readings, Inherited: position})
		return err
	}); err != nil {
		return nil, err
	}
	if s.Sender, err = sender.Open(ctx, sender.Options{Store: s.Store, Monitor: s.Monitor, Log: o.Log, Now: o.Now}); err != nil {
		return nil, err
	}
	if s.Signal, err = lifesign.Open(ctx, lifesign.Options{Store: s.Store, Log: o.Log, Now: o.Now, Works: s.Works, Say: s.dailyMessage, Send: s.Sender.Send}); err != nil {
		return nil, err
	}
	if err := s.noteAbsence(ctx); err != nil {
		return nil, err
	}
	if err := s.afterRestore(ctx); err != nil {
		return nil, err
	}
	if err := s.openRemote(); err != nil {
		return nil, err
	}
	s.door, err = wire.NewFrontDoor(wire.DoorOptions{Append: s.readings.Append, Authenticate: s.Devices.Authenticate,
		Profile: s.Devices.Profile, Refused: s.Devices.Refused, Logger: o.Log})
	if err != nil {
		return nil, err
	}
	if err := s.prepareFirstRun(ctx); err != nil {
		return nil, err
	}
	handler, err := s.handler()
	if err != nil {
		return nil, err
	}
	s.http = &http.Server{Handler: handler, ReadHeaderTimeout: headerTimeout, IdleTimeout: idleTimeout,
		ErrorLog: slog.NewLogLogger(o.Log.Handler(), slog.LevelDebug)}
	return s, nil
}

// openRemote makes the desk for acting from afar and lets the known edges in.
func (s *Server) openRemote() error {
	s.edges = s.readings.EdgePort()
	s.Remote = remote.New(remote.Options{Edge: s.Devices.EdgeOf, Tank: s.Devices.TankOf, Ask: s.edges.Ask, Note: s.note, Log: s.o.Log, Now: s.o.Now})
	return s.AdmitEdges()
}

// AdmitEdges lets in whoever is registered as an edge by now, and nobody else.
// The API does so by itself.
func (s *Server) AdmitEdges() error {
	return s.edges.Admit(s.Devices.EdgeKeys())
}

// note writes into the audit log what somebody did to a tank.
func (s *Server) note(ctx context.Context, who, action, tankID string, detail any) error {
	return s.Store.Edit(who, s.o.Now()).Note(ctx, action, "tank", tankID, detail)
}

func (o *Options) complete() {
	if o.HTTP == "" {
		o.HTTP = DefaultHTTP
	}
	if o.MQTT == "" {
		o.MQTT = DefaultMQTT
	}
	if o.Edges == "" {
		o.Edges = DefaultEdges
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Cost == (auth.Cost{}) {
		o.Cost = auth.Advised
	}
	if o.Now == nil {
		o.Now = func() time.Time { return time.Now().UTC() }
	}
}

// storeDurability is what the store survives where the log survives this. After
// a power cut the log gives the readings again that the store has lost.
func storeDurability(d wire.Durability) store.Durability {
	if d == wire.SurvivesPowerCut {
		return store.PowerCut
	}
	return store.Kill
}

// prepareFirstRun makes the token of the first run while nobody has an account.
func (s *Server) prepareFirstRun(ctx context.Context) error {
	people, err := s.Store.Users(ctx)
	if err == nil && len(people) == 0 {
		s.Token = auth.NewSecret()
	}
	return err
}

// Address is where browsers reach the service.
func (s *Server) Address() string { return "http://" + s.web.Addr().String() }

// DoorAddress is where devices reach it, host:port.
func (s *Server) DoorAddress() string { return s.mqtt.Addr().String() }

// EdgesAddress is where edges reach it, host:port.
func (s *Server) EdgesAddress() string { return s.edges.Address() }

func (s *Server) handler() (http.Handler, error) {
	pages, err := page.Handler()
	if err != nil {
		return nil, err
	}
	sessions := scs.New()
	sessions.Store = sessionStore{s.Store, s.o.Now}
	sessions.Lifetime, sessions.IdleTimeout = sessionLife, sessionIdle
	sessions.Cookie.Name, sessions.Cookie.HttpOnly, sessions.Cookie.SameSite = api.CookieName, true, http.SameSiteLaxMode
	sessions.Cookie.Secure = s.o.Secure
	sessions.HashTokenInStore = true
	mux := http.NewServeMux()
	mux.Handle("/api/", api.Handler(api.Options{Store: s.Store, Monitor: s.Monitor, Devices: s.Devices, Sender: s.Sender, Signal: s.Signal, Findings: s.Findings, Door: s.door, Edges: s.edges, Remote: s.Remote,
		Sessions: sessions, Log: s.o.Log, Now: s.o.Now, Token: s.Token, Cost: s.o.Cost, DoorAddress: s.DoorAddress()}))
	mux.Handle("GET /metrics", s.metrics())
	mux.HandleFunc("GET /healthz", s.health)
	mux.HandleFunc("GET /readyz", s.ready)
	mux.Handle("/", pages)
	// A page elsewhere cannot make a signed-in browser change anything here.
	return http.NewCrossOriginProtection().Handler(mux), nil
}

// Run serves until ctx ends, and then ends in order: nobody new, then the log's
// consumer, which leaves nothing half done. It returns nil after such an end.
func (s *Server) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return s.door.Serve(ctx, s.mqtt) })
	group.Go(func() error { return s.takeIn(ctx) })
	group.Go(func() error { return s.edges.Serve(ctx, s.door, s.Remote.Told) })
	group.Go(func() error { return s.Store.KeepClaim(ctx, s.o.Log) })
	group.Go(func() error { return s.Sender.Run(ctx) })
	group.Go(func() error { return s.Signal.Run(ctx) })
	group.Go(func() error { return s.selfCheck(ctx) })
	group.Go(func() error { return s.upkeep(ctx) })
	group.Go(func() error { return s.Devices.Run(ctx, s.o.Log) })
	group.Go(func() error {
		if err := s.http.Serve(s.web); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("serving browsers: %w", err)
		}
		return nil
	})
	group.Go(func() error {
		<-ctx.Done()
		s.Monitor.Stop()
		s.Monitor.Feed.Close() // browsers that look on would hold the end up
		s.Remote.Changes.Close()
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownAfter)
		defer cancel()
		if err := s.http.Shutdown(end); err != nil {
			return s.http.Close()
		}
		return nil
	})
	s.o.Log.Info("the service is running", "http", s.Address(), "mqtt", s.DoorAddress(), "edges", s.EdgesAddress())
	err := group.Wait()
	return errors.Join(err, s.Monitor.Close(context.WithoutCancel(ctx)))
}

// takeIn takes every tank up, and then consumes the log: what it kept before the
// start, and what still comes.
func (s *Server) takeIn(ctx context.Context) error {
	if err := s.Monitor.TakeUp(ctx); err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return fmt.Errorf("taking up the tanks: %w", err)
	}
	s.o.Log.Info("the tanks are taken up", "tanks", s.Monitor.Progress().Done, "not", len(s.Monitor.Failures()))
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return s.readings.Consume(ctx, s.Monitor.After(), paced(s.Monitor.Take)) })
	group.Go(func() error { return s.commits(ctx) })
	group.Go(func() error { return s.tick(ctx) })
	group.Go(func() error { return s.workThrough(ctx) })
	return group.Wait()
}

// How often frames are taken in while much comes: a step copies its tank, however many
// readings it takes in. Both are judgements; a page that looks on sees it as late.
const (
	takePace  = 50 * time.Millisecond
	takePaced = 64 // readings
)

// paced is take, after which the next frames begin no sooner than takePace after these
// where these brought much, with what has gathered until then.
func paced(take func(context.Context, []wire.Frame) error) func(context.Context, []wire.Frame) error {
	return func(ctx context.Context, frames []wire.Frame) error {
		pace := time.After(takePace)
		if err := take(ctx, frames); err != nil {
			return err
		}
		readings := 0
		for i := range frames {
			readings += len(frames[i].Readings)
		}
		if readings >= takePaced {
			select {
			case <-pace:
			case <-ctx.Done():
			}
		}
		return nil
	}
}

// commits brings readings that have waited long enough into the store.
func (s *Server) commits(ctx context.Context) error {
	t := time.NewTicker(monitor.CommitQuick)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		if err := s.Monitor.Commit(ctx); err != nil && ctx.Err() == nil {
			s.o.Log.Error("readings could not be brought into the store; the log keeps them", "error", err)
		}
	}
}

// tick tells the monitor what time it is, now and then.
func (s *Server) tick(ctx context.Context) error {
	t := time.NewTicker(tickEvery)
	defer t.Stop()
	for {
		switch err := s.Monitor.Tick(ctx); {
		case err == nil:
			now := time.Now() // with the reading that no setting of the clock moves
			s.vitals.ticked.Store(&now)
		case ctx.Err() == nil:
			s.o.Log.Error("what follows from the time alone could not be stored", "error", err)
		}
		s.readings.Release(s.Monitor.After())
		if err := s.Remote.Tick(ctx); err != nil && ctx.Err() == nil {
			s.o.Log.Error("what became of a request is not in the audit log yet", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}

// workThrough has tanks work through records that they could not when it was due.
func (s *Server) workThrough(ctx context.Context) error {
	t := time.NewTicker(tickEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			s.Monitor.WorkThrough(ctx)
		}
	}
}

// Close gives everything back. Run must have returned, or never begun.
func (s *Server) Close() error {
	for _, l := range []net.Listener{s.web, s.mqtt} {
		if l != nil {
			l.Close() // closed by Run already, if it ran
		}
	}
	if s.readings != nil {
		s.readings.Close()
	}
	if s.Store != nil {
		return s.Store.Close()
	}
	return nil
}
