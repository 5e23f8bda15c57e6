package server

import (
	"net/http"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"isohaline/internal/server/api"
	"isohaline/internal/wire"
)

// TestEdgesBesideAnExternalLog: with the log on a NATS server elsewhere an edge
// joins, is asked, and its readings are in the store once; after a restart too.
func TestEdgesBesideAnExternalLog(t *testing.T) {
	nats, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	nats.Start()
	t.Cleanup(func() { nats.Shutdown(); nats.WaitForShutdown() })
	if !nats.ReadyForConnections(waits) {
		t.Fatal("NATS does not start")
	}
	dir, began := t.TempDir(), time.Now().UTC().Add(-time.Hour).Truncate(time.Second)
	edges := "127.0.0.1:0"
	outside := func(o *Options) { o.NATS, o.Edges = nats.ClientURL(), edges }
	var made api.JoinFile
	bring := func(h *house, from, to int) {
		t.Helper()
		a, stop := startAgent(t, h, made)
		defer stop()
		var readings []wire.Reading
		for i := from; i < to; i++ {
			at := began.Add(time.Duration(i) * time.Second)
			readings = append(readings, wire.Reading{Site: made.Device.SiteID, Device: made.Device.ID, Channel: "level", At: at, Received: at, Value: 0.2, Unit: "m"})
		}
		if err := a.Append(t.Context(), readings); err != nil {
			t.Fatal(err)
		}
		eventually(t, "the hub to have what was brought", func() bool { return a.Pushed.Load() == int64(len(readings)) })
		olga := h.as("olga")
		var asked api.Request
		olga.want(http.StatusCreated, "POST", "/api/tanks/reef/requests", jsonMap{"kind": "hold"}, &asked)
		awaitRequest(olga, asked.ID, "done")
	}
	t.Run("first", func(t *testing.T) {
		h := openWith(t, dir, outside)
		h.people(t)
		h.as("olga").want(http.StatusCreated, "POST", "/api/edges", jsonMap{"tankId": "reef", "name": "Computer"}, &made)
		edges = h.EdgesAddress() // where the join file says
		bring(h, 0, 50)
		eventually(t, "its readings are kept", func() bool { return h.levels() == 50 })
	})
	t.Run("again", func(t *testing.T) {
		h := openWith(t, dir, outside)
		bring(h, 25, 75) // half of them a second time
		eventually(t, "the new ones are kept, once", func() bool { return h.levels() == 75 })
	})
}
