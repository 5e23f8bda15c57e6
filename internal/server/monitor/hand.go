package monitor

import (
	"fmt"

	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/store"
)

// FromHand is what a person's written measurement tells the account; ok is false
// where it tells nothing.
func FromHand(r *store.HandReading) (o account.Observation, ok bool) {
	o, ok = channel.ByHand(r.Quantity, r.At, r.Value, r.Instrument)
	if r.Quantity == channel.WaterChange {
		if _, err := fmt.Sscanf(r.Note, newWater, &o.Second); err != nil {
			o.Second = 0 // nobody measured it
		}
	}
	return o, ok
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
