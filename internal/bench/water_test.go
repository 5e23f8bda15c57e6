package bench

import (
	"testing"

	"isohaline/internal/tankfile"
)

// TestRoomIsTheChecks: the same room for the same tank as the design check takes:
// its usual carbon dioxide, at the air pressure of the place. By Dalton's law a
// tenth less pressure is a tenth less carbon dioxide.
func TestRoomIsTheChecks(t *testing.T) {
	high := TankWater{VolumeL: 400, TempC: 25, SalinityPSU: 35, AlkalinityDKH: 8, AirPressureHPa: ptr(0.9 * 1013.25)}
	less := high
	less.AirPressureHPa, less.RoomCO2PPM = nil, ptr(0.9*tankfile.UsualRoomCO2PPM)
	for _, w := range []*TankWater{&high, &less} {
		near(t, "carbon dioxide, µatm", w.roomUatm(), 630, 1e-9)
	}
	a, err := high.dissolved()
	if err != nil {
		t.Fatal(err)
	}
	b, err := less.dissolved()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "carbon", a.DICUmolKg, b.DICUmolKg, 1e-9)
}
