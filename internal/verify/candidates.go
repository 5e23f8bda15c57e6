package verify

import (
	"fmt"
	"math"
	"slices"

	"isohaline/hydraulics"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// candidate is a change that may be tried. Candidates are listed from the
// least trouble to the most: a setting, a hole in a tube, a part, a habit, a
// new system.
type candidate struct {
	id    string
	words func(before, after *tankfile.Tank, u units.System) string
	// apply changes a copy of the tank and says whether there was anything to
	// change.
	apply func(*tankfile.Tank) bool
	// keep, where apply searches, makes its finding from the changed tank into
	// an apply that need not search again.
	keep func(after *tankfile.Tank) func(*tankfile.Tank) bool
}

// keepReservoir applies the reservoir that was found.
func keepReservoir(after *tankfile.Tank) func(*tankfile.Tank) bool {
	found := *after.TopOff.Reservoir
	return func(s *tankfile.Tank) bool {
		if s.TopOff.Reservoir == nil {
			return false
		}
		r := found
		s.TopOff.Reservoir = &r
		return true
	}
}

func say(text string) func(_, _ *tankfile.Tank, _ units.System) string {
	return func(_, _ *tankfile.Tank, _ units.System) string { return text }
}

// Sizes that changes propose. Common practice or judgement, no source.
const (
	proposedCheckDays   = 7
	proposedAnswerHours = 12
	proposedFloorTripM3 = 0.3e-3
	emergencyShare      = 0.6   // of the way from crest to rim
	emergencySpareM     = 0.001 // left below the rim at full flow
)

var candidates = []candidate{
	{id: "settings-from-check",
		words: say("leave the controller's settings to this check instead of the tank file"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || *s.Controller == (tankfile.Controller{StopsReturnOnFloor: s.Controller.StopsReturnOnFloor}) {
				return false
			}
			*s.Controller = tankfile.Controller{StopsReturnOnFloor: s.Controller.StopsReturnOnFloor}
			return true
		}},
	{id: "sensor-levels-from-check",
		words: say("set the sensors at the heights this check proposes"),
		apply: func(s *tankfile.Tank) bool {
			w, c := s.TopOff.Watch, s.TopOff.Ceiling
			if w == nil || math.IsNaN(w.ElevationM) && (c == nil || math.IsNaN(c.ElevationM)) {
				return false
			}
			w.ElevationM = math.NaN()
			if c != nil {
				c.ElevationM = math.NaN()
			}
			return true
		}},
	{id: "stop-return-on-wet-floor",
		words: say("let the controller stop the return pump, too, when the floor sensor gets wet"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || s.FloorSensor == nil || !s.HasSump() || s.Controller.StopsReturnOnFloor {
				return false
			}
			s.Controller.StopsReturnOnFloor = true
			return true
		}},
	{id: "top-off-air-hole",
		words: say("drill an air hole at the top of the top-off tube, above every water level, so that it cannot siphon"),
		apply: func(s *tankfile.Tank) bool {
			if s.TopOff.SiphonBreak || s.TopOff.Pump == nil {
				return false
			}
			s.TopOff.SiphonBreak = true
			return true
		}},
	{id: "tube-above-water",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("clip the tube's end above every water level, at %s above the chamber floor", u.Length(after.TopOff.TubeEndElevationM))
		},
		apply: func(s *tankfile.Tank) bool {
			rim := s.Display.Shape.HeightM
			if s.HasSump() {
				rim = s.Sump.HeightM
			}
			if s.TopOff.TubeEndElevationM >= rim-freeboardM {
				return false
			}
			s.TopOff.TubeEndElevationM = rim
			s.TopOff.TubeHighElevationM = max(s.TopOff.TubeHighElevationM, rim)
			return true
		}},
	{id: "return-outlet-at-crest",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("raise the return line's outlet to the crest, %s above the display's floor, so that nothing can siphon back", u.Length(after.Return.OutletHeightM))
		},
		apply: func(s *tankfile.Tank) bool {
			if !s.HasSump() || s.Return.OutletHeightM >= s.Overflow.CrestHeightM {
				return false
			}
			s.Return.OutletHeightM = s.Overflow.CrestHeightM
			s.Return.SiphonBreakHeightM = 0
			return true
		}},
	{id: "skimmer-cutoff",
		words: say("fit a float that stops the skimmer when its container is full"),
		apply: func(s *tankfile.Tank) bool {
			if s.Skimmer == nil || s.Skimmer.CupCutoff {
				return false
			}
			s.Skimmer.CupCutoff = true
			return true
		}},
	{id: "return-sensed",
		words: say("let the controller know whether the return pump runs"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || !s.HasSump() || s.TopOff.ReturnSensed {
				return false
			}
			s.TopOff.ReturnSensed = true
			return true
		}},
	{id: "ceiling-sensor",
		words: say("fit a second sensor of another kind at the ceiling level"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || s.TopOff.Ceiling != nil {
				return false
			}
			kind := "float"
			if w := s.TopOff.Watch; w != nil && w.Kind == kind {
				kind = "optical"
			}
			s.TopOff.Ceiling = proposedSensor(kind)
			return true
		}},
	{id: "floor-sensor",
		words: say("put a floor sensor beside the stand and wire it to the controller"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || s.FloorSensor != nil {
				return false
			}
			s.FloorSensor = &tankfile.FloorSensor{TripM3: proposedFloorTripM3}
			return true
		}},
	{id: "reservoir-low-sensor",
		words: say("fit a low sensor in the reservoir, so that the pump never runs dry"),
		apply: func(s *tankfile.Tank) bool {
			r := s.TopOff.Reservoir
			if s.Controller == nil || r == nil || r.LowSensor != nil {
				return false
			}
			r.LowSensor = &tankfile.ReservoirLow{HeightM: min(r.PumpIntakeHeightM+intakeClearM, (r.PumpIntakeHeightM+r.FillHeightM)/2)}
			return true
		}},
	{id: "shut-off-valve",
		words: say("fit a normally-closed shut-off valve in the top-off line, on an output of its own"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || s.TopOff.ShutoffValve {
				return false
			}
			s.TopOff.ShutoffValve = true
			return true
		}},
	{id: "remote-alarm",
		words: say("send the controller's alarm to somebody who comes"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || s.Alarm.Remote {
				return false
			}
			callSomebody(s)
			return true
		}},
	{id: "answer-sooner",
		words: say("have alarms answered within twelve hours"),
		apply: func(s *tankfile.Tank) bool {
			if s.Controller == nil || !(s.Alarm.Remote || s.Alarm.Audible && s.People.HearsAudible) ||
				s.People.AnswerHours <= proposedAnswerHours {
				return false
			}
			s.People.AnswerHours = proposedAnswerHours
			return true
		}},
	{id: "emergency-drain",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("fit a second, separate drain to the display with its crest %s above the floor", u.Length(after.Overflow.EmergencyHeightM))
		},
		apply: func(s *tankfile.Tank) bool {
			if !s.HasSump() || s.Overflow.EmergencyHeightM > 0 {
				return false
			}
			flow, err := plant.ReturnFlow(s)
			if err != nil {
				return false
			}
			// Above the running level, low enough to carry the whole flow.
			o, rim := s.Overflow, s.Display.Shape.HeightM
			head := hydraulics.EdgeHeadM(flow, o.EdgeLengthM)
			level := math.Floor(min(o.CrestHeightM+emergencyShare*(rim-o.CrestHeightM), rim-head-emergencySpareM)*1000) / 1000
			if level <= o.CrestHeightM+head {
				return false
			}
			o.EmergencyHeightM = level
			return true
		}},
	{id: "smaller-pump",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("use a smaller top-off pump, about %s at no lift", u.Flow(mostFlowM3S(after.TopOff.Pump)))
		},
		apply: func(s *tankfile.Tank) bool {
			if s.TopOff.Pump == nil {
				return false
			}
			const smaller = 0.5
			curve := slices.Clone(s.TopOff.Pump.Curve)
			for i := range curve {
				curve[i].FlowM3S *= smaller
			}
			s.TopOff.Pump = &tankfile.Pump{Curve: curve}
			return true
		}},
	{id: "smaller-reservoir",
		words: func(before, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("fill the reservoir to %s instead of %s: so much may go in at once",
				u.Volume(reservoirM3(after)), u.Volume(reservoirM3(before)))
		},
		apply: shrinkReservoir, keep: keepReservoir},
	{id: "larger-reservoir",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("use a reservoir of %s, to last until the next visit", u.Volume(reservoirM3(after)))
		},
		apply: growReservoir, keep: keepReservoir},
	{id: "plain-top-off",
		words: say("keep plain RO/DI water in the reservoir and give alkalinity another way, in small doses: then no overfill is an accident of chemistry"),
		apply: func(s *tankfile.Tank) bool {
			r := s.TopOff.Reservoir
			if r == nil || !r.LimeWater {
				return false
			}
			r.LimeWater, r.LimeFrac = false, 0
			return true
		}},
	{id: "look-more-often",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("have somebody look at the tank every %s", u.Duration(after.People.DaysBetweenVisits*day.Seconds()))
		},
		apply: func(s *tankfile.Tank) bool {
			if s.People.DaysBetweenVisits <= 1 {
				return false
			}
			if s.People.DaysBetweenVisits > proposedCheckDays {
				s.People.DaysBetweenVisits = proposedCheckDays
			} else {
				s.People.DaysBetweenVisits = math.Max(1, math.Floor(s.People.DaysBetweenVisits/2))
			}
			return true
		}},
	{id: "no-automatic-refill",
		words: say("fill the reservoir by hand, or open its refill only while somebody stands beside it: then the source is bounded"),
		apply: func(s *tankfile.Tank) bool {
			if s.TopOff.Reservoir == nil || s.TopOff.Reservoir.Refill == nil {
				return false
			}
			s.TopOff.Reservoir.Refill = nil
			return true
		}},
	{id: "bounded-source",
		words: func(_, after *tankfile.Tank, u units.System) string {
			return fmt.Sprintf("replace the plumbed line by a reservoir of %s, filled at visits, with a pump, a controller and two sensors: a bounded source in place of an endless one", u.Volume(reservoirM3(after)))
		},
		apply: boundSource},
}
