package hublife

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/store"
)

// Memory is a store in memory, with the promises of store.Store as far as a monitor
// uses them. What it has survives the process that wrote it, not this one.
type Memory struct {
	Sites []store.SiteSaved
	Tanks []store.TankSaved
	// Devices are those that it knows.
	Devices map[string]bool

	logs     map[string]store.LogPosition
	alarms   map[string]store.AlarmStep
	saved    map[string]store.SavedTank
	channels map[channelKey]store.Channel
	readings map[readingKey]float64
	findings map[findingKey]account.Finding
	hand     map[string]store.HandReading
	beliefs  map[beliefKey]store.Belief
}

type (
	channelKey struct{ device, name string }
	readingKey struct{ channel, at int64 }
	findingKey struct {
		tank  string
		code  account.Code
		found int64
	}
	beliefKey struct {
		tank string
		at   int64
	}
)

// NewMemory has nothing yet.
func NewMemory() *Memory {
	return &Memory{Devices: map[string]bool{}, logs: map[string]store.LogPosition{}, alarms: map[string]store.AlarmStep{},
		saved: map[string]store.SavedTank{}, channels: map[channelKey]store.Channel{}, readings: map[readingKey]float64{},
		findings: map[findingKey]account.Finding{}, hand: map[string]store.HandReading{}, beliefs: map[beliefKey]store.Belief{}}
}

// Commit keeps a commit whole or not at all, as store.Store.Commit does.
func (m *Memory) Commit(_ context.Context, c store.Commit) error {
	if err := m.refuses(&c); err != nil {
		return fmt.Errorf("keeping a step of the live tanks: %w", err)
	}
	if c.Log != nil {
		m.logs[c.Log.Log] = *c.Log
	}
	for _, r := range c.Readings {
		key := readingKey{r.Channel, r.At.UnixMicro()}
		if _, there := m.readings[key]; !there {
			m.readings[key] = r.Value
		}
	}
	if c.Hand != nil {
		r := c.Hand.HandReading
		r.ReadBy = c.Hand.By
		m.hand[r.ID] = r
	}
	for i := range c.Tanks {
		m.saveTank(&c.Tanks[i])
	}
	for _, step := range c.Sites {
		step.Site.Alarms, step.Record.Notices = slices.Clone(step.Site.Alarms), slices.Clone(step.Record.Notices)
		step.Said, step.Changed = nil, nil // who asks for those listens to the commits
		m.alarms[step.SiteID] = step
	}
	return nil
}

// refuses says why a commit is not kept, nil if it is.
func (m *Memory) refuses(c *store.Commit) error {
	for _, r := range c.Readings {
		const valueMax = 1e100 // as the store's
		if math.IsNaN(r.Value) || math.Abs(r.Value) > valueMax {
			return fmt.Errorf("channel %d at %v: value %v", r.Channel, r.At, r.Value)
		}
	}
	if c.Log != nil {
		now, there := m.logs[c.Log.Log]
		if there && !(now.Sequence < c.Log.Sequence || now.Sequence == c.Log.Sequence && now.Floor != c.Log.Floor) {
			return fmt.Errorf("the position in the log: %w", store.ErrStale)
		}
	}
	if c.Hand != nil {
		if _, there := m.hand[c.Hand.ID]; there {
			return fmt.Errorf("the hand reading: %w", store.ErrExists)
		}
	}
	for i := range c.Sites {
		step := &c.Sites[i]
		if now, there := m.alarms[step.SiteID]; there && now.Position != step.Position-1 {
			return fmt.Errorf("the alarms of site %q: %w", step.SiteID, store.ErrStale)
		}
	}
	return nil
}

func (m *Memory) saveTank(t *store.TankStep) {
	if !t.Since.IsZero() {
		maps.DeleteFunc(m.findings, func(k findingKey, f account.Finding) bool { return k.tank == t.TankID && !f.Found.Before(t.Since) })
		maps.DeleteFunc(m.beliefs, func(k beliefKey, b store.Belief) bool { return k.tank == t.TankID && !b.At.Before(t.Since) })
		for k, f := range m.findings {
			if k.tank == t.TankID && f.Ended.IsZero() {
				f.Ended = t.Since
				m.findings[k] = f
			}
		}
	}
	for _, f := range t.Findings {
		m.findings[findingKey{t.TankID, f.Code, f.Found.UnixNano()}] = f
	}
	for _, b := range t.Beliefs {
		m.beliefs[beliefKey{t.TankID, b.At.UnixMicro()}] = b
	}
	if t.Saved != nil {
		m.saved[t.TankID] = *t.Saved
	}
}

// Committed says whether a commit is kept, as store.Store.Committed does.
func (m *Memory) Committed(_ context.Context, c store.Commit) (kept bool, err error) {
	if c.Log != nil {
		now, there := m.logs[c.Log.Log]
		if kept = there && now.Sequence == c.Log.Sequence; !kept {
			return false, nil
		}
	}
	for i := range c.Sites {
		now, there := m.alarms[c.Sites[i].SiteID]
		if kept = there && now.Position == c.Sites[i].Position; !kept {
			return false, nil
		}
	}
	if c.Hand != nil {
		_, kept = m.hand[c.Hand.ID]
	}
	return kept, nil
}

// Load is everything that live tanks are taken up from. Alarms go through JSON, as in
// the store, so that nothing of a process outlives it.
func (m *Memory) Load(ctx context.Context) (store.Saved, error) {
	var out store.Saved
	for _, log := range slices.Sorted(maps.Keys(m.logs)) {
		out.Logs = append(out.Logs, m.logs[log])
	}
	for _, site := range m.Sites {
		site.Alarms = store.AlarmStep{SiteID: site.ID}
		if kept, there := m.alarms[site.ID]; there {
			data, err := json.Marshal(kept)
			if err == nil {
				err = json.Unmarshal(data, &site.Alarms)
			}
			if err != nil {
				return out, err
			}
		}
		out.Sites = append(out.Sites, site)
	}
	for _, tank := range m.Tanks {
		if saved, there := m.saved[tank.ID]; there {
			tank.Saved = &saved
		}
		out.Tanks = append(out.Tanks, tank)
	}
	return out, nil
}

// LoadAlarms is where a site's alarms stand.
func (m *Memory) LoadAlarms(_ context.Context, siteID string) (store.AlarmStep, error) {
	step := m.alarms[siteID]
	step.SiteID = siteID
	return step, nil
}

// EnsureChannel is a device's channel, made if it is new.
func (m *Memory) EnsureChannel(_ context.Context, device, name string) (store.Channel, error) {
	key := channelKey{device, name}
	c, there := m.channels[key]
	switch {
	case there:
	case !m.Devices[device]:
		return c, fmt.Errorf("finding channel %q of device %q: what it belongs to is %w", name, device, store.ErrNotFound)
	default:
		c = store.Channel{ID: int64(len(m.channels) + 1), DeviceID: device, Name: name, Factor: 1}
		m.channels[key] = c
	}
	return c, nil
}

// Findings is every finding of a tank that was found before a time and had not
// ended before another, the newest first.
func (m *Memory) Findings(_ context.Context, tankID string, from, to time.Time) ([]store.Finding, error) {
	list := []store.Finding{}
	for k, f := range m.findings {
		if k.tank == tankID && f.Found.Before(to) && (f.Ended.IsZero() || !f.Ended.Before(from)) {
			list = append(list, store.Finding{TankID: tankID, Finding: f})
		}
	}
	slices.SortFunc(list, func(a, b store.Finding) int {
		return cmp.Or(b.Found.Compare(a.Found), cmp.Compare(a.Code, b.Code))
	})
	return list, nil
}

// Readings calls each with every reading of a channel in a range of time, oldest
// first.
func (m *Memory) Readings(_ context.Context, channel int64, from, to time.Time, each func(store.Reading) error) error {
	var list []store.Reading
	for k, value := range m.readings {
		if k.channel == channel && k.at >= from.UnixMicro() && k.at < to.UnixMicro() {
			list = append(list, store.Reading{Channel: channel, At: time.UnixMicro(k.at).UTC(), Value: value})
		}
	}
	slices.SortFunc(list, func(a, b store.Reading) int { return a.At.Compare(b.At) })
	for _, r := range list {
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

// sameAlarms says whether two lists of alarms are the same, whatever their times are
// written in.
func sameAlarms(a, b []alarm.Alarm) bool {
	if slices.Equal(a, b) {
		return true
	}
	one, err1 := json.Marshal(a)
	two, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && (len(a)+len(b) == 0 || string(one) == string(two))
}
