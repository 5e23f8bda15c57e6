package edgeio

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"isohaline/internal/edge/lease"
)

const (
	// aliveEvery is the keep-alive: a broker speaks an output's last will one
	// and a half times that after it last heard of its holder (MQTT 5, 3.1.2.10).
	aliveEvery = 2 * time.Second
	// repeatEvery is how often an output that is on says so: a relay that
	// counts down by itself starts again.
	repeatEvery = time.Second
	answerIn    = time.Second
	quiesceMS   = 100
	usualClient = "isohaline-edge"
	// usualSilence is how long an input is believed without another message, where
	// a file says nothing. A judgement. One that may be silent for longer than
	// longestSilence is no input.
	usualSilence   = time.Minute
	longestSilence = time.Hour
)

// mqtt is topics of one broker.
//
// Off is guaranteed three times. What holds the lines says off when the lease
// ends. Each output has a connection of its own whose last will is off, so that
// the broker says it when the holder is gone. And off is the retained word while
// on never is: a relay that starts, or comes back, finds off. A relay that has
// lost its network hears none of the three; one that turns off by itself when no
// further word comes is the one to buy, and to set to a few seconds.
type mqtt struct {
	broker  *broker // nil where the file has none
	inputs  map[Input]topic
	outputs map[Output]topic
}

func newMQTT() driver { return &mqtt{inputs: map[Input]topic{}, outputs: map[Output]topic{}} }

// broker is where MQTT devices meet.
type broker struct {
	url            string // tcp://host:port or ssl://host:port
	user, password string
	client         string
}

// topic is where an input is heard or an output commanded.
type topic struct {
	name string
	// on is the payload for wet, running or on; off for the other.
	on, off string
	// silentAfter is how long an input is believed without another message.
	silentAfter time.Duration
	scale       scale // of a level
}

// section reads the broker.
func (m *mqtt) section(r *reader, path string, n *node) {
	g := r.group(path, n, "broker", "user", "password", "client")
	b := &broker{url: g.text("broker", "", `the broker's address, like "tcp://127.0.0.1:1883"`),
		client: g.text("client", usualClient, "a client id")}
	if g.has("user") {
		b.user = g.text("user", "", "a name")
	}
	if g.has("password") {
		b.password = g.text("password", "", "a password")
	}
	if u, err := url.Parse(b.url); b.url != "" && (err != nil || u.Host == "" || u.Scheme != "tcp" && u.Scheme != "ssl") {
		g.wrong("broker", "is not a broker's address", `write it like "tcp://127.0.0.1:1883" or "ssl://broker.lan:8883"`)
	}
	m.broker = b
}

func (*mqtt) inputKeys(i Input) []string {
	if i == Level {
		return append([]string{"mqtt", "silent after"}, levelKeys...)
	}
	on, off := i.states()
	return []string{"mqtt", on, off, "silent after"}
}

func (*mqtt) outputKeys() []string { return []string{"mqtt", "on", "off"} }

func (m *mqtt) input(g group, i Input) string {
	t := m.topic(g)
	t.silentAfter = g.duration("silent after", usualSilence, time.Second, longestSilence)
	if i == Level {
		t.scale = g.level()
	} else {
		t.on, t.off = g.payloads(i.states())
	}
	m.inputs[i] = t
	return t.name
}

func (m *mqtt) output(g group, o Output) string {
	t := m.topic(g)
	t.on, t.off = g.payloads("on", "off")
	m.outputs[o] = t
	return t.name
}

func (m *mqtt) topic(g group) topic {
	t := topic{name: g.text("mqtt", "", "a topic")}
	if strings.ContainsAny(t.name, "#+\x00") {
		g.wrong("mqtt", "has a wildcard", "name one topic")
	}
	if m.broker == nil {
		g.wrong("mqtt", "needs a broker", `describe it: "mqtt: {broker: tcp://127.0.0.1:1883}"`)
	}
	return t
}

// mqttTopics are the topics that are held.
type mqttTopics struct {
	inputs  map[Input]topic
	ears    paho.Client // nil without inputs
	outputs map[Output]*mqttOutput

	mu    sync.Mutex
	heard map[Input]message
}

type message struct {
	text string
	at   time.Time
}

// mqttOutput is one output and its connection.
type mqttOutput struct {
	client paho.Client
	topic  topic
	on     bool
	said   time.Time
}

// open connects. A broker that does not answer is tried again by the client, and
// until then inputs are faulty.
func (d *mqtt) open(ctx context.Context) ([]wires, error) {
	if len(d.inputs)+len(d.outputs) == 0 {
		return nil, nil
	}
	m := &mqttTopics{inputs: d.inputs, outputs: map[Output]*mqttOutput{}, heard: map[Input]message{}}
	options := func(suffix string) *paho.ClientOptions {
		return paho.NewClientOptions().AddBroker(d.broker.url).SetClientID(d.broker.client + "-" + suffix).
			SetUsername(d.broker.user).SetPassword(d.broker.password).
			SetKeepAlive(aliveEvery).SetPingTimeout(aliveEvery / 2).SetConnectTimeout(answerIn).SetWriteTimeout(answerIn).
			SetCleanSession(true).SetConnectRetry(true).SetConnectRetryInterval(answerIn).SetMaxReconnectInterval(aliveEvery)
	}
	if len(m.inputs) > 0 {
		o := options("inputs").SetOrderMatters(true)
		o.SetOnConnectHandler(func(c paho.Client) {
			for i, t := range m.inputs {
				c.Subscribe(t.name, 1, func(_ paho.Client, msg paho.Message) { m.hear(i, msg) })
			}
		})
		m.ears = paho.NewClient(o)
		m.ears.Connect()
	}
	for out, t := range d.outputs {
		o := options(string(out)).SetWill(t.name, t.off, 1, true)
		o.SetOnConnectHandler(func(c paho.Client) { c.Publish(t.name, 1, true, t.off) })
		client := paho.NewClient(o)
		client.Connect()
		m.outputs[out] = &mqttOutput{client: client, topic: t, on: true} // so that the first Drive says off
	}
	m.settle(ctx)
	return []wires{m}, nil
}

// settle gives the connections a moment, so that the first word is heard.
func (m *mqttTopics) settle(ctx context.Context) {
	end := time.NewTimer(answerIn)
	defer end.Stop()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for !m.connected() {
		select {
		case <-ctx.Done():
			return
		case <-end.C:
			return
		case <-tick.C:
		}
	}
}

func (m *mqttTopics) connected() bool {
	for _, o := range m.outputs {
		if !o.client.IsConnectionOpen() {
			return false
		}
	}
	return m.ears == nil || m.ears.IsConnectionOpen()
}

// hear keeps an input's last message. A retained one is as old as may be, and
// says nothing about now.
func (m *mqttTopics) hear(i Input, msg paho.Message) {
	if msg.Retained() {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.heard[i] = message{string(msg.Payload()), time.Now()}
}

func (m *mqttTopics) read(_ context.Context, in *Inputs) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	var errs []error
	for i, t := range m.inputs {
		msg, ok := m.heard[i]
		switch {
		case !ok:
			errs = append(errs, failed(i, fmt.Errorf("nothing on %s yet", t.name)))
		case time.Since(msg.at) > t.silentAfter:
			errs = append(errs, failed(i, fmt.Errorf("nothing on %s for %v", t.name, time.Since(msg.at).Round(time.Second))))
		case i == Level:
			v, err := strconv.ParseFloat(strings.TrimSpace(msg.text), 64)
			if err == nil {
				in.LevelMM, in.LevelRead = t.scale.mm(v), true
			}
			errs = append(errs, failed(i, err))
		case msg.text == t.on:
			in.Contacts[i] = contact(true)
		case msg.text == t.off:
			in.Contacts[i] = contact(false)
		default:
			errs = append(errs, failed(i, fmt.Errorf("%q on %s is neither %q nor %q", shown(msg.text), t.name, t.on, t.off)))
		}
	}
	return errors.Join(errs...)
}

// shown shortens a payload for a message.
func shown(text string) string {
	const most = 40
	if len(text) > most {
		return text[:most] + "…"
	}
	return text
}

func (m *mqttTopics) drive(_ context.Context, out lease.Outputs) error {
	var errs []error
	for name, o := range m.outputs {
		errs = append(errs, failed(name, o.set(name.Of(out))))
	}
	return errors.Join(errs...)
}

// set says on or off, when that is news and, while on, again and again. On goes
// out once or not at all: a word that waited would come true too late.
func (o *mqttOutput) set(on bool) error {
	if !on && !o.on || on && o.on && time.Since(o.said) < repeatEvery {
		return nil
	}
	if !o.client.IsConnectionOpen() {
		if on {
			return errors.New("the broker does not answer")
		}
		o.on = false // the will has said so, and the next connection begins with it
		return nil
	}
	var said paho.Token
	if on {
		said = o.client.Publish(o.topic.name, 0, false, o.topic.on)
	} else {
		said = o.client.Publish(o.topic.name, 1, true, o.topic.off)
	}
	if !said.WaitTimeout(answerIn) {
		return errors.New("the broker does not answer")
	}
	if said.Error() == nil {
		o.on, o.said = on, time.Now()
	}
	return said.Error()
}

func (m *mqttTopics) close() error {
	err := m.drive(context.Background(), lease.Outputs{})
	for _, o := range m.outputs {
		o.client.Disconnect(quiesceMS)
	}
	if m.ears != nil {
		m.ears.Disconnect(quiesceMS)
	}
	return err
}
