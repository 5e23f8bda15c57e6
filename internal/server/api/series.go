package api

import "time"

type seriesIn struct {
	tankIn
	Channel string    `query:"channel" required:"true" doc:"one of those that /channels lists" maxLength:"128"`
	From    time.Time `query:"from" required:"true"`
	To      time.Time `query:"to" required:"true"`
	Points  int       `query:"points" default:"800" minimum:"10" maximum:"5000" doc:"about how many points are wanted"`
}

// Series is one channel against time, as columns of equal length.
type Series struct {
	Channel string    `json:"channel"`
	Unit    string    `json:"unit"`
	StepS   float64   `json:"stepS" doc:"width of a point in seconds; 0: every reading as it came"`
	T       []float64 `json:"t" doc:"seconds since 1970, UTC; the start of each point"`
	Mean    []float64 `json:"mean"`
	Min     []float64 `json:"min"`
	Max     []float64 `json:"max"`
}

type seriesOut struct{ Body Series }

// Channel is one thing that is measured at a tank.
type Channel struct {
	ID       string    `json:"id" example:"level"`
	DeviceID string    `json:"deviceId"`
	Unit     string    `json:"unit"`
	First    time.Time `json:"first"`
	Last     time.Time `json:"last"`
}

type channelsOut struct {
	Body struct {
		Channels []Channel `json:"channels"`
	}
}

type rangeIn struct {
	tankIn
	From time.Time `query:"from" required:"true"`
	To   time.Time `query:"to" required:"true"`
}

// LedgerDay is what went in on one day against what was expected to.
type LedgerDay struct {
	Day      string  `json:"day" format:"date" doc:"UTC"`
	Litres   float64 `json:"litres" doc:"topped up"`
	Expected *Band   `json:"expected,omitempty" doc:"from the physics of evaporation and what the tank has shown"`
}

type ledgerOut struct {
	Body struct {
		Days []LedgerDay `json:"days"`
	}
}

// TankEvent is something that happened at a tank: a fill, a contact that
// changed, a hand reading, a visit.
type TankEvent struct {
	At    time.Time `json:"at"`
	Kind  string    `json:"kind" example:"fill"`
	Words string    `json:"words" example:"the pump ran for 42 s"`
	By    string    `json:"by,omitempty" doc:"the person or the device"`
}

type eventsOut struct {
	Body struct {
		Events []TankEvent `json:"events" doc:"newest first"`
	}
}

type findingsOut struct {
	Body struct {
		Findings []Finding `json:"findings" doc:"newest first, the ended ones too"`
	}
}
