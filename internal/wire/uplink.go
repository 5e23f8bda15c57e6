package wire

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
)

// An edge's own log: other names than the hub's, so that neither hears the other's.
const (
	bufferName    = "BUFFER"
	bufferSubject = "isohaline.buffer"
)

// positionName is the file in an edge's folder that says what the hub has, and
// oldPosition the consumer that earlier versions kept it with.
const (
	positionName = "hub-has.json"
	oldPosition  = "hub"
)

// How an edge meets a hub that does not answer.
const (
	// pushTimeout is how long the hub may take over a frame. One that was killed
	// with a frame in hand is not asked again before.
	pushTimeout = 3 * time.Second
	pushPause   = 500 * time.Millisecond
	// relinkEvery is how often a lost link is tried again.
	relinkEvery = time.Second
)

// DefaultBufferBytes holds a year of a busy tank without a link.
const DefaultBufferBytes = 1 << 30

// UplinkOptions say who the edge is and where its hub.
type UplinkOptions struct {
	// Dir is where readings wait until the hub has them.
	Dir string
	// Hub is where the hub's EdgePort is, host:port.
	Hub string
	// TLS encrypts the link; nil: in the clear.
	TLS *tls.Config
	// Edge is this edge as the hub knows it, and Seed the secret half of its key.
	Edge DeviceID
	Seed string
	// Asked is given what the hub asks. It must not wait.
	Asked func(message []byte)
	// MaxBytes is how much may wait; 0: DefaultBufferBytes.
	MaxBytes int64
	Logger   *slog.Logger // nil: silent
}

// Uplink is an edge's end of its link to the hub: readings are on its own disk
// first, and go to the hub whenever there is a link, each until the hub has it.
type Uplink struct {
	// Pushed counts readings that the hub has said to have; Refused those it will
	// never take.
	Pushed, Refused atomic.Int64

	o     UplinkOptions
	log   *Log
	after uint64 // the sequence up to which the hub has the log
}

// OpenUplink opens the edge's own log. The link comes up by itself, now or later.
func OpenUplink(ctx context.Context, o UplinkOptions) (*Uplink, error) {
	if !validName(o.Edge.Site) || !validName(o.Edge.Device) {
		return nil, fmt.Errorf("uplink: %w", invalid("edge", o.Edge.String(), nameFix))
	}
	if _, err := nkeys.FromSeed([]byte(o.Seed)); err != nil {
		return nil, fmt.Errorf("uplink: the key is no seed (%w); give the one that the hub showed when the edge was made", err)
	}
	if o.MaxBytes == 0 {
		o.MaxBytes = DefaultBufferBytes
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	u := &Uplink{o: o}
	var err error
	u.log, err = OpenLog(ctx, LogOptions{Dir: o.Dir, Durability: SurvivesPowerCut, MaxBytes: o.MaxBytes, Logger: o.Logger, uplink: &o})
	if err != nil {
		return nil, err
	}
	if err := u.readPosition(ctx); err != nil {
		u.log.Close()
		return nil, fmt.Errorf("uplink: %w", err)
	}
	return u, nil
}

// readPosition reads what the hub has. Where that is not known everything in the
// log goes to the hub again, which keeps it once.
func (u *Uplink) readPosition(ctx context.Context) error {
	var p Position
	text, err := os.ReadFile(filepath.Join(u.o.Dir, positionName))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err := u.log.Inherit(ctx, oldPosition, func(position uint64) error {
			u.after = position
			return u.writePosition(position)
		}); err != nil {
			return err
		}
	case err != nil:
		return err
	default:
		if err := json.Unmarshal(text, &p); err != nil {
			u.o.Logger.Warn("it cannot be read what the hub has; it gets everything again", "error", err)
		}
		u.after = u.log.After(p)
	}
	if err := u.writePosition(u.after); err != nil {
		return err
	}
	u.log.Release(u.after)
	return nil
}

// writePosition replaces the file. A power cut may bring back an older one, which
// costs nothing but work.
func (u *Uplink) writePosition(sequence uint64) error {
	text, err := json.Marshal(Position{u.log.ID(), sequence})
	if err != nil {
		return err
	}
	file := filepath.Join(u.o.Dir, positionName)
	if err := os.WriteFile(file+".new", text, 0o600); err != nil {
		return err
	}
	return os.Rename(file+".new", file)
}

// options link a server's options to the hub.
func (o *UplinkOptions) options(s *server.Options) error {
	scheme := "nats"
	if o.TLS != nil {
		scheme = "tls"
	}
	hub, err := url.Parse(scheme + "://" + o.Hub)
	if err != nil || hub.Port() == "" {
		return fmt.Errorf("uplink: hub: %q is no address; give host:port", o.Hub)
	}
	s.ServerName = "isohaline-" + o.Edge.Site + "-" + o.Edge.Device
	s.JetStreamDomain = s.ServerName // its log is not the hub's
	s.LeafNode.ReconnectInterval = relinkEvery
	s.LeafNode.Remotes = []*server.RemoteLeafOpts{{URLs: []*url.URL{hub}, Nkey: o.Seed, TLSConfig: o.TLS, TLS: o.TLS != nil,
		DenyExports: []string{bufferSubject}, DenyImports: []string{bufferSubject}}}
	return nil
}

// Append writes readings on this edge's disk and returns when they are there.
func (u *Uplink) Append(ctx context.Context, readings []Reading) error {
	return u.log.Append(ctx, readings)
}

// Run brings the hub what waits, in its order, and hands on what the hub asks,
// until ctx ends.
func (u *Uplink) Run(ctx context.Context) error {
	if u.o.Asked != nil {
		asked, err := u.log.conn.Subscribe(edgeSubject(u.o.Edge, askWord), func(m *nats.Msg) { u.o.Asked(m.Data) })
		if err != nil {
			return fmt.Errorf("uplink: %w", err)
		}
		defer asked.Unsubscribe()
	}
	return u.log.Consume(ctx, u.after, u.push)
}

// Tell sends the hub a message if there is a link now; nothing waits here.
func (u *Uplink) Tell(message []byte) error {
	if err := u.log.conn.Publish(edgeSubject(u.o.Edge, tellWord), message); err != nil {
		return fmt.Errorf("telling the hub: %w", err)
	}
	return nil
}

// Close ends the link and the log.
func (u *Uplink) Close() { u.log.Close() }

// push brings frames to the hub and returns nil when it has them.
func (u *Uplink) push(ctx context.Context, frames []Frame) error {
	var readings []Reading
	for _, f := range frames {
		readings = append(readings, f.Readings...)
	}
	entries, err := split(readings)
	if err != nil {
		return err
	}
	for _, e := range entries {
		frame, err := encodeFrame(e.readings)
		if err != nil {
			return err
		}
		answer, err := u.pushFrame(ctx, frame)
		if err != nil {
			return err
		}
		n := int64(len(e.readings))
		for _, r := range answer.Refused {
			u.o.Logger.Error("the hub refused a reading", "message", r.Message)
			if r.Index == wholeFrame {
				u.Refused.Add(n)
				n = 0
			} else {
				u.Refused.Add(1)
				n--
			}
		}
		u.Pushed.Add(n)
	}
	u.after = frames[len(frames)-1].Sequence
	if err := u.writePosition(u.after); err != nil {
		u.o.Logger.Warn("it cannot be kept what the hub has; after a restart it gets that again", "error", err)
		return nil
	}
	u.log.Release(u.after)
	return nil
}

// pushFrame tries until the hub has answered for the frame or ctx ends.
func (u *Uplink) pushFrame(ctx context.Context, frame []byte) (pushAnswer, error) {
	for attempt := 1; ; attempt++ {
		answer, err := u.request(ctx, frame)
		if err == nil {
			if attempt > 1 {
				u.o.Logger.Info("the hub takes readings again")
			}
			return answer, nil
		}
		if ctx.Err() != nil {
			return pushAnswer{}, ctx.Err()
		}
		if attempt == 1 {
			u.o.Logger.Warn("the hub does not take readings; they wait here", "error", err)
		}
		wait(ctx, pushPause)
	}
}

func (u *Uplink) request(ctx context.Context, frame []byte) (answer pushAnswer, err error) {
	ctx, cancel := context.WithTimeout(ctx, pushTimeout)
	defer cancel()
	m, err := u.log.conn.RequestWithContext(ctx, edgeSubject(u.o.Edge, pushWord), frame)
	if err != nil {
		return answer, err
	}
	if err := cbor.Unmarshal(m.Data, &answer); err != nil {
		return answer, fmt.Errorf("the hub's answer: %w", err)
	}
	if answer.Later != "" {
		return answer, errors.New(answer.Later)
	}
	return answer, nil
}
