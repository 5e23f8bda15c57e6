package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Testing is how often harm is to be expected against the time between two
// proof tests. Both scales are logarithmic: equal steps are equal factors. What
// is higher on the sheet happens more often.
type Testing struct {
	Title, Subtitle string
	// Harm is what is counted, with a capital.
	Harm string
	// Points by interval, the shortest first.
	Points []TestingPoint
	// Now is the interval in use, one of the points'; Knee is where more testing
	// begins to buy little, NaN days: nowhere between the first and last point.
	Now, Knee TestingMark
	// FloorPerYear is what no testing takes away, in words FloorWords. 0: nothing.
	FloorPerYear float64
	FloorWords   string
}

// TestingPoint is one interval: the expected frequency, as a number and in
// words, and the band in which 90 % of the belief lies.
type TestingPoint struct {
	Days                             float64
	PerYear, LowPerYear, HighPerYear float64
	Words                            string
}

// TestingMark is an interval with what there is to say of it.
type TestingMark struct {
	Days  float64
	Words string
}

// Frequencies are drawn within these; one outside is drawn at the edge.
const leastPerYear, mostPerYear = 1e-6, 1e3

// testingDrawing is a curve being drawn.
type testingDrawing struct {
	*canvas
	t           *Testing
	label       float64
	left, right float64 // of the plot; points keep pad away from both
	a           axis    // of the decimal logarithm of a frequency
}

const testingEdge, testingPad = 10.0, 14.0

// SVG draws the curve.
func (t *Testing) SVG(f Format) ([]byte, error) {
	d, err := t.draw(f)
	if err != nil {
		return nil, err
	}
	return d.document(t.Title, t.describe()), nil
}

func (t *Testing) draw(f Format) (*testingDrawing, error) {
	if err := t.check(); err != nil {
		return nil, err
	}
	d := &testingDrawing{canvas: &canvas{w: 960}, t: t, label: 12.5}
	height := 250.0
	if f == Narrow {
		d.w, d.label, height = narrowW, 11, 220
	}
	d.left = testingEdge + measure("100,000 years", sans, d.label) + 8
	d.right = d.w - testingEdge
	y := d.heading(d.label, t.Title, t.Subtitle)
	y, flags := d.flags(y + 4)
	d.a = t.frequencies(y+30, height)
	d.frame()
	d.band()
	d.floor()
	// The flags' lines lie over the band and under the curve.
	flags()
	d.curve()
	d.h = d.legend(d.intervals()+18) + testingEdge
	return d, nil
}

func (t *Testing) check() error {
	if len(t.Points) < 2 {
		return fmt.Errorf("chart: Testing.Points has %d entries: give at least two", len(t.Points))
	}
	for i, p := range t.Points {
		if !(p.Days > 0) || math.IsInf(p.Days, 0) || i > 0 && p.Days <= t.Points[i-1].Days {
			return fmt.Errorf("chart: Testing.Points[%d].Days is %v: give days above 0, each more than the last", i, p.Days)
		}
		if !(p.PerYear > 0 && p.LowPerYear >= 0 && p.HighPerYear >= p.LowPerYear) || math.IsInf(p.PerYear+p.HighPerYear, 0) {
			return fmt.Errorf("chart: Testing.Points[%d] is %v a year, %v to %v: give a frequency above 0 and the ends of its band in order",
				i, p.PerYear, p.LowPerYear, p.HighPerYear)
		}
	}
	first, last := t.Points[0].Days, t.Points[len(t.Points)-1].Days
	if !slices.ContainsFunc(t.Points, func(p TestingPoint) bool { return p.Days == t.Now.Days }) {
		return fmt.Errorf("chart: Testing.Now.Days is %v: give the days of one of the points", t.Now.Days)
	}
	if k := t.Knee.Days; !math.IsNaN(k) && !(k >= first && k <= last) {
		return fmt.Errorf("chart: Testing.Knee.Days is %v: give %v to %v, or NaN for none", k, first, last)
	}
	if !(t.FloorPerYear >= 0) || math.IsInf(t.FloorPerYear, 0) {
		return fmt.Errorf("chart: Testing.FloorPerYear is %v: give a frequency, or 0 for none", t.FloorPerYear)
	}
	return nil
}

// frequencies is the vertical scale: all that is drawn, and at least a factor of
// ten, so that what is nearly level looks level.
func (t *Testing) frequencies(top, height float64) axis {
	lo, hi := math.Inf(1), math.Inf(-1)
	add := func(perYear float64) {
		lo, hi = min(lo, log10(perYear)), max(hi, log10(perYear))
	}
	for _, p := range t.Points {
		add(p.PerYear)
		add(p.HighPerYear)
		if p.LowPerYear > 0 {
			add(p.LowPerYear)
		}
	}
	if t.FloorPerYear > 0 {
		add(t.FloorPerYear)
	}
	const least, pad = 1, 0.06
	if short := least - (hi - lo); short > 0 {
		lo, hi = lo-short/2, hi+short/2
	}
	room := pad * (hi - lo)
	return axis{lo - room, hi + room, top, top + height}
}

// log10 of a frequency, brought within what is drawn.
func log10(perYear float64) float64 {
	return math.Log10(min(max(perYear, leastPerYear), mostPerYear))
}

func (d *testingDrawing) y(perYear float64) float64 { return d.a.y(max(log10(perYear), d.a.lo)) }

func (d *testingDrawing) x(days float64) float64 {
	first, last := d.t.Points[0].Days, d.t.Points[len(d.t.Points)-1].Days
	return d.left + testingPad + (d.right-d.left-2*testingPad)*math.Log(days/first)/math.Log(last/first)
}

// flags writes what the marks say, one above the other, the earlier one to the
// left of its staff and the later to the right where there is room, so that no
// staff meets a text. The staffs reach down through the plot, so they are drawn
// by the second result, when it is known where that is.
func (d *testingDrawing) flags(y float64) (bottom float64, staffs func()) {
	type flag struct {
		TestingMark
		face  face
		class string
		top   float64
	}
	flags := []flag{{TestingMark: d.t.Now, face: bold, class: "l-bold"}}
	if !math.IsNaN(d.t.Knee.Days) {
		flags = append(flags, flag{TestingMark: d.t.Knee, class: "l-shore dashdot"})
	}
	slices.SortStableFunc(flags, func(a, b flag) int { return cmp.Compare(a.Days, b.Days) })
	for i := range flags {
		f := &flags[i]
		f.top = y
		lines := wrap(f.Words, f.face, d.label, d.w-2*testingEdge)
		width := widest(lines, f.face, d.label)
		at := d.x(f.Days) + 6
		if i == 0 && len(flags) > 1 || at+width > d.w-testingEdge {
			at = d.x(f.Days) - 6 - width
		}
		at = min(max(at, testingEdge), d.w-testingEdge-width)
		room := box{at - 3, y, at + width + 3, y + d.label*leading*float64(len(lines)) + 3}
		d.rect("paper", room) // hides the staffs that pass behind
		d.lines(point{at, y + d.label}, style{face: f.face, size: d.label}, lines)
		y = room.y1
	}
	return y, func() {
		for _, f := range flags {
			x := d.x(f.Days)
			d.behind(0, func() { d.line(f.class, point{x, f.top + 2}, point{x, d.a.top}) })
			d.line(f.class, point{x, d.a.top}, point{x, d.a.bottom})
		}
	}
}

// every are the times that a scale of frequencies is marked with, in years.
// Coarse ones are enough where the scale is long.
var every = []struct {
	years  float64
	words  string
	coarse bool
}{
	{1.0 / 365, "1 day", true}, {7.0 / 365, "1 week", false}, {1.0 / 12, "1 month", true}, {3.0 / 12, "3 months", false}, {6.0 / 12, "6 months", false},
	{1, "1 year", true}, {2, "2 years", false}, {5, "5 years", false}, {10, "10 years", true}, {20, "20 years", false}, {50, "50 years", false},
	{100, "100 years", true}, {200, "200 years", false}, {500, "500 years", false}, {1e3, "1000 years", true}, {2e3, "2000 years", false}, {5e3, "5000 years", false},
	{1e4, "10,000 years", true}, {1e5, "100,000 years", true}, {1e6, "10⁶ years", true},
}

// frame draws the plot's edge and its lines of frequency.
func (d *testingDrawing) frame() {
	a := d.a
	d.text(point{testingEdge, a.top - 10}, style{face: serif, size: d.label + 1, class: "halo"}, d.t.Harm+", once in")
	// 2 to 5 is the widest step of the fine marks, 1 to 2 the narrowest.
	fine := (a.bottom-a.top)/(a.hi-a.lo)*math.Log10(2) > d.label*1.5
	for _, e := range every {
		v := -math.Log10(e.years)
		if v < a.lo || v > a.hi || !fine && !e.coarse {
			continue
		}
		y := a.y(v)
		d.line("l-rule", point{d.left, y}, point{d.right, y})
		d.text(point{d.left - 7, y + d.label*0.35}, style{size: d.label, class: "t-soft", at: end}, e.words)
	}
	d.line("l", point{d.left, a.top}, point{d.left, a.bottom})
	d.line("l", point{d.left, a.bottom}, point{d.right, a.bottom})
}

func (d *testingDrawing) along(value func(TestingPoint) float64) []point {
	var out []point
	for _, p := range d.t.Points {
		out = append(out, point{d.x(p.Days), d.y(value(p))})
	}
	return out
}

func (d *testingDrawing) band() {
	high := d.along(func(p TestingPoint) float64 { return p.HighPerYear })
	low := d.along(func(p TestingPoint) float64 { return p.LowPerYear })
	slices.Reverse(low)
	d.path("w1", closed(append(slices.Clone(high), low...)...))
	d.path("l-fine", polyline(high...)+polyline(low...))
}

func (d *testingDrawing) floor() {
	if v := d.t.FloorPerYear; v > 0 {
		d.line("l-deep dash", point{d.left, d.y(v)}, point{d.right, d.y(v)})
	}
}

// curve is the expected frequency; its points have their words, that of the
// interval in use first, where there is room.
func (d *testingDrawing) curve() {
	expected := func(p TestingPoint) float64 { return p.PerYear }
	d.path("l-bold", polyline(d.along(expected)...))
	order := make([]int, len(d.t.Points))
	for i := range order {
		order[i] = i
	}
	now := func(i int) bool { return d.t.Points[i].Days == d.t.Now.Days }
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case now(i):
			return -1
		case now(j):
			return 1
		}
		return 0
	})
	for _, i := range order {
		p := d.t.Points[i]
		at := point{d.x(p.Days), d.y(p.PerYear)}
		s, radius, fill := style{size: d.label, class: "halo"}, 2.6, "paper l"
		if now(i) {
			s.face, radius, fill = bold, 4.6, "ink"
		}
		d.circle(fill, at, radius)
		w := measure(p.Words, s.face, s.size)
		x := min(max(at.x-w/2, d.left+2), d.right-w)
		d.textIfClear(point{x, at.y - 9}, s, p.Words)
	}
}

// textIfClear writes a line only where no other text stands.
func (c *canvas) textIfClear(p point, s style, text string) {
	const gap = 3
	w := measure(text, s.face, s.size)
	room := box{p.x - gap, p.y - ascent*s.size, p.x + w + gap, p.y + descent*s.size}
	if !slices.ContainsFunc(c.texts, func(t placed) bool { return t.overlaps(room) }) {
		c.text(p, s, text)
	}
}

// usualIntervals are marked along the bottom; where there is not room for all
// their words the first in this list have it.
var usualIntervals = []struct {
	days  float64
	words string
}{{30, "month"}, {365, "year"}, {7, "week"}, {91, "3 months"}, {182, "6 months"}, {14, "2 weeks"}, {61, "2 months"}, {1, "day"}, {730, "2 years"}, {1825, "5 years"}, {3650, "10 years"}}

// intervals marks the horizontal scale.
func (d *testingDrawing) intervals() (bottom float64) {
	first, last := d.t.Points[0].Days, d.t.Points[len(d.t.Points)-1].Days
	y := d.a.bottom
	for _, u := range usualIntervals {
		if u.days < first || u.days > last {
			continue
		}
		x := d.x(u.days)
		d.line("l", point{x, y}, point{x, y + 5})
		w := measure(u.words, sans, d.label)
		d.textIfClear(point{min(max(x-w/2, testingEdge), d.right-w), y + d.label*1.1 + 5}, style{size: d.label, class: "t-soft"}, u.words)
	}
	d.text(point{(d.left + d.right) / 2, y + d.label*2.4 + 5}, style{face: italic, size: d.label, class: "t-soft", at: middle}, "time between two proof tests")
	return y + d.label*2.4 + 5
}

// legend says what the lines are.
func (d *testingDrawing) legend(y float64) (bottom float64) {
	const swatch = 26.0
	entry := func(draw func(y float64), words string) {
		draw(y + d.label*0.65)
		y = d.paragraph(point{testingEdge + swatch + 8, y + d.label}, style{size: d.label}, d.w-2*testingEdge-swatch-8, words) - d.label + 4
	}
	line := func(class string) func(float64) {
		return func(y float64) { d.line(class, point{testingEdge, y}, point{testingEdge + swatch, y}) }
	}
	entry(line("l-bold"), "expected, with every rate at its mean")
	entry(func(y float64) {
		b := box{testingEdge, y - 5, testingEdge + swatch, y + 5}
		d.rect("w1", b)
		d.rect("l-fine", b)
	}, "90 % of what is believed of the rates gives this")
	if d.t.FloorPerYear > 0 {
		entry(line("l-deep dash"), d.t.FloorWords)
	}
	return y
}

// describe says what the curve shows.
func (t *Testing) describe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s against the time between two proof tests: ", t.Subtitle, t.Harm)
	for i, p := range t.Points {
		if i > 0 {
			b.WriteString("; ")
		}
		fmt.Fprintf(&b, "every %s days, once in %s", num(p.Days), p.Words)
	}
	fmt.Fprintf(&b, ". %s.", t.Now.Words)
	if !math.IsNaN(t.Knee.Days) {
		fmt.Fprintf(&b, " %s.", t.Knee.Words)
	}
	if t.FloorPerYear > 0 {
		fmt.Fprintf(&b, " %s.", t.FloorWords)
	}
	return b.String()
}
