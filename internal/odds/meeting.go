package odds

import (
	"encoding/binary"
	"errors"
	"slices"
	"sync"
	"time"

	"isohaline/internal/plant"
	"isohaline/internal/verify"
)

// meeting is what the twin says of faults that stand together.
type meeting struct {
	harm  harm
	found time.Duration // since the first began; plant.NotReached if nobody comes
	quiet bool          // nothing that anybody would notice
	// unsettled: the twin could not finish. It counts as Danger.
	unsettled bool
}

func meetingOf(w *world, row *verify.Row) meeting {
	m := meeting{harm: harmOf(w.report.Tank, row), found: row.FoundAfter, quiet: row.Unnoticed}
	if row.FoundBy == verify.Nobody {
		m.found = plant.NotReached
	}
	return m
}

// memory asks the twin once for each meeting. The twin is deterministic, so a
// meeting that came before comes out as it did; and nothing happens on a tank
// between meetings, so years without one cost no simulation at all.
type memory struct {
	w    *world
	mu   sync.Mutex
	seen map[meetingKey]meeting
}

type meetingKey struct {
	season int
	set    set
	lags   string // when each began; empty: all at once
}

func newMemory(w *world) *memory { return &memory{w: w, seen: map[meetingKey]meeting{}} }

// together is what a set does, all at once. What the check found harmless in
// the worst season is harmless in every one.
func (m *memory) together(season int, s set) (meeting, error) {
	if row, ok := m.w.known[s]; ok && row.Class < plant.Danger {
		return meetingOf(m.w, &row), nil
	}
	return m.recall(meetingKey{season: season, set: s}, func() (verify.Row, error) {
		return m.w.trial.Try(season, m.w.faultsOf(s))
	})
}

// lagStep is to what the time between two faults is rounded.
const lagStep = time.Hour

// apart is what a set does whose faults, in the catalogue's order, began some
// time after one another.
func (m *memory) apart(season int, s set, after []time.Duration) (meeting, error) {
	rounded := slices.Clone(after)
	var lags []byte
	for i, t := range rounded {
		rounded[i] = t.Round(lagStep)
		lags = binary.AppendUvarint(lags, uint64(rounded[i]/lagStep))
	}
	return m.recall(meetingKey{season, s, string(lags)}, func() (verify.Row, error) {
		return m.w.trial.InTurn(season, m.w.faultsOf(s), rounded)
	})
}

// recall is what was seen before, or else what the twin says now. Two who ask at
// once both ask the twin, and hear the same.
func (m *memory) recall(key meetingKey, ask func() (verify.Row, error)) (meeting, error) {
	m.mu.Lock()
	got, ok := m.seen[key]
	m.mu.Unlock()
	if ok {
		return got, nil
	}
	row, err := ask()
	switch {
	case errors.Is(err, verify.ErrUnfinished):
		got = meeting{harm: 1 << Danger, unsettled: true, found: plant.NotReached}
	case err != nil:
		return meeting{}, err
	default:
		got = meetingOf(m.w, &row)
	}
	m.mu.Lock()
	m.seen[key] = got
	m.mu.Unlock()
	return got, nil
}
