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
	Position int64  // in the stream; it never falls
	Data     []byte
}

// SaveCheckpoint saves a checkpoint. If one further along is there already,
// because another process took the work up, the error is ErrStale.
func (s *Store) SaveCheckpoint(ctx context.Context, c Checkpoint) error {
	return wrap(saveCheckpoint(ctx, s.write, c), "saving the checkpoint of %s %q", c.Kind, c.Subject)
}

func saveCheckpoint(ctx context.Context, db bun.IDB, c Checkpoint) error {
	if c.Data == nil {
		c.Data = []byte{}
	}
	result, err := db.NewInsert().Model(&c).On("CONFLICT (kind, subject) DO UPDATE").
		Set("position = EXCLUDED.position, data = EXCLUDED.data").
		Where("checkpoint.position <= EXCLUDED.position").Exec(ctx)
	if err != nil {
		return err
	}
	if n, err := result.RowsAffected(); err != nil || n == 0 {
		return errorOr(err, ErrStale)
	}
	return nil
}

func errorOr(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}

// Checkpoint is the checkpoint of a piece of work.
func (s *Store) Checkpoint(ctx context.Context, kind, subject string) (Checkpoint, error) {
	c, err := one[Checkpoint](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("kind = ? AND subject = ?", kind, subject)
	})
	return c, wrap(err, "reading the checkpoint of %s %q", kind, subject)
}
