package chart

import (
	"fmt"
	"math"

	"isohaline/internal/units"
)

// Section is a tank and its sump cut through, true to scale in both directions.
//
// Elevations are metres above the datum, the inside floor of the return chamber
// (of the display where there is no sump); heights are metres above the floor
// of their own vessel. What is not there is NaN or nil.
type Section struct {
	Title, Place string
	Units        units.System

	Display   Basin
	Overflow  *Overflow // nil without a sump, like Return and Sump
	Return    *Return
	Sump      *Sump
	Reservoir *Basin // nil: fed from a plumbed line
	TopOff    TopOff
	Levels    Levels

	// FloorSensor: there is one beside the sump.
	FloorSensor bool

	// Facts are the few numbers for the title block.
	Facts []Fact
	// Notes explain parts, Cautions say what needs a person. Both are listed
	// beside the drawing and marked in it, by number and by letter.
	Notes, Cautions []Note
}

// Basin is an open vessel.
type Basin struct {
	// Widths is the inside width against height, from the floor to the rim.
	Widths          []WidthAtHeight
	FloorElevationM float64
	// WaterHeightM is the water in it, RockFrac the share that rock takes.
	WaterHeightM, RockFrac float64
}

// WidthAtHeight is one row of a vessel's outline; linear between rows.
type WidthAtHeight struct{ HeightM, WidthM float64 }

// Overflow is the edge that sets the display's level. Heights above the
// display's floor.
type Overflow struct {
	Standpipe        bool // a pipe's rim, not a weir
	CrestHeightM     float64
	EmergencyHeightM float64 // NaN: none
}

// Return is the pump and line back up. Heights above the display's floor.
type Return struct {
	BoreM              float64
	OutletHeightM      float64
	SiphonBreakHeightM float64 // NaN: none
	IntakeElevationM   float64
}

// Sump is the tank below.
type Sump struct {
	HeightM      float64
	Compartments []Compartment // the last is the return chamber
}

// Compartment is one chamber of a sump.
type Compartment struct {
	Name                   string
	LengthM, BaffleHeightM float64
}

// TopOff is the way of the fresh water.
type TopOff struct {
	BoreM                         float64
	EndElevationM, HighElevationM float64
	PumpIntakeHeightM             float64 // in the reservoir; NaN: no pump
	LowSensorHeightM              float64 // in the reservoir; NaN: none
	AirHole, CheckValve, Shutoff  bool
	FloatValveElevationM          float64 // NaN: none
	// Plumbed: an RO/DI line feeds the tube, or the reservoir if there is one.
	Plumbed bool
}

// Levels are what the sensors and the water do in the return chamber.
type Levels struct {
	Watch, Ceiling Switch
	// HighestM is the highest the top-off can leave, RestM what that becomes
	// when the return pump stops, DipM the lowest at a restart.
	HighestM, RestM, DipM float64
	// DrainDownM3 lies between HighestM and RestM, MarginM3 between RestM and
	// the rim; negative: it spills.
	DrainDownM3, MarginM3 float64
}

// Switch is a level sensor. An ElevationM of NaN: none.
type Switch struct {
	Kind                    string // float, optical, conductive, pressure, ultrasonic
	ElevationM, HysteresisM float64
}

func (s Switch) fitted() bool { return !math.IsNaN(s.ElevationM) }

// Fact is a number with its name, ready to print.
type Fact struct{ Name, Value string }

// Note is a remark about a part.
type Note struct {
	At    Part
	Words string
}

// Part is a place in the section that a note can point at.
type Part uint8

const (
	NoPart Part = iota // listed, not marked
	DisplayPart
	CrestPart
	DrainPart
	EmergencyPart
	ReturnPumpPart
	ReturnLinePart
	SiphonBreakPart
	ChamberPart
	SensorPart
	TopOffPumpPart
	TubePart
	TubeEndPart
	ReservoirPart
	LowSensorPart
	PlumbedPart
	FloatValvePart
	FloorPart
)

// Bounds of what can be drawn, metres: a dropper to a public aquarium.
const (
	smallestM = 0.005
	largestM  = 1000
)

// measured is a value to check: within largestM of nothing, or NaN if it may be
// missing.
type measured struct {
	field    string
	value    float64
	optional bool
}

// check refuses what cannot be drawn.
func (s *Section) check() error {
	if err := s.Display.check("Display"); err != nil {
		return err
	}
	if s.Reservoir != nil {
		if err := s.Reservoir.check("Reservoir"); err != nil {
			return err
		}
	}
	if (s.Sump == nil) != (s.Overflow == nil) || (s.Sump == nil) != (s.Return == nil) {
		return fmt.Errorf("chart: Sump, Overflow and Return are not together: give all three or none")
	}
	t, l := &s.TopOff, &s.Levels
	values := []measured{
		{"TopOff.BoreM", t.BoreM, false},
		{"TopOff.EndElevationM", t.EndElevationM, false},
		{"TopOff.HighElevationM", t.HighElevationM, false},
		{"TopOff.PumpIntakeHeightM", t.PumpIntakeHeightM, true},
		{"TopOff.LowSensorHeightM", t.LowSensorHeightM, true},
		{"TopOff.FloatValveElevationM", t.FloatValveElevationM, true},
		{"Levels.Watch.ElevationM", l.Watch.ElevationM, true},
		{"Levels.Watch.HysteresisM", l.Watch.HysteresisM, false},
		{"Levels.Ceiling.ElevationM", l.Ceiling.ElevationM, true},
		{"Levels.Ceiling.HysteresisM", l.Ceiling.HysteresisM, false},
		{"Levels.HighestM", l.HighestM, true},
		{"Levels.RestM", l.RestM, true},
		{"Levels.DipM", l.DipM, true},
	}
	if s.Sump != nil {
		if len(s.Sump.Compartments) == 0 {
			return fmt.Errorf("chart: Sump.Compartments is empty: give at least the return chamber")
		}
		if err := size("Sump.HeightM", s.Sump.HeightM); err != nil {
			return err
		}
		for i, c := range s.Sump.Compartments {
			at := fmt.Sprintf("Sump.Compartments[%d]", i)
			if err := size(at+".LengthM", c.LengthM); err != nil {
				return err
			}
			values = append(values, measured{at + ".BaffleHeightM", c.BaffleHeightM, false})
		}
		values = append(values,
			measured{"Overflow.CrestHeightM", s.Overflow.CrestHeightM, false},
			measured{"Overflow.EmergencyHeightM", s.Overflow.EmergencyHeightM, true},
			measured{"Return.BoreM", s.Return.BoreM, false},
			measured{"Return.OutletHeightM", s.Return.OutletHeightM, false},
			measured{"Return.SiphonBreakHeightM", s.Return.SiphonBreakHeightM, true},
			measured{"Return.IntakeElevationM", s.Return.IntakeElevationM, false})
	}
	for _, m := range values {
		if !(math.Abs(m.value) <= largestM || m.optional && math.IsNaN(m.value)) {
			return fmt.Errorf("chart: %s is %v: give metres between -%d and %d", m.field, m.value, largestM, largestM)
		}
	}
	const largestM3 = largestM * largestM * largestM
	for _, m := range []measured{{field: "Levels.DrainDownM3", value: l.DrainDownM3}, {field: "Levels.MarginM3", value: l.MarginM3}} {
		if math.Abs(m.value) > largestM3 {
			return fmt.Errorf("chart: %s is %v: give cubic metres between -%d and %d", m.field, m.value, largestM3, largestM3)
		}
	}
	return nil
}

func size(field string, m float64) error {
	if !(m >= smallestM && m <= largestM) {
		return fmt.Errorf("chart: %s is %v: give metres from %v to %d", field, m, smallestM, largestM)
	}
	return nil
}

func (b *Basin) check(field string) error {
	if len(b.Widths) < 2 || b.Widths[0].HeightM != 0 {
		return fmt.Errorf("chart: %s.Widths has %d rows: give one at height 0 and one at the rim", field, len(b.Widths))
	}
	if err := size(field+" rim", b.rimM()); err != nil {
		return err
	}
	for i, w := range b.Widths {
		if err := size(fmt.Sprintf("%s.Widths[%d].WidthM", field, i), w.WidthM); err != nil {
			return err
		}
		if i > 0 && !(w.HeightM >= b.Widths[i-1].HeightM) {
			return fmt.Errorf("chart: %s.Widths[%d] lies below the row before: list them from the floor upward", field, i)
		}
	}
	if !(math.Abs(b.FloorElevationM) <= largestM) {
		return fmt.Errorf("chart: %s.FloorElevationM is %v: give metres between -%d and %d", field, b.FloorElevationM, largestM, largestM)
	}
	if !(b.WaterHeightM >= 0 && b.WaterHeightM <= largestM) {
		return fmt.Errorf("chart: %s.WaterHeightM is %v: give metres from 0 to %d", field, b.WaterHeightM, largestM)
	}
	if !(b.RockFrac >= 0 && b.RockFrac < 1) {
		return fmt.Errorf("chart: %s.RockFrac is %v: give a share from 0 to 1", field, b.RockFrac)
	}
	return nil
}

// rimM is the inside height.
func (b *Basin) rimM() float64 { return b.Widths[len(b.Widths)-1].HeightM }

// rimElevationM is the rim above the datum.
func (b *Basin) rimElevationM() float64 { return b.FloorElevationM + b.rimM() }

// widthM is the inside width at a height.
func (b *Basin) widthM(heightM float64) float64 {
	for i := 1; i < len(b.Widths); i++ {
		lower, upper := b.Widths[i-1], b.Widths[i]
		if heightM > upper.HeightM && i < len(b.Widths)-1 {
			continue
		}
		if upper.HeightM <= lower.HeightM || heightM >= upper.HeightM {
			return upper.WidthM
		}
		share := max(0, (heightM-lower.HeightM)/(upper.HeightM-lower.HeightM))
		return lower.WidthM + share*(upper.WidthM-lower.WidthM)
	}
	return b.Widths[0].WidthM
}

// extremes are the narrowest and the widest inside width.
func (b *Basin) extremes() (narrowest, widest float64) {
	narrowest = math.Inf(1)
	for _, w := range b.Widths {
		narrowest, widest = min(narrowest, w.WidthM), max(widest, w.WidthM)
	}
	return narrowest, widest
}

// standingM is how high the water of a compartment stands: at the highest wall
// it still has to cross, or with the return chamber where that is higher.
func (s *Sump) standingM(i int, chamberM float64) float64 {
	level := chamberM
	for _, c := range s.Compartments[i:] {
		level = max(level, c.BaffleHeightM)
	}
	return min(level, s.HeightM)
}

// chamberLevelM is the level drawn in the return chamber, or in a display
// without sump: the watch level, or a float valve's.
func (s *Section) chamberLevelM() float64 {
	switch {
	case s.Levels.Watch.fitted():
		return s.Levels.Watch.ElevationM
	case !math.IsNaN(s.TopOff.FloatValveElevationM):
		return s.TopOff.FloatValveElevationM
	case s.Sump == nil:
		return s.Display.WaterHeightM
	}
	return s.Sump.HeightM / 2
}

// chamberRimM is the rim above the sensors.
func (s *Section) chamberRimM() float64 {
	if s.Sump != nil {
		return s.Sump.HeightM
	}
	return s.Display.rimElevationM()
}
