package wire

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	paho5 "github.com/eclipse/paho.golang/paho"
	paho3 "github.com/eclipse/paho.mqtt.golang"
)

// connect5 connects an MQTT 5 client.
func connect5(t testing.TB, address, clientID string) *paho5.Client {
	t.Helper()
	c, code, err := dial5(address, clientID, secretOf(clientID))
	if err != nil {
		t.Fatalf("connect: %v (code %#x)", err, code)
	}
	t.Cleanup(func() { c.Disconnect(&paho5.Disconnect{}) })
	return c
}

func dial5(address, clientID, password string) (*paho5.Client, byte, error) {
	nc, err := net.Dial("tcp", address)
	if err != nil {
		return nil, 0, err
	}
	c := paho5.NewClient(paho5.ClientConfig{Conn: nc, ClientID: clientID, PacketTimeout: 15 * time.Second})
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	ack, err := c.Connect(ctx, &paho5.Connect{
		ClientID: clientID, Username: clientID, UsernameFlag: true, Password: []byte(password), PasswordFlag: true,
		KeepAlive: 30, CleanStart: true,
	})
	if err != nil {
		nc.Close()
		if ack != nil {
			return nil, ack.ReasonCode, err
		}
		return nil, 0, err
	}
	return c, 0, nil
}

// publish5 publishes and returns the reason code of the acknowledgement and its
// reason.
func publish5(t testing.TB, c *paho5.Client, qos byte, topic string, payload []byte) (code byte, reason string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	ack, err := c.Publish(ctx, &paho5.Publish{Topic: topic, QoS: qos, Payload: payload})
	if ack == nil {
		if err == nil {
			return 0, ""
		}
		t.Fatalf("publish: %v", err)
	}
	if ack.Properties != nil {
		reason = ack.Properties.ReasonString
	}
	return ack.ReasonCode, reason
}

// options3 are those of an MQTT 3.1.1 client.
func options3(address, clientID string) *paho3.ClientOptions {
	return paho3.NewClientOptions().AddBroker("tcp://" + address).SetProtocolVersion(4).
		SetClientID(clientID).SetUsername(clientID).SetPassword(secretOf(clientID)).
		SetAutoReconnect(false).SetKeepAlive(30 * time.Second)
}

func connect3(t testing.TB, o *paho3.ClientOptions) paho3.Client {
	t.Helper()
	c := paho3.NewClient(o)
	if token := c.Connect(); !token.WaitTimeout(15*time.Second) || token.Error() != nil {
		t.Fatalf("connect: %v", token.Error())
	}
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

const goodBody = `[{"bn":"lobby/sump-1/","bt":1764064800,"n":"level","u":"mm","v":312},{"n":"watch","vb":true}]`

func TestDoorTakesReadings(t *testing.T) {
	for _, qos := range []byte{0, 1, 2} {
		for _, version := range []int{3, 5} {
			t.Run(fmt.Sprintf("MQTT %d, QoS %d", version, qos), func(t *testing.T) {
				var m memory
				h := openHouse(t, m.append)
				topic := "isohaline/lobby/sump-1/readings"
				if version == 5 {
					if code, reason := publish5(t, connect5(t, h.address, "lobby/sump-1"), qos, topic, []byte(goodBody)); code != 0 {
						t.Fatalf("refused with %#x %q", code, reason)
					}
				} else {
					token := connect3(t, options3(h.address, "lobby/sump-1")).Publish(topic, qos, false, goodBody)
					if !token.WaitTimeout(15*time.Second) || token.Error() != nil {
						t.Fatalf("not acknowledged: %v", token.Error())
					}
				}
				eventually(t, "two readings", func() bool { return len(m.all()) == 2 })
				level, watch := m.all()[0], m.all()[1]
				if level.Value != 0.312 || level.Unit != "m" || !level.At.Equal(time.Unix(1764064800, 0)) || level.Clock != ByDevice {
					t.Errorf("level is %+v", level)
				}
				if watch.Channel != "watch" || watch.Value != 1 || watch.Site != "lobby" || watch.Device != "sump-1" {
					t.Errorf("watch is %+v", watch)
				}
				if got := h.door.Counters.Accepted.Load(); got != 2 {
					t.Errorf("%d readings counted, want 2", got)
				}
			})
		}
	}
}

// Every kind of refusal, as a device and as its page see it.
func TestDoorRefusesVisibly(t *testing.T) {
	large := bytes.Repeat([]byte(" "), MaxMessage+1)
	for _, row := range []struct {
		what, topic string
		payload     []byte
		code        byte // MQTT 5, section 3.4.2.1
		reason      Reason
		words       string
	}{
		{"another site", "isohaline/atrium/sump-1/readings", []byte(goodBody), 0x87, NotYours, "publish to isohaline/lobby/sump-1/readings"},
		{"another device", "isohaline/lobby/sump-2/readings", []byte(goodBody), 0x87, NotYours, `topic: "isohaline/lobby/sump-2/readings" is not this device's`},
		{"a device whose name begins alike", "isohaline/lobby/sump-10/readings", []byte(goodBody), 0x87, NotYours, "is not this device's"},
		{"nothing below the device", "isohaline/lobby/sump-1", []byte("1"), 0x87, NotYours, "is not this device's"},
		{"no word", "isohaline/lobby/sump-1/", []byte("1"), 0x87, NotYours, "is not this device's"},
		{"somewhere else", "home/sump", []byte("1"), 0x87, NotYours, "is not this device's"},
		{"malformed SenML", "isohaline/lobby/sump-1/readings", []byte(`[{"n":"level"`), 0x99, Malformed, "record 1: record: does not end"},
		{"no SenML at all", "isohaline/lobby/sump-1/readings", []byte("hello"), 0x99, Malformed, `message: "hello" is neither SenML nor a JSON object`},
		{"wrong unit", "isohaline/lobby/sump-1/readings", []byte(`[{"n":"level","u":"Cel","v":1}]`), 0x99, WrongUnit, `record 1: level: "Cel" is no unit of this channel; send "m"`},
		{"absurd value", "isohaline/lobby/sump-1/readings", []byte(`[{"n":"level","u":"m","v":99}]`), 0x99, OutOfRange, `"99 m" cannot be: this channel has 0 to 2 m`},
		{"no such channel", "isohaline/lobby/sump-1/readings", []byte(`[{"n":"lvl","u":"m","v":1}]`), 0x99, UnknownChannel, `channel: "lvl" is none of this device; use humidity, level, note, temperature or watch`},
		{"no mapping", "isohaline/lobby/sump-1/pressure", []byte("1013"), 0x99, UnknownChannel, `name: "pressure" has no mapping`},
		{"somewhat too large", "isohaline/lobby/sump-1/readings", large, 0x97, TooLarge, "is more than the 1048576 bytes of a message; send it in parts"},
	} {
		t.Run(row.what, func(t *testing.T) {
			var m memory
			h := openHouse(t, m.append)
			seen := func(n int) {
				t.Helper()
				r := h.refusal(t, n)
				if r.Device != lobby || r.Topic != row.topic || r.Reason != row.reason || !strings.Contains(r.Message, row.words) {
					t.Errorf("the device's page says %s, want %v with %q", r, row.reason, row.words)
				}
			}
			c5 := connect5(t, h.address, "lobby/sump-1")
			code, reason := publish5(t, c5, 1, row.topic, row.payload)
			if code != row.code || !strings.Contains(reason, row.words) {
				t.Errorf("MQTT 5 is told %#x %q, want %#x with %q", code, reason, row.code, row.words)
			}
			seen(1)
			if code, _ := publish5(t, c5, 2, row.topic, row.payload); code != row.code {
				t.Errorf("MQTT 5 is told %#x at QoS 2, want %#x", code, row.code)
			}
			seen(2)
			publish5(t, c5, 0, row.topic, row.payload)
			seen(3)
			if code, _ := publish5(t, c5, 1, "isohaline/lobby/sump-1/readings", []byte(goodBody)); code != 0 {
				t.Errorf("after a refusal MQTT 5 cannot go on: %#x", code)
			}

			lost := make(chan error, 1)
			o := options3(h.address, "lobby/sump-1").SetConnectionLostHandler(func(_ paho3.Client, err error) { lost <- err })
			c3 := connect3(t, o)
			token := c3.Publish(row.topic, 1, false, row.payload)
			select {
			case <-lost:
			case <-time.After(15 * time.Second):
				t.Error("MQTT 3.1.1 keeps its connection")
			}
			select {
			case <-token.Done():
				if token.Error() == nil {
					t.Error("MQTT 3.1.1 gets an acknowledgement")
				}
			default:
			}
			seen(4)
			if got := h.door.Counters.Refused[row.reason].Load(); got != 4 {
				t.Errorf("%d refusals counted as %v, want 4", got, row.reason)
			}
			if got := m.all(); len(got) != 2 {
				t.Errorf("the log has %v, want the two readings of the good message", got)
			}
		})
	}
}

func TestDoorRefusesSystemTopics(t *testing.T) {
	h := openHouse(t, new(memory).append)
	c := connect3(t, options3(h.address, "lobby/sump-1"))
	c.Publish("$SYS/broker/uptime", 1, false, "0")
	if r := h.refusal(t, 1); r.Reason != NotYours {
		t.Errorf("refused as %v, want %v", r.Reason, NotYours)
	}
}

// A message far too large is not even read; the door stays open for the others.
func TestDoorRefusesTenMegabytes(t *testing.T) {
	var m memory
	h := openHouse(t, m.append)
	lost := make(chan error, 1)
	o := options3(h.address, "lobby/sump-1").SetConnectionLostHandler(func(_ paho3.Client, err error) { lost <- err })
	other := connect5(t, h.address, "lobby/sump-2")
	connect3(t, o).Publish("isohaline/lobby/sump-1/readings", 1, false, bytes.Repeat([]byte(" "), 10<<20))
	select {
	case <-lost:
	case <-time.After(15 * time.Second):
		t.Error("the connection stays")
	}
	if r := h.refusal(t, 1); r.Reason != TooLarge || r.Device != lobby {
		t.Errorf("refused as %s, want %v of %v", r, TooLarge, lobby)
	}
	if code, reason := publish5(t, other, 1, "isohaline/lobby/sump-2/readings", []byte(`[{"n":"level","u":"m","v":1}]`)); code != 0 {
		t.Errorf("another device is refused with %#x %q", code, reason)
	}
}

// What the broker itself ends a connection for is seen too.
func TestDoorShowsBrokenPackets(t *testing.T) {
	h := openHouse(t, new(memory).append)
	p, err := dialRaw(h.address, "lobby/sump-1")
	if err != nil {
		t.Fatal(err)
	}
	defer p.conn.Close()
	p.topic = "isohaline/+/sump-1/level" // MQTT 3.1.1, section 3.3.2.1: no wildcards
	if err := p.publish(1, 1, func(int) string { return "312" }); err == nil {
		t.Error("is acknowledged")
	}
	if r := h.refusal(t, 1); r.Reason != Malformed || r.Device != lobby || !strings.Contains(r.Message, "rules of MQTT") {
		t.Errorf("the device's page says %s", r)
	}
}

// A reading that the log will never take is refused for good, not for now: the
// device would send it for ever.
func TestDoorRefusesWhatTheLogRefuses(t *testing.T) {
	l := openLog(t, LogOptions{})
	h := openHouse(t, l.Append)
	c := connect5(t, h.address, "Lobby/sump-1") // a name that no reading may have
	code, reason := publish5(t, c, 1, "isohaline/Lobby/sump-1/level", []byte("312"))
	if code != 0x99 || !strings.Contains(reason, `site: "Lobby" is not valid`) {
		t.Errorf("is told %#x %q", code, reason)
	}
}

func TestDoorRefusesStrangers(t *testing.T) {
	for _, row := range []struct{ what, clientID, user, password string }{
		{"wrong password", "lobby/sump-1", "lobby/sump-1", "guess"},
		{"another's client id", "lobby/sump-2", "lobby/sump-1", secretOf("lobby/sump-1")},
		{"no credentials", "lobby/sump-1", "", ""},
		{"no client id", "", "lobby/sump-1", secretOf("lobby/sump-1")},
	} {
		t.Run(row.what, func(t *testing.T) {
			h := openHouse(t, new(memory).append)
			o := options3(h.address, row.clientID).SetUsername(row.user).SetPassword(row.password)
			token := paho3.NewClient(o).Connect()
			if !token.WaitTimeout(15*time.Second) || token.Error() == nil {
				t.Error("is let in")
			}
			if r := h.refusal(t, 1); r.Reason != BadCredentials || r.Device != (DeviceID{}) {
				t.Errorf("refused as %s, want %v", r, BadCredentials)
			}
		})
	}
	h := openHouse(t, new(memory).append)
	// MQTT 5, section 3.2.2.2: 0x86 bad user name or password.
	if _, code, err := dial5(h.address, "lobby/sump-1", "guess"); err == nil || code != 0x86 {
		t.Errorf("MQTT 5 is told %#x, %v; want 0x86", code, err)
	}
}

func TestDoorRefusesSubscriptions(t *testing.T) {
	h := openHouse(t, new(memory).append)
	c := connect5(t, h.address, "lobby/sump-1")
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	ack, err := c.Subscribe(ctx, &paho5.Subscribe{Subscriptions: []paho5.SubscribeOptions{{Topic: "isohaline/#", QoS: 1}}})
	if err == nil || ack == nil || len(ack.Reasons) != 1 || ack.Reasons[0] < 0x80 {
		t.Errorf("subscription gets %+v, %v", ack, err)
	}
	if r := h.refusal(t, 1); r.Reason != NoSubscribing {
		t.Errorf("refused as %v, want %v", r.Reason, NoSubscribing)
	}
}

// While the log does not take readings nobody gets an acknowledgement, not even a
// negative one, which would make an MQTT 5 device forget the message.
func TestDoorWithoutLog(t *testing.T) {
	m := memory{broken: true}
	h := openHouse(t, m.append)
	nc, err := net.Dial("tcp", h.address)
	if err != nil {
		t.Fatal(err)
	}
	told := make(chan byte, 1)
	c5 := paho5.NewClient(paho5.ClientConfig{
		Conn: nc, ClientID: "lobby/sump-1", PacketTimeout: 2 * time.Second,
		OnServerDisconnect: func(d *paho5.Disconnect) { told <- d.ReasonCode },
	})
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	if _, err := c5.Connect(ctx, &paho5.Connect{
		ClientID: "lobby/sump-1", Username: "lobby/sump-1", UsernameFlag: true,
		Password: []byte(secretOf("lobby/sump-1")), PasswordFlag: true, KeepAlive: 30, CleanStart: true,
	}); err != nil {
		t.Fatal(err)
	}
	if ack, err := c5.Publish(ctx, &paho5.Publish{Topic: "isohaline/lobby/sump-1/readings", QoS: 1, Payload: []byte(goodBody)}); err == nil || ack != nil {
		t.Errorf("MQTT 5 gets %+v, %v", ack, err)
	}
	select {
	case code := <-told: // MQTT 5, section 3.14.2.1: 0x89 server busy
		if code != 0x89 {
			t.Errorf("MQTT 5 is disconnected with %#x, want 0x89", code)
		}
	case <-time.After(15 * time.Second):
		t.Error("MQTT 5 is not disconnected")
	}
	if r := h.refusal(t, 1); r.Reason != LogUnavailable || !strings.Contains(r.Message, errBroken.Error()) {
		t.Errorf("refused as %s, want %v", r, LogUnavailable)
	}
	if err := h.door.Post(ctx, lobby, []byte(goodBody)); !errors.Is(err, errBroken) {
		t.Errorf("Post says %v", err)
	}

	lost := make(chan error, 1)
	o := options3(h.address, "lobby/sump-1").SetConnectionLostHandler(func(_ paho3.Client, err error) { lost <- err })
	token := connect3(t, o).Publish("isohaline/lobby/sump-1/readings", 1, false, goodBody)
	select {
	case <-lost:
	case <-time.After(15 * time.Second):
		t.Error("MQTT 3.1.1 keeps its connection")
	}
	if token.WaitTimeout(15*time.Second) && token.Error() == nil {
		t.Error("MQTT 3.1.1 gets an acknowledgement")
	}

	m.mu.Lock()
	m.broken = false
	m.mu.Unlock()
	token = connect3(t, options3(h.address, "lobby/sump-1")).Publish("isohaline/lobby/sump-1/readings", 1, false, goodBody)
	if !token.WaitTimeout(15*time.Second) || token.Error() != nil {
		t.Fatalf("not acknowledged once the log is back: %v", token.Error())
	}
	if got := len(m.all()); got != 2 {
		t.Errorf("the log has %d readings, want 2", got)
	}
}

func TestPost(t *testing.T) {
	var m memory
	h := openHouse(t, m.append)
	if err := h.door.Post(t.Context(), lobby, []byte(`{"level": 312, "watch": false}`)); err != nil {
		t.Fatal(err)
	}
	if got := m.all(); len(got) != 2 || got[0].Value != 0.312 || got[0].Clock != ByArrival {
		t.Errorf("the log has %+v", got)
	}
	err := h.door.Post(t.Context(), lobby, []byte(`{"level": 3120}`))
	if ReasonOf(err) != OutOfRange {
		t.Errorf("absurd value: %v", err)
	}
	if r := h.refusal(t, 1); r.Device != lobby || r.Reason != OutOfRange {
		t.Errorf("the device's page says %s", r)
	}
}

func TestDisconnect(t *testing.T) {
	h := openHouse(t, new(memory).append)
	lost := make(chan error, 2)
	handler := func(_ paho3.Client, err error) { lost <- err }
	connect3(t, options3(h.address, "lobby/sump-1").SetConnectionLostHandler(handler))
	other := connect3(t, options3(h.address, "lobby/sump-2").SetConnectionLostHandler(handler))
	if n := h.door.Disconnect(lobby); n != 1 {
		t.Errorf("%d connections ended, want 1", n)
	}
	select {
	case <-lost:
	case <-time.After(15 * time.Second):
		t.Fatal("the connection stays")
	}
	if !other.IsConnectionOpen() {
		t.Error("another device lost its connection")
	}
	if n := h.door.Disconnect(lobby); n != 0 {
		t.Errorf("%d connections ended the second time, want 0", n)
	}
}

// mosquitto_pub is the client that a person tries first.
func TestMosquittoPub(t *testing.T) {
	program, err := exec.LookPath("mosquitto_pub")
	if err != nil {
		t.Skip("SKIPPED: mosquitto_pub is not installed (Debian: mosquitto-clients); nothing was checked with it")
	}
	for _, version := range []string{"mqttv311", "mqttv5"} {
		t.Run(version, func(t *testing.T) {
			var m memory
			h := openHouse(t, m.append)
			_, port, _ := net.SplitHostPort(h.address)
			publish := func(topic, message string) (string, error) {
				ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
				defer cancel()
				out, err := exec.CommandContext(ctx, program, "-h", "127.0.0.1", "-p", port, "-V", version, "-q", "1",
					"-i", "lobby/sump-1", "-u", "lobby/sump-1", "-P", secretOf("lobby/sump-1"), "-t", topic, "-m", message).CombinedOutput()
				return string(out), err
			}
			if out, err := publish("isohaline/lobby/sump-1/level", "312"); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			if got := m.all(); len(got) != 1 || got[0].Value != 0.312 {
				t.Errorf("the log has %+v", got)
			}
			out, err := publish("isohaline/atrium/sump-1/level", "312")
			t.Logf("publishing for another site: %v: %s", err, out)
			if err == nil && !strings.Contains(out, "fail") && !strings.Contains(out, "authori") {
				t.Error("publishing for another site looks like a success")
			}
			if r := h.refusal(t, 1); r.Reason != NotYours {
				t.Errorf("refused as %s", r)
			}
		})
	}
}
