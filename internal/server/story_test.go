package server

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	"isohaline/internal/server/api"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// waits bounds what takes the service a moment.
const waits = time.Minute

// TestACeilingTrip is the whole way: a device is made, reports a wet ceiling over
// MQTT, and a person who is looking sees it, acknowledges it, and sees it go.
func TestACeilingTrip(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	if !strings.Contains(made.Try, "-i "+made.ClientID) || !strings.Contains(made.Try, made.Topic) {
		t.Errorf("the line to try is %q", made.Try)
	}
	events, morning := olga.follow("tank=reef"), olga.follow("view=rounds")
	device := connect(t, h.DoorAddress(), made)
	publish(t, device, made.Topic, `[{"n":"ceiling","vb":false},{"n":"watch","vb":true}]`)
	publish(t, device, made.Topic, `[{"n":"ceiling","vb":true}]`)

	var finding api.FindingEvent
	events.await(t, "finding", &finding, func() bool { return finding.Finding.Code == "ceiling-wet" && finding.TankID == "reef" })
	var rounds api.RoundsEvent
	morning.await(t, "rounds", &rounds, func() bool { return len(rounds.NeedPerson) == 1 })
	row := rounds.NeedPerson[0]
	if row.Tank.ID != "reef" || !strings.Contains(row.Finding.Sentence, "ceiling level") {
		t.Errorf("the row is %+v", row)
	}

	h.pass(time.Minute) // the alarm's on-delay
	var event api.AlarmEvent
	events.await(t, "alarm", &event, func() bool { return event.Alarm.State == "unacknowledged" })
	al := event.Alarm
	if al.Code != "ceiling-wet" || al.Caution == "" {
		t.Errorf("the alarm is %+v", al)
	}
	olga.want(http.StatusOK, "POST", "/api/alarms/"+al.ID+"/acknowledge", jsonMap{}, &al)
	if al.State != "acknowledged" || al.AckedBy != "olga" {
		t.Errorf("acknowledged, it is %+v", al)
	}
	olga.want(http.StatusConflict, "POST", "/api/alarms/"+al.ID+"/acknowledge", jsonMap{}, nil)
	olga.want(http.StatusOK, "POST", "/api/alarms/"+al.ID+"/shelve", jsonMap{"forS": 3600}, &al)
	if al.State != "shelved" || al.ShelvedUntil == nil {
		t.Errorf("shelved, it is %+v", al)
	}

	publish(t, device, made.Topic, `[{"n":"ceiling","vb":false}]`)
	events.await(t, "finding", &finding, func() bool { return finding.Finding.Ended != nil })
	var now api.Rounds
	olga.want(http.StatusOK, "GET", "/api/rounds", nil, &now)
	if len(now.NeedPerson) != 0 || len(now.Quiet) != 2 {
		t.Errorf("afterwards %d tanks need a person and %d are quiet", len(now.NeedPerson), len(now.Quiet))
	}
	var audit struct{ Lines []api.AuditLine }
	olga.want(http.StatusOK, "GET", "/api/audit", nil, &audit)
	text, _ := json.Marshal(audit)
	for _, did := range []string{"create device", "acknowledge", "shelve"} {
		if !bytes.Contains(text, []byte(did)) {
			t.Errorf("the audit log does not say %q", did)
		}
	}
	if bytes.Contains(text, []byte(made.Password)) || bytes.Contains(text, []byte("argon2")) {
		t.Error("the audit log holds a secret")
	}
}

// TestAFloorIsWet: water on the floor is an alarm though no account looks for it.
func TestAFloorIsWet(t *testing.T) {
	h := furnished(t)
	var made api.Credentials
	olga := h.as("olga")
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	post(t, h, made, `[{"n":"floor","vb":true}]`, http.StatusOK)
	eventually(t, "the floor is in Rounds", func() bool {
		var r api.Rounds
		olga.want(http.StatusOK, "GET", "/api/rounds", nil, &r)
		return len(r.NeedPerson) == 1 && r.NeedPerson[0].Finding.Code == "floor-wet" && r.NeedPerson[0].Priority == "critical"
	})
}

// TestOverBeforeItCame: a device that was cut off says at last that the ceiling was wet
// for an hour and the guard latched, and that both are over. People are told all the same;
// not of a splash.
func TestOverBeforeItCame(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made, splashed api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "other", "name": "Head"}, &splashed)
	body := func(wet time.Duration) string {
		began := time.Now().Add(-3 * time.Hour)
		text, err := json.Marshal([]jsonMap{
			{"bt": began.Unix(), "n": "ceiling", "vb": true}, {"n": "latched", "vb": true},
			{"n": "ceiling", "t": wet.Seconds(), "vb": false}, {"n": "latched", "t": wet.Seconds(), "vb": false}})
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	post(t, h, splashed, body(5*time.Second), http.StatusOK)
	post(t, h, made, body(time.Hour), http.StatusOK)
	told := map[string]bool{}
	eventually(t, "the ceiling is told", func() bool {
		for _, a := range h.Monitor.Alarms() {
			told[a.Tank+" "+string(a.Code)] = !a.Called.IsZero() || a.Active
		}
		return told["reef ceiling-wet"]
	})
	if !told["reef guard-latched"] || told["other ceiling-wet"] || told["other guard-latched"] {
		t.Errorf("told: %v", told)
	}
}

// TestRefusalsAreSeen: what is not taken is answered, and stands on the device's
// page.
func TestRefusalsAreSeen(t *testing.T) {
	h := furnished(t)
	var made api.Credentials
	olga := h.as("olga")
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	post(t, h, made, `[{"n":"level","u":"V","v":3}]`, http.StatusUnprocessableEntity)
	post(t, h, made, `[{"n":"level","u":"V","v":3}]`, http.StatusUnprocessableEntity)
	post(t, h, made, `[{"n":"level","u":"m","v":300}]`, http.StatusUnprocessableEntity)
	post(t, h, made, `nonsense`, http.StatusUnprocessableEntity)
	post(t, h, made, strings.Repeat(" ", wire.MaxMessage+1), http.StatusRequestEntityTooLarge)
	post(t, h, made, strings.Repeat(" ", 2*wire.MaxMessage), http.StatusRequestEntityTooLarge)
	thief := made
	thief.Password = "guessed"
	post(t, h, thief, `[{"n":"level","u":"m","v":0.2}]`, http.StatusUnauthorized)

	var d api.Device
	olga.want(http.StatusOK, "GET", "/api/devices/"+made.Device.ID, nil, &d)
	got := []string{}
	for _, r := range d.Refusals {
		got = append(got, r.Reason)
	}
	if strings.Join(got, " ") != "too-large malformed out-of-range wrong-unit" || d.Refusals[3].Count != 2 {
		t.Errorf("the refusals are %+v", d.Refusals)
	}

	olga.want(http.StatusNoContent, "DELETE", "/api/devices/"+made.Device.ID, nil, nil)
	post(t, h, made, `[{"n":"level","u":"m","v":0.2}]`, http.StatusUnauthorized)
}

// TestReadingsMakeCharts: what a device says is there to be drawn, once, however
// often it says it, also after the service was started again.
func TestReadingsMakeCharts(t *testing.T) {
	dir := t.TempDir()
	var made api.Credentials
	at := time.Now().Add(-time.Hour).Unix()
	body, _ := json.Marshal([]jsonMap{
		{"bn": "", "bt": at, "n": "level", "u": "mm", "v": 212}, {"n": "level", "t": 60, "u": "m", "v": 0.214},
		{"n": "pump", "t": 70, "vb": true}, {"n": "pump", "t": 100, "vb": false},
	})
	look := func(t *testing.T, h *house) {
		olga := h.as("olga")
		from := time.Now().Add(-2 * time.Hour).UTC().Format(time.RFC3339)
		to := time.Now().Add(time.Hour).UTC().Format(time.RFC3339)
		eventually(t, "two levels are drawn", func() bool {
			var s api.Series
			olga.want(http.StatusOK, "GET", "/api/tanks/reef/series?channel=level&from="+from+"&to="+to, nil, &s)
			return len(s.T) == 2 && s.Mean[0] == 0.212 && s.Mean[1] == 0.214 && s.T[1]-s.T[0] == 60
		})
		var tank api.Tank
		olga.want(http.StatusOK, "GET", "/api/tanks/reef", nil, &tank)
		if tank.Live.LevelMM == nil || tank.Live.LevelMM.Value != 214 || tank.Live.TopOffPump == nil || tank.Live.TopOffPump.On {
			t.Errorf("live: %+v", tank.Live)
		}
		var l struct{ Days []api.LedgerDay }
		olga.want(http.StatusOK, "GET", "/api/tanks/reef/ledger?from="+from+"&to="+to, nil, &l)
		fills := 0
		for _, d := range l.Days {
			fills += d.Fills
		}
		if fills != 1 {
			t.Errorf("the ledger has %d fills in %+v", fills, l.Days)
		}
	}
	t.Run("first", func(t *testing.T) {
		h := furnishedIn(t, dir)
		h.as("olga").want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
		for range 3 {
			post(t, h, made, string(body), http.StatusOK)
		}
		look(t, h)
	})
	t.Run("again", func(t *testing.T) {
		h := open(t, dir)
		post(t, h, made, string(body), http.StatusOK)
		look(t, h)
	})
}

func TestTankFile(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var f api.TankFile
	olga.want(http.StatusOK, "GET", "/api/tanks/reef/file", nil, &f)
	if f.Version != 1 || f.Text != string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})) {
		t.Errorf("version %d is not the file as it was given", f.Version)
	}
	text := strings.Replace(f.Text, "Our reef", "Our renamed reef", 1) + "\n# a comment that stays\n"
	olga.want(http.StatusUnprocessableEntity, "PUT", "/api/tanks/reef/file", jsonMap{"text": "name: x", "base": 1}, nil)
	olga.want(http.StatusOK, "PUT", "/api/tanks/reef/file", jsonMap{"text": text, "base": 1, "note": "renamed"}, &f)
	olga.want(http.StatusConflict, "PUT", "/api/tanks/reef/file", jsonMap{"text": text, "base": 1}, nil)
	olga.want(http.StatusOK, "GET", "/api/tanks/reef/file", nil, &f)
	if f.Version != 2 || f.Text != text || f.By != "olga" || f.Note != "renamed" {
		t.Errorf("saved %+v", f)
	}
	var versions struct{ Versions []api.Version }
	olga.want(http.StatusOK, "GET", "/api/tanks/reef/versions", nil, &versions)
	if len(versions.Versions) != 2 || versions.Versions[0].Version != 2 {
		t.Errorf("the versions are %+v", versions)
	}
	var tank api.Tank
	olga.want(http.StatusOK, "GET", "/api/tanks/reef", nil, &tank)
	if tank.Name != "Our renamed reef" {
		t.Errorf("the tank is called %q", tank.Name)
	}
	var check api.Check
	olga.want(http.StatusOK, "POST", "/api/drafts/check", jsonMap{"text": text}, &check)
	if len(check.Faults) == 0 || len(check.Settings) == 0 || check.Because == "" {
		t.Errorf("the check says too little: %+v", check)
	}
	var odds api.Odds
	olga.want(http.StatusOK, "POST", "/api/drafts/odds", jsonMap{"text": text}, &odds)
	if len(odds.Harms) != 3 || len(odds.Dominating) == 0 || len(odds.Lead) == 0 || odds.Curve[0].Days != 7 || !strings.HasPrefix(odds.DrawingNarrow, "<svg") {
		t.Errorf("the odds say too little: %+v", odds)
	}
	for _, h := range odds.Harms {
		if h.Band != "" && !(h.LowPerYear > 0 && h.LowPerYear < h.HighPerYear) {
			t.Errorf("%s: a band from %v to %v", h.Name, h.LowPerYear, h.HighPerYear)
		}
	}
}

// TestNoOdds: a design that harms with nothing wrong has none, and is told why.
func TestNoOdds(t *testing.T) {
	h := furnished(t)
	var odds api.Odds
	nano, err := os.ReadFile("../../examples/window-nano.yaml")
	if err != nil {
		t.Fatal(err)
	}
	// What the water moves between two fills is harm already.
	text := string(nano) + "\nlimits: {salinity off: [0.01 ppt, 0.011 ppt, 0.012 ppt, 0.013 ppt]}\n"
	h.as("olga").want(http.StatusOK, "POST", "/api/drafts/odds", jsonMap{"text": text}, &odds)
	if odds.Refused == "" || len(odds.Harms) != 0 {
		t.Errorf("a site that harms by itself has odds: %+v", odds)
	}
}

// TestHandReadings: what a person measures is kept and moves the account.
func TestHandReadings(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	for value, want := range map[string]float64{"36.5 ppt": 36.5, "36.5": 36.5} {
		var r api.HandReading
		olga.want(http.StatusCreated, "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": value, "instrument": "conductivity meter"}, &r)
		if r.Value != want || r.Unit != "PSU" || r.By != "olga" {
			t.Errorf("%q: kept %+v", value, r)
		}
	}
	var can struct{ Measures []api.Measure }
	olga.want(http.StatusOK, "GET", "/api/measures", nil, &can)
	if len(can.Measures) == 0 {
		t.Error("nothing can be measured by hand")
	}
	for _, m := range can.Measures { // what is offered is taken
		if m.Kind == "salinity" {
			continue // it moves the account: above
		}
		for i, with := range m.Instruments {
			var r api.HandReading
			olga.want(http.StatusCreated, "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": m.Kind, "value": "25 " + m.Units[0], "instrument": with}, &r)
			if r.Title != m.Title || r.Value != 25 || string(r.Unit) != m.Units[0] {
				t.Errorf("%+v by way %d: kept %+v", m, i, r)
			}
		}
	}
	olga.want(http.StatusNoContent, "POST", "/api/tanks/reef/refills", jsonMap{"litres": 18}, nil)
	olga.want(http.StatusNoContent, "POST", "/api/tanks/reef/water-changes", jsonMap{"litres": 40, "salinityPSU": 35}, nil)
	from := time.Now().Add(-time.Hour).UTC().Format(time.RFC3339)
	to := time.Now().Add(time.Hour).UTC().Format(time.RFC3339)
	var events struct{ Events []api.TankEvent }
	olga.want(http.StatusOK, "GET", "/api/tanks/reef/events?from="+from+"&to="+to, nil, &events)
	events.Events = slices.DeleteFunc(events.Events, func(e api.TankEvent) bool { return strings.Contains(e.Words, " 25 ") })
	if len(events.Events) != 4 {
		t.Errorf("the events are %+v", events)
	}
	before, _ := h.Monitor.Tank("reef")
	h.pass(10 * time.Minute) // the account waits for what may come late
	after, _ := h.Monitor.Tank("reef")
	if !(after.Estimate.SalinityPSU > before.Estimate.SalinityPSU) {
		t.Errorf("two readings of 36.5 moved the salinity from %v to %v", before.Estimate.SalinityPSU, after.Estimate.SalinityPSU)
	}
}

// TestTheDocumentIsCommitted: the front end's client is made from the committed
// document, so it has to be the one that the program would write.
func TestTheDocumentIsCommitted(t *testing.T) {
	if strconv.IntSize < 64 {
		t.Skip("whole numbers are documented as wide as this machine's; the committed ones are of 64 bits")
	}
	committed, err := os.ReadFile("../../web/openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	now, err := api.Document()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(committed, now) {
		t.Error("web/openapi.json is not what the routes say: run go generate ./internal/server/api")
	}
}

func TestHealthAndMetrics(t *testing.T) {
	h := furnished(t)
	b := h.nobody()
	b.want(http.StatusOK, "GET", "/healthz", nil, nil)
	resp := b.do("GET", "/metrics", nil)
	defer resp.Body.Close()
	var text bytes.Buffer
	if _, err := text.ReadFrom(resp.Body); err != nil {
		t.Fatal(err)
	}
	if problems, err := promlint.New(bytes.NewReader(text.Bytes())).Lint(); err != nil || len(problems) > 0 {
		t.Errorf("the linter of Prometheus says %v, %v", problems, err)
	}
	for _, name := range []string{"isohaline_door_refused_total{reason=\"wrong-unit\"} 0", "isohaline_log_readings_total", "isohaline_monitor_readings_total", "go_goroutines"} {
		if !strings.Contains(text.String(), name) {
			t.Errorf("no %s", name)
		}
	}
}

// stream is the live updates that one browser gets.
type stream struct{ lines *bufio.Scanner }

// follow begins to look at live updates.
func (b *browser) follow(what string) *stream {
	b.h.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), waits)
	b.h.t.Cleanup(cancel)
	req, err := http.NewRequestWithContext(ctx, "GET", b.h.Address()+"/api/live?"+what, nil)
	if err != nil {
		b.h.t.Fatal(err)
	}
	resp := b.send(req)
	b.h.t.Cleanup(func() { resp.Body.Close() })
	if resp.StatusCode != http.StatusOK {
		b.h.t.Fatalf("the stream answers %s", resp.Status)
	}
	s := &stream{bufio.NewScanner(resp.Body)}
	s.lines.Buffer(nil, 1<<20)
	return s
}

// await reads on to the first event of a name that is the one waited for.
func (s *stream) await(t *testing.T, name string, into any, is func() bool) {
	t.Helper()
	event := ""
	for s.lines.Scan() {
		line := s.lines.Text()
		if word, ok := strings.CutPrefix(line, "event: "); ok {
			event = word
		}
		if data, ok := strings.CutPrefix(line, "data: "); ok && event == name {
			if err := json.Unmarshal([]byte(data), into); err != nil {
				t.Fatalf("%v in %s", err, data)
			}
			if is() {
				return
			}
		}
	}
	t.Fatalf("the %s waited for did not come: %v", name, s.lines.Err())
}

func connect(t *testing.T, address string, c api.Credentials) mqtt.Client {
	t.Helper()
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).
		SetClientID(c.ClientID).SetUsername(c.User).SetPassword(c.Password))
	settle(t, client.Connect())
	t.Cleanup(func() { client.Disconnect(0) })
	return client
}

func publish(t *testing.T, client mqtt.Client, topic, body string) {
	t.Helper()
	const atLeastOnce = 1
	settle(t, client.Publish(topic, atLeastOnce, false, body))
}

func settle(t *testing.T, token mqtt.Token) {
	t.Helper()
	if !token.WaitTimeout(waits) {
		t.Fatal("the front door does not answer")
	}
	if err := token.Error(); err != nil {
		t.Fatal(err)
	}
}

// post hands readings in over HTTP.
func post(t *testing.T, h *house, c api.Credentials, body string, status int) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), "POST", h.Address()+"/api/readings", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.SetBasicAuth(c.User, c.Password)
	req.Header.Set("Content-Type", "application/senml+json")
	resp := h.nobody().send(req)
	defer resp.Body.Close()
	if resp.StatusCode != status {
		var text bytes.Buffer
		text.ReadFrom(resp.Body)
		t.Fatalf("POST of %.60q: got %s, want %d: %s", body, resp.Status, status, text.String())
	}
}

// eventually asks until it is so.
func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(waits); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("in %v it did not come to be that %s", waits, what)
		}
	}
}

// TestFindingsSayTheSitesTime: what is wrong is said by the clocks of the site's
// plan, also after a restart; UTC is named where the plan says nothing.
func TestFindingsSayTheSitesTime(t *testing.T) {
	const zone = "Asia/Kathmandu" // a quarter of an hour off the others, all year
	kathmandu, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	const clock = "Mon 2 Jan 15:04"
	said := func(olga *browser, want func(since time.Time) string) bool {
		var tank api.Tank
		olga.want(http.StatusOK, "GET", "/api/tanks/reef", nil, &tank)
		codes := map[string]bool{}
		for _, f := range tank.Findings {
			if !strings.Contains(f.Sentence, want(f.Since)) {
				return false
			}
			codes[f.Code] = true
		}
		return codes["ceiling-wet"] && codes["floor-wet"]
	}
	local := func(since time.Time) string { return ", since " + since.In(kathmandu).Format(clock) + "." }
	t.Run("first", func(t *testing.T) {
		h := furnishedIn(t, dir)
		olga := h.as("olga")
		post(t, h, h.newHead(), `[{"n":"ceiling","vb":true},{"n":"floor","vb":true}]`, http.StatusOK)
		eventually(t, "both are found, in UTC", func() bool {
			return said(olga, func(since time.Time) string { return ", since " + since.UTC().Format(clock) + " UTC." })
		})
		plan := jsonMap{"critical": route(), "high": route(), "medium": route(), "low": route(), "tellEnd": false, "zone": zone}
		olga.want(http.StatusOK, "PUT", "/api/sites/here/plan", plan, nil)
		if !said(olga, local) {
			t.Error("the findings do not say the plan's time")
		}
	})
	t.Run("after a restart", func(t *testing.T) {
		if !said(open(t, dir).as("olga"), local) {
			t.Error("the findings do not say the plan's time")
		}
	})
}
