package alarm

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"
)

// Outcome is what became of a notice.
type Outcome string

const (
	Pending Outcome = "pending" // to be sent at Due
	Sent    Outcome = "sent"    // the channel took it
	Failed  Outcome = "failed"  // given up
	Dropped Outcome = "dropped" // no longer wanted before it was sent
)

// Notice is one message to one contact about one occurrence of an alarm: who
// was told, when, and what became of it.
type Notice struct {
	// ID is the same whoever decides it and however often, so that a store and
	// a receiver can tell a repetition from a second message.
	ID      string
	Alarm   Key
	Called  time.Time // the occurrence
	Rung    int       // from 0
	Round   int       // from 0
	Contact Contact
	// End says the message tells that the condition is gone.
	End bool
	// Decided is when it was decided to send, Due when it is to be tried.
	Decided, Due time.Time
	Attempts     []Attempt
	Outcome      Outcome
	Reason       NoticeReason
}

// Attempt is one try to deliver, with what went wrong, "" if nothing.
type Attempt struct {
	At    time.Time
	Error string
}

// NoticeReason says why a notice was decided or dropped.
type NoticeReason string

const (
	FirstCall    NoticeReason = "the alarm calls"
	Unanswered   NoticeReason = "nobody acknowledged in time"
	Unreachable  NoticeReason = "nobody before could be reached"
	RoundAgain   NoticeReason = "nobody acknowledged, beginning again"
	ConditionEnd NoticeReason = "the condition is gone"
	NotWanted    NoticeReason = "acknowledged, hidden, gone or called again before it was sent"
)

// Record is the notices of one site that may still matter: those of alarms that
// call, and those of people to be told of the end. What leaves it stays in the
// store.
type Record struct {
	Notices []Notice
}

// Decision is what Decide wants done.
type Decision struct {
	// Send are the notices to deliver now. Report each with Record.Report.
	Send []Notice
	// Changed are the notices that are new or were dropped, for the store.
	Changed []Notice
	// Again is when to ask next if nothing else happens, zero if never.
	Again time.Time
}

// Decide compares the alarms of a site with the record of who was told, and
// answers what to send now and when to ask again. The record must be saved
// before anything is sent; a process that is killed between sending and Report
// sends the same notice, with the same ID, once more, and none is ever lost.
// Decisions about one site come one after another.
func Decide(p *Plan, st Site, rec Record, now time.Time) (Record, Decision) {
	t := teller{plan: p, record: Record{Notices: slices.Clone(rec.Notices)}, now: now}
	for i := range t.record.Notices {
		n := &t.record.Notices[i]
		n.Due = earlier(n.Due, now.Add(retryLongest)) // the clock was set back
		if a := st.Find(n.Alarm); n.Outcome == Pending && (a == nil || !n.wanted(a)) {
			n.Outcome, n.Reason = Dropped, NotWanted
			t.decision.Changed = append(t.decision.Changed, *n)
		}
	}
	for i := range st.Alarms {
		a := &st.Alarms[i]
		switch {
		case a.State().Calls():
			t.climb(a)
		case p.TellEnd && a.over():
			t.end(a)
		}
	}
	t.prune(&st)
	for _, n := range t.record.Notices {
		if n.Outcome != Pending {
			continue
		}
		if n.Due.After(now) {
			t.again(n.Due)
		} else {
			t.decision.Send = append(t.decision.Send, n)
		}
	}
	return t.record, t.decision
}

// teller is one Decide at work.
type teller struct {
	plan     *Plan
	record   Record
	decision Decision
	now      time.Time
}

func (t *teller) again(at time.Time) {
	if t.decision.Again.IsZero() || at.Before(t.decision.Again) {
		t.decision.Again = at
	}
}

// wanted says whether a notice is still worth sending.
func (n *Notice) wanted(a *Alarm) bool {
	if n.End {
		return a.over() && n.Called.Equal(a.Called)
	}
	return a.State().Calls() && n.Called.Equal(a.Called)
}

// climb adds the notices of every rung whose time has come in the present
// round. Rounds that nobody was there to send are not made up for.
func (t *teller) climb(a *Alarm) {
	route := t.plan.route(a.Peak)
	if route == nil {
		return
	}
	round, rounds := 0, max(route.Rounds, 1)
	start := func(round int) time.Time { return a.Called.Add(time.Duration(round) * route.Repeat) }
	for round+1 < rounds && !start(round+1).Add(route.Rungs[0].Wait).After(t.now) {
		round++
	}
	reached := true // somebody on the rung before was, or may yet be, told
	for i, rung := range route.Rungs {
		due := start(round).Add(rung.Wait)
		why := Unanswered
		switch {
		case i == 0 && round == 0:
			why = FirstCall
		case i == 0:
			why = RoundAgain
		case !reached && due.After(t.now):
			due, why = t.now, Unreachable
		}
		if due.After(t.now) {
			t.again(due)
			return
		}
		for _, c := range rung.Contacts {
			t.add(a, Notice{Rung: i, Round: round, Contact: c, Reason: why})
		}
		reached = t.reached(a, i, round)
	}
	if round+1 < rounds {
		t.again(start(round + 1).Add(route.Rungs[0].Wait))
	}
}

// reached says whether anybody on a rung was told or may yet be.
func (t *teller) reached(a *Alarm, rung, round int) bool {
	return slices.ContainsFunc(t.record.Notices, func(n Notice) bool {
		return n.Alarm == a.Key && n.Called.Equal(a.Called) && n.Rung == rung && n.Round == round &&
			!n.End && (n.Outcome == Sent || n.Outcome == Pending)
	})
}

// end adds a notice for everybody who was told of an alarm and, since then, not
// of its end.
func (t *teller) end(a *Alarm) {
	var owed []Contact
	for _, n := range t.record.Notices {
		if n.Alarm != a.Key {
			continue
		}
		owed = slices.DeleteFunc(owed, func(c Contact) bool { return c == n.Contact && (!n.End || n.Outcome != Dropped) })
		if !n.End && n.Outcome == Sent {
			owed = append(owed, n.Contact)
		}
	}
	for _, c := range owed {
		t.add(a, Notice{Contact: c, End: true, Reason: ConditionEnd})
	}
}

// add adds a notice to the record unless it is there. One that was dropped and
// is wanted after all takes the dropped one's place, at the end.
func (t *teller) add(a *Alarm, n Notice) {
	n.Alarm, n.Called = a.Key, a.Called
	n.ID = n.id()
	if i := slices.IndexFunc(t.record.Notices, func(other Notice) bool { return other.ID == n.ID }); i >= 0 {
		if t.record.Notices[i].Outcome != Dropped {
			return
		}
		t.record.Notices = slices.Delete(t.record.Notices, i, i+1)
	}
	n.Decided, n.Due, n.Outcome = t.now, t.now, Pending
	t.record.Notices = append(t.record.Notices, n)
	t.decision.Changed = append(t.decision.Changed, n)
}

// id is what tells the notice from every other one of the site.
func (n *Notice) id() string {
	what := fmt.Sprintf("%d.%d", n.Round, n.Rung)
	if n.End {
		what = "end"
	}
	parts := []string{n.Alarm.Tank, n.Alarm.Device, string(n.Alarm.Code),
		n.Called.UTC().Format(time.RFC3339Nano), what, string(n.Contact.Channel), n.Contact.Address}
	for i := range parts {
		parts[i] = url.PathEscape(parts[i]) // a name may hold the separator
	}
	return strings.Join(parts, "/")
}

// prune lets go of the notices of alarms that are over, once none is pending.
func (t *teller) prune(st *Site) {
	open := map[Key]bool{}
	for i := range st.Alarms {
		a := &st.Alarms[i]
		open[a.Key] = !a.over()
	}
	for _, n := range t.record.Notices {
		if n.Outcome == Pending {
			open[n.Alarm] = true
		}
	}
	t.record.Notices = slices.DeleteFunc(t.record.Notices, func(n Notice) bool { return !open[n.Alarm] })
}

// Report enters what came of an attempt to deliver the notice with this ID: at
// which time, and what went wrong, "" if nothing. hopeless says that trying
// again is useless. It returns the notice as it is now, false if the record
// has no pending one with this ID.
func (r Record) Report(id string, at time.Time, problem string, hopeless bool) (Record, Notice, bool) {
	i := slices.IndexFunc(r.Notices, func(n Notice) bool { return n.ID == id && n.Outcome == Pending })
	if i < 0 {
		return r, Notice{}, false
	}
	r.Notices = slices.Clone(r.Notices)
	n := &r.Notices[i]
	n.Attempts = append(slices.Clip(n.Attempts), Attempt{At: at, Error: problem})
	switch {
	case problem == "":
		n.Outcome = Sent
	case hopeless || len(n.Attempts) >= maxAttempts:
		n.Outcome = Failed
	default:
		n.Due = at.Add(Backoff(len(n.Attempts)))
	}
	return r, *n, true
}
