package monitor

import (
	"cmp"
	"context"
	"slices"
	"time"

	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Take takes in frames of the log, in its order. It returns nil when it has done
// with them: what they told, findings and alarms, is in the store with everything
// that came before it. Where nothing was told, readings may wait until a commit is
// due: the log has them, and gives them again after a restart. When it returns an
// error nothing was told, and it wants the same frames again. A frame may come more
// than once.
func (m *Monitor) Take(ctx context.Context, frames []wire.Frame) error {
	if len(frames) == 0 {
		return nil
	}
	m.taking.Lock()
	defer m.taking.Unlock()
	now := m.now()
	last := frames[len(frames)-1].Sequence
	if m.taken.After(now) { // the clock was set back
		m.taken = time.Time{}
	}
	perTank, fresh, taken := m.sort(frames)
	rows, err := m.rows(ctx, fresh)
	if err != nil {
		return err
	}
	w := &m.waitingRows
	before := *w
	if len(w.rows) == 0 {
		w.since = now
	}
	w.rows, w.frame = append(w.rows, rows...), max(w.frame, last)

	places := placesOf(perTank)
	defer lockAll(places)()
	d := m.draft(now)
	for _, share := range perTank {
		d.step(share, last)
	}
	if len(d.tanks) > 0 || m.commitDue(now) {
		if err := m.commitRows(ctx, d); err != nil {
			*w = before // what was told is not kept: nothing may be that it came with
			return err
		}
	}
	m.reached, m.taken = max(m.reached, last), taken
	m.counted(&Counters{Readings: int64(len(rows)), Unknown: int64(len(fresh) - len(rows))})
	m.tellHeard(fresh)
	return nil
}

// A hub that hears little commits what it hears at once, or nearly; a busy one so
// that a page of the database takes in many readings each time it is written. What
// tells something never waits. All three are judgements.
const (
	CommitQuick    = 250 * time.Millisecond
	fewRows        = 64
	commitAtMost   = 5 * time.Second
	commitManyRows = 8192
)

// waitingRows are readings that are stepped and not in the store yet, up to a frame.
type waitingRows struct {
	rows  []store.Reading
	frame uint64
	// since is when the first came, committed when some were last brought there.
	since, committed time.Time
}

// commitDue says whether readings have waited long enough. m.taking is held.
func (m *Monitor) commitDue(now time.Time) bool {
	w := &m.waitingRows
	if w.frame <= m.position.Sequence {
		return false
	}
	age, quiet := now.Sub(w.since), now.Sub(w.committed)
	return age < 0 || quiet < 0 || age >= commitAtMost || quiet >= CommitQuick && len(w.rows) <= fewRows || len(w.rows) >= commitManyRows
}

// commitRows keeps a draft, and with it the readings that wait and the place in the
// log that they were taken in up to. m.taking is held.
func (m *Monitor) commitRows(ctx context.Context, d *draft) error {
	w := &m.waitingRows
	if w.frame > m.position.Sequence { // else all of it was taken in before
		d.commit.Log = &store.LogPosition{Log: m.position.Log, Sequence: w.frame, Floor: m.position.Floor}
	}
	d.commit.Readings = w.rows
	if err := d.keep(ctx); err != nil {
		return err
	}
	if d.commit.Log != nil {
		m.isStored(d.commit.Log.Sequence, d.commit.Log.Floor)
	}
	w.rows, w.committed = nil, d.at
	return nil
}

// Commit brings readings that have waited long enough into the store. It is to be
// called every CommitQuick or so.
func (m *Monitor) Commit(ctx context.Context) error {
	const all = false
	return m.commitWaiting(ctx, m.now(), all)
}

// commitWaiting keeps the readings that wait, if they are due or all are to be kept.
func (m *Monitor) commitWaiting(ctx context.Context, now time.Time, all bool) error {
	m.taking.Lock()
	defer m.taking.Unlock()
	if m.waitingRows.frame <= m.position.Sequence || !all && !m.commitDue(now) {
		return nil
	}
	return m.commitRows(ctx, m.draft(now))
}

// share is the part of some frames that is of one tank.
type share struct {
	tank *tank
	// repeated are of frames that the store has, readings of new ones.
	repeated, readings []*wire.Reading
}

// sort gives each tank its readings that it has not taken in yet, in the order of
// the log, says which readings are neither in the store nor waiting to be, and when
// the last was received.
func (m *Monitor) sort(frames []wire.Frame) (perTank []*share, fresh []*wire.Reading, taken time.Time) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	index := map[*tank]*share{}
	taken = m.taken
	kept := max(m.position.Sequence, m.waitingRows.frame)
	for i := range frames {
		f := &frames[i]
		for j := range f.Readings {
			r := &f.Readings[j]
			if r.Received.After(taken) {
				taken = r.Received
			}
			if f.Sequence > kept {
				fresh = append(fresh, r)
			}
			t := m.tanks[m.tankOf(wire.DeviceID{Site: r.Site, Device: r.Device})]
			if t == nil || f.Sequence <= t.seen {
				continue // its device is gone, or the tank has it; the reading is kept all the same
			}
			s := index[t]
			if s == nil {
				s = &share{tank: t}
				index[t] = s
				perTank = append(perTank, s)
			}
			if f.Sequence <= m.position.Sequence {
				s.repeated = append(s.repeated, r)
			} else {
				s.readings = append(s.readings, r)
			}
		}
	}
	return perTank, fresh, taken
}

// placesOf are the sites of some tanks, by id.
func placesOf(perTank []*share) []*place {
	var places []*place
	for _, s := range perTank {
		places = append(places, s.tank.place)
	}
	slices.SortFunc(places, func(a, b *place) int { return cmp.Compare(a.id, b.id) })
	return slices.Compact(places)
}

// lockAll locks sites, which are in order, and returns what unlocks them.
func lockAll(places []*place) (unlock func()) {
	for _, p := range places {
		p.mu.Lock()
	}
	return func() {
		for _, p := range places {
			p.mu.Unlock()
		}
	}
}

// tellHeard says of which devices readings came, and when.
func (m *Monitor) tellHeard(readings []*wire.Reading) {
	if m.heard == nil {
		return
	}
	last := map[wire.DeviceID]time.Time{}
	for _, r := range readings {
		if id := (wire.DeviceID{Site: r.Site, Device: r.Device}); r.Received.After(last[id]) {
			last[id] = r.Received
		}
	}
	for id, at := range last {
		m.heard(id, at)
	}
}
