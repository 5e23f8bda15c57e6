package chart

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// TestColoursContrast holds every pair of colours that meets in a drawing to
// WCAG 2.2: 1.4.3 (text, 4.5:1) and 1.4.11 (lines that carry meaning, 3:1).
func TestColoursContrast(t *testing.T) {
	const text, line = 4.5, 3.0
	waters := []string{"water1", "water2", "water3", "water4"}
	for _, c := range []struct {
		front string
		backs []string
		least float64
	}{
		{"ink", append([]string{"paper", "panel", "pink"}, waters...), text},
		{"soft", []string{"paper", "panel"}, text},
		{"person", []string{"paper", "panel"}, text},
		{"onperson", []string{"person"}, text},
		{"shore", []string{"paper", "panel"}, text}, // links, on pages that take these colours
		{"shore", []string{"paper", "panel", "water1", "water2"}, line},
		{"person", []string{"paper", "panel", "pink", "water1"}, line},
		{"hatch", []string{"land"}, line},
		{"ink", []string{"glass", "land"}, line},
	} {
		front := colour(t, c.front)
		for _, name := range c.backs {
			back := colour(t, name)
			if r := contrast(t, front.Light, back.Light); r < c.least {
				t.Errorf("light: %s on %s is %.2f:1, want %.1f", c.front, name, r, c.least)
			}
			if r := contrast(t, front.Dark, back.Dark); r < c.least {
				t.Errorf("dark: %s on %s is %.2f:1, want %.1f", c.front, name, r, c.least)
			}
		}
	}
}

// TestContrastFormula checks the formula itself against the ends of its range,
// which WCAG 2.2 states, and the grey that its guides give as 4.54:1 on white.
func TestContrastFormula(t *testing.T) {
	for _, c := range []struct {
		a, b      string
		want, tol float64
	}{
		{"#000000", "#ffffff", 21, 1e-12},
		{"#123456", "#123456", 1, 1e-12},
		{"#767676", "#ffffff", 4.54, 0.005}, // from memory
	} {
		if got := contrast(t, c.a, c.b); math.Abs(got-c.want) > c.tol {
			t.Errorf("%s on %s: got %.4f, want %v", c.a, c.b, got, c.want)
		}
	}
}

func colour(t *testing.T, name string) Colour {
	for _, c := range Colours {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no colour %q", name)
	return Colour{}
}

// contrast is the contrast ratio of WCAG 2.2 from its relative luminance.
func contrast(t *testing.T, a, b string) float64 {
	luminance := func(hex string) float64 {
		sum := 0.0
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			v, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(v) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += weight * c
		}
		return sum
	}
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// TestMeasure compares with a browser's own measure of the same faces at
// 100 px (DejaVu 2.37, canvas measureText). Kerning makes a browser's text a
// little narrower; it must never be wider, or labels would touch.
func TestMeasure(t *testing.T) {
	const narrower, wider = 0.02, 0.001
	worst := 0.0
	for _, c := range []struct {
		face face
		text string
		want float64
	}{
		{sans, "Isohaline keeps each tank on one line of equal salinity.", 2730.86},
		{sans, "after drain-down 291 mm (1.5 gal/day)", 1951.37},
		{bold, "109 mm, 37.3 L", 870.02},
		{serif, "Reading Room reef", 975.78},
		{italic, "Quill Street Library, ground floor", 1676.90},
	} {
		got := measure(c.text, c.face, 100)
		worst = max(worst, math.Abs(got/c.want-1))
		if off := got/c.want - 1; off > narrower || off < -wider {
			t.Errorf("%q: %.1f, the browser has %.1f", c.text, got, c.want)
		}
	}
	t.Logf("worst row: %.2f %% off", 100*worst)
}

// TestWrap: no letter is lost, and no line is too wide that could be broken.
func TestWrap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`([a-z水]{1,30} ){0,20}`).Draw(t, "text")
		width := rapid.Float64Range(5, 300).Draw(t, "width")
		lines := wrap(text, sans, 12, width)
		if strings.ReplaceAll(strings.Join(lines, ""), " ", "") != strings.ReplaceAll(text, " ", "") {
			t.Fatalf("%q became %q", text, lines)
		}
		for _, l := range lines {
			if utf8.RuneCountInString(l) > 1 && measure(l, sans, 12) > width {
				t.Fatalf("%q is wider than %v", l, width)
			}
		}
	})
}

// TestSpread: labels stay in order, inside the column, clear of each other; and
// no other places are nearer to what they want: checked against all whole-number
// places by exhaustion.
func TestSpread(t *testing.T) {
	const hi = 20
	rapid.Check(t, func(t *rapid.T) {
		slots := make([]slot, rapid.IntRange(1, 4).Draw(t, "n"))
		for i := range slots {
			slots[i] = slot{want: float64(rapid.IntRange(-5, 25).Draw(t, "want")), height: float64(2 * rapid.IntRange(1, 2).Draw(t, "half"))}
		}
		spread(slots, 0, hi)
		cost := 0.0
		for i, a := range slots {
			cost += (a.at - a.want) * (a.at - a.want)
			if a.at-a.height/2 < -1e-9 || a.at+a.height/2 > hi+1e-9 {
				t.Fatalf("%+v is outside 0 to %d", a, hi)
			}
			for _, b := range slots[:i] {
				if math.Abs(a.at-b.at) < (a.height+b.height)/2-1e-9 {
					t.Fatalf("%+v covers %+v", a, b)
				}
				if (a.want-b.want)*(a.at-b.at) < 0 {
					t.Fatalf("%+v and %+v changed places", a, b)
				}
			}
		}
		if best := exhaust(slots, nil, hi); best < cost-1e-9 {
			t.Fatalf("places %+v cost %v, there are some for %v", slots, cost, best)
		}
	})
}

// exhaust is the least cost of any order-keeping places at whole numbers; of
// labels that want the same place the first given comes first.
func exhaust(slots, placed []slot, hi float64) float64 {
	if len(placed) == len(slots) {
		cost := 0.0
		for _, s := range placed {
			cost += (s.at - s.want) * (s.at - s.want)
		}
		return cost
	}
	s := slots[len(placed)]
	best := math.Inf(1)
	for at := s.height / 2; at <= hi-s.height/2; at++ {
		s.at = at
		fits := true
		for _, p := range placed {
			fits = fits && math.Abs(p.at-at) >= (p.height+s.height)/2 && (p.want <= s.want) == (p.at < at)
		}
		if fits {
			best = min(best, exhaust(slots, append(placed[:len(placed):len(placed)], s), hi))
		}
	}
	return best
}

// TestContour counts loops and measures what they enclose.
func TestContour(t *testing.T) {
	for name, c := range map[string]struct {
		cells []string
		loops int
	}{
		"nothing":                  {[]string{"..", ".."}, 0},
		"one cell":                 {[]string{"#.", ".."}, 1},
		"touching at a corner":     {[]string{"#.", ".#"}, 2},
		"the other way":            {[]string{".#", "#."}, 2},
		"a ring has an inside":     {[]string{"###", "#.#", "###"}, 2},
		"all":                      {[]string{"##", "##"}, 1},
		"an L":                     {[]string{"#..", "#..", "###"}, 1},
		"two islands":              {[]string{"#.#", "#.#", "#.#"}, 2},
		"two holes at one corner":  {[]string{"####", "#.##", "##.#", "####"}, 2},
		"a long way round, a hole": {[]string{"####", "#..#", "#..#", "####"}, 2},
	} {
		in := func(row, column int) bool {
			return row >= 0 && row < len(c.cells) && column >= 0 && column < len(c.cells) && c.cells[row][column] == '#'
		}
		d := contour(in, len(c.cells), point{}, 10)
		if got := strings.Count(d, "M"); got != c.loops {
			t.Errorf("%s: %d loops, want %d: %s", name, got, c.loops, d)
		}
		if strings.Count(d, "Z") != c.loops {
			t.Errorf("%s: not every loop is closed: %s", name, d)
		}
	}
}

// TestHatchStaysInside: the lines cover a rectangle's area at their spacing, and
// none leaves it.
func TestHatchStaysInside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.Float64Range(30, 400).Draw(t, "w"), rapid.Float64Range(30, 400).Draw(t, "h")
		const spacing = 6
		total := 0.0
		for _, leg := range strings.Split(hatch([]point{{0, 0}, {w, 0}, {w, h}, {0, h}}, spacing), "M")[1:] {
			var p [4]float64
			for i, f := range strings.FieldsFunc(leg, func(r rune) bool { return r == ' ' || r == 'L' }) {
				v, err := strconv.ParseFloat(f, 64)
				if err != nil {
					t.Fatal(err)
				}
				p[i] = v
			}
			const rounding = 0.06
			for i, v := range p {
				if limit := []float64{w, h}[i%2]; v < -rounding || v > limit+rounding {
					t.Fatalf("%v leaves %v × %v", p, w, h)
				}
			}
			total += math.Hypot(p[2]-p[0], p[3]-p[1])
		}
		// Length times spacing is area, within one line at each end.
		if area := total * spacing; math.Abs(area-w*h) > 2*spacing*math.Hypot(w, h) {
			t.Fatalf("lines stand for %v of %v", area, w*h)
		}
	})
}

func TestNiceStep(t *testing.T) {
	for _, c := range []struct{ step, want float64 }{
		{0.1, 0.1}, {0.11, 0.2}, {0.3, 0.5}, {0.51, 1}, {7, 10}, {2, 2}, {1e-5, 1e-5}, {0, 1}, {-3, 1}, {nan, 1}, {math.Inf(1), 1},
	} {
		if got := niceStep(c.step); math.Abs(got-c.want) > 1e-12*c.want {
			t.Errorf("niceStep(%v) = %v, want %v", c.step, got, c.want)
		}
	}
}

func TestTimeStep(t *testing.T) {
	for _, c := range []struct {
		length time.Duration
		n      int
		want   time.Duration
	}{
		{72 * time.Hour, 10, 12 * time.Hour},
		{time.Hour, 10, 15 * time.Minute},
		{time.Minute, 10, 15 * time.Second},
		{30 * day, 10, 5 * day},
		{10000 * day, 10, 365 * day},
		{0, 0, time.Second},
	} {
		if got := timeStep(c.length, c.n); got != c.want {
			t.Errorf("timeStep(%v, %d) = %v, want %v", c.length, c.n, got, c.want)
		}
	}
}

// TestElevations: heights keep their order, and outside the breaks their scale.
func TestElevations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		used := []span{{-0.01, 0.4}}
		at := 0.4
		for range rapid.IntRange(0, 4).Draw(t, "n") {
			lo := at + rapid.Float64Range(0, 5).Draw(t, "gap")
			at = lo + rapid.Float64Range(0.1, 1).Draw(t, "height")
			used = append(used, span{lo, at})
		}
		e := elevations{datumY: 500, scale: 100, breaks: breaksBetween(used)}
		for i, u := range used {
			for _, m := range []float64{u.lo, u.hi} {
				if e.broken(m) {
					t.Fatalf("%v is left out of %v: %v", m, used, e.breaks)
				}
			}
			if got := e.y(u.lo) - e.y(u.hi); math.Abs(got-(u.hi-u.lo)*e.scale) > 1e-9 {
				t.Fatalf("%v is drawn %v long", u, got)
			}
			if i > 0 {
				gap := (e.y(used[i-1].hi) - e.y(u.lo)) / e.scale
				if real := u.lo - used[i-1].hi; gap > real+1e-9 || gap > longestGapM+1e-9 || gap < min(real, keptGapM)-1e-9 {
					t.Fatalf("a gap of %v is drawn as %v", real, gap)
				}
			}
		}
	})
}

func BenchmarkSection(b *testing.B) {
	s := readingRoom()
	for b.Loop() {
		if _, err := s.SVG(Wide); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMatrix(b *testing.B) {
	m := someMatrix()
	for b.Loop() {
		if _, err := m.SVG(Wide); err != nil {
			b.Fatal(err)
		}
	}
}
