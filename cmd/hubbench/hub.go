package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

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
	startLine = regexp.MustCompile(`Pages: (\S+)  Devices: (\S+)`)
	tokenIs   = regexp.MustCompile(`^ +(\S+)$`)
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
		if m := startLine.FindStringSubmatch(lines.Text()); m != nil {
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
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	return h.send(ctx, method, path, "application/json", bytes.NewReader(text), into)
}

func (h *hub) send(ctx context.Context, method, path, contentType string, body io.Reader, into any) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, h.pages+path, body)
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", contentType)
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

// tankFile is a reef with a sump and a level gauge, whose account believes as much as
// those of the demo: after two days its state has 27 kB as JSON, theirs 22 to 32.
func tankFile() ([]byte, error) {
	t, _, err := tankfile.Read("bench", tankfile.Starter(tankfile.Answers{Name: "Bench tank", Sensors: 2, ReservoirLitres: 40, DaysBetweenVisits: 3,
		Display: tankfile.Box{LengthM: 1.2, WidthM: 0.6, HeightM: 0.6}, Sump: tankfile.Box{LengthM: 0.8, WidthM: 0.4, HeightM: 0.42}}))
	if err != nil {
		return nil, err
	}
	t.TopOff.LevelGauge = true
	return tankfile.Write(t)
}

// furnish makes tanks, each with a device and a past.
func (h *hub) furnish(ctx context.Context, o options) ([]device, error) {
	file, err := tankFile()
	if err != nil {
		return nil, err
	}
	fleet := make([]device, o.tanks)
	for i := range fleet {
		id := fmt.Sprintf("tank-%d", i)
		if err := h.call(ctx, "POST", "/api/tanks", map[string]string{"siteId": "bench", "siteName": "Bench", "tankId": id, "file": string(file)}, nil); err != nil {
			return nil, err
		}
		var made api.Credentials
		if err := h.call(ctx, "POST", "/api/devices", map[string]string{"tankId": id, "name": "Head"}, &made); err != nil {
			return nil, err
		}
		fleet[i] = device{tankID: id, clientID: made.ClientID, user: made.User, password: made.Password, topic: made.Topic}
	}
	if o.history == 0 {
		return fleet, nil
	}
	records, rows := past(time.Now().UTC().Truncate(time.Second), o.history)
	for i := range fleet {
		if err := h.remember(ctx, fleet[i].tankID, records, rows); err != nil {
			return nil, err
		}
	}
	return fleet, nil
}

// How often a tank of the past reports, how often it is topped off, how long that
// takes, and how often somebody comes round.
const (
	every      = 5 * time.Minute
	fillEvery  = 2 * time.Hour
	fillTakes  = time.Minute
	visitEvery = 12 * time.Hour
)

// past is a quiet past up to now, as a table of so many rows.
func past(now time.Time, length time.Duration) (table string, rows int) {
	var b strings.Builder
	b.WriteString("time,channel,value\n")
	say := func(at time.Time, channel string, value float64) {
		fmt.Fprintf(&b, "%d,%s,%v\n", at.Unix(), channel, value)
		rows++
	}
	for ago := length; ago > fillTakes; ago -= every {
		at, since := now.Add(-ago), (length-ago)%fillEvery
		if since == 0 {
			say(at, "watch", 0)
			say(at, "pump", 1)
			say(at.Add(fillTakes), "watch", 1)
			say(at.Add(fillTakes), "pump", 0)
		}
		if (length-ago)%visitEvery == 0 {
			say(at, "salinity", 35)
			say(at, "reservoir-filled", 6)
		}
		say(at.Add(fillTakes), "level", 0.2-0.002*since.Hours()/fillEvery.Hours())
		say(at, "temperature", 25+0.1*float64(rows%5))
		say(at, "room-temperature", 21+0.1*float64(rows%3))
		say(at, "room-humidity", 50+float64(rows%4))
	}
	return b.String(), rows
}

// remember gives a tank its past, by the way that people have for that.
func (h *hub) remember(ctx context.Context, tankID, records string, rows int) error {
	mapping, err := json.Marshal(api.ImportMapping{Separator: "comma", Header: true, TimeFormat: "unix-seconds",
		Columns: []api.ImportColumn{{Column: 1, Use: "time"}, {Column: 2, Use: "name"}, {Column: 3, Use: "number"}}})
	if err != nil {
		return err
	}
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", "past.csv")
	if err != nil {
		return err
	}
	if _, err := io.WriteString(part, records); err != nil {
		return err
	}
	if err := errors.Join(form.WriteField("mapping", string(mapping)), form.Close()); err != nil {
		return err
	}
	var r api.ImportResult
	if err := h.send(ctx, "POST", "/api/tanks/"+tankID+"/imports", form.FormDataContentType(), &body, &r); err != nil {
		return err
	}
	if r.Readings != rows {
		return fmt.Errorf("of %d records of %s %d were imported, %d of them refused", rows, tankID, r.Readings, r.ProblemCount)
	}
	return nil
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

// follow looks at a tank's page, as a browser does.
func (h *hub) follow(ctx context.Context, d *device, looking func(), seen func(channel string, at time.Time)) error {
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
