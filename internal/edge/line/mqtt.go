package line

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/wiring"
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
)

// mqttTopics are topics of one broker.
//
// Off is guaranteed three times. What holds the lines says off when the lease
// ends. Each output has a connection of its own whose last will is off, so that
// the broker says it when the holder is gone. And off is the retained word while
// on never is: a relay that starts, or comes back, finds off. A relay that has
// lost its network hears none of the three; one that turns off by itself when no
// further word comes is the one to buy, and to set to a few seconds.
type mqttTopics struct {
	inputs  map[wiring.Input]*wiring.Topic
	ears    mqtt.Client // nil without inputs
	outputs map[wiring.Output]*mqttOutput

	mu    sync.Mutex
	heard map[wiring.Input]message
}

type message struct {
	text string
	at   time.Time
}

// mqttOutput is one output and its connection.
type mqttOutput struct {
	client mqtt.Client
	topic  *wiring.Topic
	on     bool
	said   time.Time
}

// openMQTT connects; nil if nothing is wired. A broker that does not answer is
// tried again by the client, and until then inputs are faulty.
func openMQTT(ctx context.Context, w *wiring.Wiring) (driver, error) {
	m := &mqttTopics{inputs: map[wiring.Input]*wiring.Topic{}, outputs: map[wiring.Output]*mqttOutput{}, heard: map[wiring.Input]message{}}
	options := func(suffix string) *mqtt.ClientOptions {
		return mqtt.NewClientOptions().AddBroker(w.Broker.URL).SetClientID(w.Broker.ClientID + "-" + suffix).
			SetUsername(w.Broker.User).SetPassword(w.Broker.Password).
			SetKeepAlive(aliveEvery).SetPingTimeout(aliveEvery / 2).SetConnectTimeout(answerIn).SetWriteTimeout(answerIn).
			SetCleanSession(true).SetConnectRetry(true).SetConnectRetryInterval(answerIn).SetMaxReconnectInterval(aliveEvery)
	}
	for i, s := range w.Inputs {
		if s.Topic != nil {
			m.inputs[i] = s.Topic
		}
	}
	if len(m.inputs) > 0 {
		o := options("inputs").SetOrderMatters(true)
		o.SetOnConnectHandler(func(c mqtt.Client) {
			for i, t := range m.inputs {
				c.Subscribe(t.Name, 1, func(_ mqtt.Client, msg mqtt.Message) { m.hear(i, msg) })
			}
		})
		m.ears = mqtt.NewClient(o)
		m.ears.Connect()
	}
	for out, s := range w.Outputs {
		if s.Topic == nil {
			continue
		}
		o := options(string(out)).SetWill(s.Topic.Name, s.Topic.Off, 1, true)
		o.SetOnConnectHandler(func(c mqtt.Client) { c.Publish(s.Topic.Name, 1, true, s.Topic.Off) })
		client := mqtt.NewClient(o)
		client.Connect()
		m.outputs[out] = &mqttOutput{client: client, topic: s.Topic, on: true} // so that the first Drive says off
	}
	if m.ears == nil && len(m.outputs) == 0 {
		return nil, nil
	}
	m.settle(ctx)
	return m, nil
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
func (m *mqttTopics) hear(i wiring.Input, msg mqtt.Message) {
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
			errs = append(errs, failed(i, fmt.Errorf("nothing on %s yet", t.Name)))
		case time.Since(msg.at) > t.SilentAfter:
			errs = append(errs, failed(i, fmt.Errorf("nothing on %s for %v", t.Name, time.Since(msg.at).Round(time.Second))))
		case i == wiring.Level:
			v, err := strconv.ParseFloat(strings.TrimSpace(msg.text), 64)
			if err == nil {
				in.LevelMM, in.LevelRead = t.OffsetMM+t.ScaleMM*v, true
			}
			errs = append(errs, failed(i, err))
		case msg.text == t.On:
			in.Contacts[i] = contact(true)
		case msg.text == t.Off:
			in.Contacts[i] = contact(false)
		default:
			errs = append(errs, failed(i, fmt.Errorf("%q on %s is neither %q nor %q", shown(msg.text), t.Name, t.On, t.Off)))
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
	var said mqtt.Token
	if on {
		said = o.client.Publish(o.topic.Name, 0, false, o.topic.On)
	} else {
		said = o.client.Publish(o.topic.Name, 1, true, o.topic.Off)
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
