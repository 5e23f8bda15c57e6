package devices

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// When a device was heard of and what was refused of it is learned with every
// message, and must not hold one up: it is known in memory at once, and kept in
// the store every few seconds.

// keepEvery is how often; so much of it is lost when the process is killed.
const keepEvery = 2 * time.Second

// news is what the store does not have yet.
type news struct {
	refusals    map[string][]Refusal // by device, newest first
	first, last map[string]time.Time // when devices were heard of
}

func newNews() news {
	return news{map[string][]Refusal{}, map[string]time.Time{}, map[string]time.Time{}}
}

func (n *news) refuse(id string, f wire.Refusal) {
	n.refusals[id] = insert(n.refusals[id], f)
}

// recall reads from the store what was refused.
func (r *Register) recall(ctx context.Context) error {
	const everyDevice = ""
	list, err := r.store.Refusals(ctx, everyDevice)
	if err != nil {
		return fmt.Errorf("reading what was refused of devices: %w", err)
	}
	for i := range list {
		f := &list[i]
		known := r.refusals[f.DeviceID]
		reason, ok := wire.ParseReason(f.Reason)
		d := r.byID[f.DeviceID]
		if !ok || d == nil || len(known) >= keptRefusals {
			continue
		}
		r.refusals[f.DeviceID] = append(known, Refusal{Count: f.Times, Refusal: wire.Refusal{At: f.At, Topic: f.Topic,
			Device: wire.DeviceID{Site: d.SiteID, Device: d.ID}, Reason: reason, Message: f.Detail}})
	}
	return nil
}

// Heard notes that a device said something, which the log has.
func (r *Register) Heard(id wire.DeviceID, at time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.byID[id.Device]
	if d == nil || !at.After(d.LastSeen) {
		return
	}
	now := *d // others may still be reading the one before
	now.LastSeen = at
	if now.FirstSeen.IsZero() {
		now.FirstSeen = at
		r.news.first[id.Device] = at
	}
	r.byID[id.Device] = &now
	r.news.last[id.Device] = at
}

// Run keeps the news until ctx ends, and what is left then.
func (r *Register) Run(ctx context.Context, log *slog.Logger) error {
	t := time.NewTicker(keepEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			end, cancel := context.WithTimeout(context.WithoutCancel(ctx), keepEvery)
			defer cancel()
			r.keep(end, log)
			return nil
		case <-t.C:
			r.keep(ctx, log)
		}
	}
}

// keep brings the news into the store. What it does not take is lost to it and
// stays in memory: there will be more.
func (r *Register) keep(ctx context.Context, log *slog.Logger) {
	r.mu.Lock()
	n := r.news
	r.news = newNews()
	r.mu.Unlock()
	var list []store.Refusal
	for _, id := range slices.Sorted(maps.Keys(n.refusals)) {
		for _, f := range slices.Backward(n.refusals[id]) {
			list = append(list, store.Refusal{DeviceID: id, At: f.At, Reason: f.Reason.String(), Detail: f.Message, Topic: f.Topic, Times: f.Count})
		}
	}
	if len(list) > 0 {
		if err := r.store.Refuse(ctx, list...); err != nil {
			log.Error("what was refused is not kept", "error", err)
		}
	}
	for _, at := range []map[string]time.Time{n.first, n.last} {
		if len(at) == 0 {
			continue
		}
		if err := r.store.Seen(ctx, at); err != nil {
			log.Error("when devices were heard of is not kept", "error", err)
		}
	}
}
