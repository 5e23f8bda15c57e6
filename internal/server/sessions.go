package server

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/alexedwards/scs/v2"

	"isohaline/internal/server/api"
	"isohaline/internal/store"
)

// sessionStore keeps sessions in the store. The tokens that it gets are hashed
// already.
type sessionStore struct {
	*store.Store
	now func() time.Time
}

var errWithoutContext = errors.New("sessions are only kept with a context")

// The library asks for these three and calls the ones with a context.
func (sessionStore) Delete(string) error                    { return errWithoutContext }
func (sessionStore) Find(string) ([]byte, bool, error)      { return nil, false, errWithoutContext }
func (sessionStore) Commit(string, []byte, time.Time) error { return errWithoutContext }

func (s sessionStore) DeleteCtx(ctx context.Context, token string) error {
	return s.EndSession(ctx, token)
}

func (s sessionStore) FindCtx(ctx context.Context, token string) (data []byte, found bool, err error) {
	session, err := s.Session(ctx, token, s.now())
	if errors.Is(err, store.ErrNotFound) {
		return nil, false, nil
	}
	return session.Data, err == nil, err
}

// CommitCtx saves a session that belongs to somebody. Nothing is written for
// people who are not signed in.
func (s sessionStore) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	_, values, err := scs.GobCodec{}.Decode(data)
	if err != nil {
		return fmt.Errorf("reading a session: %w", err)
	}
	person, _ := values[api.PersonKey].(string)
	if person == "" {
		return nil
	}
	return s.SaveSession(ctx, store.Session{TokenHash: token, UserID: person, Data: data, Created: s.now(), Expires: expiry})
}
