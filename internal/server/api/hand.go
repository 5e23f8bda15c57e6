package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/problem"
	"isohaline/internal/server/auth"
	"isohaline/internal/store"
)

// HandReading is what a person measured.
type HandReading struct {
	At         time.Time `json:"at"`
	Kind       measured  `json:"kind"`
	Title      string    `json:"title" example:"Water temperature" doc:"what stands above the kind's chart"`
	Value      float64   `json:"value"`
	Unit       handUnit  `json:"unit"`
	Instrument string    `json:"instrument" example:"refractometer"`
	By         string    `json:"by"`
}

type handReadingIn struct {
	TankIn
	Body struct {
		Kind       measured   `json:"kind"`
		Value      string     `json:"value" minLength:"1" maxLength:"64" example:"35.1 ppt" doc:"a number with its unit, as a tank file writes it; a bare number is in the first of the kind's units"`
		Instrument handTool   `json:"instrument"`
		At         *time.Time `json:"at,omitempty" doc:"now if absent"`
	}
}

type handReadingsOut struct {
	Body struct {
		Readings []HandReading `json:"readings" doc:"newest first"`
	}
}

type refillIn struct {
	TankIn
	Body struct {
		Litres float64    `json:"litres,omitempty" minimum:"0" maximum:"100000" doc:"what went in; 0 if nobody measured"`
		At     *time.Time `json:"at,omitempty" doc:"now if absent"`
	}
}

type waterChangeIn struct {
	TankIn
	Body struct {
		Litres      float64    `json:"litres" exclusiveMinimum:"0" maximum:"100000"`
		SalinityPSU float64    `json:"salinityPSU,omitempty" minimum:"0" maximum:"60" doc:"of the new water; 0 if nobody measured"`
		At          *time.Time `json:"at,omitempty" doc:"now if absent"`
	}
}

// measured is a channel that people measure; handUnit a unit that its value is
// shown in, handTool what it is measured with.
type (
	measured string
	handUnit string
	handTool string
)

func (measured) Schema(huma.Registry) *huma.Schema {
	return words(func(c *channel.Channel) []string { return []string{c.Name} })
}

func (handUnit) Schema(huma.Registry) *huma.Schema {
	return words(func(c *channel.Channel) []string { return c.Hand.Units[:1] })
}

func (handTool) Schema(huma.Registry) *huma.Schema {
	s := words(func(c *channel.Channel) []string { return c.Hand.Instruments })
	s.Enum = append(s.Enum, channel.OtherInstrument)
	return s
}

// words is the schema of a text that is one of the words of what people measure.
func words(of func(*channel.Channel) []string) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString}
	for _, c := range byHand() {
		for _, w := range of(&c) {
			s.Enum = append(s.Enum, w)
		}
	}
	return s
}

// byHand is what people measure.
func byHand() []channel.Channel {
	return slices.DeleteFunc(slices.Clone(channel.List()), func(c channel.Channel) bool { return c.Hand == nil })
}

// Measure is something that people measure.
type Measure struct {
	Kind        measured   `json:"kind"`
	Title       string     `json:"title" example:"Water temperature"`
	Units       []string   `json:"units" doc:"in which it may be written, the usual one first" example:"[\"°C\", \"°F\"]"`
	Instruments []handTool `json:"instruments" doc:"with which, the most usual first"`
}

type measuresOut struct {
	Body struct {
		Measures []Measure `json:"measures"`
	}
}

func (a *API) measures(context.Context, *struct{}) (*measuresOut, error) {
	out := &measuresOut{}
	for _, c := range byHand() {
		m := Measure{Kind: measured(c.Name), Title: c.Title, Units: c.Hand.Units}
		for _, tool := range append(slices.Clip(c.Hand.Instruments), channel.OtherInstrument) {
			m.Instruments = append(m.Instruments, handTool(tool))
		}
		out.Body.Measures = append(out.Body.Measures, m)
	}
	return out, nil
}

func (a *API) addHandReading(ctx context.Context, in *handReadingIn) (*reply[HandReading], error) {
	c, ok := channel.Find(string(in.Body.Kind))
	if !ok || c.Hand == nil {
		return nil, notFound("kind", string(in.Body.Kind))
	}
	value, err := strconv.ParseFloat(in.Body.Value, 64)
	if err != nil {
		value, err = c.Hand.Quantity.Parse(in.Body.Value)
	}
	if p := new(problem.Problem); errors.As(err, &p) {
		p.Field = "value"
		return nil, p
	}
	if lo, hi := c.HandRange(); !(value >= lo && value <= hi) { // NaN too
		return nil, refused(http.StatusUnprocessableEntity, "body.value", in.Body.Value, "cannot be", "check what you read")
	}
	at, err := a.timeOf(in.Body.At)
	if err != nil {
		return nil, err
	}
	r := store.HandReading{ID: auth.NewSecret(), TankID: in.Tank, At: at, Quantity: c.Name, Value: value, Unit: c.Hand.Units[0], Instrument: string(in.Body.Instrument)}
	if err := a.enter(ctx, r); err != nil {
		return nil, err
	}
	r.ReadBy = personOf(ctx).Name
	return &reply[HandReading]{Body: showHand(&r)}, nil
}

func (a *API) addRefill(ctx context.Context, in *refillIn) (*struct{}, error) {
	return nil, a.hear(ctx, in.Tank, in.Body.At, account.ReservoirFilled, in.Body.Litres, 0)
}

func (a *API) addWaterChange(ctx context.Context, in *waterChangeIn) (*struct{}, error) {
	return nil, a.hear(ctx, in.Tank, in.Body.At, account.WaterChange, in.Body.Litres, in.Body.SalinityPSU)
}

// hear writes down what a person did at a tank; salinityPSU is that of new water, 0
// if nobody measured it.
func (a *API) hear(ctx context.Context, tank string, when *time.Time, what account.Kind, litres, salinityPSU float64) error {
	at, err := a.timeOf(when)
	if err != nil {
		return err
	}
	return a.enter(ctx, store.HandReading{ID: auth.NewSecret(), TankID: tank, At: at, Quantity: what.String(), Value: litres, Unit: "L", SalinityPSU: salinityPSU})
}

// enter keeps what a person entered, and tells the account.
func (a *API) enter(ctx context.Context, r store.HandReading) error {
	return a.monitor.Hear(ctx, store.HandEntry{HandReading: r, By: personOf(ctx).Name, At: a.now()})
}

// timeOf is when something was seen: now unless said, and never later.
func (a *API) timeOf(when *time.Time) (time.Time, error) {
	now := a.now()
	switch {
	case when == nil:
		return now, nil
	case when.After(now.Add(time.Minute)):
		return now, refused(http.StatusUnprocessableEntity, "body.at", when.Format(time.RFC3339), "has not come yet", "leave it out for now")
	}
	return when.UTC(), nil
}

func (a *API) handReadings(ctx context.Context, in *rangeIn) (*handReadingsOut, error) {
	list, err := a.store.HandReadings(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	out := &handReadingsOut{}
	out.Body.Readings = []HandReading{}
	slices.Reverse(list)
	for _, r := range list {
		if c, ok := channel.Find(r.Quantity); ok && c.Hand != nil {
			out.Body.Readings = append(out.Body.Readings, showHand(&r))
		}
	}
	return out, nil
}

func showHand(r *store.HandReading) HandReading {
	return HandReading{At: r.At, Kind: measured(r.Quantity), Title: channel.Title(r.Quantity), Value: r.Value, Unit: handUnit(r.Unit), Instrument: r.Instrument, By: r.ReadBy}
}

// handWords says what a person did or measured.
func handWords(r *store.HandReading) string {
	switch r.Quantity {
	case channel.ReservoirFilled:
		if r.Value == 0 {
			return "reservoir filled"
		}
		return fmt.Sprintf("reservoir filled with %.3g L", r.Value)
	case channel.WaterChange:
		if r.SalinityPSU == 0 {
			return fmt.Sprintf("%.3g L of water changed", r.Value)
		}
		return fmt.Sprintf("%.3g L of water changed for water of %.4g PSU", r.Value, r.SalinityPSU)
	}
	return fmt.Sprintf("%s %.4g %s, by %s", r.Quantity, r.Value, r.Unit, r.Instrument)
}
