package wire

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"isohaline/internal/problem"
)

// The subjects between a hub and an edge: edgeRoot.<site>.<device>.<word>. The
// hub lets every edge use its own and no others.
const (
	edgeRoot  = "isohaline.edge."
	pushWord  = "push"  // edge to hub, answered: a frame of readings
	tellWord  = "tell"  // edge to hub: what it wants known at once
	askWord   = "ask"   // hub to edge: what it is asked to do
	inboxWord = "inbox" // hub to edge: answers
)

func edgeSubject(edge DeviceID, word string) string {
	return edgeRoot + edge.Site + "." + edge.Device + "." + word
}

// edgeOf is the edge that a subject belongs to. The hub has held the sender to it.
func edgeOf(subject string) DeviceID {
	site, rest, _ := strings.Cut(strings.TrimPrefix(subject, edgeRoot), ".")
	device, _, _ := strings.Cut(rest, ".")
	return DeviceID{site, device}
}

// maxConcurrentPushes is how many edges' frames the hub has in hand at the same time.
const maxConcurrentPushes = 64

// EdgeOptions let edges link themselves to this process (NATS leaf nodes). What they
// bring goes into the log wherever that is: beside an external one the server that
// edges link to keeps nothing.
type EdgeOptions struct {
	// Address is where they come in, host:port; empty: nowhere.
	Address string
	// TLS encrypts the links, which leave the building. nil: in the clear, for a
	// private network; who an edge is, its key proves either way.
	TLS *tls.Config
}

// EdgeKey is an edge and the public half of its key, an NKey of a user.
type EdgeKey struct {
	Edge   DeviceID
	Public string
}

// NewEdgeKey makes a key: the hub keeps the public half, the edge alone the seed.
func NewEdgeKey() (public, seed string, err error) {
	pair, err := nkeys.CreateUser()
	if err != nil {
		return "", "", fmt.Errorf("edge key: %w", err)
	}
	if public, err = pair.PublicKey(); err != nil {
		return "", "", fmt.Errorf("edge key: %w", err)
	}
	secret, err := pair.Seed()
	if err != nil {
		return "", "", fmt.Errorf("edge key: %w", err)
	}
	return public, string(secret), nil
}

// EdgePort is the hub's end of the links to its edges.
type EdgePort struct {
	embed  *embedded  // the server that edges link to
	conn   *nats.Conn // to it, within this process
	logger *slog.Logger
	own    nkeys.KeyPair // of that connection

	mu       sync.Mutex
	admitted map[EdgeKey]bool
}

// EdgePort is where edges come in, nil unless LogOptions.Edges has an address.
func (l *Log) EdgePort() *EdgePort {
	if l.embed == nil {
		return nil
	}
	return l.embed.edges
}

// options open the port in a server's options, for nobody yet but this process.
func (p *EdgePort) options(o *server.Options, edges EdgeOptions) error {
	host, text, err := net.SplitHostPort(edges.Address)
	if err != nil {
		return fmt.Errorf("address for edges: %w", err)
	}
	port, err := strconv.ParseUint(text, 10, 16)
	if err != nil {
		return fmt.Errorf("address for edges: port %q is no number to 65535", text)
	}
	o.LeafNode.Host, o.LeafNode.Port = host, int(port)
	if port == 0 {
		o.LeafNode.Port = server.RANDOM_PORT
	}
	o.LeafNode.TLSConfig = edges.TLS
	o.LeafNode.TLSTimeout = server.DEFAULT_LEAF_TLS_TIMEOUT.Seconds()
	o.Nkeys, err = p.users(nil)
	return err
}

// users are those that may connect: this process, and each edge for its subjects.
func (p *EdgePort) users(keys []EdgeKey) ([]*server.NkeyUser, error) {
	own, err := p.own.PublicKey()
	if err != nil {
		return nil, fmt.Errorf("edge key: %w", err)
	}
	users := []*server.NkeyUser{{Nkey: own}}
	seen := map[string]bool{}
	for _, k := range keys {
		switch {
		case !nkeys.IsValidPublicUserKey(k.Public):
			return nil, fmt.Errorf("edge %s: %q is no public key of a user; make one with NewEdgeKey", k.Edge, k.Public)
		case !validName(k.Edge.Site) || !validName(k.Edge.Device):
			return nil, fmt.Errorf("edge %s: %w", k.Edge, invalid("name", k.Edge.String(), nameFix))
		case seen[k.Public]:
			return nil, fmt.Errorf("edge %s: its key is another's too; make it one of its own", k.Edge)
		}
		seen[k.Public] = true
		users = append(users, &server.NkeyUser{Nkey: k.Public, Permissions: &server.Permissions{
			Publish:   &server.SubjectPermission{Allow: []string{edgeSubject(k.Edge, pushWord), edgeSubject(k.Edge, tellWord)}},
			Subscribe: &server.SubjectPermission{Allow: []string{edgeSubject(k.Edge, askWord), edgeSubject(k.Edge, inboxWord) + ".>"}},
		}})
	}
	return users, nil
}

// connect lets this process in.
func (p *EdgePort) connect(options []nats.Option) (*nats.Conn, error) {
	own, err := p.own.PublicKey()
	if err != nil {
		return nil, err
	}
	return nats.Connect("", append(options, nats.Nkey(own, p.own.Sign))...)
}

// Address is where edges come in, host:port.
func (p *EdgePort) Address() string {
	o := p.embed.options.LeafNode
	return net.JoinHostPort(o.Host, strconv.Itoa(o.Port))
}

// Encrypted says whether the links are.
func (p *EdgePort) Encrypted() bool { return p.embed.options.LeafNode.TLSConfig != nil }

// Admit lets these edges in and no others: the link of one that is not among them,
// or has another key by now, ends.
func (p *EdgePort) Admit(keys []EdgeKey) error {
	users, err := p.users(keys)
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	o := p.embed.options.Clone()
	o.Nkeys = users
	if err := p.embed.server.ReloadOptions(o); err != nil {
		return fmt.Errorf("admitting edges: %w", err)
	}
	before := p.admitted
	p.admitted = map[EdgeKey]bool{}
	for _, k := range keys {
		p.admitted[k] = true
	}
	for k := range before {
		if !p.admitted[k] {
			return p.unlink()
		}
	}
	return nil
}

// unlink ends every link: NATS asks nobody for his key again, and the names that
// links go by are of their own choosing. Those with a key are back in a second.
func (p *EdgePort) unlink() error {
	links, err := p.embed.server.Leafz(nil)
	if err != nil {
		return fmt.Errorf("ending links: %w", err)
	}
	for _, link := range links.Leafs {
		// One that is gone by itself needs no ending.
		_ = p.embed.server.DisconnectClientByID(link.ID)
	}
	return nil
}

// Ask hands a message to an edge if it is linked now. Whether it has it only the
// edge can tell: nothing waits here for a link to come back.
func (p *EdgePort) Ask(edge DeviceID, message []byte) error {
	if err := p.conn.Publish(edgeSubject(edge, askWord), message); err != nil {
		return fmt.Errorf("asking edge %s: %w", edge, err)
	}
	return p.conn.Flush()
}

// Serve takes what edges bring until ctx ends: readings go through the door as
// every device's do, and what they tell goes to told, which must not wait.
func (p *EdgePort) Serve(ctx context.Context, door *FrontDoor, told func(edge DeviceID, message []byte)) error {
	frames := make(chan *nats.Msg, maxConcurrentPushes) // one that finds no room is sent again
	push, err := p.conn.ChanSubscribe(edgeRoot+"*.*."+pushWord, frames)
	if err != nil {
		return fmt.Errorf("serving edges: %w", err)
	}
	defer push.Unsubscribe()
	tell, err := p.conn.Subscribe(edgeRoot+"*.*."+tellWord, func(m *nats.Msg) { told(edgeOf(m.Subject), m.Data) })
	if err != nil {
		return fmt.Errorf("serving edges: %w", err)
	}
	defer tell.Unsubscribe()
	var takers sync.WaitGroup
	for range maxConcurrentPushes {
		takers.Go(func() {
			for {
				select {
				case m := <-frames:
					p.answer(ctx, door, m)
				case <-ctx.Done():
					return
				}
			}
		})
	}
	takers.Wait()
	return nil
}

// pushAnswer is what the hub says of a frame once its readings are in the log.
type pushAnswer struct {
	// Later says why the log did not take them in time; the edge sends again.
	Later string `cbor:"1,keyasint,omitempty"`
	// Refused are those that will never be taken.
	Refused []refusedReading `cbor:"2,keyasint,omitempty"`
}

type refusedReading struct {
	Index   int    `cbor:"1,keyasint"`
	Message string `cbor:"2,keyasint"`
}

// answer takes a frame and says what became of it.
func (p *EdgePort) answer(ctx context.Context, door *FrontDoor, m *nats.Msg) {
	refused, err := door.take(ctx, edgeOf(m.Subject), m.Data)
	answer := pushAnswer{Refused: refused}
	if err != nil {
		answer.Later = err.Error()
	}
	data, err := cbor.Marshal(answer)
	if err == nil {
		err = m.Respond(data)
	}
	if err != nil {
		p.logger.Warn("an edge got no answer and sends again", "edge", edgeOf(m.Subject), "error", err)
	}
}

// take brings an edge's frame into the log. What can never be taken is refused
// and the rest taken: one bad sensor must not hold up the readings of a week. An
// error says that the log is to blame.
func (f *FrontDoor) take(ctx context.Context, edge DeviceID, data []byte) ([]refusedReading, error) {
	f.count(data)
	readings, err := decodeFrame(data)
	if err != nil {
		err = &Problem{Malformed, problem.Problem{Field: "frame", Why: err.Error(), Fix: "bring the edge's program up to date"}}
		f.refuse(Refusal{Device: edge}, err)
		return []refusedReading{{Index: wholeFrame, Message: err.Error()}}, nil
	}
	received := time.Now()
	profile := f.profile(edge)
	var refused []refusedReading
	var good []Reading
	for i, r := range readings {
		if err := profile.admits(edge, r); err != nil {
			f.refuse(Refusal{Device: edge, Topic: r.Channel}, err)
			refused = append(refused, refusedReading{i, err.Error()})
			continue
		}
		r.Received = received.UTC().Round(time.Microsecond)
		good = append(good, r)
	}
	if len(good) == 0 {
		return refused, nil
	}
	restamp(good, received)
	return refused, f.append(ctx, good)
}

// wholeFrame is the index of what is wrong with all readings.
const wholeFrame = -1

// admits says whether an edge may bring a reading: its own, of a channel of its
// profile, as that channel keeps it.
func (p *Profile) admits(edge DeviceID, r Reading) error {
	if (DeviceID{r.Site, r.Device}) != edge {
		return &Problem{NotYours, problem.Problem{Field: "device", Value: r.Site + "/" + r.Device, Why: "is another's", Fix: "send as " + edge.String()}}
	}
	c, ok := p.Channels[r.Channel]
	if !ok {
		return p.noChannel(r.Channel)
	}
	switch {
	case c.Kind == Text:
		return nil
	case c.Kind == Switch && (r.Value == 0 || r.Value == 1):
		return nil
	case c.Kind == Switch:
		return &Problem{OutOfRange, problem.Problem{Field: r.Channel, Value: strconv.FormatFloat(r.Value, 'g', -1, 64), Why: "is no state of a switch", Fix: "send 0 or 1"}}
	}
	_, err := c.number(r.Channel, r.Value, r.Unit)
	return err
}
