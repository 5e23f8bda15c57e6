package store_test

import (
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/uptrace/bun"

	"isohaline/internal/store"
)

// plain ignores the marker that rows carry for the query layer.
var plain = cmpopts.IgnoreTypes(bun.BaseModel{})

// same fails unless two values are the same.
func same(t *testing.T, what string, want, got any) {
	t.Helper()
	if d := cmp.Diff(want, got, plain); d != "" {
		t.Errorf("%s: want (-), got (+):\n%s", what, d)
	}
}

// berlin is a zone that no stored time may keep.
var berlin = time.FixedZone("CET", 3600)

func TestUsers(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		e := s.Edit("setup", t0.In(berlin))
		must(t, e.CreateSite(ctx, store.Site{ID: "annex", Name: "Annex"}))
		ines := store.User{ID: "u1", Name: "Ines", Mail: " Ines@Example.org ", PasswordHash: "$argon2id$1", Role: store.Operator, Sites: []string{"annex"}}
		jon := store.User{ID: "u2", Name: "Jon", Mail: "jon@example.org", PasswordHash: "$argon2id$2", Role: store.Client, Units: store.US, Sites: []string{"harbour", "annex", "harbour"}}
		must(t, e.CreateUser(ctx, ines))
		must(t, e.CreateUser(ctx, jon))

		ines.Mail, ines.Units, ines.Created, ines.Sites = "ines@example.org", store.Metric, t0, nil
		jon.Created, jon.Sites = t0, []string{"annex", "harbour"}
		same(t, "all", []store.User{ines, jon}, got(s.Users(ctx))(t))
		same(t, "one", jon, got(s.User(ctx, "u2"))(t))
		same(t, "by mail", ines, got(s.UserByMail(ctx, "INES@example.org"))(t))

		_, err := s.User(ctx, "u3")
		wantError(t, err, store.ErrNotFound, `reading the user with id "u3"`)
		_, err = s.UserByMail(ctx, "u3@example.org")
		wantError(t, err, store.ErrNotFound, "u3@example.org")
		wantError(t, e.CreateUser(ctx, ines), store.ErrExists, `create user "u1"`)
		again := ines
		again.ID = "u3"
		wantError(t, e.CreateUser(ctx, again), store.ErrExists, `create user "u3"`)
		wantError(t, e.UpdateUser(ctx, store.User{ID: "u3", Role: store.Client}), store.ErrNotFound, `update user "u3"`)
		wantError(t, e.SetPassword(ctx, "u3", "x"), store.ErrNotFound, `set password "u3"`)
		lost := jon
		lost.Sites = []string{"nowhere"}
		wantError(t, e.UpdateUser(ctx, lost), store.ErrNotFound, `site "nowhere"`)
		king := jon
		king.Role = "king"
		if err := e.UpdateUser(ctx, king); err == nil {
			t.Error("a role that does not exist was saved")
		}
		same(t, "after what was refused", jon, got(s.User(ctx, "u2"))(t))

		jon.Name, jon.Role, jon.Sites, jon.PasswordHash = "Jonas", store.Technician, []string{"annex"}, "not saved by this"
		must(t, e.UpdateUser(ctx, jon))
		must(t, e.SetPassword(ctx, "u2", "$argon2id$3"))
		jon.PasswordHash = "$argon2id$3"
		same(t, "updated", jon, got(s.User(ctx, "u2"))(t))
	})
}

// TestTheLastOperator stays one, whoever asks, also when two ask at once.
func TestTheLastOperator(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		e := s.Edit("setup", t0)
		a, b := store.User{ID: "a", Mail: "a", Role: store.Operator}, store.User{ID: "b", Mail: "b", Role: store.Operator}
		must(t, e.CreateUser(ctx, a))
		demoted, disabled := a, a
		demoted.Role, disabled.Disabled = store.Client, true
		wantError(t, e.UpdateUser(ctx, demoted), store.ErrLastOperator, `update user "a"`)
		wantError(t, e.UpdateUser(ctx, disabled), store.ErrLastOperator, `update user "a"`)
		a.Name = "Ada"
		must(t, e.UpdateUser(ctx, a))
		must(t, e.CreateUser(ctx, b))
		must(t, e.SetUnits(ctx, "b", store.US))
		if u := got(s.User(ctx, "b"))(t); u.Units != store.US || u.Role != store.Operator {
			t.Errorf("with other units, b is %+v", u)
		}
		wantError(t, e.SetUnits(ctx, "c", store.US), store.ErrNotFound, `set units "c"`)
		for range 5 {
			var wait sync.WaitGroup
			for _, u := range []store.User{a, b} {
				u.Role = store.Technician
				wait.Go(func() { _ = e.UpdateUser(ctx, u) }) // one of the two is refused
			}
			wait.Wait()
			left := 0
			for _, u := range got(s.Users(ctx))(t) {
				if u.Role == store.Operator {
					left++
				}
			}
			if left != 1 {
				t.Fatalf("%d operators are left, want 1", left)
			}
			must(t, e.UpdateUser(ctx, a))
			must(t, e.UpdateUser(ctx, b))
		}
	})
}

func TestSessions(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		e := s.Edit("setup", t0)
		for _, id := range []string{"u1", "u2"} {
			must(t, e.CreateUser(ctx, store.User{ID: id, Mail: id, Role: store.Operator}))
		}
		session := func(hash, user string, hours int) store.Session {
			one := store.Session{TokenHash: hash, UserID: user, Data: []byte{0, 1, 255}, Created: t0, Expires: t0.Add(time.Duration(hours) * time.Hour)}
			must(t, s.SaveSession(ctx, one))
			return one
		}
		a := session("a", "u1", 1)
		session("b", "u1", 5)
		session("c", "u2", 5)
		session("d", "u2", 5)
		there := func(when string, at time.Time, want string) {
			t.Helper()
			found := ""
			for _, hash := range []string{"a", "b", "c", "d"} {
				if _, err := s.Session(ctx, hash, at); err == nil {
					found += hash
				} else {
					wantError(t, err, store.ErrNotFound, "reading a session")
				}
			}
			if found != want {
				t.Errorf("%s: sessions %q, want %q", when, found, want)
			}
		}
		same(t, "one", a, got(s.Session(ctx, "a", t0))(t))
		there("just before a's end", t0.Add(time.Hour-time.Microsecond), "abcd")
		there("at a's end", t0.Add(time.Hour), "bcd")
		a.Expires, a.Data = t0.Add(2*time.Hour), nil
		must(t, s.SaveSession(ctx, a))
		there("a prolonged", t0.Add(time.Hour), "abcd")
		must(t, s.DropExpiredSessions(ctx, t0.Add(2*time.Hour)))
		there("expired dropped", t0, "bcd")
		must(t, s.EndSession(ctx, "d"))
		must(t, s.EndSession(ctx, "d"))
		there("d ended", t0, "bc")
		must(t, e.SetPassword(ctx, "u1", "new"))
		there("u1 has a new password", t0, "c")
		must(t, e.UpdateUser(ctx, store.User{ID: "u2", Mail: "u2", Role: store.Operator, Units: store.Metric, Disabled: true}))
		there("u2 is disabled", t0, "")
		wantError(t, s.SaveSession(ctx, store.Session{TokenHash: "x", UserID: "nobody"}), store.ErrNotFound, `session of user "nobody"`)
	})
}

func TestSettings(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		type plan struct{ Rungs []string }
		value := plan{Rungs: []string{"as it was"}}
		wantError(t, s.Setting(ctx, "plan", &value), store.ErrNotFound, `the setting "plan"`)
		same(t, "not set", plan{Rungs: []string{"as it was"}}, value)
		e := s.Edit("Ines", t0)
		must(t, e.Set(ctx, "plan", plan{Rungs: []string{"a", "it's \"b\""}}))
		must(t, e.Set(ctx, "plan", plan{Rungs: []string{"a secret"}}))
		must(t, s.Setting(ctx, "plan", &value))
		same(t, "set twice", plan{Rungs: []string{"a secret"}}, value)
		if err := e.Set(ctx, "plan", func() {}); !contains(err, `set "plan"`) {
			t.Errorf("a value that is no JSON: %v", err)
		}
		for _, entry := range got(s.Audit(ctx, store.AuditQuery{}))(t) {
			if entry.Detail != "null" {
				t.Errorf("the audit log shows the setting: %+v", entry)
			}
		}
	})
}

func TestAudit(t *testing.T) {
	each(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		furnish(t, s)
		jon := s.Edit("Jon", t0.Add(time.Hour).In(berlin))
		must(t, jon.UpdateTank(ctx, store.Tank{ID: "lobby", Name: "Lobby"}))
		must(t, jon.Note(ctx, "hold", "device", "box", map[string]int{"minutes": 5}))
		must(t, jon.CreateUser(ctx, store.User{ID: "u1", Mail: "u1", PasswordHash: "$argon2id$secret", Role: store.Client}))
		must(t, jon.SetPassword(ctx, "u1", "$argon2id$secret"))
		must(t, jon.SetCredential(ctx, "box", "$argon2id$secret"))
		if err := jon.UpdateTank(ctx, store.Tank{ID: "nowhere"}); err == nil {
			t.Fatal("a tank that is not there was updated")
		}
		if err := s.Edit("", t0).Set(ctx, "x", 1); !contains(err, "nobody is named") {
			t.Errorf("a change in nobody's name: %v", err)
		}

		log := got(s.Audit(ctx, store.AuditQuery{}))(t)
		var told []string
		for i, entry := range log {
			told = append(told, entry.Who+": "+entry.Action+" "+entry.Subject)
			if i > 0 && log[i-1].ID <= entry.ID {
				t.Errorf("entry %d is after entry %d", entry.ID, log[i-1].ID)
			}
			if contains(textError(entry.Detail), "secret") || contains(textError(entry.Detail), "hash") {
				t.Errorf("the log shows a hash: %+v", entry)
			}
		}
		same(t, "the log, newest first", []string{
			"Jon: set credential device/box", "Jon: set password user/u1", "Jon: create user user/u1",
			"Jon: hold device/box", "Jon: update tank tank/lobby",
			"Ines: create device device/box", "Ines: create tank tank/lobby", "Ines: create site site/harbour",
		}, told)
		if want := `{"minutes":5}`; log[3].Detail != want || !log[3].At.Equal(t0.Add(time.Hour)) || log[3].At.Location() != time.UTC {
			t.Errorf("entry %+v, want detail %s at %v", log[3], want, t0.Add(time.Hour))
		}
		same(t, "of one subject", []store.Entry{log[4], log[6]}, got(s.Audit(ctx, store.AuditQuery{Subject: "tank/lobby"}))(t))
		same(t, "a page of one person's", log[5:7], got(s.Audit(ctx, store.AuditQuery{Who: "Ines", Limit: 2}))(t))
		same(t, "the next page", log[7:], got(s.Audit(ctx, store.AuditQuery{Who: "Ines", Before: log[6].ID, Limit: 2}))(t))

		for _, attack := range []string{"UPDATE audit SET who = 'nobody'", "DELETE FROM audit"} {
			if err := store.Exec(ctx, s, attack); !contains(err, "only added to") {
				t.Errorf("%s: %v", attack, err)
			}
		}
		same(t, "afterwards", log, got(s.Audit(ctx, store.AuditQuery{}))(t))
	})
}

// textError makes an error of a text, for contains.
type textError string

func (e textError) Error() string { return string(e) }
