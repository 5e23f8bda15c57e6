package verify

import (
	"context"
	"fmt"
	"math"
	"slices"

	"isohaline/hydraulics"
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
	proposedCheckDays   = 7
	proposedAnswerHours = 12
	proposedFloorTripM3 = 0.3e-3
	emergencyShare      = 0.6   // of the way from crest to rim
	emergencySpareM     = 0.001 // left below the rim at full flow
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

// The search for a reservoir looks at reservoirLevels levels from full down to
// nothing, then halves the last gap reservoirHalvings times.
const (
	reservoirLevels   = 12
	reservoirHalvings = 4
)

// shrinkReservoir finds the fullest reservoir that does less harm than now: the
// largest that is inherently safe. A very small one does harm of its own, by
// running out, so the search comes from above.
func shrinkReservoir(s *site.Site) bool {
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

// shortfall is what keeps a site from being accepted.
type shortfall struct {
	ids []string
	// harm adds the classes up: less is better, none is accepted.
	harm int
}

// These stand beside the faults' IDs in a shortfall.
const (
	geometryID = "geometry"
	asBuiltID  = "as-built"
)

// shortfallOf tries the single faults, or only those named.
func shortfallOf(ctx context.Context, s *site.Site, only []string) (shortfall, error) {
	b, err := prepare(s, units.Metric)
	if err != nil {
		return shortfall{harm: math.MaxInt}, nil // a change that cannot be built is no help
	}
	var f shortfall
	count := func(id string, c plant.Class) {
		f.ids = append(f.ids, id)
		f.harm += int(c)
	}
	if b.geometry.MarginM3 < 0 {
		count(geometryID, plant.Loss)
	}
	if a := b.asBuilt(); a.Class >= plant.Stress {
		count(asBuiltID, a.Class)
	}
	combinations := combinationsOf(s, false)
	if only != nil {
		combinations = slices.DeleteFunc(combinations, func(c []plant.Fault) bool {
			return !slices.Contains(only, c[0].ID)
		})
	}
	rows, err := b.tryAll(ctx, combinations, nil)
	if err != nil {
		return f, err
	}
	for i := range rows {
		if rows[i].Class >= plant.Danger {
			count(rows[i].ID(), rows[i].Class)
		}
	}
	return f, nil
}

func applied(s *site.Site, plan []candidate) *site.Site {
	c := clone(s)
	for _, p := range plan {
		p.apply(c)
	}
	return c
}

// search takes, again and again, the least trouble that helps: one change, or
// where none helps alone, two together (an alarm is no use without a sensor).
func search(ctx context.Context, s *site.Site) ([]candidate, error) {
	var plan []candidate
	now, err := shortfallOf(ctx, s, nil)
	if err != nil {
		return nil, err
	}
	for now.harm > 0 {
		more, then, err := nextStep(ctx, applied(s, plan), now)
		if err != nil {
			return nil, err
		}
		if more == nil {
			break
		}
		plan, now = append(plan, more...), then
	}
	return prune(ctx, s, plan, now.harm)
}

// nextStep is the first change, or the first two, with which less is left.
func nextStep(ctx context.Context, s *site.Site, now shortfall) ([]candidate, shortfall, error) {
	try := func(cs ...candidate) ([]candidate, shortfall, error) {
		after := clone(s)
		for i := range cs {
			if !cs[i].apply(after) {
				return nil, now, nil
			}
			if cs[i].keep != nil {
				cs[i].apply = cs[i].keep(after)
			}
		}
		// The faults that fail now are quick to try; all of them only if that
		// promises something.
		if then, err := shortfallOf(ctx, after, now.ids); err != nil || then.harm >= now.harm {
			return nil, now, err
		}
		then, err := shortfallOf(ctx, after, nil)
		if err != nil || then.harm >= now.harm {
			return nil, now, err
		}
		return cs, then, nil
	}
	for _, c := range candidates {
		if cs, then, err := try(c); err != nil || cs != nil {
			return cs, then, err
		}
	}
	for j, d := range candidates {
		for _, c := range candidates[:j] {
			if c.keep != nil || d.keep != nil {
				continue // they search by themselves, and did
			}
			if cs, then, err := try(c, d); err != nil || cs != nil {
				return cs, then, err
			}
		}
	}
	return nil, now, nil
}

// prune drops what the plan does not need after all.
func prune(ctx context.Context, s *site.Site, plan []candidate, harm int) ([]candidate, error) {
	for i := 0; i < len(plan); {
		without := slices.Delete(slices.Clone(plan), i, i+1)
		left, err := shortfallOf(ctx, applied(s, without), nil)
		if err != nil {
			return nil, err
		}
		if left.harm <= harm {
			plan = without
		} else {
			i++
		}
	}
	return plan, nil
}

// describe says what each change of the plan buys, in the plan's order.
func describe(ctx context.Context, s *site.Site, plan []candidate, r *Report, u units.System) ([]Change, error) {
	before, err := shortfallOf(ctx, s, nil)
	if err != nil {
		return nil, err
	}
	var out []Change
	for i, c := range plan {
		from, to := applied(s, plan[:i]), applied(s, plan[:i+1])
		after, err := shortfallOf(ctx, to, nil)
		if err != nil {
			return nil, err
		}
		ch := Change{ID: c.id, Words: c.words(from, to, u)}
		for _, id := range before.ids {
			if !slices.Contains(after.ids, id) {
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
	if id == asBuiltID {
		return "harm with nothing wrong"
	}
	return "spilling after drain-down"
}
