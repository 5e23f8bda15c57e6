package tankfile

import (
	"fmt"
	"math"

	"isohaline/reliability"
)

// How far the seasons of a year may be from adding up to it.
const (
	leapDays      = 1
	leapTolerance = 1e-6
)

// aboveRim is how far above a rim a line may end and still pour into the
// vessel below it.
const aboveRim = 0.5

// check finds what no single field can: values that contradict each other. A
// field that could not be read is NaN or empty here and contradicts nothing.
func check(r *reader, s *Tank) {
	c := checker{r, s}
	c.room()
	c.shape("display", &s.Display.Shape)
	c.parts()
	c.display()
	if s.HasSump() {
		c.sump()
	}
	if s.Overflow != nil {
		c.overflow()
	}
	if s.Return != nil {
		c.returnLine()
	}
	if c.hasGroup("top-off") {
		c.topOff()
	}
	c.rates()
}

type checker struct {
	*reader
	s *Tank
}

// below reports a value that is not below a limit, both in metres. It says
// whether the value can be reckoned with.
func (c checker) below(path string, value, limit float64, what, fix string) bool {
	if value >= limit {
		c.report(path, fmt.Sprintf("is not below %s at %s", what, length(limit)), fix)
	}
	return value < limit
}

func length(m float64) string { return lengths.Length(m) }

func (c checker) room() {
	r := &c.s.Room
	if c.has("room.elevation") && c.has("room.pressure") {
		c.report("room.elevation", "says the same as `pressure`", "keep one of them")
	}
	days := 0.0
	for i, season := range r.Seasons {
		at := itemPath("room.seasons", i)
		days += season.Days
		for _, earlier := range r.Seasons[:i] {
			if season.Name != "" && season.Name == earlier.Name {
				c.report(at+".name", "names two seasons", "give each its own name")
			}
		}
		switch {
		case season.FanSpeedMS > 0 && season.FanDutyFrac == 0:
			c.report(at+".fan", "does not say for how much of the day", `add the share, like "fan share: 30 %"`)
		case season.FanDutyFrac > 0 && season.FanSpeedMS == 0:
			c.report(at+".fan share", "is for a fan that is not there", `add its air speed, like "fan: 0.8 m/s"`)
		}
	}
	if len(r.Seasons) > 0 && math.Abs(days-reliability.DaysPerYear) > leapDays+leapTolerance {
		c.report("room.seasons", fmt.Sprintf("have %g days together", days), fmt.Sprintf("make their days add up to %d", reliability.DaysPerYear))
	}
}

// shape checks that a vessel has the measures of its plan and no others.
func (c checker) shape(path string, s *Shape) {
	for _, m := range []struct{ key, of string }{
		{"length", "rectangle"}, {"width", "rectangle"}, {"diameter", "cylinder"}, {"areas", "table"},
	} {
		at := keyPath(path, m.key)
		switch has := c.has(at); {
		case s.Kind == "":
		case m.of == s.Kind && !has:
			c.report(at, "is missing", fmt.Sprintf("a %s needs its %s", s.Kind, m.key))
		case m.of != s.Kind && has:
			c.report(at, fmt.Sprintf("is no measure of a %s", s.Kind), "remove it, or correct the shape")
		}
	}
	if s.Kind == "table" && len(s.Table) > 0 {
		c.areas(keyPath(path, "areas"), s)
	}
}

func (c checker) areas(path string, s *Shape) {
	last := len(s.Table) - 1
	if last == 0 || s.Table[0].HeightM > 0 {
		c.report(path, "has no row for the floor", `start with the area at the floor, like "0.7 m2 at 0 mm", and end at the rim`)
	}
	if top := s.Table[last].HeightM; top != s.HeightM && !math.IsNaN(top+s.HeightM) {
		c.report(itemPath(path, last), "does not end at the rim", fmt.Sprintf("end with the area at the height, %s", length(s.HeightM)))
	}
	for i := 1; i <= last; i++ {
		switch lower := s.Table[i-1].HeightM; {
		case s.Table[i].HeightM < lower:
			c.report(itemPath(path, i), "lies below the row before", "list the rows from the floor upward")
		case s.Table[i].HeightM == lower && (i == last || s.Table[i+1].HeightM == lower || i == 1):
			c.report(itemPath(path, i), "lies at the height of its neighbour", "use two rows at one height only for a step between floor and rim")
		}
	}
}

// parts checks that overflow, return and sump come together.
func (c checker) parts() {
	for _, part := range []struct {
		path  string
		given bool
	}{{"overflow", c.s.Overflow != nil}, {"return", c.s.Return != nil}} {
		switch {
		case c.s.HasSump() && !part.given:
			c.report("sump", fmt.Sprintf("has no %q to connect it to the display", part.path), fmt.Sprintf("add %q, or remove the sump", part.path+":"))
		case !c.s.HasSump() && part.given:
			c.report(part.path, "belongs to a sump, and there is none", `add "sump:", or remove this`)
		}
	}
}

func (c checker) display() {
	d := &c.s.Display
	if c.s.HasSump() {
		if d.FillHeightM > 0 {
			c.report("display.filled to", "has no meaning above a sump: the crest sets the level", "remove it")
		}
		return
	}
	if c.s.Overflow != nil || c.s.Return != nil || !c.hasGroup("display") {
		return // a problem already
	}
	if d.FillHeightM == 0 {
		c.report("display.filled to", "is missing", "a tank without a sump needs its water level")
	}
	c.below("display.filled to", d.FillHeightM, d.Shape.HeightM, "the rim", "lower the water or correct the height")
	if d.FloorElevationM != 0 {
		c.report("display.floor elevation", "has no meaning without a sump: heights count from this floor", "remove it")
	}
}

func (c checker) sump() {
	s := c.s.Sump
	last := len(s.Compartments) - 1
	for i, compartment := range s.Compartments {
		at := itemPath("sump.compartments", i)
		for _, earlier := range s.Compartments[:i] {
			if compartment.Name != "" && compartment.Name == earlier.Name {
				c.report(at+".name", "names two compartments", "give each its own name")
			}
		}
		switch baffle := compartment.BaffleHeightM; {
		case i == last && baffle > 0:
			c.report(at+".baffle", "stands behind the last compartment, the return chamber", "remove it, or add the compartment that follows")
		case i < last && baffle == 0:
			c.report(at+".baffle", "is missing", "every compartment but the last needs the height of the wall to the next")
		default:
			c.below(at+".baffle", baffle, s.HeightM, "the sump's rim", "lower the baffle or correct the height")
		}
	}
}

func (c checker) overflow() {
	o, d := c.s.Overflow, &c.s.Display
	rim := d.Shape.HeightM
	const between = "it must lie between crest and rim"
	crestFits := c.below("overflow.crest", o.CrestHeightM, rim, "the display's rim", "lower the crest or correct the height")
	if o.EmergencyHeightM > 0 {
		c.below("overflow.emergency crest", o.EmergencyHeightM, rim, "the display's rim", between)
		if crestFits && o.EmergencyHeightM <= o.CrestHeightM {
			c.report("overflow.emergency crest", fmt.Sprintf("is not above the crest at %s", length(o.CrestHeightM)), between)
		}
	}
	if !c.s.HasSump() {
		return
	}
	for i, compartment := range c.s.Sump.Compartments {
		if compartment.BaffleHeightM >= d.FloorElevationM+o.CrestHeightM {
			c.report("display.floor elevation", fmt.Sprintf("puts the crest no higher than the baffle of compartment %d", i+1),
				"raise the display: water must fall from its crest into the sump")
			return
		}
	}
}

func (c checker) returnLine() {
	r, d := c.s.Return, &c.s.Display
	c.pump("return.pump", &r.Pump)
	highest := d.Shape.HeightM + aboveRim
	const reach = "the reach of the display, half a metre above its rim,"
	outletFits := c.below("return.outlet", r.OutletHeightM, highest, reach, "correct the outlet: the line must end at the display")
	if r.SiphonBreakHeightM > 0 {
		c.below("return.siphon break", r.SiphonBreakHeightM, highest, reach, "correct the height: the air hole is near the water's surface")
		if outletFits && r.SiphonBreakHeightM <= r.OutletHeightM {
			c.report("return.siphon break", fmt.Sprintf("is not above the outlet at %s, where air enters anyway", length(r.OutletHeightM)), "raise it above the outlet, or remove it")
		}
	}
	if c.s.HasSump() {
		rim := c.s.Sump.HeightM
		c.below("return.intake", r.IntakeElevationM, rim, "the sump's rim", "correct the height: it counts from the return chamber's floor")
		if d.FloorElevationM+r.OutletHeightM <= r.IntakeElevationM {
			c.report("return.outlet", "lies below the pump's intake", "correct the display's floor elevation or the outlet")
		}
	}
}

// pump checks that a pump has one curve and that the curve falls.
func (c checker) pump(path string, p *Pump) {
	flow, curve := keyPath(path, "flow"), keyPath(path, "curve")
	switch {
	case !c.hasGroup(path):
	case c.has(flow) && c.has(curve):
		c.report(flow, "says the same as `curve`", "keep one of them")
	case !c.has(flow) && !c.has(curve):
		c.report(path, "has neither a flow nor a curve", `add its "curve:" (or "flow:" if no head changes it)`)
	case len(p.Curve) == 1 && p.Curve[0].HeadM > 0:
		c.report(curve, "has one point", "give at least two, or its flow if no head changes it")
	case isSteady(p.Curve) && p.Curve[0].FlowM3S == 0:
		c.report(path, "moves no water", "give the flow of the running pump")
	}
	for i := 1; i < len(p.Curve); i++ {
		if p.Curve[i].FlowM3S <= p.Curve[i-1].FlowM3S || p.Curve[i].HeadM >= p.Curve[i-1].HeadM {
			c.report(itemPath(curve, i), "does not follow the point before", "list points from the shut valve to the free end: flow rises, head falls")
		}
	}
}
