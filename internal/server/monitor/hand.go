package monitor

import (
	"isohaline/internal/account"
	"isohaline/internal/channel"
	"isohaline/internal/store"
)

// FromHand is what a person's written measurement tells the account; ok is false
// where it tells nothing.
func FromHand(r *store.HandReading) (o account.Observation, ok bool) {
	o, ok = channel.ByHand(r.Quantity, r.At, r.Value, r.Instrument)
	if r.Quantity == channel.WaterChange {
		o.Second = r.SalinityPSU
	}
	return o, ok
}
