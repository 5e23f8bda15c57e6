package chart

import (
	"fmt"
	"math"
	"strings"

	"isohaline/internal/units"
)

// drawing is one section being drawn.
type drawing struct {
	*canvas
	s    *Section
	p    *plan
	f    Format
	unit lengthUnit

	label, small, markType float64 // type sizes

	elevations         // of the whole
	tintM      float64 // depth to the next tint

	// reserved is what marks keep clear of, beside the texts; marks is where
	// the parts are, by part.
	reserved []box
	marks    map[Part]point
}

// Sheets: width, border and type sizes. At the least width a format is for
// (see the package comment) the small type is still 9 px.
const (
	wideW, narrowW       = 1200.0, 390.0
	wideEdge, narrowEdge = 16.0, 7.0
)

// SVG draws the section.
func (s *Section) SVG(f Format) ([]byte, error) {
	d, err := s.draw(f)
	if err != nil {
		return nil, err
	}
	return d.document("Section: "+s.Title, s.describe()), nil
}

func (s *Section) draw(f Format) (*drawing, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	d := &drawing{canvas: &canvas{w: wideW}, s: s, p: planOf(s), f: f, unit: lengthUnitOf(s.Units),
		label: 13, small: 12, markType: 12, marks: map[Part]point{}}
	if f == Narrow {
		d.w, d.label, d.small, d.markType = narrowW, 11.5, 10.5, 10
	}
	d.breaks = breaksBetween(d.p.used())
	d.tintM = d.deepestM() / tints
	if f == Narrow {
		d.narrowSheet()
	} else {
		d.wideSheet()
	}
	return d, nil
}

// deepestM is the deepest water drawn.
func (d *drawing) deepestM() float64 {
	deepest := max(d.s.Display.WaterHeightM, d.s.chamberLevelM())
	if d.s.Reservoir != nil {
		deepest = max(deepest, d.s.Reservoir.WaterHeightM)
	}
	return deepest
}

// wideSheet: the whole on the left, title and chamber on the right, the lists
// below the whole.
func (d *drawing) wideSheet() {
	const gap, detailW, lowest, highest = 20, 470, 300.0, 410.0
	left, top := wideEdge+14, wideEdge+14
	right := d.w - left
	split := right - detailW - gap
	bottom := d.whole(box{left, top, split, top + 600})
	bottom = d.lists(box{left, bottom + 8, split, 0}, 2)
	y := d.cartouche(box{right - detailW, top, right, 0})
	y += gap
	y = d.detail(box{right - detailW, y, right, y + max(lowest, min(bottom-60-y, highest))})
	y = d.scaleBar(point{right - detailW, y + 30}, detailW)
	d.h = max(bottom, y) + 14 + wideEdge
	d.border(wideEdge)
}

// narrowSheet: one below the other.
func (d *drawing) narrowSheet() {
	left, right := narrowEdge+7, d.w-narrowEdge-7
	y := d.cartouche(box{left, narrowEdge + 7, right, 0})
	y = d.whole(box{left, y + 12, right, y + 12 + 420})
	y = d.scaleBar(point{left, y + 16}, right-left)
	y = d.detail(box{left, y + 10, right, y + 10 + 370})
	y = d.lists(box{left, y + 8, right, 0}, 1)
	d.h = y + 8 + narrowEdge
	d.border(narrowEdge)
}

// border is the neat line of a chart: a fine rule around a bold one.
func (d *drawing) border(edge float64) {
	sheet := box{0, 0, d.w, d.h}
	d.rect("l", sheet.inset(edge/2))
	d.rect("l-bold", sheet.inset(edge))
}

// cartouche is the title block.
func (d *drawing) cartouche(b box) (bottom float64) {
	s := d.s
	pad, title, sub := 18.0, 27.0, 14.0
	if d.f == Narrow {
		pad, title, sub = 12, 20, 12
	}
	width := b.w() - 2*pad
	mid := (b.x0 + b.x1) / 2
	at := d.body.Len()
	y := b.y0 + pad + title*ascent
	for _, l := range wrap(s.Title, serif, title, width) {
		d.text(point{mid, y}, style{face: serif, size: title, at: middle}, l)
		y += title * leading
	}
	y += sub*leading - title*leading*0.86
	for _, l := range wrap(s.Place, italic, sub, width) {
		d.text(point{mid, y}, style{face: italic, size: sub, at: middle}, l)
		y += sub * leading
	}
	kind := "Section through display and sump"
	if s.Sump == nil {
		kind = "Section through the tank"
	}
	d.line("l-rule", point{mid - 40, y - sub*0.5}, point{mid + 40, y - sub*0.5})
	y += sub * 0.75
	d.text(point{mid, y}, style{face: serif, size: sub, at: middle}, kind)
	y += d.small * leading * 1.1
	for _, l := range wrap(d.datumWords(), italic, d.small, width) {
		d.text(point{mid, y}, style{face: italic, size: d.small, class: "t-soft", at: middle}, l)
		y += d.small * leading
	}
	y += d.small * 0.4
	for _, fact := range s.Facts {
		d.text(point{b.x0 + pad, y}, style{size: d.label}, fact.Name)
		d.text(point{b.x1 - pad, y}, style{face: bold, size: d.label, at: end}, fact.Value)
		from := b.x0 + pad + measure(fact.Name, sans, d.label) + 5
		to := b.x1 - pad - measure(fact.Value, bold, d.label) - 5
		if to > from {
			d.line("l-fine dots", point{from, y - 1}, point{to, y - 1})
		}
		y += d.label * 1.4
	}
	b.y1 = y - d.label*1.4 + pad
	d.behind(at, func() {
		d.rect("panel l", b)
		d.rect("l-fine", b.inset(3.5))
	})
	return b.y1
}

func (d *drawing) datumWords() string {
	of := "the return chamber"
	if d.s.Sump == nil {
		of = "the tank"
	}
	names := map[string]string{"mm": "millimetres", "in": "inches"}
	return "Heights in " + names[d.unit.name] + ". The staff counts from the inside floor of " + of + "."
}

// lists are the notes by number and the cautions by letter, in columns.
func (d *drawing) lists(b box, columns int) (bottom float64) {
	type entry struct {
		mark   string
		person bool
		lines  []string
		height float64
	}
	const gap = 24
	markW := 2.5 * d.small
	width := (b.w() - gap*float64(columns-1)) / float64(columns)
	var entries []entry
	total := 0.0
	add := func(mark string, person bool, words string) {
		e := entry{mark: mark, person: person, lines: wrap(words, sans, d.small, width-markW)}
		e.height = float64(len(e.lines))*d.small*leading + 5
		entries = append(entries, e)
		total += e.height
	}
	for i, n := range d.s.Cautions {
		add(letter(i), true, n.Words)
	}
	for i, n := range d.s.Notes {
		add(fmt.Sprint(i+1), false, n.Words)
	}
	y, column, lowest := b.y0, 0, b.y0
	for _, e := range entries {
		if y-b.y0 >= total/float64(columns) && column < columns-1 {
			y = b.y0
			column++
		}
		x := b.x0 + float64(column)*(width+gap)
		d.mark(point{x + d.markRadius(), y + d.small*0.62}, e.mark, e.person)
		d.lines(point{x + markW, y + d.small}, style{size: d.small}, e.lines)
		y += e.height
		lowest = max(lowest, y)
	}
	return lowest
}

// letter is a caution's letter; after Z they go on with AA.
func letter(i int) string {
	if i >= 26 {
		return letter(i/26-1) + letter(i%26)
	}
	return string(rune('A' + i))
}

// scaleBar is the length scale of the whole, and what is not to be measured.
func (d *drawing) scaleBar(at point, width float64) (bottom float64) {
	step := d.unit.stepFor(d.scale, 0.07*width)
	const most, height = 4, 5
	cells := max(1, min(most, math.Floor(0.3*width/(step*d.scale))))
	x := at.x + 2
	for i := range int(cells) {
		class := "ink l"
		if i%2 == 1 {
			class = "paper l"
		}
		d.rect(class, box{x + float64(i)*step*d.scale, at.y, x + float64(i+1)*step*d.scale, at.y + height})
	}
	y := at.y + height + d.small*1.05
	d.text(point{x, y}, style{size: d.small, at: middle}, "0")
	finish := x + cells*step*d.scale
	d.text(point{finish, y}, style{size: d.small, at: middle}, d.unit.number(cells*step))
	words := "The whole and the detail are each true to scale. Thickness of walls, rock and places along the length are drawn, not measured."
	if len(d.breaks) > 0 {
		words += " Zigzag lines leave out an empty height."
	}
	left := finish + measure(d.unit.number(cells*step), sans, d.small)/2 + 14
	next := d.paragraph(point{left, at.y + height + 2}, style{face: italic, size: d.small, class: "t-soft"}, at.x+width-left, words)
	return max(next-d.small*0.7, y+4)
}

// lengthUnit is what heights are counted in.
type lengthUnit struct {
	metres float64 // in one
	name   string
	steps  []float64 // that staffs and scale bars are divided by, metres
}

func lengthUnitOf(u units.System) lengthUnit {
	if u == units.US {
		const inch = 0.0254
		l := lengthUnit{metres: inch, name: "in"}
		for _, n := range []float64{0.1, 0.2, 0.5, 1, 2, 4, 12, 24, 48, 240, 480} {
			l.steps = append(l.steps, n*inch)
		}
		return l
	}
	l := lengthUnit{metres: 0.001, name: "mm"}
	for _, n := range []float64{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000} {
		l.steps = append(l.steps, n*0.001)
	}
	return l
}

// stepFor is the smallest step that is at least so many units long at a scale.
func (l lengthUnit) stepFor(scale, least float64) float64 {
	for _, s := range l.steps {
		if s*scale >= least {
			return s
		}
	}
	return l.steps[len(l.steps)-1]
}

// number writes a length without its unit.
func (l lengthUnit) number(m float64) string {
	v := math.Round(m / l.metres)
	if l.name == "in" {
		v = math.Round(m/l.metres*10) / 10
	}
	return strings.Replace(num(v), "-", "−", 1)
}

// describe is the section in words, for readers who do not see it.
func (s *Section) describe() string {
	var b strings.Builder
	u := s.Units
	_, wide := s.Display.extremes()
	fmt.Fprintf(&b, "A display %s long and %s high inside", u.Length(wide), u.Length(s.Display.rimM()))
	if s.Sump != nil {
		fmt.Fprintf(&b, ", with its crest at %s, stands above a sump of %d compartments, %s high. From left to right: ",
			u.Length(s.Overflow.CrestHeightM), len(s.Sump.Compartments), u.Length(s.Sump.HeightM))
		for i, c := range s.Sump.Compartments {
			if i > 0 {
				b.WriteString(", ")
			}
			fmt.Fprintf(&b, "%s %s long", c.Name, u.Length(c.LengthM))
		}
	}
	b.WriteString(". ")
	for _, l := range s.levelWords() {
		if !l.between {
			fmt.Fprintf(&b, "%s: %s. ", l.name, u.Length(l.elevationM))
		}
	}
	if m := s.Levels.MarginM3; m >= 0 {
		fmt.Fprintf(&b, "Margin to the rim after drain-down: %s. ", u.Volume(m))
	} else if m < 0 {
		fmt.Fprintf(&b, "After drain-down %s spill over the rim. ", u.Volume(-m))
	}
	for _, n := range s.Cautions {
		b.WriteString("Caution: " + n.Words + " ")
	}
	return strings.TrimSpace(b.String())
}

// levelWords are the levels at the sensors, from the rim down. A level between
// two others is a volume, not a height.
type levelWord struct {
	name, value string
	elevationM  float64
	between     bool
	style       string // of its line, "" for none
	person      bool
}

func (s *Section) levelWords() []levelWord {
	l, rim := &s.Levels, s.chamberRimM()
	var out []levelWord
	add := func(name string, m float64, line string, person bool) {
		if !math.IsNaN(m) {
			out = append(out, levelWord{name: name, value: s.Units.Length(m), elevationM: m, style: line, person: person})
		}
	}
	between := func(name string, m3, a, b float64, person bool) {
		if !math.IsNaN(m3) && !math.IsNaN(a+b) {
			out = append(out, levelWord{name: name, value: s.Units.Volume(math.Abs(m3)), elevationM: (a + b) / 2, between: true, person: person})
		}
	}
	spills := l.MarginM3 < 0
	add("rim", rim, "", false)
	if spills {
		between("spills", l.MarginM3, rim, rim, true)
	} else {
		between("margin", l.MarginM3, rim, l.RestM, false)
	}
	if s.Sump != nil {
		add("after drain-down", l.RestM, "l-deep dash", spills)
		between("drain-down", l.DrainDownM3, l.RestM, l.HighestM, false)
	}
	add("highest fill", l.HighestM, "l-shore dots", false)
	add("ceiling level", l.Ceiling.ElevationM, "l dash", false)
	add("watch level", l.Watch.ElevationM, "l", false)
	add("float valve shuts", s.TopOff.FloatValveElevationM, "l", false)
	add("dip at a restart", l.DipM, "l-shore dots", false)
	if s.Sump != nil {
		add("pump draws air", s.Return.IntakeElevationM, "l-fine dots", false)
	}
	return out
}
