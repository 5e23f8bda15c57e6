package verify

import (
	"context"
	"fmt"
	"math"
	"slices"

	"isohaline/internal/plant"
	"isohaline/internal/site"
	"isohaline/internal/units"
)

// candidate is a change that may be tried. Candidates are listed from the
// least trouble to the most: a setting, a hole in a tube, a part, a habit, a
// new system.
type candidate struct {
	id    string
	words func(before, after *site.Site, u units.System) string
	// apply changes a copy of the site and says whether there was anything to
	// change.
	apply func(*site.Site) bool
	// keep, where apply searches, makes its finding from the changed site into
	// an apply that need not search again.
	keep func(after *site.Site) func(*site.Site) bool
}

// keepReservoir applies the reservoir that was found.
func keepReservoir(after *site.Site) func(*site.Site) bool {
	found := *after.TopOff.Reservoir
	return func(s *site.Site) bool {
		if s.TopOff.Reservoir == nil {
			return false
		}
		r := found
		s.TopOff.Reservoir = &r
		return true
	}
}

func say(text string) func(_, _ *site.Site, _ units.System) string {
	return func(_, _ *site.Site, _ units.System) string { return text }
}

// Sizes that changes propose. Common practice or judgement, no source.
const (
	proposedCheckDays     = 7
	proposedAnswerHours   = 12
	proposedFloorTripM3   = 0.3e-3
	emergencyShare        = 0.6 // of the way from running level to rim
	proposedReservoirFrac = 0.10
	proposedFillMinutes   = 3
)

var candidates = []candidate{
	{id: "settings-from-check",
		words: say("leave the controller's settings to this check instead of the site file"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || *s.Controller == (site.Controller{StopsReturnOnFloor: s.Controller.StopsReturnOnFloor}) {
				return false
			}
			*s.Controller = site.Controller{StopsReturnOnFloor: s.Controller.StopsReturnOnFloor}
			return true
		}},
	{id: "sensor-levels-from-check",
		words: say("set the sensors at the heights this check proposes"),
		apply: func(s *site.Site) bool {
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
		apply: func(s *site.Site) bool {
			if s.Controller == nil || s.FloorSensor == nil || !s.HasSump() || s.Controller.StopsReturnOnFloor {
				return false
			}
			s.Controller.StopsReturnOnFloor = true
			return true
		}},
	{id: "top-off-air-hole",
		words: say("drill an air hole at the top of the top-off tube, above every water level, so that it cannot siphon"),
		apply: func(s *site.Site) bool {
			if s.TopOff.SiphonBreak || s.TopOff.Pump == nil {
				return false
			}
			s.TopOff.SiphonBreak = true
			return true
		}},
	{id: "tube-above-water",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("clip the tube's end above every water level, at %s above the chamber floor", u.Length(after.TopOff.TubeEndElevationM))
		},
		apply: func(s *site.Site) bool {
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
	{id: "return-siphon-break",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("raise the return line's outlet to the crest, %s above the display's floor, so that nothing can siphon back", u.Length(after.Return.OutletHeightM))
		},
		apply: func(s *site.Site) bool {
			if !s.HasSump() || s.Return.OutletHeightM >= s.Overflow.CrestHeightM {
				return false
			}
			s.Return.OutletHeightM = s.Overflow.CrestHeightM
			return true
		}},
	{id: "skimmer-cutoff",
		words: say("fit a float that stops the skimmer when its container is full"),
		apply: func(s *site.Site) bool {
			if s.Skimmer == nil || s.Skimmer.CupCutoff {
				return false
			}
			s.Skimmer.CupCutoff = true
			return true
		}},
	{id: "return-sensed",
		words: say("let the controller know whether the return pump runs"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || !s.HasSump() || s.TopOff.ReturnSensed {
				return false
			}
			s.TopOff.ReturnSensed = true
			return true
		}},
	{id: "ceiling-sensor",
		words: say("fit a second sensor of another kind at the ceiling level"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || s.TopOff.Ceiling != nil {
				return false
			}
			s.TopOff.Ceiling = proposedSensor("float")
			return true
		}},
	{id: "floor-sensor",
		words: say("put a floor sensor beside the stand and wire it to the controller"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || s.FloorSensor != nil {
				return false
			}
			s.FloorSensor = &site.FloorSensor{TripM3: proposedFloorTripM3}
			return true
		}},
	{id: "reservoir-low-sensor",
		words: say("fit a low sensor in the reservoir, so that the pump never runs dry"),
		apply: func(s *site.Site) bool {
			r := s.TopOff.Reservoir
			if s.Controller == nil || r == nil || r.LowSensor != nil {
				return false
			}
			r.LowSensor = &site.ReservoirLow{HeightM: r.PumpIntakeHeightM + intakeClearM}
			return true
		}},
	{id: "shut-off-valve",
		words: say("fit a normally-closed shut-off valve in the top-off line, on an output of its own"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || s.TopOff.ShutoffValve {
				return false
			}
			s.TopOff.ShutoffValve = true
			return true
		}},
	{id: "remote-alarm",
		words: say("send the controller's alarm to somebody who comes"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || s.Alarm.Remote {
				return false
			}
			s.Alarm.Remote = true
			if s.People.AnswerHours <= 0 {
				s.People.AnswerHours = 24
			}
			return true
		}},
	{id: "answer-sooner",
		words: say("have alarms answered within twelve hours"),
		apply: func(s *site.Site) bool {
			if s.Controller == nil || !(s.Alarm.Remote || s.Alarm.Audible && s.People.HearsAudible) ||
				s.People.AnswerHours <= proposedAnswerHours {
				return false
			}
			s.People.AnswerHours = proposedAnswerHours
			return true
		}},
	{id: "emergency-drain",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("fit a second, separate drain to the display with its crest %s above the floor", u.Length(after.Overflow.EmergencyHeightM))
		},
		apply: func(s *site.Site) bool {
			if !s.HasSump() || s.Overflow.EmergencyHeightM > 0 {
				return false
			}
			o := s.Overflow
			o.EmergencyHeightM = roundMM(o.CrestHeightM + emergencyShare*(s.Display.Shape.HeightM-o.CrestHeightM))
			return true
		}},
	{id: "smaller-pump",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("use a smaller top-off pump, about %s", u.Flow(after.TopOff.Pump.Curve[0].FlowM3S))
		},
		apply: func(s *site.Site) bool {
			if s.TopOff.Pump == nil {
				return false
			}
			const smaller = 0.5
			curve := slices.Clone(s.TopOff.Pump.Curve)
			for i := range curve {
				curve[i].FlowM3S *= smaller
			}
			s.TopOff.Pump = &site.Pump{Curve: curve}
			return true
		}},
	{id: "smaller-reservoir",
		words: func(before, after *site.Site, u units.System) string {
			return fmt.Sprintf("fill the reservoir to %s instead of %s: so much may go in at once",
				u.Volume(reservoirM3(after)), u.Volume(reservoirM3(before)))
		},
		apply: shrinkReservoir, keep: keepReservoir},
	{id: "larger-reservoir",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("use a reservoir of %s, to last until the next visit", u.Volume(reservoirM3(after)))
		},
		apply: growReservoir, keep: keepReservoir},
	{id: "visit-weekly",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("have somebody look at the tank every %s", u.Duration(after.People.DaysBetweenVisits*day.Seconds()))
		},
		apply: func(s *site.Site) bool {
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
		apply: func(s *site.Site) bool {
			if s.TopOff.Reservoir == nil || s.TopOff.Reservoir.Refill == nil {
				return false
			}
			s.TopOff.Reservoir.Refill = nil
			return true
		}},
	{id: "bounded-source",
		words: func(_, after *site.Site, u units.System) string {
			return fmt.Sprintf("replace the plumbed line by a reservoir of %s, filled at visits, with a pump, a controller and two sensors: a bounded source in place of an endless one", u.Volume(reservoirM3(after)))
		},
		apply: boundSource},
}

func proposedSensor(kind string) *site.Sensor {
	return &site.Sensor{Kind: kind, ElevationM: math.NaN(), HysteresisM: 0.004, ResponseS: 1, Group: kind}
}

func reservoirM3(s *site.Site) float64 {
	v, err := s.TopOff.Reservoir.Shape.Vessel()
	if err != nil {
		return math.NaN()
	}
	return v.VolumeM3(s.TopOff.Reservoir.FillHeightM)
}

// reservoirSteps is how finely the search for a reservoir looks: 2^8 levels.
const reservoirSteps = 8

// shrinkReservoir finds the fullest reservoir that does less harm than now: the
// largest that is inherently safe.
func shrinkReservoir(s *site.Site) bool {
	r := s.TopOff.Reservoir
	if r == nil {
		return false
	}
	_, harm, err := failures(context.Background(), s)
	if err != nil {
		return false
	}
	helps := func(levelM float64) bool {
		c := clone(s)
		fillTo(c.TopOff.Reservoir, levelM)
		_, h, err := failures(context.Background(), c)
		return err == nil && h < harm
	}
	low, high := r.PumpIntakeHeightM+2*intakeClearM, r.FillHeightM
	if low >= high || !helps(low) {
		return false
	}
	for range reservoirSteps {
		if mid := (low + high) / 2; helps(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	fillTo(r, math.Floor(low*1000)/1000)
	return true
}

// fillTo fills a reservoir to a level and keeps its low sensor under water.
func fillTo(r *site.Reservoir, levelM float64) {
	r.FillHeightM = levelM
	if r.LowSensor != nil {
		r.LowSensor.HeightM = min(r.LowSensor.HeightM, (levelM+r.PumpIntakeHeightM)/2)
	}
}

// growReservoir makes it last until the next visit at the high end.
func growReservoir(s *site.Site) bool {
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
		high = max(high, w.Total.HighLitresPerDay*litre)
	}
	v, err := r.Shape.Vessel()
	if err != nil {
		return false
	}
	wanted := v.VolumeM3(r.PumpIntakeHeightM) + high*s.People.DaysBetweenVisits
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

// boundSource puts a reservoir, a pump, a controller and two sensors where a
// plumbed line was.
func boundSource(s *site.Site) bool {
	t := &s.TopOff
	if t.Plumbed == nil {
		return false
	}
	level := s.Display.FillHeightM
	rim := s.Display.Shape.HeightM
	if s.HasSump() {
		rim = s.Sump.HeightM
		n := len(s.Sump.Compartments)
		level = rim / 2
		if n > 1 {
			level = min(level, s.Sump.Compartments[n-2].BaffleHeightM-baffleClearM)
		}
	}
	probe := clone(s)
	probe.TopOff.FloatValve = &site.FloatValve{ShutElevationM: level, OpenBelowM: 0.01}
	tw, err := plant.Build(plant.Setup{Site: probe, EvaporationFactor: 1})
	if err != nil {
		return false
	}
	volume := 0.05 * tw.SystemM3()
	const sideM, intakeM = 0.30, 0.015
	height := volume / (sideM * sideM)
	t.Plumbed, t.FloatValve = nil, nil
	t.Reservoir = &site.Reservoir{
		Shape:             site.Shape{Kind: "rectangle", LengthM: sideM, WidthM: sideM, HeightM: roundMM(height + 0.03)},
		FillHeightM:       roundMM(height),
		PumpIntakeHeightM: intakeM,
		LowSensor:         &site.ReservoirLow{HeightM: intakeM + intakeClearM},
	}
	flow := max(tw.EvaporationM3Day()/day.Seconds()*40, 5e-6)
	t.Pump = &site.Pump{Curve: []site.PumpPoint{{FlowM3S: flow}}}
	t.TubeEndElevationM = rim
	t.TubeHighElevationM = rim + 0.1
	t.SiphonBreak = true
	t.Watch, t.Ceiling = proposedSensor("optical"), proposedSensor("float")
	t.ReturnSensed = s.HasSump()
	s.Controller = &site.Controller{}
	s.FloorSensor = &site.FloorSensor{TripM3: proposedFloorTripM3}
	s.Alarm.Remote = true
	if s.People.AnswerHours <= 0 {
		s.People.AnswerHours = 24
	}
	return true
}

// clone is a copy deep enough that no candidate's change shows through.
func clone(s *site.Site) *site.Site {
	c := *s
	dup(&c.Overflow)
	dup(&c.Return)
	dup(&c.Sump)
	dup(&c.TopOff.Watch)
	dup(&c.TopOff.Ceiling)
	dup(&c.TopOff.Pump)
	dup(&c.TopOff.Reservoir)
	if r := c.TopOff.Reservoir; r != nil {
		dup(&r.LowSensor)
		dup(&r.Refill)
	}
	dup(&c.TopOff.Plumbed)
	dup(&c.TopOff.FloatValve)
	dup(&c.Controller)
	dup(&c.Skimmer)
	dup(&c.WaterChange)
	dup(&c.FloorSensor)
	return &c
}

func dup[T any](p **T) {
	if *p != nil {
		v := **p
		*p = &v
	}
}

// findChanges looks for the fewest changes that make the design acceptable:
// one alone if any does, else the most useful first, then none that is not
// needed. What it finds has been verified like the site itself.
func findChanges(ctx context.Context, r *Report, u units.System) ([]Change, error) {
	start := r.Site
	plan, err := search(ctx, start)
	if err != nil {
		return nil, err
	}
	return describe(ctx, start, plan, r, u)
}

// failures is the single faults at class 3 or worse, and what else stands in
// the way, as a count: fewer is better.
func failures(ctx context.Context, s *site.Site) (ids []string, harm int, err error) {
	b, err := prepare(s, units.Metric)
	if err != nil {
		return nil, math.MaxInt, nil // a change that cannot be built is no help
	}
	rows, err := b.tryAll(ctx, combinationsOf(s, false), nil)
	if err != nil {
		return nil, 0, err
	}
	if b.geometry.MarginM3 < 0 {
		ids, harm = append(ids, "geometry"), harm+int(plant.Loss)
	}
	if a := b.asBuilt(); a.Class >= plant.Stress {
		ids, harm = append(ids, "as-built"), harm+int(a.Class)
	}
	for i := range rows {
		if rows[i].Class >= plant.Danger {
			ids = append(ids, rows[i].ID())
			harm += int(rows[i].Class)
		}
	}
	return ids, harm, nil
}

func applied(s *site.Site, plan []candidate) *site.Site {
	c := clone(s)
	for _, p := range plan {
		p.apply(c)
	}
	return c
}

// search takes, again and again, the least trouble that helps.
func search(ctx context.Context, s *site.Site) ([]candidate, error) {
	var plan []candidate
	_, harm, err := failures(ctx, s)
	if err != nil {
		return nil, err
	}
	for harm > 0 {
		helped := false
		for _, c := range candidates {
			now := applied(s, plan)
			if !c.apply(now) {
				continue
			}
			_, h, err := failures(ctx, now)
			if err != nil {
				return nil, err
			}
			if h < harm {
				if c.keep != nil {
					c.apply = c.keep(now)
				}
				plan, harm, helped = append(plan, c), h, true
				break
			}
		}
		if !helped {
			break
		}
	}
	return prune(ctx, s, plan, harm)
}

// prune drops what the plan does not need after all.
func prune(ctx context.Context, s *site.Site, plan []candidate, harm int) ([]candidate, error) {
	for i := 0; i < len(plan); {
		without := slices.Delete(slices.Clone(plan), i, i+1)
		_, h, err := failures(ctx, applied(s, without))
		if err != nil {
			return nil, err
		}
		if h <= harm {
			plan = without
		} else {
			i++
		}
	}
	return plan, nil
}

// describe says what each change of the plan buys, in the plan's order.
func describe(ctx context.Context, s *site.Site, plan []candidate, r *Report, u units.System) ([]Change, error) {
	before, _, err := failures(ctx, s)
	if err != nil {
		return nil, err
	}
	var out []Change
	for i, c := range plan {
		from, to := applied(s, plan[:i]), applied(s, plan[:i+1])
		after, _, err := failures(ctx, to)
		if err != nil {
			return nil, err
		}
		ch := Change{ID: c.id, Words: c.words(from, to, u)}
		for _, id := range before {
			if !slices.Contains(after, id) {
				ch.Buys = append(ch.Buys, wordsOf(r, id))
			}
		}
		out = append(out, ch)
		before = after
	}
	return out, nil
}

func wordsOf(r *Report, id string) string {
	for i := range r.Singles {
		if r.Singles[i].ID() == id {
			return r.Singles[i].Faults[0].Words
		}
	}
	if id == "as-built" {
		return "harm with nothing wrong"
	}
	return "spilling after drain-down"
}
