package api

import (
	"context"
	"net/http"
	"time"

	"isohaline/internal/store"
)

// Retention is for how long readings are kept, at each resolution.
type Retention struct {
	ReadingsDays float64 `json:"readingsDays" minimum:"0" maximum:"36500" doc:"every reading; 0: for ever"`
	MinutesDays  float64 `json:"minutesDays" minimum:"0" maximum:"36500" doc:"by the minute; 0: for ever"`
	HoursDays    float64 `json:"hoursDays" minimum:"0" maximum:"36500" doc:"by the hour; 0: for ever"`
	DaysDays     float64 `json:"daysDays" minimum:"0" maximum:"36500" doc:"by the day; 0: for ever"`
}

type retentionIn struct{ Body Retention }

func (a *API) retention(ctx context.Context, _ *struct{}) (*reply[Retention], error) {
	r, err := a.store.Retention(ctx)
	return &reply[Retention]{Body: Retention{
		ReadingsDays: inDays(r.Readings), MinutesDays: inDays(r.Minutes), HoursDays: inDays(r.Hours), DaysDays: inDays(r.Days),
	}}, err
}

func (a *API) saveRetention(ctx context.Context, in *retentionIn) (*reply[Retention], error) {
	b := &in.Body
	r := store.Retention{Readings: ofDays(b.ReadingsDays), Minutes: ofDays(b.MinutesDays), Hours: ofDays(b.HoursDays), Days: ofDays(b.DaysDays)}
	if err := r.Check(); err != nil {
		return nil, refused(http.StatusUnprocessableEntity, "body", "", err.Error(), "")
	}
	if err := a.edit(ctx).SetRetention(ctx, r); err != nil {
		return nil, err
	}
	return a.retention(ctx, nil)
}

const day = 24 * time.Hour

func inDays(d time.Duration) float64 { return d.Hours() / day.Hours() }

func ofDays(n float64) time.Duration { return time.Duration(n * float64(day)) }
