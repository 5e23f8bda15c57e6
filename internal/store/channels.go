package store

import (
	"context"

	"github.com/uptrace/bun"
)

// ReportedChannels is every channel of a tank's devices, by the devices' names.
func (s *Store) ReportedChannels(ctx context.Context, tankID string) ([]Channel, error) {
	list, err := all[Channel](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Join("JOIN devices AS d ON d.id = channel.device_id").Where("d.tank_id = ?", tankID).
			OrderExpr("d.name, d.id, channel.name, channel.id")
	})
	return list, wrap(err, "reading the channels of the devices of tank %q", tankID)
}
