package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/uptrace/bun"
)

// Entry is one line of the audit log.
type Entry struct {
	bun.BaseModel `bun:"table:audit"`

	ID  int64 `bun:",pk,autoincrement"` // rises with every entry
	At  time.Time
	Who string
	// Action is what was done, as "create tank".
	Action string
	// Subject is what it was done to, as "tank/lobby-reef".
	Subject string
	// Detail is what changed, as JSON. It never holds a hash or a password.
	Detail string
}

// Editor makes changes in somebody's name, and writes each into the audit log
// in the same transaction.
type Editor struct {
	store *Store
	who   string
	at    time.Time
}

// Edit makes changes as somebody, now.
func (s *Store) Edit(who string, now time.Time) *Editor {
	return &Editor{store: s, who: who, at: now.UTC()}
}

// do makes one change and its entry. detail is written as JSON.
func (e *Editor) do(ctx context.Context, action, kind, id string, detail any, f func(ctx context.Context, tx bun.Tx) error) error {
	err := e.store.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		if err := f(ctx, tx); err != nil {
			return err
		}
		return note(ctx, tx, e.who, e.at, action, kind, id, detail)
	})
	return wrap(err, "%s %q", action, id)
}

// note writes an entry of the audit log.
func note(ctx context.Context, db bun.IDB, who string, at time.Time, action, kind, id string, detail any) error {
	if who == "" {
		return errors.New("nobody is named who does it")
	}
	text, err := json.Marshal(detail)
	if err != nil {
		return wrap(err, "for the audit log")
	}
	_, err = db.NewInsert().Model(&Entry{At: at, Who: who, Action: action, Subject: kind + "/" + id, Detail: string(text)}).Exec(ctx)
	return err
}

// Note writes an entry for what changed nothing in the store, such as a command
// to a device or a login.
func (e *Editor) Note(ctx context.Context, action, kind, id string, detail any) error {
	return e.do(ctx, action, kind, id, detail, func(context.Context, bun.Tx) error { return nil })
}

// AuditQuery narrows the audit log; empty fields do not.
type AuditQuery struct {
	Subject string
	Who     string
	Before  int64 // an entry's ID: only older ones
	Limit   int   // 0: AuditPage
}

// AuditPage is how many entries Audit returns at most unless told otherwise.
const AuditPage = 100

// Audit is the log, newest first.
func (s *Store) Audit(ctx context.Context, query AuditQuery) ([]Entry, error) {
	if query.Limit <= 0 {
		query.Limit = AuditPage
	}
	entries, err := all[Entry](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if query.Subject != "" {
			q = q.Where("subject = ?", query.Subject)
		}
		if query.Who != "" {
			q = q.Where("who = ?", query.Who)
		}
		if query.Before > 0 {
			q = q.Where("id < ?", query.Before)
		}
		return q.OrderExpr("id DESC").Limit(int64(query.Limit))
	})
	return entries, wrap(err, "reading the audit log")
}
