package store

import (
	"context"

	"github.com/uptrace/bun"
)

// Checkpoint is where a piece of work stands, such as a tank's account: what it
// knows, and how much of its stream it has taken in.
type Checkpoint struct {
	bun.BaseModel `bun:"table:checkpoints"`

	Kind     string `bun:",pk"` // as "account"
	Subject  string `bun:",pk"` // as a tank's ID
	Position int64  // in the stream
	Data     []byte
}

// Checkpoint is the checkpoint of a piece of work.
func (s *Store) Checkpoint(ctx context.Context, kind, subject string) (Checkpoint, error) {
	c, err := one[Checkpoint](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("kind = ? AND subject = ?", kind, subject)
	})
	return c, wrap(err, "reading the checkpoint of %s %q", kind, subject)
}
