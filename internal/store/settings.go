package store

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/uptrace/bun"
)

// setting is one named value, as JSON.
type setting struct {
	bun.BaseModel `bun:"table:settings"`

	Name  string `bun:",pk"`
	Value string
}

// Set saves a setting: any value that JSON can hold. The audit log says that it
// was set, and not to what: a setting may be a secret.
func (e *Editor) Set(ctx context.Context, name string, value any) error {
	return e.do(ctx, "set", "setting", name, nil, func(ctx context.Context, tx bun.Tx) error {
		return putSetting(ctx, tx, name, value)
	})
}

func putSetting(ctx context.Context, db bun.IDB, name string, value any) error {
	text, err := json.Marshal(value)
	if err != nil {
		return fmt.Errorf("as JSON: %w", err)
	}
	_, err = db.NewInsert().Model(&setting{Name: name, Value: string(text)}).
		On("CONFLICT (name) DO UPDATE").Set("value = EXCLUDED.value").Exec(ctx)
	return err
}

// Setting reads a setting into value, which it leaves alone if there is none.
func (s *Store) Setting(ctx context.Context, name string, value any) error {
	row, err := one[setting](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("name = ?", name) })
	if err == nil {
		err = json.Unmarshal([]byte(row.Value), value)
	}
	return wrap(err, "reading the setting %q", name)
}
