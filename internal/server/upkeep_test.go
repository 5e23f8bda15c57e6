package server

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/store"
)

// TestRetentionIsSetAndKept: what an operator sets is applied; readings go, their
// roll-ups stay, and a clock that is years ahead costs nothing.
func TestRetentionIsSetAndKept(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	const days = 40
	now := time.Now().UTC().Truncate(time.Second)
	var lines []jsonMap
	for d := range days {
		lines = append(lines, jsonMap{"bn": "", "n": "level", "u": "m", "v": 0.2, "t": now.Add(-time.Duration(d) * 24 * time.Hour).Unix()})
	}
	body, err := json.Marshal(lines)
	if err != nil {
		t.Fatal(err)
	}
	post(t, h, made, string(body), http.StatusOK)
	from, to := now.Add(-365*24*time.Hour).Format(time.RFC3339), now.Add(time.Hour).Format(time.RFC3339)
	points := func() int {
		var s api.Series
		olga.want(http.StatusOK, "GET", "/api/tanks/reef/series?channel=level&from="+from+"&to="+to, nil, &s)
		return len(s.T)
	}
	eventually(t, "the readings are there", func() bool { return points() == days })

	var kept api.Retention
	olga.want(http.StatusOK, "GET", "/api/retention", nil, &kept)
	if kept != (api.Retention{}) {
		t.Errorf("at first, %+v is kept", kept)
	}
	for what, bad := range map[string]api.Retention{
		"an hour":              {ReadingsDays: 1.0 / 24},
		"coarser for less":     {ReadingsDays: 30, MinutesDays: 10},
		"fine ones for ever":   {HoursDays: 365},
		"longer than there is": {DaysDays: 1e9},
		"less than nothing":    {ReadingsDays: -3},
	} {
		var p api.Problem
		olga.want(http.StatusUnprocessableEntity, "PUT", "/api/retention", bad, &p)
		if p.Detail == "" {
			t.Errorf("%s: nothing is said", what)
		}
	}
	want := api.Retention{ReadingsDays: 7.5, MinutesDays: 60}
	olga.want(http.StatusOK, "PUT", "/api/retention", want, &kept)
	if kept != want {
		t.Errorf("set to %+v, it is %+v", want, kept)
	}

	if err := h.Store.SaveSession(t.Context(), store.Session{TokenHash: "old", UserID: "timo", Created: now, Expires: now.Add(time.Minute)}); err != nil {
		t.Fatal(err)
	}
	h.ahead.Add(int64(50 * 365 * 24 * time.Hour)) // nobody signs in at such a time
	if err := h.tidy(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.ahead.Store(0)
	if _, err := h.Store.Session(t.Context(), "old", now); err == nil {
		t.Error("a session that has expired is still there")
	}
	olga = h.as("olga")
	raw := 0
	err = h.Monitor.Readings(t.Context(), "reef", "level", now.Add(-365*24*time.Hour), now.Add(time.Hour), func(store.Reading) error { raw++; return nil })
	if err != nil || raw != 8 {
		t.Errorf("%d readings are left, want those of 7.5 days: 8; %v", raw, err)
	}
	if n := points(); n != days {
		t.Errorf("the chart has %d points, want %d: roll-ups are kept for longer", n, days)
	}
}

// TestUpkeepRuns by itself, and the metrics say so.
func TestUpkeepRuns(t *testing.T) {
	h := open(t, t.TempDir())
	eventually(t, "the store was tidied", func() bool { return h.tidied.done.Load() > 0 })
	resp := h.nobody().do("GET", "/metrics", nil)
	defer resp.Body.Close()
	var text strings.Builder
	if err := resp.Write(&text); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text.String(), "isohaline_upkeep_done_total 1") || !strings.Contains(text.String(), "isohaline_upkeep_problems_total 0") {
		t.Error("the metrics do not say that the store was tidied")
	}
}
