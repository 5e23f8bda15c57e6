package api

import (
	"crypto/sha256"
	"sync"
)

// kept holds what was worked out of tank files, with the text that it is of, so
// that nothing is worked out twice: a check takes a second, the odds take several.
type kept[T any] struct {
	mu    sync.Mutex
	of    map[[sha256.Size]byte]T
	order [][sha256.Size]byte // the oldest first
}

// keptMost is how many answers are held, some tens of kilobytes each. A judgement:
// whoever edits goes back a few steps, not hundreds.
const keptMost = 256

// answer is what is held of a text, or else what work makes of it. An error is not
// held.
func (k *kept[T]) answer(text string, work func() (T, error)) (T, error) {
	key := sha256.Sum256([]byte(text))
	k.mu.Lock()
	out, known := k.of[key]
	k.mu.Unlock()
	if known {
		return out, nil
	}
	out, err := work()
	if err != nil {
		return out, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if _, known := k.of[key]; known {
		return out, nil
	}
	if k.of == nil {
		k.of = map[[sha256.Size]byte]T{}
	}
	if len(k.order) == keptMost {
		delete(k.of, k.order[0])
		k.order = k.order[1:]
	}
	k.of[key] = out
	k.order = append(k.order, key)
	return out, nil
}
