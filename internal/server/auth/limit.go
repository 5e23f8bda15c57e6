package auth

import (
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// How often somebody may guess: five tries at once, then one a minute, counted
// for a name and for a network address apart. Common practice, no source; NIST
// SP 800-63B, section 5.2.2, asks for at most 100 failures in a row.
const (
	triesAtOnce  = 5
	tryEvery     = time.Minute
	maxRemember  = 10_000 // names and addresses remembered at most
	forgottenFor = triesAtOnce * tryEvery
)

// Limiter counts tries to sign in. Its zero value is ready; it may be used from
// several goroutines.
type Limiter struct {
	mu    sync.Mutex
	tries map[string]*tries
}

type tries struct {
	left *rate.Limiter
	last time.Time
}

// Try says whether one more try under all of these keys is allowed now, and if
// not how long to wait. A try that is refused is not counted.
func (l *Limiter) Try(now time.Time, keys ...string) (wait time.Duration, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, key := range keys {
		if left := l.of(key, now).left.TokensAt(now); left < 1 {
			wait = max(wait, time.Duration((1-left)*float64(tryEvery)))
		}
	}
	if wait > 0 {
		return wait, false
	}
	for _, key := range keys {
		l.of(key, now).left.AllowN(now, 1)
	}
	return 0, true
}

// Succeeded forgets the tries under these keys.
func (l *Limiter) Succeeded(keys ...string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, key := range keys {
		delete(l.tries, key)
	}
}

func (l *Limiter) of(key string, now time.Time) *tries {
	t := l.tries[key]
	if t == nil {
		if l.tries == nil {
			l.tries = map[string]*tries{}
		}
		if len(l.tries) >= maxRemember {
			l.forget(now)
		}
		t = &tries{left: rate.NewLimiter(rate.Every(tryEvery), triesAtOnce)}
		l.tries[key] = t
	}
	t.last = now
	return t
}

// forget drops whoever has all tries back. If that is nobody, all go: memory
// must not grow with an attack, and the addresses it comes from change anyway.
func (l *Limiter) forget(now time.Time) {
	for key, t := range l.tries {
		if now.Sub(t.last) > forgottenFor {
			delete(l.tries, key)
		}
	}
	if len(l.tries) >= maxRemember {
		clear(l.tries)
	}
}
