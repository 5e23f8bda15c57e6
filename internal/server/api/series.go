package api

import (
	"context"
	"net/http"
	"time"

	"isohaline/internal/channel"
)

type seriesIn struct {
	TankIn
	Channel string    `query:"channel" required:"true" doc:"one of those that /channels lists" maxLength:"128"`
	From    time.Time `query:"from" required:"true"`
	To      time.Time `query:"to" required:"true"`
}

// Series is one channel against time, as columns of equal length, of at most a
// few thousand points.
type Series struct {
	Channel string    `json:"channel"`
	Title   string    `json:"title" example:"Water temperature" doc:"what stands above its chart"`
	Unit    string    `json:"unit"`
	Screen  Screen    `json:"screen"`
	StepS   float64   `json:"stepS" doc:"width of a point in seconds; 0: every reading as it came"`
	T       []float64 `json:"t" doc:"seconds since 1970, UTC; the start of each point"`
	Mean    []float64 `json:"mean"`
	Min     []float64 `json:"min"`
	Max     []float64 `json:"max"`
}

// Screen is the unit in which a channel is shown to people.
type Screen struct {
	Unit    string  `json:"unit" example:"mm"`
	PerUnit float64 `json:"perUnit" example:"1000" doc:"a value times this is in the screen's unit"`
}

// Channel is one thing that is measured at a tank.
type Channel struct {
	ID      string    `json:"id" example:"level"`
	Unit    string    `json:"unit" doc:"empty for a contact"`
	Contact bool      `json:"contact" doc:"it has two states, 1 for wet or running"`
	Last    time.Time `json:"last"`
}

type channelsOut struct {
	Body struct {
		Channels []Channel `json:"channels"`
	}
}

type rangeIn struct {
	TankIn
	From time.Time `query:"from" required:"true"`
	To   time.Time `query:"to" required:"true"`
}

// longestRange is the longest time that one question may be about.
const longestRange = 3 * 366 * 24 * time.Hour

// between checks a range of time.
func between(from, to time.Time) error {
	switch {
	case !to.After(from):
		return refused(http.StatusUnprocessableEntity, "query.to", to.Format(time.RFC3339), "is not after from", "give a later time")
	case to.Sub(from) > longestRange:
		return refused(http.StatusUnprocessableEntity, "query.from", from.Format(time.RFC3339), "is more than three years before to", "ask for less at once")
	}
	return nil
}

func (a *API) channels(_ context.Context, in *TankIn) (*channelsOut, error) {
	v, err := a.view(in.Tank)
	if err != nil {
		return nil, err
	}
	out := &channelsOut{}
	out.Body.Channels = []Channel{}
	for _, id := range v.Lasts.Channels() {
		out.Body.Channels = append(out.Body.Channels, Channel{ID: id, Unit: channel.Unit(id), Contact: channel.IsContact(id), Last: v.Lasts[id].At})
	}
	return out, nil
}

func (a *API) series(ctx context.Context, in *seriesIn) (*reply[Series], error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	s, err := a.monitor.Series(ctx, in.Tank, in.Channel, in.From, in.To)
	if err != nil {
		return nil, err
	}
	n := len(s.Points)
	out := &reply[Series]{Body: Series{Channel: in.Channel, Title: channel.Title(in.Channel), Unit: channel.Unit(in.Channel), Screen: Screen(channel.Shown(in.Channel)), StepS: s.Step.Seconds(),
		T: make([]float64, n), Mean: make([]float64, n), Min: make([]float64, n), Max: make([]float64, n)}}
	for i, p := range s.Points {
		out.Body.T[i] = seconds(p.At)
		out.Body.Mean[i], out.Body.Min[i], out.Body.Max[i] = p.Mean, p.Low, p.High
	}
	return out, nil
}

// seconds since 1970, to the microsecond.
func seconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }
