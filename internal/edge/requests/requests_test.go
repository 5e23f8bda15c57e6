package requests

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func hold(id string, seq uint64, at time.Time) Request {
	return Request{ID: id, Seq: seq, Kind: Hold, By: "mira", AskedAt: at}
}

// TestConsider straddles every edge: one moment or one number to either side.
func TestConsider(t *testing.T) {
	first := hold("a", 10, noon)
	l, given := Ledger{}.With(first, Answer{Taken: true, Code: "held", Why: "held by a person", At: noon})
	change := func(f func(*Request)) Request {
		r := hold("b", 11, noon)
		f(&r)
		return r
	}
	for _, tt := range []struct {
		name    string
		r       Request
		now     time.Time
		verdict Verdict
		code    string
	}{
		{"the next", hold("b", 11, noon), noon, Pass, ""},
		{"numbers may leave gaps", hold("b", 9_000_000, noon), noon, Pass, ""},
		{"the same again", first, noon.Add(time.Hour), Repeat, "held"},
		{"the same again, in another zone", hold("a", 10, noon.In(time.FixedZone("", 3600))), noon, Repeat, "held"},
		{"another with its id", hold("a", 11, noon), noon, Refuse, OtherID},
		{"another with its number", hold("b", 10, noon), noon, Refuse, Overtaken},
		{"an earlier one, late", hold("b", 9, noon), noon, Refuse, Overtaken},
		{"as old as may be", hold("b", 11, noon), noon.Add(Fresh), Pass, ""},
		{"a moment older", hold("b", 11, noon), noon.Add(Fresh + 1), Refuse, Stale},
		{"as far ahead as may be", hold("b", 11, noon), noon.Add(-Ahead), Pass, ""},
		{"a moment further", hold("b", 11, noon), noon.Add(-Ahead - 1), Refuse, FromFuture},
		{"no time", change(func(r *Request) { r.AskedAt = time.Time{} }), noon, Refuse, Stale},
		{"no id", change(func(r *Request) { r.ID = "" }), noon, Refuse, Malformed},
		{"the longest id", change(func(r *Request) { r.ID = strings.Repeat("x", 64) }), noon, Pass, ""},
		{"a longer id", change(func(r *Request) { r.ID = strings.Repeat("x", 65) }), noon, Refuse, Malformed},
		{"an id that is no text", change(func(r *Request) { r.ID = "\xff" }), noon, Refuse, Malformed},
		{"no number", change(func(r *Request) { r.Seq = 0 }), noon, Refuse, Malformed},
		{"no such kind", change(func(r *Request) { r.Kind = "fill" }), noon, Refuse, Malformed},
		{"a name without end", change(func(r *Request) { r.By = strings.Repeat("x", 129) }), noon, Refuse, Malformed},
		{"a hold with an amount", change(func(r *Request) { r.GiveML = 1 }), noon, Refuse, Malformed},
		{"a give without", change(func(r *Request) { r.Kind = Give }), noon, Refuse, Malformed},
		{"a give of less than nothing", change(func(r *Request) { r.Kind, r.GiveML = Give, -1 }), noon, Refuse, Malformed},
		{"a give", change(func(r *Request) { r.Kind, r.GiveML = Give, 250 }), noon, Pass, ""},
		{"a clear, for the guard to refuse", change(func(r *Request) { r.Kind = Clear }), noon, Pass, ""},
	} {
		verdict, answer := l.Consider(&tt.r, tt.now)
		if verdict != tt.verdict || answer.Code != tt.code {
			t.Errorf("%s: %d %q (%s), want %d %q", tt.name, verdict, answer.Code, answer.Why, tt.verdict, tt.code)
		}
		if verdict == Refuse && (answer.Taken || answer.Why == "" || answer.LastSeq != 10) {
			t.Errorf("%s: answered %+v", tt.name, answer)
		}
		if verdict == Repeat && answer != given {
			t.Errorf("%s: answered %+v, and before %+v", tt.name, answer, given)
		}
	}
}

// TestForgettingIsSafe: an id that is no longer remembered still cannot take
// effect again, whatever the clock does.
func TestForgettingIsSafe(t *testing.T) {
	var l Ledger
	for i := range uint64(3 * Remembered) {
		l, _ = l.With(hold(fmt.Sprint(i), i+1, noon), Answer{Taken: true, At: noon})
	}
	if len(l.Recent) != Remembered {
		t.Fatalf("remembers %d", len(l.Recent))
	}
	for i := range uint64(3 * Remembered) {
		r := hold(fmt.Sprint(i), i+1, noon)
		want := Refuse
		if i >= 2*Remembered {
			want = Repeat
		}
		if got, _ := l.Consider(&r, noon); got != want {
			t.Errorf("request %d again: %d, want %d", i, got, want)
		}
	}
}

// TestLedgerIsAValue: an older ledger does not change when a newer one is made
// from it; a save that fails goes back to it.
func TestLedgerIsAValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ledgers []Ledger
		var texts []string
		l := Ledger{}
		for i := range uint64(rapid.IntRange(1, 2*Remembered).Draw(t, "requests")) {
			text, err := json.Marshal(l)
			if err != nil {
				t.Fatal(err)
			}
			ledgers, texts = append(ledgers, l), append(texts, string(text))
			from := ledgers[rapid.IntRange(0, len(ledgers)-1).Draw(t, "from")]
			l, _ = from.With(hold(fmt.Sprint(i), from.LastSeq+1, noon), Answer{At: noon})
		}
		for i := range ledgers {
			text, _ := json.Marshal(ledgers[i])
			if string(text) != texts[i] {
				t.Fatalf("ledger %d was %s and is %s", i, texts[i], text)
			}
			var back Ledger
			if err := json.Unmarshal(text, &back); err != nil || back.LastSeq != ledgers[i].LastSeq || len(back.Recent) != len(ledgers[i].Recent) {
				t.Fatalf("read back as %+v: %v", back, err)
			}
		}
	})
}

// FuzzConsider: whatever arrives gets an answer, and one that may pass is
// complete.
func FuzzConsider(f *testing.F) {
	f.Add([]byte(`{"id":"a","seq":1,"kind":"give","give_ml":250,"by":"mira","asked_at":"2026-11-25T12:00:00Z"}`))
	f.Add([]byte(`{"id":"a","seq":18446744073709551615,"kind":"hold","asked_at":"0001-01-01T00:00:00Z"}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		var r Request
		if json.Unmarshal(body, &r) != nil {
			return
		}
		var l Ledger
		verdict, answer := l.Consider(&r, noon)
		if verdict != Pass {
			if answer.Code == "" || answer.Why == "" || answer.Taken {
				t.Fatalf("%+v", answer)
			}
			return
		}
		l, _ = l.With(r, Answer{Taken: true})
		if again, _ := l.Consider(&r, noon.Add(time.Hour)); again != Repeat {
			t.Fatalf("%s came again: %d", body, again)
		}
	})
}
