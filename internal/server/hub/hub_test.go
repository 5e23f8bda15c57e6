package hub

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var now = time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)

func ago(d time.Duration) time.Time { return now.Add(-d) }

// well is a service that works.
func well() Facts {
	return Facts{Looked: ago(5 * time.Second), Ticked: ago(time.Second), Asked: ago(time.Second), RoomBytes: 1 << 40}
}

// TestNothingIsWrong: of a service that works nothing is said, however much has
// just come.
func TestNothingIsWrong(t *testing.T) {
	f := well()
	f.Unread, f.UnreadShare, f.WrongPassword, f.WrongPasswordLast = ago(time.Second), 0.01, 3, ago(time.Minute)
	if why := f.Works(now); why != "" {
		t.Error(why)
	}
	if found := Judge(nil, &f, now); len(found) > 0 {
		t.Errorf("%+v", found)
	}
	f.Committing = ago(time.Second)
	f.CommitFails, f.CommitFailed = ago(time.Hour), ago(time.Hour) // once, and nothing was to be kept since
	f.RoomBytes = -1                                               // nobody knows
	if found := Judge(nil, &f, now); len(found) > 0 {
		t.Errorf("%+v", found)
	}
}

// TestEachIsFound: each thing that can be wrong by itself, by its name, its urgency
// and whether the service still works by it.
func TestEachIsFound(t *testing.T) {
	for _, c := range []struct {
		name    string
		wrong   func(*Facts)
		code    Code
		urgency Urgency
		works   bool
		says    string
	}{
		{"store", func(f *Facts) { f.StoreFails, f.StoreSays = ago(time.Minute), "disk I/O error\nmore" }, StoreFails, Now, false, "(disk I/O error)"},
		{"commit hangs", func(f *Facts) { f.Committing = ago(time.Minute) }, CommitFails, Now, false, "60 s"},
		{"commits are refused", func(f *Facts) {
			f.CommitFails, f.CommitFailed, f.CommitSays = ago(time.Minute), ago(time.Second), "no such table"
		}, CommitFails, Now, false, "no such table"},
		{"log", func(f *Facts) { f.LogFails, f.LogSays = ago(time.Minute), "the disk is full" }, LogFails, Now, false, "the disk is full"},
		{"a little behind", func(f *Facts) { f.Unread = ago(20 * time.Minute) }, Behind, Today, false, "20 min behind"},
		{"hours behind", func(f *Facts) { f.Unread = ago(3 * time.Hour) }, Behind, Now, false, "3 h behind"},
		{"log fills", func(f *Facts) { f.UnreadShare = 0.7 }, LogFills, Today, true, "70 %"},
		{"disk fills", func(f *Facts) { f.RoomBytes = 100 << 20 }, DiskFills, Today, true, "100 MB"},
		{"tick", func(f *Facts) { f.Ticked = ago(10 * time.Minute) }, Stuck, Now, false, "stand still"},
		{"own look", func(f *Facts) { f.Looked = ago(10 * time.Minute) }, Stuck, Now, false, "10 min"},
		{"sender stands", func(f *Facts) { f.Asked = ago(10 * time.Minute) }, SenderFails, Now, false, "stands still"},
		{"sender gave up", func(f *Facts) {
			f.Undelivered, f.GaveUp, f.SenderSays = ago(time.Hour), true, "mail.example.org answers 550"
		}, SenderFails, Now, false, "550"},
		{"sender tries", func(f *Facts) { f.Undelivered = ago(time.Hour) }, SenderFails, Today, true, "not delivered"},
		{"door", func(f *Facts) { f.TurnedAway, f.TurnedAwayLast = 1, ago(time.Minute) }, DoorRefuses, Today, true, "once"},
		{"guessing", func(f *Facts) { f.WrongPassword, f.WrongPasswordLast = 50, ago(time.Minute) }, WrongLogins, InTime, true, "50 times"},
		{"tank", func(f *Facts) {
			f.Tanks = []Tank{{ID: "reef", SiteID: "here", Name: "Our reef", Why: "display.height: missing", Since: ago(time.Hour)}}
		}, TankNotTaken, Now, true, "Our reef"},
		{"signal", func(f *Facts) { f.NoSignal = ago(time.Hour) }, SignalFails, Today, true, "sign of life"},
		{"away", func(f *Facts) { f.Away, f.Back = 3*time.Hour, ago(time.Hour) }, WasAway, InTime, true, "3 h"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := well()
			c.wrong(&f)
			found := Judge(nil, &f, now)
			if len(found) != 1 || found[0].Code != c.code || found[0].Urgency != c.urgency || !strings.Contains(found[0].Sentence, c.says) || found[0].Do == "" {
				t.Errorf("%+v", found)
			}
			if why := f.Works(now); (why == "") != c.works {
				t.Errorf("works: %q", why)
			}
		})
	}
}

// TestCatchingUp: a service that has just begun does not work yet, says how far it
// is, and finds nothing wrong with parts that have not begun.
func TestCatchingUp(t *testing.T) {
	f := Facts{CatchingUp: "catching up, 3 of 12 tanks", RoomBytes: -1}
	if why := f.Works(now); why != f.CatchingUp {
		t.Error(why)
	}
	if found := Judge(nil, &f, now); len(found) > 0 {
		t.Errorf("%+v", found)
	}
	begun := Facts{RoomBytes: -1}
	if begun.Works(now) == "" {
		t.Error("nothing has been looked at, and it works")
	}
}

// TestSinceStays: what goes on keeps its beginning, what ended and came back begins
// again.
func TestSinceStays(t *testing.T) {
	f := well()
	f.UnreadShare = 0.9
	first := Judge(nil, &f, now)
	f.Looked, f.Ticked, f.Asked = now.Add(time.Hour), now.Add(time.Hour), now.Add(time.Hour)
	later := Judge(first, &f, now.Add(time.Hour))
	if !later[0].Since.Equal(now) {
		t.Errorf("it began at %v", later[0].Since)
	}
	f.UnreadShare = 0
	if over := Judge(later, &f, now.Add(2*time.Hour)); slices.ContainsFunc(over, func(g Finding) bool { return g.Code == LogFills }) {
		t.Errorf("%+v", over)
	}
}

// TestOrder: whatever is wrong, the most urgent is first, each has a sentence and
// something to do, and its beginning is not in the future.
func TestOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		when := func(name string) time.Time {
			if rapid.Bool().Draw(t, name) {
				return time.Time{}
			}
			return ago(time.Duration(rapid.Int64Range(0, int64(100*time.Hour)).Draw(t, name+" ago")))
		}
		f := Facts{Looked: when("looked"), StoreFails: when("store"), Unread: when("unread"), LogFails: when("log"), Ticked: when("ticked"), Asked: when("asked"),
			Undelivered: when("undelivered"), GaveUp: rapid.Bool().Draw(t, "gave up"), NoSignal: when("signal"), Away: time.Duration(rapid.Int64Range(0, int64(100*time.Hour)).Draw(t, "away")), Back: when("back"),
			TurnedAway: rapid.Int64Range(0, 3).Draw(t, "turned away"), TurnedAwayLast: when("turned"), WrongPassword: rapid.Int64Range(0, 100).Draw(t, "wrong"), WrongPasswordLast: when("password"),
			UnreadShare: rapid.Float64Range(0, 1).Draw(t, "share"), RoomBytes: rapid.Int64Range(-1, 1<<32).Draw(t, "room")}
		found := Judge(nil, &f, now)
		for i, g := range found {
			if g.Sentence == "" || g.Do == "" || g.Since.After(now) || !slices.Contains(Codes, g.Code) {
				t.Errorf("%+v", g)
			}
			if i > 0 && rank[g.Urgency] < rank[found[i-1].Urgency] {
				t.Errorf("%s after %s", g.Urgency, found[i-1].Urgency)
			}
		}
		if !f.StoreFails.IsZero() && f.Works(now) == "" {
			t.Error("the store fails, and the service works")
		}
	})
}
