package chart

import (
	"math"
	"slices"
)

// view turns metres into the drawing's units.
type view struct {
	x0, y0, scale float64     // x and y of the point (0, 0), units per metre
	heights       *elevations // nil: without breaks
}

func (v view) x(m float64) float64 { return v.x0 + m*v.scale }

func (v view) y(m float64) float64 {
	if v.heights != nil {
		return v.heights.y(m)
	}
	return v.y0 - m*v.scale
}

func (v view) at(xM, yM float64) point { return point{v.x(xM), v.y(yM)} }

// tints is how many depth tints there are; the last goes on to the floor.
const tints = 4

// tintClass is the style of a depth tint, the surface's first.
func tintClass(i int) string { return [tints]string{"w1", "w2", "w3", "w4"}[i] }

// inside is the outline of a basin's inside between two heights, its middle at
// midM.
func (b *Basin) inside(v view, midM, fromM, toM float64) []point {
	heights := []float64{fromM}
	for _, w := range b.Widths {
		if w.HeightM > fromM && w.HeightM < toM {
			heights = append(heights, w.HeightM)
		}
	}
	heights = append(heights, toM)
	var left, right []point
	for _, h := range heights {
		half := b.widthM(h) / 2
		left = append(left, v.at(midM-half, b.FloorElevationM+h))
		right = append(right, v.at(midM+half, b.FloorElevationM+h))
	}
	slices.Reverse(left)
	return append(left, right...)
}

// water fills a basin to a level, in tints that deepen with depth.
func (c *canvas) water(b *Basin, v view, midM, levelM, tintM float64) {
	levelM = min(levelM, b.rimM())
	for i := range tints {
		top := levelM - float64(i)*tintM
		floor := max(0, top-tintM)
		if i == tints-1 {
			floor = 0
		}
		if top <= 0 {
			return
		}
		c.path(tintClass(i), closed(b.inside(v, midM, floor, top)...))
	}
}

// walls draws a basin's walls and floor.
func (c *canvas) walls(b *Basin, v view, midM, wallM float64) {
	inner := b.inside(v, midM, 0, b.rimM())
	var outer []point
	wall := wallM * v.scale
	for i, p := range inner {
		if i < len(inner)/2 {
			outer = append(outer, point{p.x - wall, p.y})
		} else {
			outer = append(outer, point{p.x + wall, p.y})
		}
	}
	// The floor has the wall's thickness.
	half := len(outer) / 2
	outer[half-1].y += wall
	outer[half].y += wall
	slices.Reverse(inner)
	c.path("glass", closed(append(outer, inner...)...))
}

// surface marks a free surface: a line, and the sign that drawings use for it,
// a triangle standing on it.
func (c *canvas) surface(from, to point, signX float64) {
	c.line("l-shore", from, to)
	const half, height = 4.5, 7
	y := from.y
	c.path("paper", closed(point{signX, y}, point{signX - half, y - height}, point{signX + half, y - height}))
	c.path("l-shore", closed(point{signX, y}, point{signX - half, y - height}, point{signX + half, y - height}))
	c.line("l-shore", point{signX - half + 1, y + 2.6}, point{signX + half - 1, y + 2.6})
	c.line("l-shore", point{signX - 1.8, y + 5}, point{signX + 1.8, y + 5})
}

// rock is a hill that fills its share of the water in the plane of the section.
func (c *canvas) rock(v view, leftM, rightM, floorM, waterM, share float64) {
	if !(share > 0) || !(waterM > 0) || rightM <= leftM {
		return
	}
	const n = 96
	// A few fixed waves: two hills and a saddle, falling to sand at the ends.
	shape := func(t float64) float64 {
		hills := 0.62*bump(t, 0.34, 0.2) + 0.85*bump(t, 0.66, 0.17) + 0.25*bump(t, 0.5, 0.08)
		return 0.14 + hills*(1+0.07*math.Sin(31*t)+0.05*math.Sin(83*t))
	}
	mean := 0.0
	for i := range n {
		mean += shape((float64(i)+0.5)/n) / n
	}
	const mostOfWater = 0.94
	outline := []point{v.at(leftM, floorM)}
	for i := range n + 1 {
		t := float64(i) / n
		h := min(shape(t)*share/mean, mostOfWater) * waterM
		outline = append(outline, v.at(leftM+t*(rightM-leftM), floorM+h))
	}
	outline = append(outline, v.at(rightM, floorM))
	c.path("land", closed(outline...))
	c.path("l-hatch", hatch(outline, 6))
}

// bump is a smooth hill of height 1.
func bump(t, at, width float64) float64 {
	d := (t - at) / width
	return math.Exp(-d * d)
}

// hatch is the path data of lines rising to the right inside a polygon.
func hatch(polygon []point, spacing float64) string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range polygon {
		lo, hi = min(lo, p.x+p.y), max(hi, p.x+p.y)
	}
	d := ""
	step := spacing * math.Sqrt2
	for u := math.Ceil(lo/step) * step; u < hi && step > 0; u += step {
		// Where the line x + y = u crosses the outline.
		var xs []float64
		for i, a := range polygon {
			b := polygon[(i+1)%len(polygon)]
			ua, ub := a.x+a.y, b.x+b.y
			if (ua < u) != (ub < u) {
				xs = append(xs, a.x+(b.x-a.x)*(u-ua)/(ub-ua))
			}
		}
		slices.Sort(xs)
		for i := 0; i+1 < len(xs); i += 2 {
			d += polyline(point{xs[i], u - xs[i]}, point{xs[i+1], u - xs[i+1]})
		}
	}
	return d
}
