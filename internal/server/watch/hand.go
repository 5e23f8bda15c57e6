package watch

import (
	"cmp"
	"fmt"

	"isohaline/internal/account"
	"isohaline/internal/store"
)

// FromHand is what a person's written measurement tells the account; ok is false
// where it tells nothing.
func FromHand(r *store.HandReading) (o account.Observation, ok bool) {
	o = account.Observation{At: r.At, Value: r.Value, Instrument: r.Instrument}
	switch r.Quantity {
	case "salinity":
		o.Kind, o.SD = account.Salinity, cmp.Or(instrumentSD[r.Instrument], usualSD)
	case "temperature":
		o.Kind = account.WaterTemp
	case account.ReservoirFilled.String():
		o.Kind = account.ReservoirFilled
	case account.WaterChange.String():
		o.Kind = account.WaterChange
		if _, err := fmt.Sscanf(r.Note, newWater, &o.Second); err != nil {
			o.Second = 0 // nobody measured it
		}
	default:
		return o, false
	}
	return o, true
}

// newWater is how a hand reading's note says the salinity of new water.
const newWater = "of %g PSU"

// NewWater is the note of a water change with water of a salinity; empty for 0,
// where nobody measured it.
func NewWater(salinityPSU float64) string {
	if salinityPSU == 0 {
		return ""
	}
	return fmt.Sprintf(newWater, salinityPSU)
}

// instrumentSD is the error of one reading, one standard deviation in PSU, of
// the instruments people read salinity with. Common practice, no source.
var instrumentSD = map[string]float64{
	"refractometer": 0.5, "conductivity meter": 0.3, "hydrometer": 0.7,
}

// usualSD is that of any other.
const usualSD = 0.7
