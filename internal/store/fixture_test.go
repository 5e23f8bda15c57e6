package store_test

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/store"
	"isohaline/internal/store/pgtest"
)

// t0 is when every test begins.
var t0 = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// pgAddress is a PostgreSQL server the tests may use; pgMissing says why there
// is none.
var (
	pgAddress string
	pgMissing string
)

// TestMain uses the server that ISOHALINE_TEST_PG names, or starts one of its
// own where the programs are installed.
func TestMain(m *testing.M) {
	if address := os.Getenv(childVariable); address != "" {
		writeUntilKilled(address)
	}
	stop := func() {}
	if pgAddress = os.Getenv("ISOHALINE_TEST_PG"); pgAddress == "" {
		server, err := pgtest.Start(pgtest.Options{})
		if err != nil {
			pgMissing = err.Error()
			fmt.Println("NO POSTGRESQL: half of the store's tests are skipped:", pgMissing)
		} else {
			pgAddress, stop = server.Address, server.Stop
		}
	}
	code := m.Run()
	stop()
	os.Exit(code)
}

// each runs a test on both databases, each new and empty.
func each(t *testing.T, test func(t *testing.T, s *store.Store)) {
	t.Run("sqlite", func(t *testing.T) { test(t, openSQLite(t, store.Kill)) })
	t.Run("postgres", func(t *testing.T) {
		s, err := store.Open(t.Context(), newPostgres(t), store.Kill)
		must(t, err)
		t.Cleanup(func() { must(t, s.Close()) })
		test(t, s)
	})
}

// openSQLite opens a new database in a folder of its own.
func openSQLite(t testing.TB, d store.Durability) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "isohaline.db"), d)
	must(t, err)
	t.Cleanup(func() { must(t, s.Close()) })
	return s
}

var schemas atomic.Int32

// newPostgres is the address of an empty schema, which is dropped at the end.
func newPostgres(t *testing.T) string {
	t.Helper()
	if pgAddress == "" {
		t.Skip("NO POSTGRESQL: ", pgMissing)
	}
	db, err := sql.Open("pgx", pgAddress)
	must(t, err)
	schema := fmt.Sprintf("test_%d_%d", os.Getpid(), schemas.Add(1))
	_, err = db.Exec("CREATE SCHEMA " + schema)
	must(t, err)
	t.Cleanup(func() {
		_, err := db.Exec("DROP SCHEMA " + schema + " CASCADE")
		must(t, errors.Join(err, db.Close()))
	})
	u, err := url.Parse(pgAddress)
	must(t, err)
	q := u.Query()
	q.Set("search_path", schema)
	u.RawQuery = q.Encode()
	return u.String()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// got is what a call returned, which must not fail: got(s.Site(ctx, id))(t).
func got[T any](v T, err error) func(t testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		must(t, err)
		return v
	}
}

// wantError fails unless err is the sentinel and says what was being done.
func wantError(t *testing.T, err, sentinel error, says string) {
	t.Helper()
	if !errors.Is(err, sentinel) || !contains(err, says) {
		t.Errorf("%v, want one that says %q and is %q", err, says, sentinel)
	}
}

// furnish makes a site with a tank and a device, which most tests need.
func furnish(t testing.TB, s *store.Store) {
	t.Helper()
	e := s.Edit("Ines", t0)
	must(t, e.CreateSite(t.Context(), store.Site{ID: "harbour", Name: "Harbour house", Place: "Quay 3"}))
	must(t, e.CreateTank(t.Context(), store.Tank{ID: "lobby", SiteID: "harbour", Name: "Lobby reef"}))
	must(t, e.CreateDevice(t.Context(), store.Device{ID: "box", SiteID: "harbour", TankID: "lobby", Name: "Box", CredentialHash: "hash"}))
}

// makeChannels makes a furnished store's device report some channels.
func makeChannels(t testing.TB, s *store.Store, n int) []int64 {
	t.Helper()
	furnish(t, s)
	ids := make([]int64, n)
	for i := range ids {
		ids[i] = got(s.EnsureChannel(t.Context(), "box", fmt.Sprint("channel ", i)))(t).ID
	}
	return ids
}

// found keeps findings of a tank.
func found(t testing.TB, s *store.Store, tank string, findings ...account.Finding) {
	t.Helper()
	must(t, s.Commit(t.Context(), store.Commit{Tanks: []store.TankStep{{TankID: tank, Findings: findings}}}))
}

// believed keeps beliefs of a tank.
func believed(t testing.TB, s *store.Store, tank string, beliefs ...store.Belief) {
	t.Helper()
	must(t, s.Commit(t.Context(), store.Commit{Tanks: []store.TankStep{{TankID: tank, Beliefs: beliefs}}}))
}

// save keeps a step of a site's alarms.
func save(t testing.TB, s *store.Store, step store.AlarmStep) {
	t.Helper()
	must(t, s.Commit(t.Context(), store.Commit{Sites: []store.AlarmStep{step}}))
}
