package store

import (
	"context"
	"time"

	"github.com/uptrace/bun"
)

// Session is somebody logged in. Only a hash of the token is kept, so that a
// copy of the database lets nobody in.
type Session struct {
	bun.BaseModel `bun:"table:sessions"`

	TokenHash string `bun:",pk"`
	UserID    string
	Data      []byte
	Created   time.Time
	Expires   time.Time
}

// SaveSession adds a session, or saves the data and end of one that is there.
func (s *Store) SaveSession(ctx context.Context, session Session) error {
	_, err := s.write.NewInsert().Model(&session).
		On("CONFLICT (token_hash) DO UPDATE").Set("data = EXCLUDED.data, expires = EXCLUDED.expires").Exec(ctx)
	return wrap(err, "saving a session of user %q", session.UserID)
}

// Session is the session with this token hash, unless it has expired by now.
func (s *Store) Session(ctx context.Context, tokenHash string, now time.Time) (Session, error) {
	session, err := one[Session](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("token_hash = ? AND expires > ?", tokenHash, now)
	})
	return session, wrap(err, "reading a session")
}

// EndSession ends one session; none is no error.
func (s *Store) EndSession(ctx context.Context, tokenHash string) error {
	_, err := s.write.NewDelete().Model((*Session)(nil)).Where("token_hash = ?", tokenHash).Exec(ctx)
	return wrap(err, "ending a session")
}

func endSessions(ctx context.Context, db bun.IDB, userID string) error {
	_, err := db.NewDelete().Model((*Session)(nil)).Where("user_id = ?", userID).Exec(ctx)
	return err
}

// DropExpiredSessions forgets sessions that have expired by now.
func (s *Store) DropExpiredSessions(ctx context.Context, now time.Time) error {
	_, err := s.write.NewDelete().Model((*Session)(nil)).Where("expires <= ?", now).Exec(ctx)
	return wrap(err, "dropping expired sessions")
}
