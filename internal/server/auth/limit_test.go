package auth

import (
	"fmt"
	"testing"
	"time"
)

func TestLimiter(t *testing.T) {
	start := time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)
	for _, row := range []struct {
		what  string
		after time.Duration // since the last of five tries
		key   string
		ok    bool
	}{
		{"a sixth at once", 0, "ada", false},
		{"just before a minute", tryEvery - time.Millisecond, "ada", false},
		{"at a minute", tryEvery, "ada", true},
		{"another name at once", 0, "bo", true},
		{"with the clock set back", -time.Hour, "ada", false},
	} {
		var l Limiter
		for range triesAtOnce {
			if _, ok := l.Try(start, "ada"); !ok {
				t.Fatal("one of the first tries is refused")
			}
		}
		wait, ok := l.Try(start.Add(row.after), row.key)
		if ok != row.ok || ok != (wait == 0) {
			t.Errorf("%s: ok %v, wait %v", row.what, ok, wait)
		}
	}
}

func TestARefusedTryUnderOneKeyCostsTheOtherNothing(t *testing.T) {
	var l Limiter
	now := time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)
	for range triesAtOnce {
		l.Try(now, "name")
	}
	for range 2 * triesAtOnce {
		l.Try(now, "name", "address")
	}
	for i := range triesAtOnce {
		if _, ok := l.Try(now, "address"); !ok {
			t.Fatalf("try %d from the address is refused", i+1)
		}
	}
}

func TestSuccessForgets(t *testing.T) {
	var l Limiter
	now := time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)
	for range 3 * triesAtOnce {
		if _, ok := l.Try(now, "ada"); !ok {
			t.Fatal("refused after a success")
		}
		l.Succeeded("ada")
	}
}

func TestMemoryIsBounded(t *testing.T) {
	var l Limiter
	now := time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)
	for i := range 3 * maxRemember {
		l.Try(now, fmt.Sprint(i))
	}
	if len(l.tries) > maxRemember {
		t.Errorf("%d keys are remembered, more than %d", len(l.tries), maxRemember)
	}
}
