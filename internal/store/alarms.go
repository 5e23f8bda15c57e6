package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/uptrace/bun"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
)

// AlarmStep is what one step of a site's alarms left behind.
type AlarmStep struct {
	SiteID string
	// Position is one more with each step: 1 is the first.
	Position int64
	Site     alarm.Site
	Record   alarm.Record
	// Said and Changed are what this step added: transitions, and notices that
	// are new or not as they were.
	Said    []alarm.Transition
	Changed []alarm.Notice
}

// alarmCheckpoint is the kind of the checkpoints of sites' alarms.
const alarmCheckpoint = "alarms"

// alarmState is what such a checkpoint holds.
type alarmState struct {
	Site   alarm.Site
	Record alarm.Record
}

// The rows: what is asked for, and all of it.
type (
	alarmRow struct {
		bun.BaseModel `bun:"table:alarms"`

		SiteID   string       `bun:",pk"`
		Code     account.Code `bun:",pk"`
		Tank     string       `bun:",pk"`
		Device   string       `bun:",pk"`
		State    string
		Priority int64
		Body     string
	}
	transitionRow struct {
		bun.BaseModel `bun:"table:transitions"`

		ID     int64 `bun:",pk,autoincrement"`
		SiteID string
		At     time.Time
		Body   string
	}
	noticeRow struct {
		bun.BaseModel `bun:"table:notices"`

		SiteID  string `bun:",pk"`
		ID      string `bun:",pk"`
		Decided time.Time
		Body    string
	}
)

// save saves a step of a site's alarms. Only what is saved may be sent. Where the
// step before it is not the one that is there the error is ErrStale.
func (step *AlarmStep) save(ctx context.Context, s *Store, tx bun.Tx) error {
	data, err := json.Marshal(alarmState{step.Site, step.Record})
	if err != nil {
		return err
	}
	if err := s.putCheckpoint(ctx, tx, upsertNext, alarmCheckpoint, step.SiteID, step.Position, data); err != nil {
		return err
	}
	if err := step.saveAlarms(ctx, tx); err != nil {
		return err
	}
	if err := step.saveTransitions(ctx, tx); err != nil {
		return wrap(err, "what changed")
	}
	return wrap(step.saveNotices(ctx, tx), "the notices")
}

func (step *AlarmStep) saveAlarms(ctx context.Context, tx bun.Tx) error {
	if _, err := tx.NewDelete().Model((*alarmRow)(nil)).Where("site_id = ?", step.SiteID).Exec(ctx); err != nil {
		return err
	}
	rows := make([]alarmRow, len(step.Site.Alarms))
	for i := range step.Site.Alarms {
		a := &step.Site.Alarms[i]
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		rows[i] = alarmRow{SiteID: step.SiteID, Code: a.Code, Tank: a.Tank, Device: a.Device,
			State: a.State().String(), Priority: int64(a.Priority), Body: string(body)}
	}
	return insertAll(ctx, tx, rows, func(q *bun.InsertQuery) *bun.InsertQuery { return q })
}

func (step *AlarmStep) saveTransitions(ctx context.Context, tx bun.Tx) error {
	rows := make([]transitionRow, len(step.Said))
	for i, t := range step.Said {
		body, err := json.Marshal(t)
		if err != nil {
			return err
		}
		rows[i] = transitionRow{SiteID: step.SiteID, At: t.At, Body: string(body)}
	}
	return insertAll(ctx, tx, rows, func(q *bun.InsertQuery) *bun.InsertQuery { return q.ExcludeColumn("id") })
}

func (step *AlarmStep) saveNotices(ctx context.Context, tx bun.Tx) error {
	rows := make([]noticeRow, len(step.Changed))
	for i, n := range step.Changed {
		body, err := json.Marshal(n)
		if err != nil {
			return err
		}
		rows[i] = noticeRow{SiteID: step.SiteID, ID: n.ID, Decided: n.Decided, Body: string(body)}
	}
	return insertAll(ctx, tx, rows, func(q *bun.InsertQuery) *bun.InsertQuery {
		return q.On("CONFLICT (site_id, id) DO UPDATE").Set("decided = EXCLUDED.decided, body = EXCLUDED.body")
	})
}

// insertAll inserts rows, if there are any.
func insertAll[T any](ctx context.Context, tx bun.Tx, rows []T, narrow func(*bun.InsertQuery) *bun.InsertQuery) error {
	if len(rows) == 0 {
		return nil
	}
	_, err := narrow(tx.NewInsert().Model(&rows)).Exec(ctx)
	return err
}

// LoadAlarms is where a site's alarms stand: without Said and Changed. A site
// that never had any is the zero AlarmStep with its ID.
func (s *Store) LoadAlarms(ctx context.Context, siteID string) (AlarmStep, error) {
	step := AlarmStep{SiteID: siteID}
	c, err := s.Checkpoint(ctx, alarmCheckpoint, siteID)
	if errors.Is(err, ErrNotFound) {
		return step, nil
	}
	if err != nil {
		return step, err
	}
	return c.alarmStep()
}

// alarmStep is the step that a checkpoint of a site's alarms holds.
func (c *Checkpoint) alarmStep() (AlarmStep, error) {
	var state alarmState
	err := json.Unmarshal(c.Data, &state)
	return AlarmStep{SiteID: c.Subject, Position: c.Position, Site: state.Site, Record: state.Record},
		wrap(err, "reading the alarms of site %q", c.Subject)
}

// SiteAlarm is an alarm and the site it is at.
type SiteAlarm struct {
	SiteID string
	alarm.Alarm
}

// Alarms is every alarm that is not normal, the most urgent first; of one site
// unless siteID is empty.
func (s *Store) Alarms(ctx context.Context, siteID string) ([]SiteAlarm, error) {
	rows, err := all[alarmRow](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if siteID != "" {
			q = q.Where("site_id = ?", siteID)
		}
		return q.Where("state <> ?", alarm.Normal.String()).OrderExpr("priority DESC, site_id, tank, device, code")
	})
	list := make([]SiteAlarm, len(rows))
	for i, row := range rows {
		list[i].SiteID = row.SiteID
		if err == nil {
			err = json.Unmarshal([]byte(row.Body), &list[i].Alarm)
		}
	}
	return list, wrap(err, "reading the alarms of site %q", siteID)
}

// Transitions is how a site's alarms changed from a time and before another,
// oldest first.
func (s *Store) Transitions(ctx context.Context, siteID string, from, to time.Time) ([]alarm.Transition, error) {
	rows, err := all[transitionRow](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("site_id = ? AND at >= ? AND at < ?", siteID, from, to).Order("at", "id")
	})
	list := make([]alarm.Transition, len(rows))
	for i, row := range rows {
		if err == nil {
			err = json.Unmarshal([]byte(row.Body), &list[i])
		}
	}
	return list, wrap(err, "reading how the alarms of site %q changed", siteID)
}

// Notices is who was told of a site's alarms from a time and before another,
// oldest first, with every attempt.
func (s *Store) Notices(ctx context.Context, siteID string, from, to time.Time) ([]alarm.Notice, error) {
	rows, err := all[noticeRow](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("site_id = ? AND decided >= ? AND decided < ?", siteID, from, to).Order("decided", "id")
	})
	list := make([]alarm.Notice, len(rows))
	for i, row := range rows {
		if err == nil {
			err = json.Unmarshal([]byte(row.Body), &list[i])
		}
	}
	return list, wrap(err, "reading who was told at site %q", siteID)
}
