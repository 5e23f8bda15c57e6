package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/server/auth"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/units"
)

// HandReading is what a person measured.
type HandReading struct {
	At         time.Time `json:"at"`
	Kind       string    `json:"kind" enum:"salinity,temperature,alkalinity"`
	Value      float64   `json:"value"`
	Unit       string    `json:"unit" enum:"PSU,°C,dKH"`
	Instrument string    `json:"instrument" example:"refractometer"`
	By         string    `json:"by"`
}

type handReadingIn struct {
	TankIn
	Body struct {
		Kind       string     `json:"kind" enum:"salinity,temperature,alkalinity"`
		Value      string     `json:"value" minLength:"1" maxLength:"64" example:"35.1 ppt" doc:"a number with its unit, as a tank file writes it; a bare number is in PSU, °C or dKH"`
		Instrument string     `json:"instrument" enum:"refractometer,conductivity meter,hydrometer,thermometer,titration,colorimeter,other"`
		At         *time.Time `json:"at,omitempty" doc:"now if absent"`
	}
}

type handReadingOut struct{ Body HandReading }

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

// measures is what can be measured by hand.
var measures = map[string]struct {
	kind *units.Kind
	unit string
	// lo and hi are wider than any tank's.
	lo, hi float64
}{
	"salinity":    {units.Salinity, "PSU", 0, 60},
	"temperature": {units.Temperature, "°C", -5, 50},
	"alkalinity":  {units.Alkalinity, "dKH", 0, 50},
}

func (a *API) addHandReading(ctx context.Context, in *handReadingIn) (*handReadingOut, error) {
	m := measures[in.Body.Kind]
	value, err := strconv.ParseFloat(in.Body.Value, 64)
	if err != nil {
		value, err = m.kind.Parse(in.Body.Value)
	}
	if err != nil {
		return nil, err
	}
	if !(value >= m.lo && value <= m.hi) { // NaN too
		return nil, refused(http.StatusUnprocessableEntity, "body.value", in.Body.Value, "cannot be", "check what you read")
	}
	at, err := a.timeOf(in.Body.At)
	if err != nil {
		return nil, err
	}
	r := store.HandReading{ID: auth.NewSecret(), TankID: in.Tank, At: at, Quantity: in.Body.Kind, Value: value, Unit: m.unit, Instrument: in.Body.Instrument}
	if err := a.enter(ctx, r); err != nil {
		return nil, err
	}
	r.ReadBy = personOf(ctx).Name
	return &handReadingOut{Body: showHand(&r)}, nil
}

func (a *API) addRefill(ctx context.Context, in *refillIn) (*struct{}, error) {
	return nil, a.hear(ctx, in.Tank, in.Body.At, account.ReservoirFilled, in.Body.Litres, "")
}

func (a *API) addWaterChange(ctx context.Context, in *waterChangeIn) (*struct{}, error) {
	return nil, a.hear(ctx, in.Tank, in.Body.At, account.WaterChange, in.Body.Litres, monitor.NewWater(in.Body.SalinityPSU))
}

// hear writes down what a person did at a tank.
func (a *API) hear(ctx context.Context, tank string, when *time.Time, what account.Kind, litres float64, note string) error {
	at, err := a.timeOf(when)
	if err != nil {
		return err
	}
	return a.enter(ctx, store.HandReading{ID: auth.NewSecret(), TankID: tank, At: at, Quantity: what.String(), Value: litres, Unit: "L", Note: note})
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
		if _, ok := measures[r.Quantity]; ok {
			out.Body.Readings = append(out.Body.Readings, showHand(&r))
		}
	}
	return out, nil
}

func showHand(r *store.HandReading) HandReading {
	return HandReading{At: r.At, Kind: r.Quantity, Value: r.Value, Unit: r.Unit, Instrument: r.Instrument, By: r.ReadBy}
}

// handWords says what a person did or measured.
func handWords(r *store.HandReading) string {
	switch r.Quantity {
	case account.ReservoirFilled.String():
		if r.Value == 0 {
			return "reservoir filled"
		}
		return fmt.Sprintf("reservoir filled with %.3g L", r.Value)
	case account.WaterChange.String():
		return fmt.Sprintf("%.3g L of water changed", r.Value)
	}
	return fmt.Sprintf("%s %.4g %s, by %s", r.Quantity, r.Value, r.Unit, r.Instrument)
}
