// Package devices knows which devices there are, which tank each reports of,
// whether credentials are theirs, and what was refused of them.
//
// A device's id is its client id, its user name and its level in the topic, so
// there is one word to get right. The register is asked for every connection and
// every message, so it is held in memory; the store has it too.
package devices

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/server/auth"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Refusal is something a device sent that was not taken; Count is how often the
// same came in a row.
type Refusal struct {
	wire.Refusal
	Count int
}

// keptRefusals is how many are shown of a device.
const keptRefusals = 20

// Register is the devices. It may be used from several goroutines.
type Register struct {
	store   *store.Store
	profile *wire.Profile

	mu       sync.RWMutex
	byID     map[string]*store.Device
	refusals map[string][]Refusal // by device, newest first
	news     news                 // what the store does not have yet

	// making lets one at a time look for a tank's records and make them.
	making sync.Mutex
}

// Open reads the register from the store.
func Open(ctx context.Context, s *store.Store) (*Register, error) {
	const everySite = ""
	list, err := s.Devices(ctx, everySite)
	if err != nil {
		return nil, fmt.Errorf("reading the devices: %w", err)
	}
	r := &Register{store: s, profile: channel.Profile(), byID: map[string]*store.Device{}, refusals: map[string][]Refusal{}, news: newNews()}
	for _, d := range list {
		r.byID[d.ID] = &d
	}
	return r, r.recall(ctx)
}

// New makes a device of a site, a tank and a name. The password is told this
// once.
func (r *Register) New(ctx context.Context, e *store.Editor, d store.Device) (store.Device, string, error) {
	password := auth.NewSecret()
	d.CredentialHash = auth.SecretHash(password)
	d, err := r.add(ctx, e, d)
	return d, password, err
}

func (r *Register) add(ctx context.Context, e *store.Editor, d store.Device) (store.Device, error) {
	d.ID = newID()
	if err := e.CreateDevice(ctx, d); err != nil {
		return d, err
	}
	d, err := r.store.Device(ctx, d.ID)
	if err != nil {
		return d, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.byID[d.ID] = &d
	return d, nil
}

// recordsName is what the records of a tank are called among its devices.
const recordsName = "Imported records"

// Records is what imported readings of a tank are listed under, made when first
// asked for: a device that is none, for it has no credentials.
func (r *Register) Records(ctx context.Context, e *store.Editor, siteID, tankID string) (store.Device, error) {
	r.making.Lock()
	defer r.making.Unlock()
	for _, d := range r.All() {
		if d.TankID == tankID && IsRecords(&d) {
			return d, nil
		}
	}
	return r.add(ctx, e, store.Device{SiteID: siteID, TankID: tankID, Name: recordsName})
}

// IsRecords says whether a device is a tank's imported records.
func IsRecords(d *store.Device) bool { return d.CredentialHash == "" }

// newID is short enough to be typed and long enough not to be guessed wrong.
func newID() string {
	const letters = 8
	return strings.ToLower(auth.NewSecret()[:letters])
}

// Revoke takes a device's credentials away.
func (r *Register) Revoke(ctx context.Context, e *store.Editor, id string, now time.Time) (store.Device, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.byID[id]
	if d == nil {
		return store.Device{}, fmt.Errorf("device %q: %w", id, store.ErrNotFound)
	}
	gone := *d
	gone.Revoked = now
	if err := e.UpdateDevice(ctx, gone); err != nil {
		return *d, err
	}
	r.byID[id] = &gone
	return gone, nil
}

// Device is one device.
func (r *Register) Device(id string) (store.Device, bool) {
	r.mu.RLock()
	defer r.mu.RUnlock()
	if d := r.byID[id]; d != nil {
		return *d, true
	}
	return store.Device{}, false
}

// All are all devices, the newest first.
func (r *Register) All() []store.Device {
	r.mu.RLock()
	defer r.mu.RUnlock()
	out := make([]store.Device, 0, len(r.byID))
	for _, d := range r.byID {
		out = append(out, *d)
	}
	slices.SortFunc(out, func(a, b store.Device) int { return cmp.Or(b.Created.Compare(a.Created), cmp.Compare(a.ID, b.ID)) })
	return out
}

// Authenticate says whose credentials these are.
func (r *Register) Authenticate(clientID, user string, password []byte) (wire.DeviceID, bool) {
	d, known := r.Device(user)
	if !known || IsRecords(&d) || clientID != d.ID || !d.Revoked.IsZero() || !auth.SecretMatches(d.CredentialHash, string(password)) {
		return wire.DeviceID{}, false
	}
	return wire.DeviceID{Site: d.SiteID, Device: d.ID}, true
}

// TankOf is the tank that a device reports of, also a revoked one, whose last
// readings may still be on their way; empty for none.
func (r *Register) TankOf(id wire.DeviceID) string {
	d, _ := r.Device(id.Device)
	return d.TankID
}

// Reports is the tank that a device may report of from now on; empty for none.
func (r *Register) Reports(id wire.DeviceID) string {
	if d, known := r.Device(id.Device); known && d.Revoked.IsZero() {
		return d.TankID
	}
	return ""
}

// Profile is what a device may say; all may say the same.
func (r *Register) Profile(wire.DeviceID) *wire.Profile { return r.profile }

// Refused remembers a refusal, for the page of the device that it concerns. One
// whose credentials were refused is known by the client id it gave.
func (r *Register) Refused(f wire.Refusal) {
	r.mu.Lock()
	defer r.mu.Unlock()
	id := cmp.Or(f.Device.Device, f.ClientID)
	if r.byID[id] == nil {
		return
	}
	r.refusals[id] = insert(r.refusals[id], f)
	r.news.refuse(id, f)
}

// insert puts a refusal before older ones; the same again counts with the newest.
func insert(list []Refusal, f wire.Refusal) []Refusal {
	if len(list) > 0 && list[0].Reason == f.Reason && list[0].Message == f.Message && list[0].Topic == f.Topic {
		list[0].At = f.At
		list[0].Count++
		return list
	}
	list = slices.Insert(list, 0, Refusal{f, 1})
	return list[:min(len(list), keptRefusals)]
}

// Refusals are the last refusals of a device, the newest first.
func (r *Register) Refusals(id string) []Refusal {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return slices.Clone(r.refusals[id])
}
