// Package requests decides which requests that came over a network may reach
// the guard. A network loses, repeats, delays and reorders; a pump must not.
//
//   - Idempotent: a request is known by its id. One that comes again gets the
//     answer it got, and nothing else happens.
//   - Ordered: an asker numbers its requests. One that comes after a later one
//     has reached the guard is refused; a hold that was overtaken by its own
//     resume holds nothing.
//   - Fresh: one older than Fresh is refused. Whoever asked has seen another
//     tank than the one there is now.
//   - At most once: the ledger is saved together with the guard's state, in one
//     write, before an output changes. A process that dies before the write has
//     done nothing and may be asked again; one that dies after it has the
//     answer.
//
// The package is pure: time comes in, the ledger is a value, and saving is the
// caller's.
package requests

import (
	"fmt"
	"slices"
	"time"
	"unicode/utf8"

	"isohaline/internal/guard"
)

const (
	// Fresh is how old a request may be. A judgement: longer than a slow link
	// takes, shorter than a tank takes to change.
	Fresh = 30 * time.Second
	// Ahead is how far the asker's clock may be ahead of this one.
	Ahead = 5 * time.Second
	// Remembered is how many answers are kept for requests that come again.
	Remembered = 64
	// maxID and maxBy bound what a request brings, in bytes.
	maxID, maxBy = 64, 128
	// mostML is far more than any top-off gives at once; the guard's own bound
	// is much nearer.
	mostML = 1e6
)

// Kind is what is asked.
type Kind string

const (
	Hold      Kind = "hold"
	Resume    Kind = "resume"
	Give      Kind = "give"
	ShutValve Kind = "shut-valve"
	Silence   Kind = "silence"
	ProofTest Kind = "proof-test" // begin a guided one
	Clear     Kind = "clear"      // asked from afar it is always refused
)

// guardRequests are the kinds that the guard decides.
var guardRequests = map[Kind]guard.Request{
	Hold: guard.Hold, Resume: guard.Resume, Give: guard.Give, ShutValve: guard.ShutValve,
	Silence: guard.Silence, Clear: guard.Clear,
	ProofTest: guard.NoRequest, // which changes nothing in the guard
}

// Guard is the guard's request of a kind; false for one that does not exist.
func (k Kind) Guard() (guard.Request, bool) {
	r, ok := guardRequests[k]
	return r, ok
}

// Request is one thing that somebody asks of one tank.
type Request struct {
	// ID is the asker's own name for it, 1 to 64 bytes, never used again.
	ID string `json:"id"`
	// Seq rises from each request of an asker to the next. Microseconds since
	// 1970 do, if one person asks at a time.
	Seq  uint64 `json:"seq"`
	Kind Kind   `json:"kind"`
	// GiveML is how much a Give asks for, above 0.
	GiveML float64 `json:"give_ml,omitempty"`
	// By is who asks, for the record.
	By      string    `json:"by,omitempty"`
	AskedAt time.Time `json:"asked_at"`
}

// Answer is what became of a request.
type Answer struct {
	ID    string `json:"id"`
	Taken bool   `json:"taken"`
	// Code is the reason for programs, Why in words.
	Code string    `json:"code"`
	Why  string    `json:"why"`
	At   time.Time `json:"at"`
	// LastSeq is the highest number that has reached the guard: the next
	// request has to be above it.
	LastSeq uint64 `json:"last_seq"`
}

// Codes of the answers that are not the guard's own reasons.
const (
	Malformed  = "malformed"
	OtherID    = "id-used"
	Overtaken  = "overtaken"
	Stale      = "stale"
	FromFuture = "from-the-future"
	Unsaved    = "cannot-be-recorded"
	Busy       = "busy"
)

// check finds what makes a request unusable, "" if nothing.
func (r *Request) check() string {
	switch {
	case r.ID == "" || len(r.ID) > maxID || !utf8.ValidString(r.ID):
		return fmt.Sprintf("id has %d bytes: give 1 to %d bytes of text", len(r.ID), maxID)
	case r.Seq == 0:
		return "seq is 0: number requests from 1"
	case len(r.By) > maxBy:
		return fmt.Sprintf("by has %d bytes: give at most %d", len(r.By), maxBy)
	case r.Kind == Give && !(r.GiveML > 0 && r.GiveML <= mostML):
		return fmt.Sprintf("give_ml is %v: give millilitres above 0 and up to %.0f", r.GiveML, mostML)
	case r.Kind != Give && r.GiveML != 0:
		return fmt.Sprintf("give_ml is %v: only a give has it", r.GiveML)
	}
	if _, ok := r.Kind.Guard(); !ok {
		return fmt.Sprintf("kind is %q: valid are hold, resume, give, shut-valve, silence, proof-test and clear", r.Kind)
	}
	return ""
}

// Ledger is what is remembered of the requests of one asker: the zero value
// remembers nothing. It is a value: With returns another.
type Ledger struct {
	LastSeq uint64  `json:"last_seq"`
	Recent  []Entry `json:"recent,omitempty"` // oldest first
}

// Entry is a request and its answer.
type Entry struct {
	Request Request `json:"request"`
	Answer  Answer  `json:"answer"`
}

// Verdict is what to do with a request.
type Verdict uint8

const (
	Refuse Verdict = iota // send the answer, change nothing
	Repeat                // it has been answered: send that answer again
	Pass                  // let the guard decide, and record its answer
)

// Consider says what to do with a request that arrives now. The answer is
// complete unless the verdict is Pass.
func (l *Ledger) Consider(r *Request, now time.Time) (Verdict, Answer) {
	refuse := func(code, format string, args ...any) (Verdict, Answer) {
		return Refuse, Answer{ID: r.ID, Code: code, Why: fmt.Sprintf(format, args...), At: now, LastSeq: l.LastSeq}
	}
	if wrong := r.check(); wrong != "" {
		return refuse(Malformed, "%s", wrong)
	}
	if i := slices.IndexFunc(l.Recent, func(e Entry) bool { return e.Request.ID == r.ID }); i >= 0 {
		if !l.Recent[i].Request.same(r) {
			return refuse(OtherID, "another request had the id %q", r.ID)
		}
		return Repeat, l.Recent[i].Answer
	}
	age := now.Sub(r.AskedAt)
	switch {
	case r.Seq <= l.LastSeq:
		return refuse(Overtaken, "number %d comes after number %d was dealt with", r.Seq, l.LastSeq)
	case age > Fresh:
		return refuse(Stale, "asked %v ago, and good for %v: look again and ask again", age.Round(time.Second), Fresh)
	case age < -Ahead:
		return refuse(FromFuture, "asked %v ahead of this clock: set both clocks", (-age).Round(time.Second))
	}
	return Pass, Answer{}
}

// same compares what two requests ask; a time may have lost its zone on the way.
func (r *Request) same(o *Request) bool {
	return r.ID == o.ID && r.Seq == o.Seq && r.Kind == o.Kind && r.GiveML == o.GiveML && r.By == o.By && r.AskedAt.Equal(o.AskedAt)
}

// With is the ledger after a request has been answered by the guard.
func (l Ledger) With(r Request, a Answer) (Ledger, Answer) {
	l.LastSeq = max(l.LastSeq, r.Seq)
	a.ID, a.LastSeq = r.ID, l.LastSeq
	keep := l.Recent[max(0, len(l.Recent)-(Remembered-1)):]
	l.Recent = append(slices.Clone(keep), Entry{r, a})
	return l, a
}
