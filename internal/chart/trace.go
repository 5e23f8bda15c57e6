package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"isohaline/internal/units"
)

// Trace is one fault against time: salinity, alkalinity and pH, the level in the
// return chamber, the top-off's runs and the water on the floor, one above the
// other over the same hours.
type Trace struct {
	Title, Subtitle string
	Units           units.System
	// Points are in the order of time; At is since the fault began.
	Points []TracePoint
	// TargetPSU is what the tank is kept at, OffPSU how far from it each harm
	// class from 1 on begins. FloorM3 is the same for water on the floor.
	TargetPSU float64
	OffPSU    [Classes - 1]float64
	FloorM3   [Classes - 1]float64
	// TargetDKH and OffDKH are the same for alkalinity, HighPH and LowPH where
	// each class begins. Neither is drawn where TargetDKH is 0.
	TargetDKH             float64
	OffDKH, HighPH, LowPH [Classes - 1]float64
	// Levels are lines across the chamber's level; NaN is left out. Their names
	// have a third of the sheet's width.
	Levels []TraceLevel
	Events []TraceEvent
}

// TracePoint is the state at an instant.
type TracePoint struct {
	At                           time.Duration
	SalinityPSU, LevelM, FloorM3 float64
	TopOff                       bool
	// PHClosed is as if no air had been met, PHSettled in balance with the room's.
	AlkalinityDKH, PHClosed, PHSettled float64
}

// TraceLevel is a height with its name.
type TraceLevel struct {
	Name       string
	ElevationM float64
}

// TraceEvent is something that happened. Person: it needs one, or brings one.
type TraceEvent struct {
	At     time.Duration
	Words  string
	Person bool
}

// traceDrawing is a trace being drawn.
type traceDrawing struct {
	*canvas
	t           *Trace
	label       float64
	left, right float64 // of the plots
	until       time.Duration
	events      []TraceEvent
}

// SVG draws the trace.
func (t *Trace) SVG(f Format) ([]byte, error) {
	d, err := t.draw(f)
	if err != nil {
		return nil, err
	}
	return d.document("Trace: "+t.Title, t.describe()), nil
}

func (t *Trace) draw(f Format) (*traceDrawing, error) {
	if len(t.Points) < 2 {
		return nil, fmt.Errorf("chart: Trace.Points has %d entries: give at least two", len(t.Points))
	}
	for i, p := range t.Points {
		if v := p.SalinityPSU + p.LevelM + p.FloorM3 + p.AlkalinityDKH + p.PHClosed + p.PHSettled; math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("chart: Trace.Points[%d] is not finite: leave the point out", i)
		}
		if i > 0 && p.At < t.Points[i-1].At || p.At < 0 {
			return nil, fmt.Errorf("chart: Trace.Points[%d] is at %v: give times from 0 on that do not go back", i, p.At)
		}
	}
	d := &traceDrawing{canvas: &canvas{w: 960}, t: t, label: 12, until: t.Points[len(t.Points)-1].At}
	if d.until == 0 {
		return nil, fmt.Errorf("chart: Trace.Points all are at 0: give a length of time")
	}
	plot := 190.0
	if f == Narrow {
		d.w, d.label, plot = narrowW, 11, 150
	}
	const edge = 10
	d.left = edge + measure("−00.0", sans, d.label) + 8
	names := measure("class 4 below", sans, d.label)
	for _, l := range t.Levels {
		names = max(names, measure(l.Name, sans, d.label))
	}
	d.right = d.w - edge - min(names, d.w/3) - 8
	for _, e := range t.Events {
		if e.At >= 0 && e.At <= d.until {
			d.events = append(d.events, e)
		}
	}
	top := d.eventMarks(d.heading(d.label, t.Title, t.Subtitle))
	beneath := d.body.Len()
	y := d.salinity(top, plot)
	if t.TargetDKH > 0 {
		y = d.alkalinity(y+34, plot*0.55)
		y = d.pH(y+34, plot*0.55)
	}
	y = d.level(y+34, plot)
	y = d.strip(y + 30)
	y = d.floor(y, plot*0.55)
	d.behind(beneath, func() {
		for _, e := range d.events {
			d.line("l-fine dots", point{d.x(e.At), top}, point{d.x(e.At), y})
		}
	})
	y = d.timeAxis(y + 4)
	d.h = d.eventList(y+14) + edge
	return d, nil
}

func (d *traceDrawing) x(at time.Duration) float64 {
	return d.left + (d.right-d.left)*float64(at)/float64(d.until)
}

// axis is a vertical scale.
type axis struct{ lo, hi, top, bottom float64 }

func (a axis) y(v float64) float64 {
	return a.bottom - (a.bottom-a.top)*(v-a.lo)/(a.hi-a.lo)
}

// frame draws a plot's edge, its ticks and its name.
func (d *traceDrawing) frame(a axis, name string, step float64, write func(float64) string) {
	d.text(point{d.left, a.top - 7}, style{face: serif, size: d.label + 1, class: "halo"}, name)
	for _, v := range ticks(a.lo, a.hi, step) {
		d.line("l-rule", point{d.left, a.y(v)}, point{d.right, a.y(v)})
		d.text(point{d.left - 7, a.y(v) + d.label*0.35}, style{size: d.label, class: "t-soft", at: end}, write(v))
	}
	d.line("l", point{d.left, a.top}, point{d.left, a.bottom})
	d.line("l", point{d.left, a.bottom}, point{d.right, a.bottom})
}

// named is a line across a plot with its name at the right.
type named struct {
	name, style, class string
	v                  float64
}

func (d *traceDrawing) across(a axis, lines []named) {
	slots := make([]slot, len(lines))
	for i, l := range lines {
		slots[i] = slot{want: a.y(l.v), height: d.label * 1.25}
		d.line(l.style, point{d.left, a.y(l.v)}, point{d.right, a.y(l.v)})
	}
	spread(slots, a.top-6, a.bottom+6)
	for i, l := range lines {
		d.line("l-fine", point{d.right, a.y(l.v)}, point{d.right + 5, slots[i].at})
		d.text(point{d.right + 7, slots[i].at + d.label*0.35}, style{size: d.label, class: l.class}, l.name)
	}
}

// curve is the path of a value, thinned to what the eye can see: of all points
// on one unit of width only the first, the lowest, the highest and the last.
func (d *traceDrawing) curve(a axis, value func(TracePoint) float64) string {
	points := d.t.Points
	out := make([]point, 0, len(points))
	for i := 0; i < len(points); {
		column := math.Floor(d.x(points[i].At))
		low, high, last := i, i, i
		for j := i; j < len(points) && math.Floor(d.x(points[j].At)) == column; j++ {
			if value(points[j]) < value(points[low]) {
				low = j
			}
			if value(points[j]) > value(points[high]) {
				high = j
			}
			last = j
		}
		keep := []int{i, low, high, last}
		slices.Sort(keep)
		for _, k := range slices.Compact(keep) {
			out = append(out, point{d.x(points[k].At), a.y(value(points[k]))})
		}
		i = last + 1
	}
	return polyline(out...)
}

// bounds are the lowest and highest of a value.
func (t *Trace) bounds(value func(TracePoint) float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range t.Points {
		lo, hi = min(lo, value(p)), max(hi, value(p))
	}
	return lo, hi
}

func salinityOf(p TracePoint) float64   { return p.SalinityPSU }
func alkalinityOf(p TracePoint) float64 { return p.AlkalinityDKH }
func closedOf(p TracePoint) float64     { return p.PHClosed }
func settledOf(p TracePoint) float64    { return p.PHSettled }
func levelOf(p TracePoint) float64      { return p.LevelM }
func floorOf(p TracePoint) float64      { return p.FloorM3 }

// limitStyle is how the border of a harm class looks: its line, its name.
func limitStyle(class int) (line, text string) {
	if class >= NeedsPerson {
		return "l-person dash", "t-person"
	}
	return "l-shore dash", "t-soft"
}

// num2 writes a number to at most two decimals.
func num2(v float64) string {
	s := strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.2f", v), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return strings.Replace(s, "-", "−", 1)
}

func (d *traceDrawing) level(top, height float64) (bottom float64) {
	t := d.t
	unit := lengthUnitOf(t.Units)
	lo, hi := t.bounds(levelOf)
	for _, l := range t.Levels {
		if !math.IsNaN(l.ElevationM) {
			lo, hi = min(lo, l.ElevationM), max(hi, l.ElevationM)
		}
	}
	pad := max(0.06*(hi-lo), 0.002)
	a := axis{lo - pad, hi + pad, top + 12, top + 12 + height}
	curve := d.curve(a, levelOf)
	last := len(t.Points) - 1
	d.path("w2", curve+"L"+num(d.x(t.Points[last].At))+" "+num(a.bottom)+"L"+num(d.x(t.Points[0].At))+" "+num(a.bottom)+"Z")
	step := unit.stepFor(height/(a.hi-a.lo), d.label*2)
	d.frame(a, "Level in the return chamber, "+unit.name, step, unit.number)
	var lines []named
	for _, l := range t.Levels {
		if !math.IsNaN(l.ElevationM) {
			lines = append(lines, named{l.Name, "l dash", "", l.ElevationM})
		}
	}
	d.across(a, lines)
	d.path("l-bold", curve)
	return a.bottom
}

// strip shows when the top-off ran.
func (d *traceDrawing) strip(top float64) (bottom float64) {
	const height = 12
	d.text(point{d.left, top - 4}, style{face: serif, size: d.label + 1, class: "halo"}, "Top-off running")
	b := box{d.left, top, d.right, top + height}
	d.rect("panel", b)
	// A run shorter than half a unit still shows as one stroke.
	const least = 0.6
	path, drawnTo := "", math.Inf(-1)
	points := d.t.Points
	for i, p := range points {
		if !p.TopOff {
			continue
		}
		from := d.left
		if i > 0 {
			from = d.x(points[i-1].At)
		}
		from = max(from, drawnTo)
		to := max(d.x(p.At), from+least)
		if d.x(p.At) <= drawnTo {
			continue
		}
		path += "M" + num(from) + " " + num(b.y0) + "H" + num(to) + "V" + num(b.y1) + "H" + num(from) + "Z"
		drawnTo = to
	}
	if path != "" {
		d.path("ink", path)
	}
	d.rect("l", b)
	return b.y1
}

// floor is drawn if there is any water on it.
func (d *traceDrawing) floor(top, height float64) (bottom float64) {
	t := d.t
	_, hi := t.bounds(floorOf)
	const leastDrawnM3 = 0.01e-3
	if hi < leastDrawnM3 {
		return top
	}
	const litre, gallon = 1e-3, 0.003785411784 // m3: SI Brochure table 8; 231 cubic inches, NIST Handbook 44 C
	name, unit := "L", litre
	if t.Units == units.US {
		name, unit = "gal", gallon
	}
	a := axis{0, hi / unit * 1.12, top + 40, top + 40 + height}
	d.frame(a, "Water on the floor, "+name, niceStep(a.hi/4), num2)
	var lines []named
	for i, m3 := range t.FloorM3 {
		if m3 > 0 && m3/unit <= a.hi {
			style, class := limitStyle(i + 1)
			lines = append(lines, named{fmt.Sprintf("class %d", i+1), style, class, m3 / unit})
		}
	}
	d.across(a, lines)
	d.path("l-bold", d.curve(a, func(p TracePoint) float64 { return p.FloorM3 / unit }))
	return a.bottom
}

// timeAxis numbers the hours below the lowest plot.
func (d *traceDrawing) timeAxis(y float64) (bottom float64) {
	perTick := 80.0
	if d.w == narrowW {
		perTick = 50
	}
	step := timeStep(d.until, int((d.right-d.left)/perTick))
	for at := time.Duration(0); at <= d.until; at += step {
		x := d.x(at)
		d.line("l", point{x, y - 4}, point{x, y})
		d.text(point{x, y + d.label*1.1}, style{size: d.label, class: "t-soft", at: middle}, timeNumber(at, step))
	}
	name := "time since the fault began, " + timeUnit(step)
	d.text(point{(d.left + d.right) / 2, y + d.label*2.5}, style{face: italic, size: d.label, class: "t-soft", at: middle}, name)
	return y + d.label*2.6
}

func timeUnit(step time.Duration) string {
	switch {
	case step < time.Minute:
		return "s"
	case step < time.Hour:
		return "min"
	case step < day:
		return "h"
	}
	return "days"
}

func timeNumber(at, step time.Duration) string {
	unit := map[string]time.Duration{"s": time.Second, "min": time.Minute, "h": time.Hour, "days": day}[timeUnit(step)]
	return fmt.Sprint(int64(at / unit))
}

// eventMarks numbers the events along the top, spread so that none covers
// another, and returns where the plots begin.
func (d *traceDrawing) eventMarks(y float64) (top float64) {
	if len(d.events) == 0 {
		return y
	}
	slots := make([]slot, len(d.events))
	for i, e := range d.events {
		slots[i] = slot{want: d.x(e.At), height: 2*eventRadius + 3}
	}
	spread(slots, d.left-eventRadius, d.w-10)
	for i, e := range d.events {
		at := point{slots[i].at, y + eventRadius}
		foot := point{d.x(e.At), y + 2*eventRadius + 12}
		class := "l-fine"
		if e.Person {
			class = "l-person"
		}
		d.path(class, polyline(point{at.x, at.y + eventRadius}, foot, point{foot.x, foot.y + 6}))
		d.eventMark(at, i, e)
	}
	return y + 2*eventRadius + 18
}

// eventRadius is half of an event's mark.
const eventRadius = 8.2

func (d *traceDrawing) eventMark(at point, i int, e TraceEvent) {
	class, text := "panel l", ""
	if e.Person {
		class, text = "person", "t-onperson"
	}
	d.circle(class, at, eventRadius)
	size := d.label - 1
	d.text(point{at.x, at.y + size*0.36}, style{face: bold, size: size, at: middle, class: text}, fmt.Sprint(i+1))
}

func (d *traceDrawing) eventList(y float64) (bottom float64) {
	const textX = 34
	for i, e := range d.events {
		d.eventMark(point{18, y + eventRadius}, i, e)
		when := d.t.Units.Duration(e.At.Seconds()) + ": "
		y = d.paragraph(point{textX, y + eventRadius + d.label*0.36}, style{size: d.label}, d.w-textX-10, when+e.Words)
		y += 3 - d.label*leading + eventRadius - d.label*0.36
	}
	return y
}

// describe says what the trace shows.
func (t *Trace) describe() string {
	var b strings.Builder
	lo, hi := t.bounds(salinityOf)
	lowLevel, highLevel := t.bounds(levelOf)
	_, floor := t.bounds(floorOf)
	fmt.Fprintf(&b, "%s Over %s salinity lies between %s and %s, the chamber's level between %s and %s.", t.Subtitle,
		t.Units.Duration(t.Points[len(t.Points)-1].At.Seconds()), t.Units.Salinity(lo), t.Units.Salinity(hi),
		t.Units.Length(lowLevel), t.Units.Length(highLevel))
	if t.TargetDKH > 0 {
		low, high := t.bounds(alkalinityOf)
		closedLow, closedHigh := t.bounds(closedOf)
		settledLow, settledHigh := t.bounds(settledOf)
		fmt.Fprintf(&b, " Alkalinity lies between %s and %s, pH between %.2f and %.2f.", t.Units.Alkalinity(low), t.Units.Alkalinity(high),
			min(closedLow, settledLow), max(closedHigh, settledHigh))
	}
	if floor > 0 {
		fmt.Fprintf(&b, " %s reach the floor.", t.Units.Volume(floor))
	}
	for _, e := range t.Events {
		fmt.Fprintf(&b, " After %s: %s.", t.Units.Duration(e.At.Seconds()), e.Words)
	}
	return b.String()
}
