package api

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"isohaline/internal/server/auth"
	"isohaline/internal/server/devices"
	"isohaline/internal/server/hub"
	"isohaline/internal/server/lifesign"
	"isohaline/internal/server/monitor"
	"isohaline/internal/server/remote"
	"isohaline/internal/server/sender"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Options are what the interface stands on.
type Options struct {
	Store   *store.Store
	Monitor *monitor.Monitor
	Devices *devices.Register
	Sender  *sender.Sender
	Door    *wire.FrontDoor
	Signal  *lifesign.Signal
	// Findings are what is wrong with the service itself.
	Findings func() []hub.Finding
	// Edges is where edges link themselves; Remote is the desk for what is asked of
	// them.
	Edges    *wire.EdgePort
	Remote   *remote.Desk
	Sessions *scs.SessionManager
	Log      *slog.Logger
	Now      func() time.Time
	// Token lets whoever has it make the first account; empty: nobody.
	Token string
	// Cost is what a password's hash takes.
	Cost auth.Cost
	// DoorAddress is where devices connect, as they are told.
	DoorAddress string
}

// API is the HTTP interface.
type API struct {
	huma huma.API

	store       *store.Store
	monitor     *monitor.Monitor
	devices     *devices.Register
	sender      *sender.Sender
	signal      *lifesign.Signal
	ownFindings func() []hub.Finding
	door        *wire.FrontDoor
	edges       *wire.EdgePort
	remote      *remote.Desk
	sessions    *scs.SessionManager
	log         *slog.Logger
	now         func() time.Time
	token       string
	cost        auth.Cost
	address     string

	// How often somebody may guess, by name and by address.
	names, addresses *auth.Limiter
	// hashing holds a place for each password that is being checked.
	hashing chan struct{}
	// reckoning holds the place for odds that are being worked out.
	reckoning chan struct{}
	// checks and odds are what was worked out already.
	checks kept[Check]
	odds   kept[Odds]
	// nobody is a hash that a wrong name is checked against, so that it takes
	// as long as a wrong password.
	nobody       string
	firstRunLock sync.Mutex
	// shown lets live updates begin again when somebody may see something else.
	shown turnover
}

// maxConcurrentHashes bounds the memory that signing in takes.
const maxConcurrentHashes = 2

// Handler makes the interface. Its paths begin with /api/.
func Handler(o Options) http.Handler {
	mux := http.NewServeMux()
	a := &API{
		huma: newHuma(mux), store: o.Store, monitor: o.Monitor, devices: o.Devices, sender: o.Sender, signal: o.Signal, ownFindings: o.Findings, door: o.Door, edges: o.Edges, remote: o.Remote,
		sessions: o.Sessions, log: o.Log, now: o.Now, token: o.Token, cost: o.Cost, address: o.DoorAddress,
		names: auth.NewNameLimiter(), addresses: auth.NewAddressLimiter(),
		hashing: make(chan struct{}, maxConcurrentHashes), reckoning: make(chan struct{}, 1), nobody: o.Cost.Hash(auth.NewSecret()),
	}
	a.register()
	return withAddress(o.Sessions.LoadAndSave(mux))
}

// sessionScheme is the cookie's name in the document.
const sessionScheme = "session"

// CookieName is the session's cookie.
const CookieName = "isohaline_session"

func newHuma(mux *http.ServeMux) huma.API {
	config := huma.DefaultConfig("Isohaline", "1")
	config.Info.Description = "Top-off systems of saltwater aquariums, monitored live."
	config.OpenAPIPath = "/api/openapi"
	config.DocsPath = "" // no page that loads scripts from elsewhere
	config.SchemasPath = ""
	config.CreateHooks = nil // no $schema in bodies
	config.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		sessionScheme: {Type: "apiKey", In: "cookie", Name: CookieName},
	}
	return humago.New(mux, config)
}

type addressKey struct{}

// withAddress notes where a request comes from, for limits on guessing, and where
// it went to, which net/http takes out of the header.
func withAddress(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.RemoteAddr)
		if err != nil {
			host = r.RemoteAddr
		}
		r.Header.Set("Host", r.Host)
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), addressKey{}, host)))
	})
}

func addressOf(ctx context.Context) string { return fmt.Sprint(ctx.Value(addressKey{})) }
