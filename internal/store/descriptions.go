package store

import (
	"context"
	"errors"
	"time"

	"github.com/uptrace/bun"
)

// Description is one version of a tank's tank file: the text as it was entered,
// comments and all. Versions are only added.
type Description struct {
	bun.BaseModel `bun:"table:descriptions"`

	TankID  string `bun:",pk"`
	Version int64  `bun:",pk"` // from 1
	YAML    string `bun:"yaml"`
	Note    string // why, in the words of who saved it
	SavedBy string
	Saved   time.Time
}

// SaveDescription adds a version of a tank's description, and returns it. base
// is the version the person began from, 0 for none: if it is not the newest any
// more, the error is ErrStale, so that nobody's work is lost.
func (e *Editor) SaveDescription(ctx context.Context, tankID, yaml, note string, base int64) (Description, error) {
	d := Description{TankID: tankID, Version: base + 1, YAML: yaml, Note: note, SavedBy: e.who, Saved: e.at}
	detail := map[string]any{"version": d.Version, "note": note}
	err := e.do(ctx, "save description", "tank", tankID, detail, func(ctx context.Context, tx bun.Tx) error {
		newest, err := tx.NewSelect().Model((*Description)(nil)).Where("tank_id = ?", tankID).Count(ctx)
		if err != nil {
			return err
		}
		if int64(newest) != base {
			return ErrStale
		}
		_, err = tx.NewInsert().Model(&d).Exec(ctx)
		if err = wrap(err, "adding version %d", d.Version); errors.Is(err, ErrExists) {
			return ErrStale // somebody was faster by a moment
		}
		return err
	})
	return d, err
}

// Description is one version of a tank's description; the newest if version is
// 0.
func (s *Store) Description(ctx context.Context, tankID string, version int64) (Description, error) {
	d, err := one[Description](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		q = q.Where("tank_id = ?", tankID).OrderExpr("version DESC")
		if version != 0 {
			q = q.Where("version = ?", version)
		}
		return q
	})
	return d, wrap(err, "reading version %d of the description of tank %q", version, tankID)
}

// Descriptions is every version of a tank's description, newest first, without
// the text.
func (s *Store) Descriptions(ctx context.Context, tankID string) ([]Description, error) {
	list, err := all[Description](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.ExcludeColumn("yaml").Where("tank_id = ?", tankID).OrderExpr("version DESC")
	})
	return list, wrap(err, "reading the versions of the description of tank %q", tankID)
}
