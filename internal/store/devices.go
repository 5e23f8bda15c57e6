package store

import (
	"context"
	"maps"
	"slices"
	"time"

	"github.com/uptrace/bun"
)

// Device is something at a site that reports readings.
type Device struct {
	bun.BaseModel `bun:"table:devices"`

	ID     string `bun:",pk"`
	SiteID string
	TankID string `bun:",nullzero"` // empty: of the whole site
	Name   string
	// CredentialHash is made by the caller. It is in no JSON.
	CredentialHash string `json:"-"`
	Created        time.Time
	Revoked        time.Time `bun:",nullzero"` // zero: may report
	FirstSeen      time.Time `bun:",nullzero"` // zero: never
	LastSeen       time.Time `bun:",nullzero"` // zero: never
}

// Channel is one thing a device reports, and what it means.
type Channel struct {
	bun.BaseModel `bun:"table:channels"`

	ID       int64 `bun:",pk,autoincrement"`
	DeviceID string
	// Name is the device's own name of it, unique within the device.
	Name     string
	TankID   string `bun:",nullzero"` // the tank it tells of; empty: none
	Quantity string // what it measures, as the account calls it; empty: not mapped yet
	Unit     string // the unit it arrives in
	Topic    string // for plain values by topic; empty: SenML
	// A stored value is Factor·(as it arrived) + Shift. A factor of 0 is read as
	// 1.
	Factor, Shift float64
}

// Refusal is a message of a device that was not taken, and why.
type Refusal struct {
	bun.BaseModel `bun:"table:refusals"`

	ID       int64 `bun:",pk,autoincrement"`
	DeviceID string
	At       time.Time // the last time
	Reason   string    // the same words each time, for counting
	Detail   string
	Topic    string // that it was sent to; empty where it has none
	Times    int    // how often the same came in a row; 0 is read as 1
}

// same says whether two refusals of a device differ in their times alone.
func (r *Refusal) same(o *Refusal) bool {
	return r.Reason == o.Reason && r.Detail == o.Detail && r.Topic == o.Topic
}

// refusalsKept is how many refusals of a device are kept: a device that babbles
// does not fill the disk. The limit is ours.
const refusalsKept = 200

// CreateDevice adds a device.
func (e *Editor) CreateDevice(ctx context.Context, d Device) error {
	d.Created = e.at
	return e.do(ctx, "create device", "device", d.ID, d, func(ctx context.Context, tx bun.Tx) error {
		_, err := tx.NewInsert().Model(&d).Exec(ctx)
		return err
	})
}

// UpdateDevice saves a device's name and tank, and when it was revoked.
func (e *Editor) UpdateDevice(ctx context.Context, d Device) error {
	return e.do(ctx, "update device", "device", d.ID, d, func(ctx context.Context, tx bun.Tx) error {
		return changed(tx.NewUpdate().Model(&d).Column("name", "tank_id", "revoked").WherePK().Exec(ctx))
	})
}

// SetCredential saves the hash of a device's new credential.
func (e *Editor) SetCredential(ctx context.Context, deviceID, hash string) error {
	return e.do(ctx, "set credential", "device", deviceID, nil, func(ctx context.Context, tx bun.Tx) error {
		return changed(tx.NewUpdate().Model((*Device)(nil)).Set("credential_hash = ?", hash).Where("id = ?", deviceID).Exec(ctx))
	})
}

// Device is the device with this ID.
func (s *Store) Device(ctx context.Context, id string) (Device, error) {
	d, err := one[Device](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("id = ?", id) })
	return d, wrap(err, "reading device %q", id)
}

// Devices is every device by name, also revoked ones; of one site unless siteID
// is empty.
func (s *Store) Devices(ctx context.Context, siteID string) ([]Device, error) {
	list, err := all[Device](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if siteID != "" {
			q = q.Where("site_id = ?", siteID)
		}
		return q.Order("name", "id")
	})
	return list, wrap(err, "reading the devices of site %q", siteID)
}

// Seen notes when devices were heard of, as the first time where there was none
// before. An earlier time than the last one noted changes nothing.
func (s *Store) Seen(ctx context.Context, at map[string]time.Time) error {
	err := s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		for _, id := range slices.Sorted(maps.Keys(at)) {
			t := at[id]
			if _, err := tx.NewUpdate().Model((*Device)(nil)).Set("last_seen = ?", t).Set("first_seen = COALESCE(first_seen, ?)", t).
				Where("id = ? AND (last_seen IS NULL OR last_seen < ?)", id, t).Exec(ctx); err != nil {
				return wrap(err, "device %q", id)
			}
		}
		return nil
	})
	return wrap(err, "noting when devices were seen")
}

// EnsureChannel is the channel of a device with this name, added without a
// meaning if it is new.
func (s *Store) EnsureChannel(ctx context.Context, deviceID, name string) (Channel, error) {
	c, err := channel(ctx, s.read, deviceID, name)
	if err == nil {
		return c, nil
	}
	err = s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		fresh := Channel{DeviceID: deviceID, Name: name, Factor: 1}
		if _, err := tx.NewInsert().Model(&fresh).ExcludeColumn("id").On("CONFLICT DO NOTHING").Exec(ctx); err != nil {
			return err
		}
		c, err = channel(ctx, tx, deviceID, name)
		return err
	})
	return c, wrap(err, "finding channel %q of device %q", name, deviceID)
}

func channel(ctx context.Context, db bun.IDB, deviceID, name string) (Channel, error) {
	return one[Channel](ctx, db, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("device_id = ? AND name = ?", deviceID, name)
	})
}

// Channels is every channel of a device, by name.
func (s *Store) Channels(ctx context.Context, deviceID string) ([]Channel, error) {
	list, err := all[Channel](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("device_id = ?", deviceID).Order("name", "id")
	})
	return list, wrap(err, "reading the channels of device %q", deviceID)
}

// Refuse notes messages that were not taken, the oldest first, and forgets the
// oldest beyond each device's newest two hundred. The same again as a device's
// newest counts with it.
func (s *Store) Refuse(ctx context.Context, list ...Refusal) error {
	err := s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		for i := range list {
			if err := refuse(ctx, tx, list[i]); err != nil {
				return wrap(err, "noting a refusal of device %q", list[i].DeviceID)
			}
		}
		return nil
	})
	return err
}

func refuse(ctx context.Context, tx bun.Tx, r Refusal) error {
	r.Times = max(r.Times, 1)
	newest, err := all[Refusal](ctx, tx, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("device_id = ?", r.DeviceID).OrderExpr("id DESC").Limit(1)
	})
	if err != nil {
		return err
	}
	if len(newest) > 0 && newest[0].same(&r) {
		same := &newest[0]
		same.At, same.Times = r.At, same.Times+r.Times
		_, err := tx.NewUpdate().Model(same).Column("at", "times").WherePK().Exec(ctx)
		return err
	}
	if _, err := tx.NewInsert().Model(&r).ExcludeColumn("id").Exec(ctx); err != nil {
		return err
	}
	kept := tx.NewSelect().Model((*Refusal)(nil)).Column("id").Where("device_id = ?", r.DeviceID).OrderExpr("id DESC").Limit(refusalsKept)
	_, err = tx.NewDelete().Model((*Refusal)(nil)).Where("device_id = ? AND id NOT IN (?)", r.DeviceID, kept).Exec(ctx)
	return err
}

// Refusals is what was refused, newest first; of one device unless deviceID is
// empty.
func (s *Store) Refusals(ctx context.Context, deviceID string) ([]Refusal, error) {
	list, err := all[Refusal](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if deviceID != "" {
			q = q.Where("device_id = ?", deviceID)
		}
		return q.OrderExpr("id DESC")
	})
	return list, wrap(err, "reading the refusals of device %q", deviceID)
}
