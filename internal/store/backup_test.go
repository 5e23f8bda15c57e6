package store_test

import (
	"bytes"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/store"
)

// contentOf is every row of every table of an SQLite file, as text.
func contentOf(t *testing.T, path string) map[string][]string {
	t.Helper()
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath()}).String())
	must(t, err)
	defer db.Close()
	content := map[string][]string{}
	for _, table := range query(t, db, "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name") {
		content[table] = query(t, db, "SELECT * FROM "+table+" ORDER BY 1, 2")
	}
	return content
}

// query is the rows of a query, each as one text.
func query(t *testing.T, db *sql.DB, q string) []string {
	t.Helper()
	rows, err := db.Query(q)
	must(t, err)
	defer rows.Close()
	columns, err := rows.Columns()
	must(t, err)
	var list []string
	for rows.Next() {
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		must(t, rows.Scan(into...))
		list = append(list, strings.TrimSuffix(fmt.Sprintln(values...), "\n"))
	}
	must(t, rows.Err())
	return list
}

// inhabit puts something into most tables.
func inhabit(t *testing.T, s *store.Store) []int64 {
	channels := makeChannels(t, s, 2)
	e := s.Edit("Ines", t0)
	must(t, e.CreateUser(t.Context(), store.User{ID: "u", Mail: "u", Role: store.Client, Sites: []string{"harbour"}}))
	must(t, e.Set(t.Context(), "x", 1))
	got(e.SaveDescription(t.Context(), "lobby", "name: x", "", 0))(t)
	must(t, e.AddHandReading(t.Context(), store.HandReading{ID: "h", TankID: "lobby", At: t0, Value: 35}))
	must(t, s.Commit(t.Context(), store.Commit{Tanks: []store.TankStep{{TankID: "lobby", Saved: &store.SavedTank{Log: "a", Sequence: 7, Data: []byte{0, 255}},
		Findings: []account.Finding{{Code: account.PumpWeak, Found: t0}}}}}))
	fill(t, s, channels[0], t0, time.Minute, 500)
	return channels
}

// TestBackupAndRestore: a copy that is made while readings arrive is a database
// in which every batch is whole; restored and opened it holds the same rows.
func TestBackupAndRestore(t *testing.T) {
	ctx := t.Context()
	folder := t.TempDir()
	// A name with what an address would read as its own.
	s, err := store.Open(ctx, filepath.Join(folder, "is it #1? 100%.db"), store.Kill)
	must(t, err)
	channels := inhabit(t, s)

	stop, stopped := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for ; ; n++ {
			select {
			case <-stop:
				stopped <- n
				return
			default:
				if _, err := s.AddReadings(ctx, batchOf(n, channels[1:])); err != nil {
					t.Error(err)
				}
			}
		}
	}()
	for len(dump(t, s, channels[1])) == 0 {
		time.Sleep(time.Millisecond) // until the writer has begun
	}
	copied := filepath.Join(folder, "copy.db")
	must(t, s.Backup(ctx, copied))
	close(stop)
	written := <-stopped

	for _, file := range []string{copied, filepath.Join(folder, "is it #1? 100%.db"), filepath.Join(folder, "is it #1? 100%.db-wal")} {
		if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s may be read by others: %v, %v", file, info, err)
		}
	}
	if _, err := os.Stat(copied + ".part"); !os.IsNotExist(err) {
		t.Errorf("an unfinished copy is left: %v", err)
	}
	restored := filepath.Join(folder, "restored.db")
	must(t, store.Restore(ctx, copied, restored))
	if !bytes.Equal(got(os.ReadFile(copied))(t), got(os.ReadFile(restored))(t)) {
		t.Error("the restored file is not the copy")
	}
	again, err := store.Open(ctx, restored, store.Kill)
	must(t, err)
	defer again.Close()
	if n := len(dump(t, again, channels[1])); n == 0 || n%crashBatch != 0 || n > written*crashBatch {
		t.Errorf("the copy holds %d readings of batches of %d; %d were written", n, crashBatch, written*crashBatch)
	}
	checkRollups(t, again, channels)
	same(t, "the channel that stood still", dump(t, s, channels[0]), dump(t, again, channels[0]))

	// What nobody wrote meanwhile is the same, row by row, in the copy.
	must(t, s.Close())
	whole, part := contentOf(t, filepath.Join(folder, "is it #1? 100%.db")), contentOf(t, copied)
	for _, moving := range []string{"readings", "rollup_minute", "rollup_hour", "rollup_day"} {
		delete(whole, moving)
		delete(part, moving)
	}
	same(t, "the other tables", whole, part)
	if len(whole) < 15 || len(whole["users"]) == 0 || len(whole["audit"]) == 0 {
		t.Errorf("%d tables were compared: %v", len(whole), whole)
	}
}

// TestBackupRefuses what would lose or hide something.
func TestBackupRefuses(t *testing.T) {
	ctx := t.Context()
	s := openSQLite(t, store.Kill)
	inhabit(t, s)
	folder := t.TempDir()
	good, there, torn, alien := filepath.Join(folder, "good"), filepath.Join(folder, "there"), filepath.Join(folder, "torn"), filepath.Join(folder, "alien")
	must(t, os.WriteFile(there, []byte("somebody's"), 0o600))
	must(t, s.Backup(ctx, good))

	content := got(os.ReadFile(good))(t)
	for i := len(content) / 2; i < len(content)/2+4096; i++ {
		content[i] ^= 0x55
	}
	must(t, os.WriteFile(torn, content, 0o600))
	db, err := sql.Open("sqlite", alien)
	must(t, err)
	_, err = db.Exec("CREATE TABLE users (id)")
	must(t, err)
	must(t, db.Close())

	fresh := filepath.Join(folder, "fresh")
	for _, row := range []struct {
		name string
		err  error
		want string
	}{
		{"back up over a file", s.Backup(ctx, there), "is there already"},
		{"back up into no folder", s.Backup(ctx, filepath.Join(folder, "no", "copy")), "backing up"},
		{"back up no file", store.BackupFile(ctx, filepath.Join(folder, "none"), fresh), "backing up"},
		{"restore over a file", store.Restore(ctx, good, there), "is there already"},
		{"restore a torn copy", store.Restore(ctx, torn, fresh), "checking the copy"},
		{"restore another database", store.Restore(ctx, alien, fresh), `the table "readings" is missing`},
		{"restore no database", store.Restore(ctx, there, fresh), "checking the copy"},
		{"restore nothing", store.Restore(ctx, filepath.Join(folder, "none"), fresh), "checking the copy"},
	} {
		if !contains(row.err, row.want) {
			t.Errorf("%s: %v, want %q", row.name, row.err, row.want)
		}
	}
	must(t, os.WriteFile(fresh+"-wal", []byte("a journal"), 0o600))
	if err := store.Restore(ctx, good, fresh); !contains(err, "fresh-wal") {
		t.Errorf("restore beside another database's journal: %v", err)
	}
	if text := string(got(os.ReadFile(there))(t)); text != "somebody's" {
		t.Errorf("the file that was there holds %q", text)
	}
	for _, path := range []string{fresh, fresh + ".part", filepath.Join(folder, "none"), there + ".part", filepath.Join(folder, "no")} {
		if _, err := os.Stat(path); !os.IsNotExist(err) {
			t.Errorf("%s is left", path)
		}
	}
	// What an earlier attempt left half done is no obstacle.
	must(t, os.WriteFile(filepath.Join(folder, "next.part"), []byte("half"), 0o600))
	must(t, s.Backup(ctx, filepath.Join(folder, "next")))
}

// TestSetAside: a database that nobody has open gets another name with all that is
// in it; one that is open stays where it is.
func TestSetAside(t *testing.T) {
	ctx := t.Context()
	folder := t.TempDir()
	path, aside := filepath.Join(folder, "x.db"), filepath.Join(folder, "old.db")
	s, err := store.Open(ctx, path, store.Kill)
	must(t, err)
	inhabit(t, s)
	if err := store.SetAside(ctx, path, aside); !contains(err, "somebody has it open") {
		t.Errorf("while it is open: %v", err)
	}
	same(t, "after that", "Lobby reef", got(s.Tank(ctx, "lobby"))(t).Name)
	must(t, s.Close())
	before := contentOf(t, path)
	must(t, store.SetAside(ctx, path, aside))
	same(t, "set aside", before, contentOf(t, aside))
	for _, gone := range []string{path, path + "-wal", path + "-shm"} {
		if _, err := os.Stat(gone); !os.IsNotExist(err) {
			t.Errorf("%s is left", gone)
		}
	}
	must(t, os.WriteFile(path, []byte("x"), 0o600))
	if err := store.SetAside(ctx, path, aside); !contains(err, "is there already") {
		t.Errorf("over another: %v", err)
	}
	if err := store.SetAside(ctx, filepath.Join(folder, "none"), filepath.Join(folder, "new")); !contains(err, "setting") {
		t.Errorf("what is not there: %v", err)
	}
}

func TestBackupOfPostgres(t *testing.T) {
	s, err := store.Open(t.Context(), newPostgres(t), store.Kill)
	must(t, err)
	defer s.Close()
	wantError(t, s.Backup(t.Context(), filepath.Join(t.TempDir(), "x")), store.ErrNotHere, "pg_dump")
}
