package auth

import (
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// maxRemember is how many keys a Limiter remembers at most.
const maxRemember = 10_000

// Limiter counts tries by a key, like a name or an address: so many at once, then
// one in a while. It may be used from several goroutines.
type Limiter struct {
	atOnce int
	every  time.Duration

	mu    sync.Mutex
	tries map[string]*tries
}

// NewNameLimiter limits the tries for one name: five at once, then one a minute.
// Common practice, no source; NIST SP 800-63B, section 5.2.2, asks for at most
// 100 failures in a row.
func NewNameLimiter() *Limiter {
	return &Limiter{atOnce: 5, every: time.Minute, tries: map[string]*tries{}}
}

// NewAddressLimiter limits the tries from one address, behind which a whole
// office may be: thirty at once, then one in ten seconds. Common practice, no
// source.
func NewAddressLimiter() *Limiter {
	return &Limiter{atOnce: 30, every: 10 * time.Second, tries: map[string]*tries{}}
}

type tries struct {
	*rate.Limiter
	last time.Time
}

// Try says whether one more try under a key is allowed now, and if not how long
// to wait. A try that is refused is not counted.
func (l *Limiter) Try(key string, now time.Time) (wait time.Duration, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	t := l.of(key, now)
	if t.AllowN(now, 1) {
		return 0, true
	}
	return time.Duration((1 - t.TokensAt(now)) * float64(l.every)), false
}

// Forget forgets the tries under a key, because one succeeded.
func (l *Limiter) Forget(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.tries, key)
}

func (l *Limiter) of(key string, now time.Time) *tries {
	t := l.tries[key]
	if t == nil {
		if len(l.tries) >= maxRemember {
			l.clean(now)
		}
		t = &tries{Limiter: rate.NewLimiter(rate.Every(l.every), l.atOnce)}
		l.tries[key] = t
	}
	t.last = now
	return t
}

// clean drops whoever has all tries back. If that is nobody, all go: memory must
// not grow with an attack.
func (l *Limiter) clean(now time.Time) {
	for key, t := range l.tries {
		if now.Sub(t.last) > time.Duration(l.atOnce)*l.every {
			delete(l.tries, key)
		}
	}
	if len(l.tries) >= maxRemember {
		clear(l.tries)
	}
}
