package server

import (
	"database/sql"
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"isohaline/internal/server/api"
	"isohaline/internal/store/pgtest"
)

// newPostgres is the address of an empty database on a server of the test's own.
func newPostgres(t *testing.T) string {
	t.Helper()
	server, err := pgtest.Start(pgtest.Options{})
	if err != nil {
		t.Skip("NO POSTGRESQL: ", err)
	}
	t.Cleanup(server.Stop)
	return server.Address
}

// refused opens a service, which must fail with each of the words.
func refused(t *testing.T, o Options, words ...string) {
	t.Helper()
	o.HTTP, o.MQTT, o.Edges, o.Cost = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0", cheap
	s, err := Open(t.Context(), o)
	if err == nil {
		s.Close()
		t.Errorf("it opened; want an error with %q", words)
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("the error is %q, want %q in it", err, word)
		}
	}
}

// TestOnPostgres: a reading comes in and an alarm goes out; after a restart both
// are there; a second service is refused meanwhile; and a copy made by PostgreSQL's
// own tools is taken back as docs/storage.md says, with what the log still has.
func TestOnPostgres(t *testing.T) {
	database, dir := newPostgres(t), t.TempDir()
	copied := filepath.Join(t.TempDir(), "copy.dump")
	u, _ := url.Parse(database)
	tool := func(name string, args ...string) {
		t.Helper()
		out, err := exec.Command(name, append(args, "--host="+u.Query().Get("host"), "--username=postgres")...).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v: %s", name, err, out)
		}
	}
	on := func(o *Options) { o.Database = database }
	var made api.Credentials
	at := time.Now().Add(-time.Hour).UnixMilli()
	say := func(h *house, n int64) {
		body, _ := json.Marshal([]jsonMap{{"n": "level", "u": "m", "v": 0.2, "t": float64(at+n) / 1000}})
		post(t, h, made, string(body), http.StatusOK)
	}
	floorIsWet := func(h *house, b *browser) {
		t.Helper()
		eventually(t, "the floor is in Rounds", func() bool {
			var r api.Rounds
			b.want(http.StatusOK, "GET", "/api/rounds", nil, &r)
			return len(r.NeedPerson) == 1 && r.NeedPerson[0].Finding.Code == "floor-wet" && r.NeedPerson[0].Priority == "critical"
		})
	}
	t.Run("first", func(t *testing.T) {
		h := openWith(t, dir, on)
		h.people(t)
		olga := h.as("olga")
		olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
		say(h, 1)
		eventually(t, "a reading is kept", func() bool { return h.levels() == 1 })
		tool("pg_dump", "--format=custom", "--file="+copied, "postgres")
		say(h, 2)
		post(t, h, made, `[{"n":"floor","vb":true}]`, http.StatusOK)
		floorIsWet(h, olga)
		eventually(t, "both readings are kept", func() bool { return h.levels() == 2 })
		refused(t, Options{Dir: t.TempDir(), Database: database}, "in use by another program", "isohaline, process")
	})
	t.Run("again", func(t *testing.T) {
		h := openWith(t, dir, on)
		if n := h.levels(); n != 2 {
			t.Errorf("%d readings after a restart, want 2", n)
		}
		floorIsWet(h, h.as("olga"))
		// Every connection is cut in the middle, as by a restart of the server.
		db, err := sql.Open("pgx", database)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		if _, err := db.Exec("SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity WHERE application_name LIKE 'isohaline%'"); err != nil {
			t.Fatal(err)
		}
		say(h, 3)
		eventually(t, "a third reading is kept", func() bool {
			var count int
			err := db.QueryRow("SELECT count(*) FROM readings r JOIN channels c ON c.id = r.channel WHERE c.name = 'level'").Scan(&count)
			return err == nil && count == 3
		})
	})
	refused(t, Options{Dir: dir}, "of PostgreSQL", "give --database as before")
	if err := Backup(t.Context(), dir, filepath.Join(t.TempDir(), "x.db")); err == nil || !strings.Contains(err.Error(), "pg_dump") {
		t.Errorf("backing up: %v", err)
	}
	t.Run("restored", func(t *testing.T) {
		tool("pg_restore", "--clean", "--if-exists", "--dbname=postgres", copied)
		if err := os.WriteFile(filepath.Join(dir, restoredName), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		h := openWith(t, dir, on)
		eventually(t, "every acknowledged reading is back", func() bool { return h.levels() == 3 })
		floorIsWet(h, h.as("olga"))
	})
}
