package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// ErrClaimed: another process works on the database.
var ErrClaimed = errors.New("the database is in use by another program")

// claimSpace sets our advisory locks apart from those of others in one database:
// the letters ISOH. The second half of a lock's key is the schema.
const claimSpace = 0x49534f48

// How a claim is taken and looked after.
const (
	claimTries   = 30 // a process that was just killed still holds it for a moment
	claimPause   = 100 * time.Millisecond
	claimEvery   = 5 * time.Second
	claimTimeout = 10 * time.Second
)

// claim is the right of one process to work on a PostgreSQL database: an advisory
// lock that lasts as long as a connection.
type claim struct {
	mu   sync.Mutex
	conn *sql.Conn
	// backend is the server's process that held the lock for us last.
	backend int64
}

// Claim makes this process the only one to work on the database, or says who
// is (ErrClaimed). It ends with Close. On SQLite it does nothing: the log beside
// the file belongs to one process.
func (s *Store) Claim(ctx context.Context) error {
	if s.pg == nil {
		return nil
	}
	for try := 1; ; try++ {
		err := s.tryClaim(ctx)
		if !errors.Is(err, ErrClaimed) || try == claimTries {
			return wrap(err, "claiming %s", s.pg.place())
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(claimPause):
		}
	}
}

// KeepClaim holds on to the claim until ctx ends. A server that was away forgets
// it, and it is taken again; where another process was faster, that is the error.
func (s *Store) KeepClaim(ctx context.Context, log *slog.Logger) error {
	if s.pg == nil {
		<-ctx.Done()
		return nil
	}
	every := time.NewTicker(claimEvery)
	defer every.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-every.C:
		}
		err := s.renewClaim(ctx)
		switch {
		case errors.Is(err, ErrClaimed):
			return err
		case err != nil && ctx.Err() == nil:
			log.Warn("the database does not answer; its claim is renewed when it does", "error", err)
		}
	}
}

// renewClaim takes the claim again if the connection that held it is gone.
func (s *Store) renewClaim(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, claimTimeout)
	defer cancel()
	c := &s.pg.claim
	c.mu.Lock()
	conn := c.conn
	c.mu.Unlock()
	if conn != nil {
		if conn.PingContext(ctx) == nil {
			return nil
		}
		if err := s.releaseClaim(); err != nil {
			return err
		}
	}
	return s.tryClaim(ctx)
}

func (s *Store) tryClaim(ctx context.Context) error {
	conn, err := s.write.DB.Conn(ctx)
	if err != nil {
		return s.pg.explain(err)
	}
	var got bool
	var backend int64
	err = conn.QueryRowContext(ctx, "SELECT pg_try_advisory_lock($1, hashtext(current_schema())), pg_backend_pid()", claimSpace).Scan(&got, &backend)
	if err == nil && !got {
		err = s.claimedBy(ctx, conn)
	}
	if err != nil {
		return errors.Join(err, conn.Close())
	}
	c := &s.pg.claim
	c.mu.Lock()
	c.conn, c.backend = conn, backend
	c.mu.Unlock()
	return nil
}

// claimedBy names who holds the claim.
func (s *Store) claimedBy(ctx context.Context, conn *sql.Conn) error {
	var name, from string
	var since time.Time
	var backend int64
	err := conn.QueryRowContext(ctx, `SELECT a.application_name, coalesce(host(a.client_addr), 'the server''s own machine'), a.backend_start, a.pid
		FROM pg_locks l JOIN pg_stat_activity a ON a.pid = l.pid
		WHERE l.locktype = 'advisory' AND l.granted AND l.objsubid = 2 AND l.classid::bigint = $1
		  AND l.objid::bigint = hashtext(current_schema())::bigint & 4294967295
		  AND l.database = (SELECT oid FROM pg_database WHERE datname = current_database())`, claimSpace).Scan(&name, &from, &since, &backend)
	c := &s.pg.claim
	c.mu.Lock()
	own := c.backend
	c.mu.Unlock()
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("%w, which has just ended: start again", ErrClaimed)
	case err != nil:
		return fmt.Errorf("asking who holds the claim: %w", err)
	case backend == own:
		return errors.New("the server has not noticed yet that our earlier connection is lost")
	}
	return fmt.Errorf("%w: “%s” from %s, since %s; end that one, or give this one a database of its own",
		ErrClaimed, name, from, since.UTC().Format(time.RFC3339))
}

// releaseClaim gives the claim up.
func (s *Store) releaseClaim() error {
	if s.pg == nil {
		return nil
	}
	c := &s.pg.claim
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.conn == nil {
		return nil
	}
	conn := c.conn
	c.conn = nil
	// The connection goes with its lock, not back into the pool.
	err := conn.Raw(func(any) error { return driver.ErrBadConn })
	if errors.Is(err, driver.ErrBadConn) || errors.Is(err, sql.ErrConnDone) {
		return nil
	}
	return err
}
