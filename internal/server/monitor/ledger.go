package monitor

import (
	"cmp"
	"context"
	"slices"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/store"
)

// Series is a channel of a tank over a range of time, whatever device it came
// from.
func (m *Monitor) Series(ctx context.Context, tankID, channel string, from, to time.Time) (store.Series, error) {
	ids, err := m.channelIDs(ctx, tankID, channel)
	var out store.Series
	for _, id := range ids {
		if err != nil {
			break
		}
		var one store.Series
		one, err = m.store.Chart(ctx, id, from, to)
		out.Step = max(out.Step, one.Step)
		out.Points = append(out.Points, one.Points...)
	}
	slices.SortStableFunc(out.Points, func(a, b store.Point) int { return a.At.Compare(b.At) })
	return out, err
}

// Readings calls each with every reading of a tank's channel in a range of time,
// device by device, oldest first.
func (m *Monitor) Readings(ctx context.Context, tankID, channel string, from, to time.Time, each func(store.Reading) error) error {
	ids, err := m.channelIDs(ctx, tankID, channel)
	for _, id := range ids {
		if err == nil {
			err = m.store.Readings(ctx, id, from, to, each)
		}
	}
	return err
}

// channelIDs are the store's numbers of a tank's channel, one a device.
func (m *Monitor) channelIDs(ctx context.Context, tankID, channel string) ([]int64, error) {
	list, err := m.store.ReportedChannels(ctx, tankID)
	var ids []int64
	for _, c := range list {
		if c.Name == channel {
			ids = append(ids, c.ID)
		}
	}
	return ids, err
}

// Fill is one run of the top-off pump.
type Fill struct {
	At  time.Time
	Ran time.Duration
}

// longestFill is the longest run that is believed: a pump whose end was not
// heard would otherwise have run for days.
const longestFill = 6 * time.Hour

// Fills are a tank's runs of the top-off pump in a range of time, oldest first.
func (m *Monitor) Fills(ctx context.Context, tankID string, from, to time.Time) ([]Fill, error) {
	var fills []Fill
	var began time.Time
	err := m.Readings(ctx, tankID, channel.TopOffPump, from, to, func(r store.Reading) error {
		switch {
		case r.Value != 0 && began.IsZero():
			began = r.At
		case r.Value == 0 && !began.IsZero():
			if ran := r.At.Sub(began); ran <= longestFill {
				fills = append(fills, Fill{began, ran})
			}
			began = time.Time{}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = m.Readings(ctx, tankID, channel.TopOffRan, from, to, func(r store.Reading) error {
		ran := time.Duration(r.Value * float64(time.Second))
		fills = append(fills, Fill{r.At.Add(-ran), ran})
		return nil
	})
	slices.SortFunc(fills, func(a, b Fill) int { return a.At.Compare(b.At) })
	return fills, err
}

// First is when a tank was first heard of, as far as its readings are kept; zero
// if it never was.
func (m *Monitor) First(ctx context.Context, tankID string) (time.Time, error) {
	list, err := m.store.ReportedChannels(ctx, tankID)
	if err != nil {
		return time.Time{}, err
	}
	ids := make([]int64, len(list))
	for i, c := range list {
		ids[i] = c.ID
	}
	return m.store.First(ctx, ids)
}

// Turn is a contact that changed, in words.
type Turn struct {
	At    time.Time
	Words string
}

// Turns are the changes of a tank's contacts in a range of time, oldest first,
// but for the watch sensor and the pump, which the fills tell.
func (m *Monitor) Turns(ctx context.Context, tankID string, from, to time.Time) ([]Turn, error) {
	var turns []Turn
	for _, c := range channel.List() {
		if c.Turned[1] == "" {
			continue
		}
		known, last := false, false
		err := m.Readings(ctx, tankID, c.Name, from, to, func(r store.Reading) error {
			on := r.Value != 0
			if known && on != last || c.Name == channel.PowerRestored {
				words := c.Turned[0]
				if on {
					words = c.Turned[1]
				}
				turns = append(turns, Turn{r.At, words})
			}
			known, last = true, on
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(turns, func(a, b Turn) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Words, b.Words)) })
	return turns, nil
}
