package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// markRadius is half of a mark: of a note's circle, or a caution's lozenge.
func (d *drawing) markRadius() float64 { return 0.82 * d.small }

// mark draws a note's number in a circle or a caution's letter in a lozenge.
func (d *drawing) mark(at point, text string, person bool) {
	s := style{face: bold, size: d.markType, at: middle}
	if person {
		r := d.markRadius() * 1.18
		d.path("person", closed(point{at.x - r, at.y}, point{at.x, at.y - r}, point{at.x + r, at.y}, point{at.x, at.y + r}))
		s.class = "t-onperson"
	} else {
		d.circle("panel l", at, d.markRadius())
	}
	d.text(point{at.x, at.y + s.size*0.36}, s, text)
}

// marksIn sets the marks of all notes and cautions beside their parts, cautions
// first, each where it covers nothing.
func (d *drawing) marksIn(bounds box) {
	for i, n := range d.s.Cautions {
		d.place(n.At, letter(i), true, bounds)
	}
	for i, n := range d.s.Notes {
		d.place(n.At, fmt.Sprint(i+1), false, bounds)
	}
}

// place tries positions round a part, from near to far; if all are taken, the
// part stays without a mark and the list speaks for itself.
func (d *drawing) place(part Part, text string, person bool, bounds box) {
	at, ok := d.marks[part]
	if !ok {
		return
	}
	const nearest, farthest, ring = 17.0, 90.0, 5.0
	const directions = 16
	for r := nearest; r <= farthest; r += ring {
		for i := range directions {
			// Up and to the right first, then both ways round.
			turn := float64((i+1)/2) * 2 * math.Pi / directions
			if i%2 == 1 {
				turn = -turn
			}
			sin, cos := math.Sincos(turn - math.Pi/4)
			to := point{at.x + r*cos, at.y + r*sin}
			room := around(to, d.markRadius()+2)
			if room.x0 < bounds.x0 || room.x1 > bounds.x1 || room.y0 < bounds.y0 || room.y1 > bounds.y1 || d.takes(room) {
				continue
			}
			class := "l-fine"
			if person {
				class = "l-person"
			}
			d.line(class, at, point{to.x - d.markRadius()*cos, to.y - d.markRadius()*sin})
			if person {
				d.circle("person", at, 2)
			} else {
				d.circle("ink", at, 1.6)
			}
			d.mark(to, text, person)
			d.reserved = append(d.reserved, room)
			return
		}
	}
}

// takes says whether anything stands in a box.
func (d *drawing) takes(b box) bool {
	for _, t := range d.texts {
		if t.overlaps(b) {
			return true
		}
	}
	for _, r := range d.reserved {
		if r.overlaps(b) {
			return true
		}
	}
	return false
}

// zigzags cut the drawing where a height is left out, and say how much.
func (d *drawing) zigzags(v view, left, right float64) {
	for _, k := range d.breaks {
		y := v.y((k.lo + k.hi) / 2)
		zigzag := func(y float64) []point {
			var out []point
			for i, x := 0, left-12; x <= right; i, x = i+1, x+9 {
				out = append(out, point{x, y + []float64{-2.5, 2.5}[i%2]})
			}
			return out
		}
		upper, lower := zigzag(y-3.5), zigzag(y+3.5)
		d.path("paper", closed(append(upper, lower[len(lower)-1], lower[0])...))
		d.path("l-fine", polyline(upper...))
		d.path("l-fine", polyline(lower...))
		words := d.s.Units.Length(k.hi-k.lo) + " left out"
		w := measure(words, italic, d.small)
		at := point{right - w - 6, y + d.small*0.3}
		d.rect("paper", box{at.x - 4, y - 8, at.x + w + 4, y + 8})
		d.text(at, style{face: italic, size: d.small, class: "t-soft"}, words)
	}
}

// displayLevel is a height in the display, worth a label.
type displayLevel struct {
	name    string
	heightM float64
	acrossM float64 // how far its line goes into the display; NaN: to the wall
}

// displayLevelsShown lists them from the rim down.
func (d *drawing) displayLevelsShown() []displayLevel {
	s, p := d.s, d.p
	levels := []displayLevel{{"rim", s.Display.rimM(), math.NaN()}}
	if o := s.Overflow; o != nil {
		levels = append(levels,
			displayLevel{"emergency", o.EmergencyHeightM, math.NaN()},
			displayLevel{"running", s.Display.WaterHeightM, math.NaN()},
			displayLevel{"crest", o.CrestHeightM, p.insideLeftM + weirBoxM},
			displayLevel{"air hole", s.Return.SiphonBreakHeightM, p.returnM},
			displayLevel{"outlet", s.Return.OutletHeightM, p.returnM})
	} else {
		levels = append(levels, displayLevel{"water", s.Display.WaterHeightM, math.NaN()})
	}
	return slices.DeleteFunc(levels, func(l displayLevel) bool { return math.IsNaN(l.heightM) })
}

// Room in the column of display levels: between value and name, and for the
// leaders.
const (
	valueGap  = 5.0
	leaderGap = 24.0
)

// displayColumn are the widths of the widest value and name.
func (d *drawing) displayColumn() (values, names float64) {
	for _, l := range d.displayLevelsShown() {
		values = max(values, measure(d.unit.number(l.heightM), bold, d.small))
		names = max(names, measure(l.name, sans, d.small))
	}
	return values, names
}

func (d *drawing) displayColumnW() float64 {
	values, names := d.displayColumn()
	return values + valueGap + names + leaderGap
}

// displayLevels are the heights in the display, in a column left of it with a
// leader to each. It returns where the column ends.
func (d *drawing) displayLevels(v view, x, width float64) (bottom float64) {
	s, p := d.s, d.p
	floor := s.Display.FloorElevationM
	levels := d.displayLevelsShown()
	slots := make([]slot, len(levels))
	for i, l := range levels {
		slots[i] = slot{want: v.y(floor + l.heightM), height: d.small * 1.28}
	}
	spread(slots, v.y(p.topM)+4, v.y(p.groundM))
	wall := v.x(p.displayMidM - p.displayWidthM/2 - glassM)
	values, _ := d.displayColumn()
	for i, l := range levels {
		y, to := slots[i].at, v.y(floor+l.heightM)
		base := y + d.small*0.36
		d.text(point{x + values, base}, style{face: bold, size: d.small, at: end}, d.unit.number(l.heightM))
		d.text(point{x + values + valueGap, base}, style{size: d.small}, l.name)
		from := x + values + valueGap + measure(l.name, sans, d.small) + 3
		knee := x + width - leaderGap + 6
		d.path("l-fine", polyline(point{from, y}, point{max(from, knee), y}, point{x + width, to}, point{wall, to}))
		if !math.IsNaN(l.acrossM) {
			d.path("l-fine dots", polyline(point{wall, to}, point{v.x(l.acrossM), to}))
		}
	}
	for _, l := range slots {
		bottom = max(bottom, l.at+d.small*0.7)
	}
	if s.Sump != nil {
		bottom += d.small
		d.text(point{x, bottom}, style{face: italic, size: d.small, class: "t-soft"}, "over its floor")
	}
	return bottom + descent*d.small
}

// Heights below the ground: to the dimension line, and to the names.
const (
	toLengths = 21.0
	nameLines = 2
)

// longestWord is how wide a word may be before it is broken, in type sizes.
const longestWord = 9.0

// lengthsRoom is the height below the ground that lengths and names take.
func (d *drawing) lengthsRoom() float64 {
	return toLengths + d.small*(1.25+leading*(nameLines-1)+descent)
}

// lengths are the dimension lines: the display above, sump and reservoir below,
// each with its name.
func (d *drawing) lengths(v view, groundY float64, room box) {
	s, p := d.s, d.p
	text := style{size: d.small, class: "halo"}
	write := func(m float64, width float64) string {
		if long := s.Units.Length(m); measure(long, sans, d.small) < width {
			return long
		}
		if short := d.unit.number(m); measure(short, sans, d.small) < width {
			return short
		}
		return ""
	}
	half := s.Display.widthM(s.Display.rimM()) / 2
	y := v.y(p.topM) - 5
	from, to := point{v.x(p.displayMidM - half), y}, point{v.x(p.displayMidM + half), y}
	for _, x := range []float64{from.x, to.x} {
		d.line("l-rule", point{x, y - 4}, point{x, v.y(s.Display.rimElevationM()) - 2})
	}
	d.dimension(from, to, text, write(2*half, to.x-from.x))

	type name struct {
		lines []string
		slot
	}
	var names []name
	y = groundY + toLengths
	row := func(fromM, toM float64, words string) {
		from, to := point{v.x(fromM), y}, point{v.x(toM), y}
		d.dimension(from, to, text, write(toM-fromM, to.x-from.x))
		// At least as wide as its longest word, if that is a word.
		word := min(widest(strings.Fields(words), sans, d.small), longestWord*d.small)
		lines := wrap(words, sans, d.small, max(to.x-from.x, word, measure(words, sans, d.small)/nameLines*1.15))
		if len(lines) <= nameLines {
			const gap = 8
			names = append(names, name{lines, slot{want: (from.x + to.x) / 2, height: widest(lines, sans, d.small) + gap}})
		}
	}
	for i, c := range p.compartmentM {
		row(c.lo, c.hi, s.Sump.Compartments[i].Name)
	}
	const onGround = 0.05
	if r := s.Reservoir; r != nil && r.FloorElevationM-thinWallM < p.groundM+onGround {
		half := r.Widths[0].WidthM / 2
		row(p.reservoirMidM-half, p.reservoirMidM+half, "reservoir")
	}
	// The same rule as for labels in a column, turned on its side. Where names
	// are too many for the width, the longest go first: the description has them.
	slots := make([]slot, 0, len(names))
	fit := func() bool {
		slots = slots[:0]
		for _, n := range names {
			slots = append(slots, n.slot)
		}
		return sumHeights(slots) <= room.w()
	}
	for !fit() {
		longest := 0
		for i, n := range names {
			if n.height > names[longest].height {
				longest = i
			}
		}
		names = slices.Delete(names, longest, longest+1)
	}
	spread(slots, room.x0, room.x1)
	for i, n := range names {
		if shift := math.Abs(slots[i].at - n.want); shift > d.small {
			d.line("l-fine", point{n.want, y + 3}, point{slots[i].at, y + d.small*0.45})
		}
		d.lines(point{slots[i].at, y + d.small*1.25}, style{size: d.small, class: "t-soft", at: middle}, n.lines)
	}
}
