package monitor

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/live"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Records of a monitored tank come late: its account is past their time. So it starts
// afresh and works through everything that the store has of the tank, the new records
// at their own times, beside the one that goes on; then it takes that one's place.

// Added is what became of records.
type Added struct {
	New      int
	Repeated int // the tank had a reading of the channel at that time
	TooOld   int // from before the time that readings are kept for
}

// ErrBusy: the tank's records are being worked through already.
var ErrBusy = errors.New("earlier records of this tank are still being worked through; try again in a minute")

// rerunInput is what came while a tank's records are worked through again.
type rerunInput struct {
	readings []wire.Reading
	entered  []store.HandReading
}

// walk is a new account on its way through a tank's records.
type walk struct {
	*live.Walk
	began time.Time
	// heard are the entries by hand that it has, by ID.
	heard map[string]bool
}

// see has the account hear what people entered, each entry once.
func (k *walk) see(entered []store.HandReading) {
	for i := range entered {
		if o, ok := FromHand(&entered[i]); ok && !k.heard[entered[i].ID] {
			k.heard[entered[i].ID] = true
			k.See(o)
		}
	}
}

// recordBatch is how many records go into the store before others have a turn.
const recordBatch = 5000

// Records is what a table had of a tank: readings in the order of time, and how
// many things were refused of it.
type Records struct {
	TankID   string
	Readings []wire.Reading
	Refused  int
}

// AddRecords takes records in, each once however often it comes and by which
// device. Then the account works through all of the tank's records again, and its
// findings since then are what it finds by that. Readings that come in the meantime
// are taken as always. What is begun is ended though ctx ends; after a killed process
// the same records again have the account work through them.
func (m *Monitor) AddRecords(ctx context.Context, r Records) (added Added, err error) {
	ctx = context.WithoutCancel(ctx)
	t, err := m.beginRerun(r.TankID)
	if err != nil {
		return added, err
	}
	defer func() {
		m.endRerun(t)
		m.counted(&Counters{Imported: int64(added.New), Repeated: int64(added.Repeated), Unreadable: int64(r.Refused)})
	}()
	fresh, err := m.unknown(ctx, r.TankID, r.Readings)
	if err != nil {
		return added, err
	}
	added.Repeated = len(r.Readings) - len(fresh)
	for batch := range slices.Chunk(fresh, recordBatch) {
		kept, err := m.addReadings(ctx, batch)
		if err != nil {
			return added, err
		}
		added.New += kept.New
		added.Repeated += kept.Duplicate
		added.TooOld += kept.TooOld
	}
	if added.New+added.Repeated == 0 {
		return added, nil
	}
	return added, m.rerun(ctx, t)
}

// addReadings brings records into the store, each once however often it came.
func (m *Monitor) addReadings(ctx context.Context, readings []wire.Reading) (store.Added, error) {
	pointers := make([]*wire.Reading, len(readings))
	for i := range readings {
		pointers[i] = &readings[i]
	}
	rows, err := m.rows(ctx, pointers)
	if err != nil {
		return store.Added{}, err
	}
	added, err := m.store.AddReadings(ctx, rows)
	if err == nil {
		m.counted(&Counters{Unknown: int64(len(readings) - len(rows))})
	}
	return added, err
}

// WorkThrough has the accounts work through their tanks' records that could not do so
// when it was due, because the store failed. It is to be called every second or so.
func (m *Monitor) WorkThrough(ctx context.Context) {
	for _, p := range m.sites() {
		for _, t := range p.all() {
			if !t.owed.Load() || ctx.Err() != nil {
				continue
			}
			p.mu.Lock()
			due := t.again.wait == 0 || t.again.due(m.now())
			p.mu.Unlock()
			if due {
				m.workThroughOwed(ctx, t)
			}
		}
	}
}

// workThroughOwed has a tank's account work through its records, if it still has to,
// and says whether it need not any more.
func (m *Monitor) workThroughOwed(ctx context.Context, t *tank) bool {
	if !t.owed.Load() {
		return true
	}
	_, err := m.beginRerun(t.id)
	if err == nil {
		err = m.rerun(ctx, t)
		m.endRerun(t)
	}
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	t.again.after(err, m.now())
	if err != nil {
		m.log.Error("a tank's records could not be worked through yet", "tank", t.id, "error", err)
	}
	return err == nil
}

func (m *Monitor) beginRerun(tankID string) (*tank, error) {
	t := m.tank(tankID)
	if t == nil || t.spec.Load() == nil {
		return nil, notMonitored(tankID)
	}
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	if s := t.spec.Load(); s.problem != nil {
		return nil, s.problem
	}
	if t.rerun != nil {
		return nil, ErrBusy
	}
	t.rerun = &rerunInput{}
	return t, nil
}

func (m *Monitor) endRerun(t *tank) {
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	t.rerun = nil
}

// unknown are the records whose channel has no reading at their time, from any
// device of the tank.
func (m *Monitor) unknown(ctx context.Context, tankID string, records []wire.Reading) ([]wire.Reading, error) {
	if len(records) == 0 {
		return nil, nil
	}
	type key struct {
		channel string
		at      int64
	}
	keyOf := func(r *wire.Reading) key { return key{r.Channel, r.At.UnixMicro()} }
	known := map[key]bool{}
	channels := map[string]bool{}
	for i := range records {
		known[keyOf(&records[i])] = false
		channels[records[i].Channel] = true
	}
	from, to := records[0].At, records[len(records)-1].At.Add(time.Microsecond)
	for channel := range channels {
		err := m.Readings(ctx, tankID, channel, from, to, func(r store.Reading) error {
			k := key{channel, r.At.UnixMicro()}
			if _, asked := known[k]; asked {
				known[k] = true
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return slices.DeleteFunc(slices.Clone(records), func(r wire.Reading) bool { return known[keyOf(&r)] }), nil
}

// recordSpan is how much of a tank's past is in memory at once.
const recordSpan = 7 * 24 * time.Hour

// rerun lets a tank's account work through its records again.
func (m *Monitor) rerun(ctx context.Context, t *tank) error {
	for {
		sheet, now := t.spec.Load().sheet, m.now()
		k, err := m.workThrough(ctx, t.id, sheet, now)
		if err != nil {
			return err
		}
		if k == nil {
			t.owed.Store(false)
			return nil
		}
		if done, err := m.replace(ctx, t, sheet, k); done {
			return err
		}
	}
}

// workThrough is a new account of a tank that has worked through its records; nil
// where there are none.
func (m *Monitor) workThrough(ctx context.Context, tankID string, sheet *live.Sheet, now time.Time) (*walk, error) {
	const all = true
	if err := m.commitWaiting(ctx, now, all); err != nil { // they are records too
		return nil, err
	}
	list, err := m.store.ReportedChannels(ctx, tankID)
	if err != nil {
		return nil, err
	}
	began, err := m.firstOf(ctx, list, now)
	if err != nil || began.IsZero() {
		return nil, err
	}
	latest := now.Add(wire.MaxAhead) // the clocks of devices and people may be ahead
	hand, err := m.store.HandReadings(ctx, tankID, began, latest)
	if err != nil {
		return nil, err
	}
	k := &walk{began: began, heard: map[string]bool{}}
	if k.Walk, err = live.NewWalk(sheet, began); err != nil {
		return nil, err
	}
	k.see(hand)
	return k, m.inSpans(ctx, list, began, latest, func(readings []wire.Reading) error {
		k.Through(readings)
		return nil
	})
}

// errFirst ends a look through readings at the first.
var errFirst = errors.New("the first is enough")

// firstOf is the time of the first reading of any of some channels, zero if there
// is none before a time.
func (m *Monitor) firstOf(ctx context.Context, list []store.Channel, before time.Time) (first time.Time, err error) {
	for _, c := range list {
		err := m.store.Readings(ctx, c.ID, time.Unix(0, 0), before, func(r store.Reading) error {
			if first.IsZero() || r.At.Before(first) {
				first = r.At
			}
			return errFirst
		})
		if err != nil && !errors.Is(err, errFirst) {
			return first, err
		}
	}
	return first, nil
}

// Records calls each with every reading of a tank from a time and before another,
// in the order of time. Other readings may come at the same time.
func (m *Monitor) Records(ctx context.Context, tankID string, from, to time.Time, each func(*wire.Reading) error) error {
	list, err := m.store.ReportedChannels(ctx, tankID)
	if err != nil {
		return err
	}
	first, err := m.firstOf(ctx, list, to)
	if err != nil || first.IsZero() {
		return err
	}
	if first.After(from) {
		from = first
	}
	return m.inSpans(ctx, list, from, to, func(readings []wire.Reading) error {
		for i := range readings {
			if err := each(&readings[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

// inSpans calls each with the readings of channels, span by span, in the order of
// time.
func (m *Monitor) inSpans(ctx context.Context, list []store.Channel, from, to time.Time, each func([]wire.Reading) error) error {
	for ; from.Before(to); from = from.Add(recordSpan) {
		end := from.Add(recordSpan)
		if end.After(to) {
			end = to
		}
		readings, err := m.recordsOf(ctx, list, from, end)
		if err == nil {
			err = each(readings)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// recordsOf are the readings of channels in a range of time, in its order.
func (m *Monitor) recordsOf(ctx context.Context, list []store.Channel, from, to time.Time) ([]wire.Reading, error) {
	var out []wire.Reading
	for _, c := range list {
		err := m.store.Readings(ctx, c.ID, from, to, func(r store.Reading) error {
			out = append(out, wire.Reading{Device: c.DeviceID, Channel: c.Name, At: r.At, Value: r.Value})
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(out, func(a, b wire.Reading) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Device, b.Device))
	})
	return out, nil
}

// replace lets a new account take the place of a tank's, after it has heard what
// came in the meantime. done is false where the tank got another description, by which
// the account has to go.
func (m *Monitor) replace(ctx context.Context, t *tank, sheet *live.Sheet, k *walk) (done bool, err error) {
	now := m.now()
	known := m.known(ctx, now)
	t.place.mu.Lock()
	defer t.place.mu.Unlock()
	spec := t.spec.Load()
	if spec.sheet != sheet {
		return false, nil
	}
	slices.SortStableFunc(t.rerun.readings, func(a, b wire.Reading) int { return a.At.Compare(b.At) })
	k.see(t.rerun.entered)
	k.Through(t.rerun.readings)
	k.End(known)
	before := spec.open(t.value.Load())
	d := m.draft(now)
	td := d.of(t)
	td.value, td.save, td.since = k.Value().Over(t.value.Load()), true, k.began
	td.findings, td.beliefs = k.Findings(), k.Beliefs()
	d.count.NotTaken = int64(k.NotTaken())
	after := spec.open(td.value)
	for code, f := range before {
		if _, still := after[code]; !still {
			f.Ended = now
			after[code] = f
		}
	}
	for _, code := range slices.Sorted(maps.Keys(after)) {
		f := after[code]
		d.events = append(d.events, Event{TankID: t.id, SiteID: t.siteID, Finding: &f})
		d.tell(t.place, alarm.FromFinding(t.id, "", f))
	}
	err = d.keep(ctx)
	if err == nil {
		t.owed.Store(false)
	}
	return true, err
}
