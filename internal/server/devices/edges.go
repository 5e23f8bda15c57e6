package devices

import (
	"context"
	"fmt"

	"github.com/nats-io/nkeys"

	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// IsEdge says whether a device is an edge: what it proves itself by is a key, of
// which the public half is kept here.
func IsEdge(d *store.Device) bool { return nkeys.IsValidPublicUserKey(d.CredentialHash) }

// NewEdge makes an edge of a site, a tank and a name. The seed of its key is told
// this once.
func (r *Register) NewEdge(ctx context.Context, e *store.Editor, d store.Device) (store.Device, string, error) {
	public, seed, err := wire.NewEdgeKey()
	if err != nil {
		return d, "", err
	}
	d.CredentialHash = public
	d, err = r.add(ctx, e, d)
	return d, seed, err
}

// RenewKey gives an edge another key. The old one is good no longer.
func (r *Register) RenewKey(ctx context.Context, e *store.Editor, id string) (store.Device, string, error) {
	public, seed, err := wire.NewEdgeKey()
	if err != nil {
		return store.Device{}, "", err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.byID[id]
	if d == nil || !IsEdge(d) || !d.Revoked.IsZero() {
		return store.Device{}, "", fmt.Errorf("edge %q: %w", id, store.ErrNotFound)
	}
	if err := e.SetCredential(ctx, id, public); err != nil {
		return *d, "", err
	}
	renewed := *d
	renewed.CredentialHash = public
	r.byID[id] = &renewed
	return renewed, seed, nil
}

// EdgeKeys are the edges that may link themselves to this hub.
func (r *Register) EdgeKeys() []wire.EdgeKey {
	var keys []wire.EdgeKey
	for _, d := range r.All() {
		if IsEdge(&d) && d.Revoked.IsZero() {
			keys = append(keys, wire.EdgeKey{Edge: wire.DeviceID{Site: d.SiteID, Device: d.ID}, Public: d.CredentialHash})
		}
	}
	return keys
}

// EdgeOf is the edge of a tank, the newest if there are several; false without.
func (r *Register) EdgeOf(tankID string) (wire.DeviceID, bool) {
	for _, d := range r.All() {
		if d.TankID == tankID && IsEdge(&d) && d.Revoked.IsZero() {
			return wire.DeviceID{Site: d.SiteID, Device: d.ID}, true
		}
	}
	return wire.DeviceID{}, false
}
