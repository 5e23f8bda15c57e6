package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sync/errgroup"

	"isohaline/internal/server/api"
	"isohaline/internal/tankfile"
)

// hub is the program under load.
type hub struct {
	cmd         *exec.Cmd
	pages, door string
	client      *http.Client
}

// What the program says as it starts.
var (
	whereIs = regexp.MustCompile(`Pages: (\S+)  Devices: (\S+)`)
	tokenIs = regexp.MustCompile(`^ +(\S+)$`)
)

// patience is how long anything but the load may take.
const patience = 5 * time.Minute

// startHub starts the program on an empty folder and makes the first account.
func startHub(ctx context.Context, program, dir string) (*hub, error) {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	h := &hub{client: &http.Client{Jar: jar}}
	h.cmd = exec.CommandContext(ctx, program, "serve", "--dir", dir, "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0", "--edges", "127.0.0.1:0")
	var said bytes.Buffer
	h.cmd.Stderr = &said
	out, err := h.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := h.cmd.Start(); err != nil {
		return nil, fmt.Errorf("%w; build it first: go build -o isohaline ./cmd/isohaline", err)
	}
	token := ""
	for lines := bufio.NewScanner(out); token == "" && lines.Scan(); {
		if m := whereIs.FindStringSubmatch(lines.Text()); m != nil {
			h.pages, h.door = m[1], m[2]
		} else if m := tokenIs.FindStringSubmatch(lines.Text()); m != nil {
			token = m[1]
		}
	}
	if h.pages == "" || token == "" {
		h.stop()
		return nil, fmt.Errorf("the program did not start: %s", &said)
	}
	go io.Copy(io.Discard, out) // ends with the program
	if err := h.call(ctx, "POST", "/api/first-run", map[string]string{"token": token, "name": "bench", "password": "a bench's own password"}, nil); err != nil {
		h.stop()
		return nil, err
	}
	return h, nil
}

// stop ends the program and waits for its end.
func (h *hub) stop() {
	h.cmd.Process.Signal(syscall.SIGTERM)
	h.cmd.Wait()
}

func (h *hub) name() string { return "isohaline" }
func (h *hub) process() int { return h.cmd.Process.Pid }

// call asks the program for something, as a browser does.
func (h *hub) call(ctx context.Context, method, path string, body, into any) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, method, h.pages+path, bytes.NewReader(text))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	resp, err := h.client.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	switch {
	case err != nil:
		return err
	case resp.StatusCode >= http.StatusBadRequest:
		return fmt.Errorf("%s %s: %s: %s", method, path, resp.Status, answer)
	case into != nil:
		return json.Unmarshal(answer, into)
	}
	return nil
}

// furnish makes tanks, each with a device and a past.
func (h *hub) furnish(ctx context.Context, o options) ([]device, error) {
	file := string(tankfile.Starter(tankfile.Answers{Name: "Bench tank"}))
	fleet := make([]device, o.tanks)
	for i := range fleet {
		id := fmt.Sprintf("tank-%d", i)
		if err := h.call(ctx, "POST", "/api/tanks", map[string]string{"siteId": "bench", "siteName": "Bench", "tankId": id, "file": file}, nil); err != nil {
			return nil, err
		}
		var made api.Credentials
		if err := h.call(ctx, "POST", "/api/devices", map[string]string{"tankId": id, "name": "Head"}, &made); err != nil {
			return nil, err
		}
		fleet[i] = device{tankID: id, clientID: made.ClientID, user: made.User, password: made.Password, topic: made.Topic}
	}
	now := time.Now().UTC().Truncate(time.Second)
	var group errgroup.Group
	group.SetLimit(16)
	for i := range fleet {
		group.Go(func() error { return h.remember(ctx, &fleet[i], now.Add(-o.history), now) })
	}
	if err := group.Wait(); err != nil || o.history == 0 {
		return fleet, err
	}
	for i := range fleet {
		if err := h.heard(ctx, fleet[i].tankID, now.Add(-every)); err != nil {
			return nil, err
		}
	}
	return fleet, nil
}

// How often a tank of the past reports, how often it is topped off, and how long
// that takes.
const (
	every     = 5 * time.Minute
	fillEvery = 2 * time.Hour
	fillTakes = time.Minute
	// together is how many reports a device sends in one message.
	together = 12
)

// remember has a device tell a quiet past.
func (h *hub) remember(ctx context.Context, d *device, from, to time.Time) error {
	c, err := h.connect(d)
	if err != nil {
		return err
	}
	defer c.Disconnect(0)
	var records []string
	tell := func() error {
		if len(records) == 0 {
			return nil
		}
		token := c.Publish(d.topic, 1, false, "["+strings.Join(records, ",")+"]")
		records = nil
		return settle(ctx, token)
	}
	number := func(at time.Time, channel, unit string, value float64) {
		records = append(records, fmt.Sprintf(`{"n":%q,"u":%q,"t":%d,"v":%.4f}`, channel, unit, at.Unix(), value))
	}
	contact := func(at time.Time, channel string, on bool) {
		records = append(records, fmt.Sprintf(`{"n":%q,"t":%d,"vb":%v}`, channel, at.Unix(), on))
	}
	for n := 0; ; n++ {
		at := from.Add(time.Duration(n) * every)
		if !at.Before(to) {
			return tell()
		}
		since := time.Duration(n) * every % fillEvery
		if since == 0 {
			contact(at.Add(-fillTakes), "watch", false)
			contact(at.Add(-fillTakes), "pump", true)
			contact(at, "watch", true)
			contact(at, "pump", false)
		}
		number(at, "level", "m", 0.2-0.002*since.Hours()/fillEvery.Hours())
		number(at, "temperature", "Cel", 25+0.1*float64(n%5))
		number(at, "room-temperature", "Cel", 21+0.1*float64(n%3))
		number(at, "room-humidity", "%RH", 50+float64(n%4))
		if n%together == together-1 {
			if err := tell(); err != nil {
				return err
			}
		}
	}
}

// heard waits until the program has taken in what a tank's device said up to a time.
func (h *hub) heard(ctx context.Context, tankID string, at time.Time) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for {
		var t api.Tank
		if err := h.call(ctx, "GET", "/api/tanks/"+tankID, nil, &t); err != nil {
			return err
		}
		if t.LastHeard != nil && !t.LastHeard.Before(at) {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("%s was not heard of: %w", tankID, ctx.Err())
		case <-time.After(100 * time.Millisecond):
		}
	}
}

func (h *hub) connect(d *device) (mqtt.Client, error) {
	return dial(mqtt.NewClientOptions().AddBroker("tcp://" + h.door).SetClientID(d.clientID).SetUsername(d.user).SetPassword(d.password))
}

// dial connects a client that does not hide it when its connection breaks.
func dial(o *mqtt.ClientOptions) (mqtt.Client, error) {
	c := mqtt.NewClient(o.SetAutoReconnect(false).SetOrderMatters(false).SetCleanSession(true))
	return c, settle(context.Background(), c.Connect())
}

func settle(ctx context.Context, token mqtt.Token) error {
	limit := time.NewTimer(patience)
	defer limit.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case <-limit.C:
		return errors.New("MQTT: no answer")
	case <-ctx.Done():
		return ctx.Err()
	}
}

// watch looks at a tank's page, as a browser does.
func (h *hub) watch(ctx context.Context, d *device, looking func(), seen func(channel string, at time.Time)) error {
	req, err := http.NewRequestWithContext(ctx, "GET", h.pages+"/api/live?tank="+url.QueryEscape(d.tankID), nil)
	if err != nil {
		return err
	}
	resp, err := h.client.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("the live updates answer %s", resp.Status)
	}
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	event := ""
	for lines.Scan() {
		line := lines.Text()
		if word, ok := strings.CutPrefix(line, "event: "); ok {
			event = word
		}
		data, ok := strings.CutPrefix(line, "data: ")
		switch {
		case ok && event == "beat":
			looking()
		case ok && event == "reading":
			var e api.ReadingEvent
			if err := json.Unmarshal([]byte(data), &e); err != nil {
				return err
			}
			seen(e.Channel, timeOf(e.AtS))
		}
	}
	if ctx.Err() != nil {
		return nil
	}
	return errors.Join(errors.New("the live updates ended"), lines.Err())
}
