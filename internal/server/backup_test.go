package server

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
)

// levels are the readings of the tank's level that the store has.
func (h *house) levels() int {
	h.t.Helper()
	n := 0
	err := h.Monitor.Readings(h.t.Context(), "reef", "level", time.Unix(0, 0), h.now().Add(time.Hour), func(store.Reading) error { n++; return nil })
	if err != nil {
		h.t.Fatal(err)
	}
	return n
}

// TestBackupWhileReadingsFlow: a copy that is made of a running service becomes
// the database of another one, and of the same after an accident: there, what was
// acknowledged after the copy comes back from the log.
func TestBackupWhileReadingsFlow(t *testing.T) {
	ctx := t.Context()
	dir, elsewhere := t.TempDir(), filepath.Join(t.TempDir(), "new", "folder")
	copied := filepath.Join(t.TempDir(), "copy.db")
	var acknowledged atomic.Int64
	var carla *browser
	t.Run("running", func(t *testing.T) {
		h := furnishedIn(t, dir)
		var made api.Credentials
		carla = h.as("carla")
		h.as("olga").want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
		began := h.now().Add(-time.Hour)
		say := func(n int64) {
			body, _ := json.Marshal([]jsonMap{{"bn": "", "n": "level", "u": "m", "v": 0.2, "t": float64(began.UnixMilli()+n) / 1000}})
			post(t, h, made, string(body), http.StatusOK)
			acknowledged.Store(n)
		}
		stop, stopped := make(chan struct{}), make(chan struct{})
		go func() {
			defer close(stopped)
			for n := int64(1); ; n++ {
				select {
				case <-stop:
					return
				default:
					say(n)
				}
			}
		}()
		eventually(t, "readings flow", func() bool { return h.levels() > 20 })
		if err := Backup(ctx, dir, copied); err != nil {
			t.Error(err)
		}
		after := acknowledged.Load()
		eventually(t, "they flow on", func() bool { return acknowledged.Load() > after+20 })
		close(stop)
		<-stopped
		if _, err := Restore(ctx, copied, dir, true, h.now()); err == nil || !strings.Contains(err.Error(), "somebody has it open") {
			t.Errorf("restoring under a running service: %v", err)
		}
	})
	for _, bad := range []struct {
		what, file, dir string
		force           bool
		want            string
	}{
		{"over a database", copied, dir, false, "--force to set it aside"},
		{"no copy", filepath.Join(dir, "log", "lock"), elsewhere, true, "checking the copy"},
		{"nothing", filepath.Join(dir, "nothing"), elsewhere, true, "checking the copy"},
	} {
		if _, err := Restore(ctx, bad.file, bad.dir, bad.force, time.Now()); err == nil || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("restoring %s: %v, want %q", bad.what, err, bad.want)
		}
	}
	if err := Backup(ctx, elsewhere, filepath.Join(t.TempDir(), "x")); err == nil || !strings.Contains(err.Error(), "nothing to back up") {
		t.Errorf("backing up an empty folder: %v", err)
	}
	if err := Backup(ctx, dir, copied); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("backing up over a file: %v", err)
	}

	t.Run("elsewhere", func(t *testing.T) {
		if aside, err := Restore(ctx, copied, elsewhere, false, time.Now()); err != nil || aside != "" {
			t.Fatalf("%v, aside %q", err, aside)
		}
		h := open(t, elsewhere)
		var file api.TankFile
		h.as("carla").want(http.StatusOK, "GET", "/api/tanks/reef/file", nil, &file)
		if file.Text != string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})) {
			t.Error("the tank file is another")
		}
		carla.h = h
		carla.want(http.StatusUnauthorized, "GET", "/api/session", nil, nil) // she may have signed out since
		if n := int64(h.levels()); n <= 20 || n >= acknowledged.Load() {
			t.Errorf("%d readings are there, of %d that were acknowledged, more than 20 of them before the copy", n, acknowledged.Load())
		}
	})
	t.Run("again", func(t *testing.T) {
		aside, err := Restore(ctx, copied, dir, true, time.Now())
		if err != nil {
			t.Fatal(err)
		}
		if err := store.CheckCopy(ctx, aside); err != nil {
			t.Errorf("what was set aside: %v", err)
		}
		h := open(t, dir)
		eventually(t, "every acknowledged reading is back", func() bool { return int64(h.levels()) == acknowledged.Load() })
		if _, err := os.Stat(filepath.Join(dir, restoredName)); !os.IsNotExist(err) {
			t.Errorf("the log would be read again at every start: %v", err)
		}
	})
}
