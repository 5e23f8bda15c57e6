package store

import (
	"context"
	"errors"
	"time"
)

// aliveSetting is where it stands when somebody last wrote that they use the store.
const aliveSetting = "service.alive"

// WriteAlive writes into the store that it is in use, which shows that it takes
// what is written to it.
func (s *Store) WriteAlive(ctx context.Context, at time.Time) error {
	return wrap(putSetting(ctx, s.write, aliveSetting, at.UTC()), "writing to the database")
}

// LastAlive is when that was written last, the zero Time if never.
func (s *Store) LastAlive(ctx context.Context) (at time.Time, err error) {
	if err = s.Setting(ctx, aliveSetting, &at); errors.Is(err, ErrNotFound) {
		err = nil
	}
	return at, err
}
