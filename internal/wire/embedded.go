package wire

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// startTimeout is how long the embedded server may take to read back what it
// holds.
const startTimeout = time.Minute

// storeOverhead is what the embedded server may use beside the stream itself, for
// the positions of consumers.
const storeOverhead = 64 << 20

// embedded is a NATS server inside this process. We reach it through memory, and
// it listens nowhere but where edges come in, if they may: no other port can be
// taken, scanned or fought over.
type embedded struct {
	server  *server.Server
	options *server.Options
	edges   *EdgePort // nil: no edges come here
	lock    *flock.Flock
}

func startEmbedded(o LogOptions) (*embedded, error) {
	if err := os.MkdirAll(o.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("log: %w", err)
	}
	// Two servers on one folder would write over each other, and NATS does not
	// prevent it.
	lock := flock.New(filepath.Join(o.Dir, "lock"), flock.SetPermissions(0o600))
	switch free, err := lock.TryLock(); {
	case err != nil:
		return nil, fmt.Errorf("log: %w", err)
	case !free:
		return nil, fmt.Errorf("log: %s is in use by another process; end that one, or choose another folder", o.Dir)
	}
	e := &embedded{lock: lock}
	if err := e.prepare(o); err != nil {
		e.stop()
		return nil, fmt.Errorf("log: %w", err)
	}
	var err error
	if e.server, err = server.NewServer(e.options); err != nil {
		e.stop()
		return nil, fmt.Errorf("log: embedded NATS: %w", err)
	}
	fatal := make(chan error, 1)
	e.server.SetLogger(natsLogger{o.Logger.With("part", "nats"), fatal}, false, false)
	if err := e.run(fatal); err != nil {
		e.stop()
		return nil, fmt.Errorf("log: embedded NATS: %w", err)
	}
	return e, nil
}

// prepare makes the server's options.
func (e *embedded) prepare(o LogOptions) (err error) {
	e.options = &server.Options{ServerName: "isohaline", DontListen: true, NoSigs: true}
	if o.URL == "" { // else the log is elsewhere, and this server keeps nothing
		e.options.JetStream = true
		e.options.StoreDir = o.Dir
		e.options.JetStreamMaxStore = o.MaxBytes + storeOverhead
		e.options.JetStreamMaxMemory = storeOverhead
		e.options.SyncAlways = o.Durability == SurvivesPowerCut
		e.options.SyncInterval = syncEvery
	}
	switch {
	case o.uplink != nil:
		return o.uplink.options(e.options)
	case o.Edges.Address != "":
		e.edges = &EdgePort{embed: e}
		if e.edges.own, err = nkeys.CreateUser(); err != nil {
			return fmt.Errorf("edge key: %w", err)
		}
		return e.edges.options(e.options, o.Edges)
	}
	return nil
}

// run starts the server and waits until it is ready or gives up.
func (e *embedded) run(fatal <-chan error) error {
	e.server.Start() // returns once everything is started
	select {
	case err := <-fatal:
		return err
	default:
	}
	if !e.server.ReadyForConnections(startTimeout) {
		return errors.New("is not ready")
	}
	return nil
}

func (e *embedded) stop() {
	if e.server != nil {
		e.server.Shutdown()
		e.server.WaitForShutdown()
	}
	e.lock.Close()
}

// natsLogger hands the server's words to slog. NATS would end the process at a
// fatal error, like a port in use or a folder that cannot be written; here the
// first one comes out of OpenLog instead.
type natsLogger struct {
	log   *slog.Logger
	fatal chan<- error
}

func (n natsLogger) Noticef(format string, v ...any) { n.log.Debug(fmt.Sprintf(format, v...)) }
func (n natsLogger) Warnf(format string, v ...any)   { n.log.Warn(fmt.Sprintf(format, v...)) }
func (n natsLogger) Errorf(format string, v ...any)  { n.log.Error(fmt.Sprintf(format, v...)) }
func (n natsLogger) Debugf(string, ...any)           {}
func (n natsLogger) Tracef(string, ...any)           {}
func (n natsLogger) Fatalf(format string, v ...any) {
	err := fmt.Errorf(format, v...)
	n.log.Error(err.Error())
	select {
	case n.fatal <- err:
	default:
	}
}
