package api

import (
	"context"
	"net/http"
)

// Retention is for how long readings are kept, at each resolution.
type Retention struct {
	ReadingsDays float64 `json:"readingsDays" minimum:"0" doc:"every reading; 0: for ever"`
	MinutesDays  float64 `json:"minutesDays" minimum:"0" doc:"by the minute; 0: for ever"`
	HoursDays    float64 `json:"hoursDays" minimum:"0" doc:"by the hour; 0: for ever"`
	DaysDays     float64 `json:"daysDays" minimum:"0" doc:"by the day; 0: for ever"`
}

type retentionOut struct{ Body Retention }

type retentionIn struct{ Body Retention }

func (a *API) retention(ctx context.Context, _ *struct{}) (*retentionOut, error) {
	return nil, later()
}

func (a *API) saveRetention(ctx context.Context, in *retentionIn) (*retentionOut, error) {
	return nil, later()
}

// later is the answer of routes that are declared and not served yet.
func later() error {
	return refused(http.StatusConflict, "", "", "this is not served yet", "come back later")
}
