package hydraulics

import (
	"fmt"
	"math"
	"slices"
)

// Section is one row of a vessel's area table: the free water area at a height
// above the vessel's inside floor.
type Section struct{ HeightM, AreaM2 float64 }

// Vessel is a container described by its free water area at each height. Levels
// are heights above its inside floor, in metres.
//
// Rock, sand and equipment take area away; a caller states the area that is
// left for water. Below the floor the volume is zero. Above the rim the top
// area simply continues, so that a caller can see how far a vessel is overfull:
// compare with RimM or CapacityM3 to see water on the floor.
//
// A Vessel is an immutable value; copy it freely. The zero Vessel has no floor
// area and holds nothing: its volume is zero at every level.
type Vessel struct {
	areaM2, rimM float64 // of a prism; a table keeps its top area and its rim here too
	pieces       []piece // nil for a prism; lowest first otherwise
}

// piece is the part of a vessel between two heights, over which the area is
// linear in the level. A step in the area is two pieces that meet at a height.
type piece struct {
	floorM, floorM3, floorM2 float64 // level, volume below, area at its lower end
	slopeM                   float64 // change of area with level, m2/m
}

// NewPrism returns a vessel with upright walls: areaM2 at every height up to
// the rim at heightM. Both must be positive and finite.
func NewPrism(areaM2, heightM float64) (Vessel, error) {
	if !positive(areaM2) {
		return Vessel{}, fmt.Errorf("vessel: area is %g m2: give the free water area, more than zero", areaM2)
	}
	if !positive(heightM) {
		return Vessel{}, fmt.Errorf("vessel: height is %g m: give the height from floor to rim, more than zero", heightM)
	}
	return Vessel{areaM2: areaM2, rimM: heightM}, nil
}

// NewTable returns a vessel from its area against height, linear between rows.
// The first row is the floor at height 0 and the last is the rim; heights
// ascend and areas are positive. Two rows at one height make a step: below it
// the first area holds, at it and above it the second.
func NewTable(sections []Section) (Vessel, error) {
	if len(sections) < 2 {
		return Vessel{}, fmt.Errorf("vessel: area table has %d rows: give at least the floor and the rim", len(sections))
	}
	for i, s := range sections {
		switch {
		case !positive(s.AreaM2):
			return Vessel{}, fmt.Errorf("vessel: area table row %d: area is %g m2: give the free water area, more than zero", i+1, s.AreaM2)
		case i == 0 && s.HeightM != 0:
			return Vessel{}, fmt.Errorf("vessel: area table row 1: height is %g m: start at the floor, height 0", s.HeightM)
		case i > 0 && !(s.HeightM >= sections[i-1].HeightM), math.IsInf(s.HeightM, 0):
			return Vessel{}, fmt.Errorf("vessel: area table row %d: height is %g m: list heights from the floor upward", i+1, s.HeightM)
		case i > 1 && s.HeightM == sections[i-2].HeightM:
			return Vessel{}, fmt.Errorf("vessel: area table row %d: height %g m stands three times: a step needs two rows", i+1, s.HeightM)
		}
	}
	last := sections[len(sections)-1]
	if last.HeightM == 0 {
		return Vessel{}, fmt.Errorf("vessel: area table: every height is 0 m: give the rim as the last row")
	}
	v := Vessel{areaM2: last.AreaM2, rimM: last.HeightM}
	volumeM3 := 0.0
	for i, s := range sections[:len(sections)-1] {
		above := sections[i+1]
		riseM := above.HeightM - s.HeightM
		if riseM == 0 {
			continue // a step: the next row starts the next piece
		}
		v.pieces = append(v.pieces, piece{s.HeightM, volumeM3, s.AreaM2, (above.AreaM2 - s.AreaM2) / riseM})
		volumeM3 += riseM * (s.AreaM2 + above.AreaM2) / 2
	}
	// Above the rim the top area continues: one more piece, without an end.
	v.pieces = append(v.pieces, piece{last.HeightM, volumeM3, last.AreaM2, 0})
	v.pieces = slices.Clip(v.pieces)
	return v, nil
}

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// RimM is the height of the rim above the floor.
func (v Vessel) RimM() float64 { return v.rimM }

// CapacityM3 is the volume up to the rim.
func (v Vessel) CapacityM3() float64 {
	if v.pieces == nil {
		return v.areaM2 * v.rimM
	}
	return v.pieces[len(v.pieces)-1].floorM3
}

// pieceAt is the piece that a level stands in; the lowest below the floor.
func (v Vessel) pieceAt(levelM float64) *piece {
	i := len(v.pieces) - 1
	for i > 0 && !(levelM >= v.pieces[i].floorM) {
		i--
	}
	return &v.pieces[i]
}

// AreaM2 is the free water area at a level: the floor's below the floor, the
// rim's above the rim, and the upper of the two at a step. A prism's does not
// look at the level, not even at a NaN.
func (v Vessel) AreaM2(levelM float64) float64 {
	if v.pieces == nil {
		return v.areaM2
	}
	p := v.pieceAt(levelM)
	return p.floorM2 + p.slopeM*math.Max(levelM-p.floorM, 0)
}

// VolumeM3 is the volume held up to a level; zero at and below the floor.
func (v Vessel) VolumeM3(levelM float64) float64 {
	if levelM <= 0 {
		return 0
	}
	if v.pieces == nil {
		return v.areaM2 * levelM
	}
	p := v.pieceAt(levelM)
	riseM := levelM - p.floorM
	return p.floorM3 + riseM*(p.floorM2+p.slopeM*riseM/2)
}

// LevelM is the level at which the vessel holds a volume: the exact inverse of
// VolumeM3, to 1e-12 of the volume. Zero for a volume of zero or less.
func (v Vessel) LevelM(volumeM3 float64) float64 {
	if volumeM3 <= 0 {
		return 0
	}
	if v.pieces == nil {
		return volumeM3 / v.areaM2
	}
	i := len(v.pieces) - 1
	for i > 0 && !(volumeM3 >= v.pieces[i].floorM3) {
		i--
	}
	p := &v.pieces[i]
	// The root of slope/2 x² + area x = volume, in the form that neither
	// cancels nor divides by a slope of zero. The square root is the area at
	// the level sought; rounding may push its square below zero.
	aboveM3 := volumeM3 - p.floorM3
	areaM2 := math.Sqrt(math.Max(p.floorM2*p.floorM2+2*p.slopeM*aboveM3, 0))
	return p.floorM + 2*aboveM3/(p.floorM2+areaM2)
}
