package server

import (
	"context"
	"net/http"
	"os"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/wire"
)

// TestLeaveAFolder leaves a data folder at $LEAVE, for later versions to open: two
// tanks at two sites with two days and more of readings, people, a plan, a device and
// an edge, an imported table, what people wrote down, a wet floor that was told and
// acknowledged, open findings, and in the log what was acknowledged and not taken in.
func TestLeaveAFolder(t *testing.T) {
	dir := os.Getenv("LEAVE")
	ctx := t.Context()
	os.MkdirAll(dir, 0o700)
	t.Run("running", func(t *testing.T) {
		h := furnishedIn(t, dir)
		olga := h.as("olga")
		desk := newHook(t)
		olga.want(http.StatusOK, "PUT", "/api/delivery", jsonMap{"webhooks": []jsonMap{{"name": "desk", "url": desk.URL + hookPath, "token": hookToken, "inside": true}}}, nil)
		one := jsonMap{"rungs": []jsonMap{{"waitS": 0, "contacts": []jsonMap{{"person": "Desk", "channel": "webhook", "address": "desk"}}}}}
		none := jsonMap{"rungs": []jsonMap{}}
		olga.want(http.StatusOK, "PUT", "/api/sites/here/plan", jsonMap{"critical": one, "high": none, "medium": none, "low": none, "tellEnd": true, "zone": "Europe/Berlin"}, nil)
		olga.want(http.StatusCreated, "POST", "/api/edges", jsonMap{"tankId": "reef", "name": "Computer under the stand"}, nil)
		var head, other api.Credentials
		olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &head)
		olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "other", "name": "Other head"}, &other)
		table := "time,level mm,temperature\n"
		for i := range 3 {
			table += h.now().Add(-4*24*time.Hour).Add(time.Duration(i)*20*time.Minute).Format("2006-01-02 15:04") + ",212,25.1\n"
		}
		var p api.ImportPreview
		olga.upload(http.StatusOK, previewPath, table, nil, &p)
		var r api.ImportResult
		olga.upload(http.StatusCreated, importPath, table, &p.Mapping, &r)
		t.Logf("imported %+v", r)

		now := h.now().Truncate(time.Second)
		began := now.Add(-3 * 24 * time.Hour)
		var batch []wire.Reading
		say := func(site, device, channel string, at time.Time, value float64) {
			batch = append(batch, wire.Reading{Site: site, Device: device, Channel: channel, At: at, Received: now, Value: value})
			if len(batch) == 50 {
				if err := h.readings.Append(ctx, batch); err != nil {
					t.Fatal(err)
				}
				batch = nil
			}
		}
		for at := began; at.Before(now.Add(-10 * time.Minute)); at = at.Add(90 * time.Minute) {
			for site, device := range map[string]string{"here": head.User, "elsewhere": other.User} {
				say(site, device, "heartbeat", at, 1)
				say(site, device, "level", at.Add(time.Second), 0.2)
				say(site, device, "temperature", at.Add(2*time.Second), 25)
			}
		}
		say("here", head.User, "ceiling", now.Add(-2*time.Hour), 1) // an open finding of the account
		say("here", head.User, "floor", now.Add(-time.Hour), 1)
		say("elsewhere", other.User, "floor", now.Add(-50*time.Minute), 1)
		say("elsewhere", other.User, "floor", now.Add(-40*time.Minute), 0)
		say("here", head.User, "heartbeat", now.Add(-time.Minute), 1)
		if err := h.readings.Append(ctx, batch); err != nil {
			t.Fatal(err)
		}
		const wet = "here:reef::floor-wet"
		eventually(t, "the floor is wet", func() bool { return olga.status("GET", "/api/alarms/"+wet+"/notices") == http.StatusOK })
		eventually(t, "the last is taken in", func() bool {
			v, _ := h.Watch.Tank("reef")
			return v.Lasts["heartbeat"].At.Equal(now.Add(-time.Minute))
		})
		at := now.Add(-3 * time.Hour).Format(time.RFC3339)
		olga.want(http.StatusCreated, "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": "35.1", "instrument": "refractometer", "at": at}, nil)
		olga.want(http.StatusNoContent, "POST", "/api/tanks/reef/water-changes", jsonMap{"litres": 20, "salinityPSU": 35, "at": at}, nil)
		olga.want(http.StatusNoContent, "POST", "/api/tanks/reef/water-changes", jsonMap{"litres": 5, "at": at}, nil)
		h.pass(90 * time.Second) // the account looks at the time: one device is silent
		var notices struct{ Notices []api.Notice }
		eventually(t, "the desk was told", func() bool {
			olga.want(http.StatusOK, "GET", "/api/alarms/"+wet+"/notices", nil, &notices)
			return len(notices.Notices) == 1 && notices.Notices[0].Outcome == "sent"
		})
		olga.want(http.StatusOK, "POST", "/api/alarms/"+wet+"/acknowledge", nil, nil)
		t.Logf("notices %+v", notices)
		var alarms struct{ Alarms []api.Alarm }
		olga.want(http.StatusOK, "GET", "/api/alarms", nil, &alarms)
		t.Logf("alarms %+v", alarms)
		v, _ := h.Watch.Tank("reef")
		t.Logf("findings %+v", v.Findings)
		v, _ = h.Watch.Tank("other")
		t.Logf("findings %+v", v.Findings)
		if err := os.WriteFile(dir+"/head", []byte(head.User), 0o600); err != nil {
			t.Fatal(err)
		}
	})
	// What was acknowledged and not consumed: the process ended in between.
	s, err := Open(ctx, Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: cheap})
	if err != nil {
		t.Fatal(err)
	}
	head, _ := os.ReadFile(dir + "/head")
	now := time.Now().UTC().Truncate(time.Second)
	if err := s.readings.Append(context.WithoutCancel(ctx), []wire.Reading{
		{Site: "here", Device: string(head), Channel: "level", At: now, Received: now, Value: 0.19},
		{Site: "here", Device: string(head), Channel: "latched", At: now, Received: now, Value: 1},
	}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}
