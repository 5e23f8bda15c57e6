package monitor

import (
	"fmt"

	"isohaline/internal/account"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/store"
)

// FromHand is what a person's written measurement tells the account; ok is false
// where it tells nothing.
func FromHand(r *store.HandReading) (o account.Observation, ok bool) {
	o = account.Observation{At: r.At, Value: r.Value, Instrument: r.Instrument}
	switch r.Quantity {
	case "salinity":
		o.Kind, o.SD = account.Salinity, instrument.HandSDPSU(r.Instrument)
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
