package auth

import (
	"fmt"
	"testing"
	"time"
)

var start = time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)

func TestLimiter(t *testing.T) {
	for _, row := range []struct {
		what  string
		of    func() *Limiter
		tries int // allowed at once
		after time.Duration
		key   string
		ok    bool
	}{
		{"a sixth for a name at once", NewNameLimiter, 5, 0, "ada", false},
		{"just before a minute", NewNameLimiter, 5, time.Minute - time.Millisecond, "ada", false},
		{"at a minute", NewNameLimiter, 5, time.Minute, "ada", true},
		{"another name at once", NewNameLimiter, 5, 0, "bo", true},
		{"with the clock set back", NewNameLimiter, 5, -time.Hour, "ada", false},
		{"one more from an address", NewAddressLimiter, 30, 0, "ada", false},
		{"ten seconds later", NewAddressLimiter, 30, 10 * time.Second, "ada", true},
	} {
		l := row.of()
		for i := range row.tries {
			if _, ok := l.Try("ada", start); !ok {
				t.Fatalf("%s: try %d is refused", row.what, i+1)
			}
		}
		wait, ok := l.Try(row.key, start.Add(row.after))
		if ok != row.ok || ok != (wait == 0) {
			t.Errorf("%s: ok %v, wait %v", row.what, ok, wait)
		}
	}
}

func TestTheWaitIsLongEnough(t *testing.T) {
	l := NewNameLimiter()
	for {
		wait, ok := l.Try("ada", start)
		if ok {
			continue
		}
		if _, ok := l.Try("ada", start.Add(wait)); !ok {
			t.Errorf("still refused after the wait of %v", wait)
		}
		return
	}
}

func TestForget(t *testing.T) {
	l := NewNameLimiter()
	for range 20 {
		if _, ok := l.Try("ada", start); !ok {
			t.Fatal("refused after a success")
		}
		l.Forget("ada")
	}
}

func TestMemoryIsBounded(t *testing.T) {
	l := NewNameLimiter()
	for i := range 3 * maxRemember {
		l.Try(fmt.Sprint(i), start)
	}
	if len(l.tries) > maxRemember {
		t.Errorf("%d keys are remembered, more than %d", len(l.tries), maxRemember)
	}
}
