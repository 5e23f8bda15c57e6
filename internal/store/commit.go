package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/uptrace/bun"

	"isohaline/internal/account"
)

// Commit is all that follows from one step of the live tanks. It is kept whole or
// not at all.
type Commit struct {
	// Log is how far the log of readings is taken in by it; nil: it did not come
	// from the log.
	Log      *LogPosition
	Readings []Reading
	Tanks    []TankStep
	Sites    []AlarmStep
	// Hand is what a person entered, nil for none.
	Hand *HandEntry
}

// LogPosition is how far a log has been taken in.
type LogPosition struct {
	// Log tells one log from another.
	Log string
	// Sequence is the last frame whose readings, and all that followed from them,
	// are kept. Floor is the last that no tank needs again: some tanks were saved
	// before Sequence, and take in again what came since. Floor <= Sequence.
	Sequence, Floor uint64
}

// TankStep is what one step of a tank left behind.
type TankStep struct {
	TankID string
	// Findings began or ended, or have more known about them. A finding with the
	// same code that was found at the same time is the same.
	Findings []account.Finding
	// Beliefs were noted; one at the same time is replaced.
	Beliefs []Belief
	// Since is not zero where the tank has worked through its readings again:
	// findings and beliefs from then on are those of this step alone, and what was
	// open before ended then.
	Since time.Time
	// Saved is what is known of the tank now; nil: as it was saved before.
	Saved *SavedTank
}

// SavedTank is what is known of a tank, up to a frame of a log.
type SavedTank struct {
	Log      string
	Sequence uint64
	Data     []byte
}

// HandEntry is what a person entered, in whose name and when.
type HandEntry struct {
	HandReading
	By string
	At time.Time
}

// The kinds of checkpoints that commits save.
const (
	logCheckpoint  = "log"
	tankCheckpoint = "tank"
)

// Commit keeps a commit. Where somebody else has kept a step of one of its sites,
// or of the log, that this one did not begin from, nothing is kept and the error
// is ErrStale; so it is where this very commit was kept before. A PostgreSQL server
// that does not answer for commitTimeout is an error, too.
func (s *Store) Commit(ctx context.Context, c Commit) error {
	rows, err := rowsOf(c.Readings)
	if err != nil {
		return err
	}
	ctx, cancel := s.within(ctx, func(p *postgres) time.Duration { return p.commitTimeout })
	defer cancel()
	err = s.change(ctx, func(ctx context.Context, tx bun.Tx) error {
		if err := s.beginCommit(ctx, tx); err != nil {
			return err
		}
		if c.Log != nil {
			if err := s.saveLog(ctx, tx, c.Log); err != nil {
				return wrap(err, "the position in the log")
			}
		}
		if len(rows) > 0 {
			if _, err := s.addReadings(ctx, tx, rows); err != nil {
				return err
			}
		}
		if c.Hand != nil {
			if err := c.Hand.add(ctx, tx); err != nil {
				return wrap(err, "the hand reading")
			}
		}
		for i := range c.Tanks {
			if err := s.saveTank(ctx, tx, &c.Tanks[i]); err != nil {
				return wrap(err, "tank %q", c.Tanks[i].TankID)
			}
		}
		for i := range c.Sites {
			if err := c.Sites[i].save(ctx, s, tx); err != nil {
				return wrap(err, "the alarms of site %q", c.Sites[i].SiteID)
			}
		}
		return nil
	})
	return wrap(err, "keeping a step of the live tanks")
}

// Committed says whether a commit is in the database: to be asked where Commit
// ended with an error, which may have come after the commit. A commit that moves
// neither the log nor a site, and enters nothing by hand, may be repeated: it is
// not looked for, and kept is false.
func (s *Store) Committed(ctx context.Context, c Commit) (kept bool, err error) {
	ctx, cancel := s.within(ctx, func(p *postgres) time.Duration { return p.fateTimeout })
	defer cancel()
	if err := s.settle(ctx); err != nil {
		return false, wrap(err, "waiting for the end of a commit")
	}
	same := func(kind, subject string, position int64) bool {
		var found Checkpoint
		found, err = s.Checkpoint(ctx, kind, subject)
		if errors.Is(err, ErrNotFound) {
			err = nil
			return false
		}
		return err == nil && found.Position == position
	}
	if c.Log != nil {
		kept = same(logCheckpoint, c.Log.Log, int64(c.Log.Sequence))
		if !kept {
			return false, err
		}
	}
	for _, step := range c.Sites {
		kept = same(alarmCheckpoint, step.SiteID, step.Position)
		if !kept {
			return false, err
		}
	}
	if c.Hand != nil {
		n, err := s.read.NewSelect().Model((*HandReading)(nil)).Where("id = ?", c.Hand.ID).Count(ctx)
		return n == 1, wrap(err, "looking for hand reading %q", c.Hand.ID)
	}
	return kept, nil
}

// saveLog moves the position in a log, which only rises.
func (s *Store) saveLog(ctx context.Context, tx bun.Tx, p *LogPosition) error {
	floor := strconv.FormatUint(p.Floor, 10)
	return s.putCheckpoint(ctx, tx, upsertRising, logCheckpoint, p.Log, int64(p.Sequence), []byte(floor))
}

func (s *Store) saveTank(ctx context.Context, tx bun.Tx, t *TankStep) error {
	findings := t.Findings
	if !t.Since.IsZero() {
		if _, err := tx.NewDelete().Model((*findingRow)(nil)).Where("tank_id = ? AND found >= ?", t.TankID, t.Since).Exec(ctx); err != nil {
			return err
		}
		if _, err := tx.NewDelete().Model((*beliefRow)(nil)).Where("tank_id = ? AND at >= ?", t.TankID, t.Since.UnixMicro()).Exec(ctx); err != nil {
			return err
		}
		earlier, err := findingsIn(ctx, tx, func(q *bun.SelectQuery) *bun.SelectQuery {
			return q.Where("tank_id = ? AND ended IS NULL", t.TankID)
		})
		if err != nil {
			return err
		}
		findings = nil
		for _, f := range earlier {
			f.Ended = t.Since
			findings = append(findings, f.Finding)
		}
		findings = append(findings, t.Findings...)
	}
	if err := saveFindings(ctx, tx, t.TankID, findings); err != nil {
		return err
	}
	if err := saveBeliefs(ctx, tx, t.TankID, t.Beliefs); err != nil {
		return wrap(err, "its beliefs")
	}
	if t.Saved == nil {
		return nil
	}
	data := append([]byte(t.Saved.Log+"\n"), t.Saved.Data...)
	return wrap(s.putCheckpoint(ctx, tx, upsertCheckpoint, tankCheckpoint, t.TankID, int64(t.Saved.Sequence), data), "what is known of it")
}

// Data is bound, not written into the statement: it is tens of kilobytes.
const (
	upsertCheckpoint = `INSERT INTO checkpoints AS c (kind, subject, position, data) VALUES (?, ?, ?, ?)
		ON CONFLICT (kind, subject) DO UPDATE SET position = excluded.position, data = excluded.data`
	// upsertRising takes a later position, or another floor at the same.
	upsertRising = upsertCheckpoint + ` WHERE c.position < excluded.position OR c.position = excluded.position AND c.data <> excluded.data`
	// upsertNext takes the step after the one that is there.
	upsertNext = upsertCheckpoint + ` WHERE c.position = excluded.position - 1`
)

// putCheckpoint saves a checkpoint by one of the statements above; ErrStale where
// that finds another position than it needs.
func (s *Store) putCheckpoint(ctx context.Context, tx bun.Tx, statement, kind, subject string, position int64, data []byte) error {
	put, done, err := s.statement(ctx, tx, statement)
	if err != nil {
		return err
	}
	defer done()
	result, err := put.ExecContext(ctx, kind, subject, position, data)
	if err != nil {
		return err
	}
	if n, err := result.RowsAffected(); err != nil {
		return err
	} else if n == 0 {
		return ErrStale
	}
	return nil
}

// Saved is what live tanks are taken up from: those in use.
type Saved struct {
	// Logs are the positions in the logs that there were.
	Logs  []LogPosition
	Sites []SiteSaved
	Tanks []TankSaved
}

// SiteSaved is a site, its alarms and its plan as JSON, nil for none.
type SiteSaved struct {
	Site
	Alarms AlarmStep
	Plan   []byte
}

// TankSaved is a tank, its newest description, and what was known of it; nil:
// nothing yet.
type TankSaved struct {
	Tank
	Description string
	Saved       *SavedTank
}

// planPrefix is before a site's ID in the name of its plan's setting.
const planPrefix = "plan/"

// PlanSetting is the name of the setting that holds a site's plan.
func PlanSetting(siteID string) string { return planPrefix + siteID }

// Load reads everything that live tanks are taken up from, in a few queries.
func (s *Store) Load(ctx context.Context) (Saved, error) {
	var out Saved
	sites, err := s.Sites(ctx)
	if err != nil {
		return out, err
	}
	const everySite = ""
	tanks, err := s.Tanks(ctx, everySite)
	if err != nil {
		return out, err
	}
	saved := map[string]map[string]Checkpoint{logCheckpoint: {}, tankCheckpoint: {}, alarmCheckpoint: {}}
	checkpoints, err := all[Checkpoint](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("kind IN (?, ?, ?)", logCheckpoint, tankCheckpoint, alarmCheckpoint)
	})
	if err != nil {
		return out, wrap(err, "reading what is known of the tanks")
	}
	for _, c := range checkpoints {
		saved[c.Kind][c.Subject] = c
	}
	for log, c := range saved[logCheckpoint] {
		floor, err := strconv.ParseUint(string(c.Data), 10, 64)
		if err != nil {
			return out, fmt.Errorf("reading the position in the log %q: %w", log, err)
		}
		out.Logs = append(out.Logs, LogPosition{Log: log, Sequence: uint64(c.Position), Floor: floor})
	}
	plans, err := all[setting](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("name LIKE ?", planPrefix+"%") })
	if err != nil {
		return out, wrap(err, "reading the plans of the sites")
	}
	inUse := map[string]bool{}
	for _, site := range sites {
		if !site.Archived.IsZero() {
			continue
		}
		inUse[site.ID] = true
		one := SiteSaved{Site: site}
		if c, ok := saved[alarmCheckpoint][site.ID]; ok {
			if one.Alarms, err = c.alarmStep(); err != nil {
				return out, err
			}
		}
		one.Alarms.SiteID = site.ID
		if i := slices.IndexFunc(plans, func(p setting) bool { return p.Name == PlanSetting(site.ID) }); i >= 0 {
			one.Plan = []byte(plans[i].Value)
		}
		out.Sites = append(out.Sites, one)
	}
	descriptions, err := s.newestDescriptions(ctx)
	if err != nil {
		return out, err
	}
	for _, tank := range tanks {
		if !tank.Archived.IsZero() || !inUse[tank.SiteID] {
			continue
		}
		one := TankSaved{Tank: tank, Description: descriptions[tank.ID]}
		if c, ok := saved[tankCheckpoint][tank.ID]; ok {
			one.Saved = c.savedTank()
		}
		out.Tanks = append(out.Tanks, one)
	}
	return out, nil
}

func (c *Checkpoint) savedTank() *SavedTank {
	log, data, _ := strings.Cut(string(c.Data), "\n")
	return &SavedTank{Log: log, Sequence: uint64(c.Position), Data: []byte(data)}
}

// newestDescriptions are the texts of all tanks' newest descriptions, by tank.
func (s *Store) newestDescriptions(ctx context.Context) (map[string]string, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT d.tank_id, d.yaml FROM descriptions d
		JOIN (SELECT tank_id, max(version) AS version FROM descriptions GROUP BY tank_id) newest
		ON newest.tank_id = d.tank_id AND newest.version = d.version`)
	if err != nil {
		return nil, wrap(err, "reading the descriptions of the tanks")
	}
	type text struct{ tank, yaml string }
	list, err := scanAll(rows, func(t *text) []any { return []any{&t.tank, &t.yaml} })
	out := make(map[string]string, len(list))
	for _, t := range list {
		out[t.tank] = t.yaml
	}
	return out, wrap(err, "reading the descriptions of the tanks")
}

// statements that a commit may run on SQLite are prepared once.
var statements = []string{upsertCheckpoint, upsertRising, upsertNext}

// statement is a statement in a transaction, and what to do when it is done.
func (s *Store) statement(ctx context.Context, tx bun.Tx, query string) (*sql.Stmt, func() error, error) {
	if prepared := s.prepared[query]; prepared != nil {
		in := tx.Tx.StmtContext(ctx, prepared)
		return in, in.Close, nil
	}
	in, err := tx.Tx.PrepareContext(ctx, s.placeholders(query))
	if err != nil {
		return nil, nil, err
	}
	return in, in.Close, nil
}

// placeholders are those of the database in place of question marks.
func (s *Store) placeholders(query string) string {
	if s.pg == nil {
		return query
	}
	var b strings.Builder
	n := 0
	for _, r := range query {
		if r == '?' {
			n++
			fmt.Fprintf(&b, "$%d", n)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}
