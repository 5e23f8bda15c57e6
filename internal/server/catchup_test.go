package server

import (
	"context"
	"encoding/csv"
	"net/http"
	"testing"
	"time"

	"isohaline/internal/edge/join"
	"isohaline/internal/server/api"
	"isohaline/internal/wire"
)

// TestWhatWaitedAtAnEdge: a week that an edge has kept for itself is in the store
// once and in order of its own time, though most of it comes several times and the
// later half first.
func TestWhatWaitedAtAnEdge(t *testing.T) {
	const week, every = 7 * 24 * time.Hour, 5 * time.Minute
	n := int(week / every)
	h := furnished(t)
	olga := h.as("olga")
	var made api.JoinFile
	olga.want(http.StatusCreated, "POST", "/api/edges", jsonMap{"tankId": "reef", "name": "Computer"}, &made)
	file, err := join.Read([]byte(made.Content))
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now().UTC().Add(-week).Truncate(time.Second)
	var readings []wire.Reading
	for i := range n {
		at := began.Add(time.Duration(i) * every)
		readings = append(readings, wire.Reading{Site: file.Site, Device: file.Edge, Channel: "level", At: at, Received: at,
			Value: 0.2 + float64(i%10)/10_000, Unit: "m"})
	}
	bring := func(readings []wire.Reading) {
		t.Helper()
		u, err := wire.OpenUplink(t.Context(), wire.UplinkOptions{Dir: t.TempDir(), Hub: file.Hub, Edge: file.ID(), Seed: file.Key})
		if err != nil {
			t.Fatal(err)
		}
		if err := u.Append(t.Context(), readings); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		ran := make(chan error, 1)
		go func() { ran <- u.Run(ctx) }()
		eventually(t, "the hub to have what waited", func() bool { return u.Pushed.Load() == int64(len(readings)) })
		cancel()
		if err := <-ran; err != nil {
			t.Error(err)
		}
		u.Close()
	}
	bring(readings[n/2:]) // the later half first
	bring(readings[n/4:])
	bring(readings)

	var got [][]string
	eventually(t, "all readings in the store", func() bool {
		resp := olga.do("GET", "/api/tanks/reef/readings.csv?from="+began.Add(-time.Hour).Format(time.RFC3339)+"&to="+time.Now().UTC().Format(time.RFC3339), nil)
		defer resp.Body.Close()
		if got, err = csv.NewReader(resp.Body).ReadAll(); err != nil {
			t.Fatal(err)
		}
		return len(got) >= n+1
	})
	if len(got) != n+1 {
		t.Fatalf("the store has %d readings, want %d", len(got)-1, n)
	}
	last := ""
	for _, row := range got[1:] {
		if row[0] <= last {
			t.Fatalf("%s comes after %s", row[0], last)
		}
		last = row[0]
	}
}
