package server

import (
	"bytes"
	"fmt"
	"net/http"
	"os/exec"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/fxamacker/cbor/v2"

	"isohaline/internal/server/api"
	"isohaline/internal/wire"
)

// newHead makes a device of the reef.
func (h *house) newHead() api.Credentials {
	h.t.Helper()
	var made api.Credentials
	h.as("olga").want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	return made
}

// device is a device's page.
func (h *house) device(id string) api.Device {
	h.t.Helper()
	var d api.Device
	h.as("olga").want(http.StatusOK, "GET", "/api/devices/"+id, nil, &d)
	return d
}

// level is what the level's channel said last, in metres; 0: nothing.
func (h *house) level() float64 {
	v, _ := h.Monitor.Tank("reef")
	return v.Lasts["level"].Value
}

// TestWaysIn: the ways in that docs/wire.md names, with clients as people have
// them.
func TestWaysIn(t *testing.T) {
	h := furnished(t)
	made := h.newHead()
	at := h.now().Add(-time.Hour).Unix()
	arrives := func(what string, want float64) {
		t.Helper()
		at++
		eventually(t, what+" arrives", func() bool { return h.level() == want })
	}

	post(t, h, made, fmt.Sprintf(`[{"n":"level","u":"mm","v":201,"t":%d}]`, at), http.StatusOK)
	arrives("SenML in JSON by HTTP", 0.201)

	// Labels of RFC 8428, section 6, table 4.
	const n, u, v, tm = 0, 1, 2, 6
	pack, err := cbor.Marshal([]map[int]any{{n: "level", u: "cm", v: 20.25, tm: at}})
	if err != nil {
		t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(t.Context(), "POST", h.Address()+"/api/readings", bytes.NewReader(pack))
	if err != nil {
		t.Fatal(err)
	}
	req.SetBasicAuth(made.User, made.Password)
	req.Header.Set("Content-Type", "application/senml+cbor")
	resp := h.nobody().send(req)
	resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		t.Fatalf("SenML in CBOR is answered with %s", resp.Status)
	}
	arrives("SenML in CBOR by HTTP", 0.2025)

	client := connect(t, h.DoorAddress(), made)
	publish(t, client, made.Topic, string(must(cbor.Marshal([]map[int]any{{n: "level", u: "m", v: 0.203, tm: at}}))))
	arrives("SenML in CBOR by MQTT", 0.203)
	topic := strings.TrimSuffix(made.Topic, wire.BodyWord)
	publish(t, client, topic+"level", "0.204")
	arrives("a bare value on a topic of its channel", 0.204)
	publish(t, client, topic+"watch", "wet")
	publish(t, client, made.Topic, `{"level": 0.205, "ceiling": "dry"}`)
	arrives("a plain object", 0.205)

	// The lines that a person is shown to try, as they are. A second client with
	// the same id would put the first out.
	client.Disconnect(0)
	for _, row := range []struct{ program, line string }{{"curl", made.TryHTTP + " -sS --fail"}, {"mosquitto_pub", made.Try}} {
		if _, err := exec.LookPath(row.program); err != nil {
			t.Logf("%s is not here: its line is not tried", row.program)
			continue
		}
		before := h.device(made.ClientID).LastHeard
		if out, err := exec.CommandContext(t.Context(), "sh", "-c", row.line).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", row.line, err, out)
			continue
		}
		eventually(t, row.program+" is heard", func() bool { return h.device(made.ClientID).LastHeard.After(*before) })
	}
	if d := h.device(made.ClientID); len(d.Refusals) != 0 || d.FirstHeard == nil || d.FirstHeard.After(*d.LastHeard) {
		t.Errorf("the device's page says %+v", d)
	}
}

func must[T any](x T, err error) T {
	if err != nil {
		panic(err)
	}
	return x
}

// TestBadInput: whatever a device sends, it is refused with its reason on the
// device's page and in the counters, and nothing else is disturbed. All of it is
// still there after a restart.
func TestBadInput(t *testing.T) {
	dir := t.TempDir()
	var bad, good api.Credentials
	var was api.Device
	want := []struct{ reason, words string }{ // as the page has it, the newest first
		{"too-large", "is more than the 1048576 bytes of a message; send it in parts"}, // by MQTT and by HTTP
		{"not-yours", "is not this device's; publish to isohaline/here/"},
		{"unknown-channel", "is none of this device; use "},
		{"out-of-range", "cannot be: this channel has -5 to 50 Cel"},
		{"wrong-unit", "is no unit of this channel; send \"m\""},
		{"malformed", "does not end; close the object"},
	}
	check := func(t *testing.T, d *api.Device) {
		t.Helper()
		if len(d.Refusals) != len(want) {
			t.Fatalf("%d refusals, want %d: %+v", len(d.Refusals), len(want), d.Refusals)
		}
		for i, r := range d.Refusals {
			count := 1
			if r.Reason == "too-large" {
				count = 2
			}
			if r.Reason != want[i].reason || !strings.Contains(r.Words, want[i].words) || r.Count != count {
				t.Errorf("refusal %d is %+v, want %v", i, r, want[i])
			}
		}
	}
	t.Run("first", func(t *testing.T) {
		h := furnishedIn(t, dir)
		bad, good = h.newHead(), h.newHead()
		// One goes on all the while.
		client := connect(t, h.DoorAddress(), good)
		publish(t, client, good.Topic, `[{"n":"level","u":"m","v":0.2}]`)

		elsewhere := strings.Replace(bad.Topic, "isohaline/here/", "isohaline/elsewhere/", 1)
		for i, row := range []struct{ topic, body string }{
			{bad.Topic, `[{"n":"level"`},
			{bad.Topic, `[{"n":"level","u":"V","v":0.2}]`},
			{bad.Topic, `[{"n":"temperature","u":"Cel","v":1e300}]`},
			{bad.Topic, `[{"n":"mood","v":1}]`},
			{elsewhere, `[{"n":"level","u":"m","v":0.2}]`},
			{bad.Topic, strings.Repeat(" ", 10_000_000)},
		} {
			// MQTT 3.1.1 has no word for no: the connection ends.
			lost := make(chan error, 1)
			c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + h.DoorAddress()).SetClientID(bad.ClientID).SetUsername(bad.User).
				SetPassword(bad.Password).SetAutoReconnect(false).SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost <- err }))
			settle(t, c.Connect())
			const atLeastOnce = 1
			c.Publish(row.topic, atLeastOnce, false, row.body)
			select {
			case <-lost:
			case <-time.After(waits):
				t.Fatalf("%.40q was not answered by an end of the connection", row.body)
			}
			c.Disconnect(0)
			eventually(t, "the refusal is on the page", func() bool { return len(h.device(bad.ClientID).Refusals) > i })
		}
		post(t, h, bad, strings.Repeat(" ", 10_000_000), http.StatusRequestEntityTooLarge)

		publish(t, client, good.Topic, `[{"n":"level","u":"m","v":0.21}]`)
		eventually(t, "the other device's reading arrives", func() bool { return h.level() == 0.21 })
		was = h.device(bad.ClientID)
		if was.FirstHeard != nil || was.LastHeard != nil {
			t.Errorf("a device of which nothing was taken was heard: %+v", was)
		}
		check(t, &was)
		for reason, n := range map[string]string{"too-large": "2", "not-yours": "1", "unknown-channel": "1", "out-of-range": "1", "wrong-unit": "1", "malformed": "1"} {
			if got := h.counter(fmt.Sprintf("isohaline_door_refused_total{reason=%q}", reason)); got != n {
				t.Errorf("%s counts %s, want %s", reason, got, n)
			}
		}
		was = h.device(good.ClientID)
	})
	t.Run("again", func(t *testing.T) {
		h := open(t, dir)
		d := h.device(bad.ClientID)
		check(t, &d)
		d = h.device(good.ClientID)
		if d.FirstHeard == nil || !d.FirstHeard.Equal(*was.FirstHeard) || !d.LastHeard.Equal(*was.LastHeard) || d.FirstHeard.After(*d.LastHeard) {
			t.Errorf("after the restart it was heard from %v to %v, before from %v to %v", d.FirstHeard, d.LastHeard, was.FirstHeard, was.LastHeard)
		}
	})
}
