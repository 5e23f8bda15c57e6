package verify

import (
	"context"
	"math"
	"slices"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// proposedSensor is an ordinary level switch at the height the check proposes.
func proposedSensor(kind string) *tankfile.Sensor {
	const bandM, responseS = 0.004, 1
	return &tankfile.Sensor{Kind: kind, ElevationM: math.NaN(), HysteresisM: bandM, ResponseS: responseS, Group: kind}
}

func mostFlowM3S(p *tankfile.Pump) float64 {
	most := 0.0
	for _, c := range p.Curve {
		most = max(most, c.FlowM3S)
	}
	return most
}

func reservoirM3(s *tankfile.Tank) float64 {
	v, err := s.TopOff.Reservoir.Shape.Vessel()
	if err != nil {
		return math.NaN()
	}
	return v.VolumeM3(s.TopOff.Reservoir.FillHeightM)
}

// The search for a reservoir looks at reservoirLevels levels from full down to
// nothing, then halves the last gap reservoirHalvings times.
const (
	reservoirLevels   = 12
	reservoirHalvings = 4
)

// shrinkReservoir finds the fullest reservoir that does less harm than now: the
// largest that is inherently safe. A very small one does harm of its own, by
// running out, so the search comes from above.
func shrinkReservoir(s *tankfile.Tank) bool {
	r := s.TopOff.Reservoir
	if r == nil {
		return false
	}
	now, err := shortfallOf(context.Background(), s, nil)
	if err != nil || now.harm == 0 {
		return false
	}
	helps := func(levelM float64) bool {
		c := clone(s)
		fillTo(c.TopOff.Reservoir, levelM)
		then, err := shortfallOf(context.Background(), c, now.ids)
		return err == nil && then.harm < now.harm
	}
	low, high := r.PumpIntakeHeightM+2*intakeClearM, r.FillHeightM
	step := (high - low) / reservoirLevels
	good := high - step
	for !helps(good) {
		if good -= step; good < low {
			return false
		}
	}
	bad := good + step
	for range reservoirHalvings {
		if mid := (good + bad) / 2; helps(mid) {
			good = mid
		} else {
			bad = mid
		}
	}
	fillTo(r, math.Floor(good*1000)/1000)
	return true
}

// fillTo fills a reservoir to a level and keeps its low sensor under water.
func fillTo(r *tankfile.Reservoir, levelM float64) {
	r.FillHeightM = levelM
	if r.LowSensor != nil {
		r.LowSensor.HeightM = min(r.LowSensor.HeightM, (levelM+r.PumpIntakeHeightM)/2)
	}
}

// growReservoir makes it last until the next visit at the high end.
func growReservoir(s *tankfile.Tank) bool {
	r := s.TopOff.Reservoir
	if r == nil {
		return false
	}
	b, err := prepare(s, units.Metric)
	if err != nil {
		return false
	}
	high := 0.0
	for _, w := range b.water {
		high = max(high, w.Total.HighLitresPerDay*litre+skimmateM3Day(s))
	}
	v, err := r.Shape.Vessel()
	if err != nil {
		return false
	}
	wanted := v.VolumeM3(lowestM(r)) + high*s.People.DaysBetweenVisits
	if wanted <= v.VolumeM3(r.FillHeightM) {
		return false
	}
	grow := math.Sqrt(wanted / v.VolumeM3(r.FillHeightM))
	r.Shape.LengthM *= grow
	r.Shape.WidthM *= grow
	r.Shape.DiameterM *= grow
	r.Shape.Table = slices.Clone(r.Shape.Table)
	for i := range r.Shape.Table {
		r.Shape.Table[i].AreaM2 *= grow * grow
	}
	return true
}

// The system put in place of a plumbed line. Judgement, no source; the search
// verifies it, and a smaller reservoir or pump may follow.
const (
	boundFrac      = 0.05  // of the system's water: drops salinity by 1.7 at 35
	boundSideM     = 0.30  // of a square container, a cube if that is larger
	boundIntakeM   = 0.015 // the pump stands on its floor
	boundSpareM    = 0.03  // above its water
	boundPumpRatio = 40    // pump flow over evaporation: a fill takes a minute
	slowestPumpM3S = 5e-6
	tubeHighM      = 0.1 // above the rim
	answerHours    = 24
)

// boundSource puts a reservoir, a pump, a controller and two sensors where a
// plumbed line was.
func boundSource(s *tankfile.Tank) bool {
	t := &s.TopOff
	if t.Plumbed == nil {
		return false
	}
	level, rim := s.Display.FillHeightM, s.Display.Shape.HeightM
	if s.HasSump() {
		level, rim = s.Sump.HeightM/2, s.Sump.HeightM
		if n := len(s.Sump.Compartments); n > 1 {
			level = min(level, s.Sump.Compartments[n-2].BaffleHeightM-baffleClearM)
		}
	}
	probe := clone(s)
	probe.TopOff.FloatValve = &tankfile.FloatValve{ShutElevationM: level, OpenBelowM: baffleClearM}
	tw, err := plant.Build(plant.Setup{Tank: probe, EvaporationFactor: 1})
	if err != nil {
		return false
	}
	volume := boundFrac * tw.SystemM3()
	side := roundMM(max(boundSideM, math.Cbrt(volume)))
	height := roundMM(volume / (side * side))
	t.Plumbed, t.FloatValve = nil, nil
	t.Reservoir = &tankfile.Reservoir{
		Shape:       tankfile.Shape{Kind: "rectangle", LengthM: side, WidthM: side, HeightM: roundMM(height + boundSpareM)},
		FillHeightM: height, PumpIntakeHeightM: boundIntakeM,
		LowSensor: &tankfile.ReservoirLow{HeightM: boundIntakeM + intakeClearM},
	}
	flow := max(boundPumpRatio*tw.EvaporationM3Day()/day.Seconds(), slowestPumpM3S)
	t.Pump = &tankfile.Pump{Curve: []tankfile.PumpPoint{{FlowM3S: flow}}}
	t.TubeEndElevationM, t.TubeHighElevationM, t.SiphonBreak = rim, max(rim, height+boundSpareM)+tubeHighM, true
	t.Watch, t.Ceiling = proposedSensor("optical"), proposedSensor("float")
	t.ReturnSensed = s.HasSump()
	s.Controller = &tankfile.Controller{}
	s.FloorSensor = &tankfile.FloorSensor{TripM3: proposedFloorTripM3}
	callSomebody(s)
	return true
}

// callSomebody lets the alarm reach somebody who comes.
func callSomebody(s *tankfile.Tank) {
	s.Alarm.Remote = true
	if s.People.AnswerHours <= 0 {
		s.People.AnswerHours = answerHours
	}
}
