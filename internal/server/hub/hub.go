// Package hub judges the service itself: from facts that it gathers of its own
// parts to findings that people read on Rounds, and to whether it works at all. It
// is pure; package server gathers the facts.
package hub

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Facts are what the service knows of itself. Times are zero where nothing of the
// kind has been seen.
type Facts struct {
	// Looked is when the store and the log were asked last.
	Looked time.Time
	// CatchingUp says in words how far the start is; empty: every tank is taken up.
	CatchingUp string
	// Away is for how long nothing ran before the start, Back when it ended.
	Away time.Duration
	Back time.Time
	// Tanks are those that cannot be taken up.
	Tanks []Tank

	// StoreFails is since when the store does not take what is written to it.
	StoreFails time.Time
	StoreSays  string

	// Committing is since when a step of the tanks is on its way into the store, whose
	// answer has not come; CommitFails since when none was kept, the last at
	// CommitFailed.
	Committing, CommitFails, CommitFailed time.Time
	CommitSays                            string

	// Unread is when the oldest reading came into the log that is not worked
	// through yet.
	Unread time.Time
	// LogFails is since when the log does not take what is brought, or does not
	// answer.
	LogFails time.Time
	LogSays  string
	// UnreadShare is how much of the log's bound what is not worked through yet
	// takes, 0 to 1.
	UnreadShare float64
	// RoomBytes is what is free on the disk of the log; negative: unknown.
	RoomBytes int64

	// Ticked is when the accounts and alarms were told the time, Asked when the
	// sender looked for messages to send.
	Ticked, Asked time.Time
	// Undelivered is since when no message could be delivered though some were to
	// be; GaveUp: one was given up since then.
	Undelivered time.Time
	GaveUp      bool
	SenderSays  string

	// TurnedAway are messages that the door refused because the log did not take
	// them, and when the last one was.
	TurnedAway     int64
	TurnedAwayLast time.Time
	// WrongPassword are connections with wrong credentials, in the same way.
	WrongPassword     int64
	WrongPasswordLast time.Time

	// NoSignal is since when the sign of life could not be sent.
	NoSignal   time.Time
	SignalSays string
}

// Tank is one that cannot be taken up.
type Tank struct {
	ID, SiteID, Name, Why string
	Since                 time.Time
}

// Urgency is how soon somebody has to look.
type Urgency string

const (
	Now    Urgency = "now"     // people may not be told of what goes wrong at a tank
	Today  Urgency = "today"   // it gets worse, or one tank is not monitored
	InTime Urgency = "in time" // worth a look
)

// rank orders urgencies, the most urgent first.
var rank = map[Urgency]int{Now: 0, Today: 1, InTime: 2}

// Code names a kind of finding.
type Code string

const (
	StoreFails   Code = "store-fails"
	CommitFails  Code = "commit-fails"
	LogFails     Code = "log-fails"
	LogFills     Code = "log-fills"
	DiskFills    Code = "disk-fills"
	Behind       Code = "behind"
	Stuck        Code = "stuck"
	DoorRefuses  Code = "door-refuses"
	WrongLogins  Code = "wrong-credentials"
	SenderFails  Code = "sender-fails"
	TankNotTaken Code = "tank-not-watched"
	SignalFails  Code = "sign-of-life-fails"
	WasAway      Code = "was-away"
)

// Codes are all of them.
var Codes = []Code{StoreFails, CommitFails, LogFails, LogFills, DiskFills, Behind, Stuck, DoorRefuses, WrongLogins, SenderFails, TankNotTaken, SignalFails, WasAway}

// Finding is something that is wrong with the service itself.
type Finding struct {
	Code    Code
	Urgency Urgency
	// TankID and SiteID are of the tank that it is about; empty: the whole service.
	TankID, SiteID string
	Since          time.Time
	// Sentence says what is wrong, Do what to do.
	Sentence, Do string
}

// Bounds, from which on something is wrong. Judgements: well above what a busy
// machine does by itself, and well below what somebody would want to know late.
const (
	// lookOverdue: the service asks its store and log every few seconds.
	lookOverdue = time.Minute
	// tickOverdue and askOverdue: both come every second.
	tickOverdue, askOverdue = time.Minute, 2 * time.Minute
	// commitOverdue: a commit takes milliseconds, and one that was refused is tried
	// again within seconds.
	commitOverdue = 15 * time.Second
	// behindLimit and behindUrgent: a reading is worked through within a second.
	behindLimit, behindUrgent = 5 * time.Minute, time.Hour
	// undeliveredLimit: attempts are up to five minutes apart.
	undeliveredLimit = 30 * time.Minute
	// fullShare of the log's bound may wait to be worked through.
	fullShare = 0.5
	// leastRoom on the disk: a day of a large fleet's readings. The log stops
	// writing at a good deal less.
	leastRoom = 1 << 30
	// recently: what the door refused is told for so long.
	recently = 15 * time.Minute
	// wrongPasswords in that time are somebody's old device, or somebody guessing.
	wrongPasswords = 20
	// awayLimit and awayShownFor: how long nothing ran to be worth a word, for how long.
	awayLimit, awayShownFor = 5 * time.Minute, 24 * time.Hour
)

// Works says why the service does not do its work now; empty: it does. While it
// catches up it does not.
func (f *Facts) Works(now time.Time) string {
	late := func(last time.Time, by time.Duration) bool { return last.IsZero() || now.Sub(last) > by }
	switch {
	case f.CatchingUp != "":
		return f.CatchingUp
	case late(f.Looked, lookOverdue):
		return "the service has not been able to look at its own store and log for a while"
	case !f.StoreFails.IsZero():
		return "the store does not take what is written to it"
	case !f.notCommitting(now).IsZero():
		return "what follows from readings cannot be brought into the store"
	case !f.LogFails.IsZero():
		return "the log does not take readings"
	case !f.Unread.IsZero() && late(f.Unread, behindLimit):
		return fmt.Sprintf("readings have been waiting for %s to be worked through", span(now.Sub(f.Unread)))
	case late(f.Ticked, tickOverdue):
		return "the accounts and alarms have not been told the time for a while"
	case late(f.Asked, askOverdue):
		return "the sender of messages stands still"
	case f.GaveUp && !f.Undelivered.IsZero() && late(f.Undelivered, undeliveredLimit):
		return "no message could be delivered for " + span(now.Sub(f.Undelivered))
	}
	return ""
}

// notCommitting is since when nothing could be committed, zero where that is well or
// has not lasted. A commit whose answer does not come counts, and so do those that
// are refused again and again; one refusal alone does not.
func (f *Facts) notCommitting(now time.Time) time.Time {
	switch {
	case !f.Committing.IsZero() && now.Sub(f.Committing) > commitOverdue:
		return f.Committing
	case !f.CommitFails.IsZero() && f.CommitFailed.Sub(f.CommitFails) > commitOverdue:
		return f.CommitFails
	}
	return time.Time{}
}

// Judge says what is wrong, the most urgent first. What was found before and goes
// on keeps its beginning.
func Judge(before []Finding, f *Facts, now time.Time) []Finding {
	var out []Finding
	add := func(g Finding, since time.Time, sentence, do string) {
		g.Since, g.Sentence, g.Do = since, sentence, do
		if i := slices.IndexFunc(before, func(b Finding) bool { return b.Code == g.Code && b.TankID == g.TankID }); i >= 0 && before[i].Since.Before(since) {
			g.Since = before[i].Since
		}
		out = append(out, g)
	}
	// Until the end of the catching up nothing has been looked at for long enough.
	if f.CatchingUp == "" && !f.Looked.IsZero() {
		if now.Sub(f.Looked) > lookOverdue {
			add(Finding{Code: Stuck, Urgency: Now}, f.Looked, "The service has not been able to look at its own store and log for "+span(now.Sub(f.Looked))+".",
				"Look at the disk and at the program's log; if it does not come back, start the service again: what devices were told is kept stays kept.")
		}
		if !f.Ticked.IsZero() && now.Sub(f.Ticked) > tickOverdue {
			add(Finding{Code: Stuck, Urgency: Now}, f.Ticked, "Accounts and alarms stand still: nothing that only time shows, like a silent device, is noticed.",
				"Look at the program's log; if it does not come back, start the service again.")
		}
		if !f.Asked.IsZero() && now.Sub(f.Asked) > askOverdue {
			add(Finding{Code: SenderFails, Urgency: Now}, f.Asked, "The sender of messages stands still: nobody is told of alarms.",
				"Look at Alarms yourself until it is mended; look at the program's log, or start the service again.")
		}
	}
	if !f.StoreFails.IsZero() {
		add(Finding{Code: StoreFails, Urgency: Now}, f.StoreFails, "The store does not take what is written to it"+because(f.StoreSays)+". Readings wait in the log, and no alarm is raised meanwhile.",
			"Make room on the disk, and look whether it is mounted read-only or failing; nothing that was acknowledged is lost.")
	}
	if since := f.notCommitting(now); !since.IsZero() && f.StoreFails.IsZero() {
		add(Finding{Code: CommitFails, Urgency: Now}, since, "What follows from readings has not come into the store for "+span(now.Sub(since))+because(f.CommitSays)+". Readings wait in the log, and no alarm is raised meanwhile.",
			"Look at the disk, or at the PostgreSQL server and the network to it; it is tried again by itself, and nothing that was acknowledged is lost.")
	}
	if !f.LogFails.IsZero() {
		add(Finding{Code: LogFails, Urgency: Now}, f.LogFails, "The log does not take readings"+because(f.LogSays)+". Devices keep what they have, as long as they can.",
			"Make room on the disk, or look after the external NATS server.")
	}
	if !f.Unread.IsZero() && now.Sub(f.Unread) > behindLimit {
		g := Finding{Code: Behind, Urgency: Today}
		if now.Sub(f.Unread) > behindUrgent {
			g.Urgency = Now
		}
		add(g, f.Unread, fmt.Sprintf("The service is %s behind: readings are kept, and not worked through yet. What the pages say of tanks is as old.", span(now.Sub(f.Unread))),
			"Wait if it gets shorter; else look at the program's log, and whether the machine is busy with something else.")
	}
	if f.UnreadShare > fullShare {
		add(Finding{Code: LogFills, Urgency: Today}, now, fmt.Sprintf("The log fills: what is not worked through yet takes %.0f %% of its bound. When it is full, devices have to wait.", 100*f.UnreadShare),
			"Find out why the service is behind: the program's log says more.")
	}
	if f.RoomBytes >= 0 && f.RoomBytes < leastRoom {
		add(Finding{Code: DiskFills, Urgency: Today}, now, fmt.Sprintf("The disk is nearly full: %d MB are free. Without room the log takes nothing more.", f.RoomBytes>>20),
			"Make room, or keep readings for a shorter time (Settings).")
	}
	if f.TurnedAway > 0 && now.Sub(f.TurnedAwayLast) < recently {
		add(Finding{Code: DoorRefuses, Urgency: Today}, f.TurnedAwayLast, fmt.Sprintf("Devices were turned away %s, last %s ago, because the log did not take their readings in time.", times(f.TurnedAway), span(now.Sub(f.TurnedAwayLast))),
			"They send again by themselves. If it goes on, look at the disk and the load of the machine.")
	}
	if f.WrongPassword >= wrongPasswords && now.Sub(f.WrongPasswordLast) < recently {
		add(Finding{Code: WrongLogins, Urgency: InTime}, f.WrongPasswordLast, fmt.Sprintf("Somebody tried %s to connect as a device with wrong credentials, last %s ago.", times(f.WrongPassword), span(now.Sub(f.WrongPasswordLast))),
			"See whether a device has an old password (Devices), or whether the port is open to strangers.")
	}
	if !f.Undelivered.IsZero() && (f.GaveUp || now.Sub(f.Undelivered) > undeliveredLimit) {
		g := Finding{Code: SenderFails, Urgency: Today}
		if f.GaveUp {
			g.Urgency = Now
		}
		add(g, f.Undelivered, "Messages about alarms are not delivered"+because(f.SenderSays)+".",
			"Look at how messages are sent (Alarms, Telling) and send a test; until then look at Alarms yourself.")
	}
	for _, t := range f.Tanks {
		add(Finding{Code: TankNotTaken, Urgency: Now, TankID: t.ID, SiteID: t.SiteID}, t.Since, fmt.Sprintf("%s has no account of its water: its tank file could not be read%s. Only its floor, ceiling and guard contacts are heard.", cmp.Or(t.Name, t.ID), because(t.Why)),
			"Mend its tank file under Design and save it; the service then goes on by it.")
	}
	if !f.NoSignal.IsZero() {
		add(Finding{Code: SignalFails, Urgency: Today}, f.NoSignal, "The sign of life is not taken where it is sent"+because(f.SignalSays)+".",
			"Look at its address (Settings) and send one now.")
	}
	if f.Away > awayLimit && now.Sub(f.Back) < awayShownFor {
		add(Finding{Code: WasAway, Urgency: InTime}, f.Back, fmt.Sprintf("The service did not run for %s. What devices kept meanwhile came late; what they did not is missing.", span(f.Away)),
			"Find out why it ended. A sign of life (Settings) has somebody told while it is away.")
	}
	slices.SortStableFunc(out, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(rank[a.Urgency], rank[b.Urgency]), a.Since.Compare(b.Since), cmp.Compare(a.Code, b.Code), cmp.Compare(a.TankID, b.TankID))
	})
	return out
}

// because continues a sentence with the first line of what a part said.
func because(says string) string {
	says, _, _ = strings.Cut(strings.TrimSpace(says), "\n")
	if says == "" {
		return ""
	}
	return " (" + strings.TrimSuffix(says, ".") + ")"
}

// times is a count in words.
func times(n int64) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// span is a length of time for people: seconds, minutes, hours or days.
func span(d time.Duration) string {
	const day = 24 * time.Hour
	switch d = max(d, 0); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 2*day:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/day.Hours())
}
