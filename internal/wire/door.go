package wire

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"

	"isohaline/internal/problem"
)

// The topics of devices: Root/<site>/<device>/<word>. BodyWord takes what ReadBody
// reads; every other word, which may have levels of its own, takes a bare value
// through the profile's Plain mappings.
const (
	Root     = "isohaline"
	BodyWord = "readings"
)

const (
	// appendTimeout is how long a message may wait for the log. It is shorter than
	// the keep-alive of a device, which would give the connection up.
	appendTimeout = 10 * time.Second
	// maxPacket lets a message somewhat too large in, to be refused in words. What
	// is larger still ends the connection.
	maxPacket = MaxMessage + 64<<10
	// DefaultMaxConnections is how many devices may be connected.
	DefaultMaxConnections = 20_000
	// pendingWrites is room for messages that the broker would pass on to a device.
	// There are none, and its default costs 64 kB a connection.
	pendingWrites = 8
	// receiveMaximum is how many messages an MQTT 5 device may send before the
	// first is acknowledged.
	receiveMaximum = 256
	// sessionKeepS is how long the session of an absent device is remembered.
	sessionKeepS = 24 * 60 * 60
	// sysIntervalS is how often the broker updates counters of its own that nobody
	// may read.
	sysIntervalS = 60 * 60
)

// DoorOptions is what the front door needs to know. All functions are called from
// many goroutines.
type DoorOptions struct {
	// Append writes readings durably and returns when they are: Log.Append.
	Append func(context.Context, []Reading) error
	// Authenticate says which device these credentials belong to. It must hold the
	// credentials to the client id: the same ones under another id are refused.
	Authenticate func(clientID, user string, password []byte) (DeviceID, bool)
	// Profile is what a device may say. It is asked for every message. nil: nothing.
	Profile func(DeviceID) *Profile
	// Refused is told of every refusal. It must not wait for anything. May be nil.
	Refused        func(Refusal)
	MaxConnections int          // 0: DefaultMaxConnections
	Logger         *slog.Logger // nil: silent
}

// FrontDoor is what devices speak to: MQTT 5 and 3.1.1, and HTTP by way of Post.
type FrontDoor struct {
	Counters DoorCounters

	o      DoorOptions
	broker *mqtt.Server
}

// NewFrontDoor makes a front door that nobody has come to yet.
func NewFrontDoor(o DoorOptions) (*FrontDoor, error) {
	if o.Append == nil || o.Authenticate == nil || o.Profile == nil {
		return nil, errors.New("front door: Append, Authenticate and Profile have to be given")
	}
	if o.MaxConnections == 0 {
		o.MaxConnections = DefaultMaxConnections
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Refused == nil {
		o.Refused = func(Refusal) {}
	}
	able := mqtt.NewDefaultServerCapabilities()
	able.MaximumPacketSize = maxPacket
	able.MaximumClientWritesPending = pendingWrites
	able.ReceiveMaximum = receiveMaximum
	able.MaximumSessionExpiryInterval = sessionKeepS
	able.TopicAliasMaximum = 0
	able.Compatibilities.NoInheritedPropertiesOnAck = true
	f := &FrontDoor{o: o}
	f.broker = mqtt.New(&mqtt.Options{
		Capabilities: able,
		// The broker logs whole packets, passwords and all; hook says what matters.
		Logger:                 slog.New(slog.DiscardHandler),
		SysTopicResendInterval: sysIntervalS,
	})
	if err := f.broker.AddHook(&hook{door: f}, nil); err != nil {
		return nil, fmt.Errorf("front door: %w", err)
	}
	return f, nil
}

// Serve takes connections from ln until ctx is done, then closes ln and every
// connection and returns nil. It returns an error if ln fails before that. It may
// be called once. For TLS give it a TLS listener.
func (f *FrontDoor) Serve(ctx context.Context, ln net.Listener) error {
	l := newListener(ln, f.o.MaxConnections, f.o.Logger)
	if err := f.broker.AddListener(listeners.NewNet("door", l)); err != nil {
		l.Close()
		return fmt.Errorf("front door: %w", err)
	}
	if err := f.broker.Serve(); err != nil {
		l.Close()
		return fmt.Errorf("front door: %w", err)
	}
	f.o.Logger.Info("the front door is open", "address", ln.Addr().String())
	var failed error
	select {
	case <-ctx.Done():
	case err := <-l.failed:
		failed = fmt.Errorf("front door: %w", err)
	}
	if err := f.broker.Close(); err != nil {
		return errors.Join(failed, fmt.Errorf("front door: %w", err))
	}
	f.o.Logger.Info("the front door is closed")
	return failed
}

// Post takes the body of an HTTP POST from a device that the caller has
// authenticated: ReadBody, the same log, the same counters. When it returns nil
// the readings are in the log, and not before may the caller answer 2xx. The error
// is a *Problem unless the log is to blame.
func (f *FrontDoor) Post(ctx context.Context, dev DeviceID, body []byte) error {
	f.count(body)
	readings, err := ReadBody(dev, f.profile(dev), body, time.Now())
	if err == nil {
		err = f.append(ctx, readings)
	}
	if err != nil {
		f.refuse(Refusal{Device: dev}, err)
	}
	return err
}

// TooLarge refuses the body of an HTTP POST that was not read to its end because
// it is larger than MaxMessage.
func (f *FrontDoor) TooLarge(dev DeviceID) error {
	err := unread()
	f.refuse(Refusal{Device: dev}, err)
	return err
}

// unread is what is wrong with a message so large that nobody read it.
func unread() *Problem {
	return &Problem{TooLarge, problem.Problem{Field: "message", Why: fmt.Sprintf("is more than the %d bytes of a message", MaxMessage), Fix: "send it in parts"}}
}

// Disconnect ends the connections of a device, because its credentials have been
// withdrawn. It says how many there were.
func (f *FrontDoor) Disconnect(dev DeviceID) int {
	n := 0
	for _, client := range f.broker.Clients.GetAll() {
		if c, ok := client.Net.Conn.(*conn); ok && c.owner() == dev && !client.Closed() {
			client.Stop(errWithdrawn)
			n++
		}
	}
	return n
}

var errWithdrawn = errors.New("the credentials have been withdrawn")

func (f *FrontDoor) profile(dev DeviceID) *Profile {
	if p := f.o.Profile(dev); p != nil {
		return p
	}
	return &Profile{}
}

func (f *FrontDoor) count(message []byte) {
	f.Counters.Messages.Add(1)
	f.Counters.Bytes.Add(int64(len(message)))
}

// append brings readings into the log.
func (f *FrontDoor) append(ctx context.Context, readings []Reading) error {
	start := time.Now()
	ctx, cancel := context.WithTimeout(ctx, appendTimeout)
	defer cancel()
	err := f.o.Append(ctx, readings)
	f.Counters.Waited.Add(int64(time.Since(start)))
	if err != nil {
		return err
	}
	f.Counters.Accepted.Add(int64(len(readings)))
	for _, r := range readings {
		if r.Clock == Restamped {
			f.Counters.Restamped.Add(1)
		}
	}
	return nil
}

// refuse makes a refusal seen.
func (f *FrontDoor) refuse(r Refusal, err error) {
	r.At, r.Reason, r.Message = time.Now().UTC(), ReasonOf(err), err.Error()
	f.Counters.Refused[r.Reason].Add(1)
	f.o.Logger.Debug("refused", "device", r.Device, "client", r.ClientID, "topic", r.Topic, "reason", r.Reason, "message", r.Message)
	f.o.Refused(r)
}
