package plant

import "isohaline/hydraulics"

// basin is the chamber with the water of its fixed compartments: that water
// mixes with the rest but shows in no level.
type basin struct {
	vessel  hydraulics.Vessel
	fixedM3 float64
}

func (b *basin) VolumeM3(levelM float64) float64 { return b.fixedM3 + b.vessel.VolumeM3(levelM) }
func (b *basin) LevelM(volumeM3 float64) float64 { return b.vessel.LevelM(volumeM3 - b.fixedM3) }
func (b *basin) AreaM2(levelM float64) float64   { return b.vessel.AreaM2(levelM) }
func (b *basin) CapacityM3() float64             { return b.fixedM3 + b.vessel.CapacityM3() }
func (b *basin) RimM() float64                   { return b.vessel.RimM() }
