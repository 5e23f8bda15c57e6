package chart

import "math"

// pipe draws a line of a bore through points, its corners rounded. wet says
// that water stands or runs in it.
func (c *canvas) pipe(bore float64, wet bool, points ...point) {
	d := rounded(points, bore*1.2+2)
	class := "bore"
	if wet {
		class = "wet"
	}
	c.stroke("pipe", d, bore+1.8)
	c.stroke(class, d, bore)
}

// rounded is a polyline with its corners rounded.
func rounded(points []point, radius float64) string {
	if len(points) < 3 {
		return polyline(points...)
	}
	d := polyline(points[0])
	for i := 1; i+1 < len(points); i++ {
		p := points[i]
		a, b := toward(p, points[i-1], radius), toward(p, points[i+1], radius)
		d += "L" + num(a.x) + " " + num(a.y) + "Q" + num(p.x) + " " + num(p.y) + " " + num(b.x) + " " + num(b.y)
	}
	last := points[len(points)-1]
	return d + "L" + num(last.x) + " " + num(last.y)
}

// toward is the point at a distance from p in the direction of q, at most half
// way.
func toward(p, q point, distance float64) point {
	length := math.Hypot(q.x-p.x, q.y-p.y)
	if length == 0 {
		return p
	}
	share := min(distance/length, 0.5)
	return point{p.x + (q.x-p.x)*share, p.y + (q.y-p.y)*share}
}

// flow is an arrow on a pipe, half way between two points.
func (c *canvas) flow(from, to point) {
	const length = 8
	mid := point{(from.x + to.x) / 2, (from.y + to.y) / 2}
	angle := math.Atan2(to.y-from.y, to.x-from.x)
	tip := point{mid.x + length/2*math.Cos(angle), mid.y + length/2*math.Sin(angle)}
	c.arrowHead("ink", tip, angle, length)
}

// pump is the usual sign for a pump, a circle with a triangle that points the
// way of the flow (ISO 10628-2, from memory), pumping up.
func (c *canvas) pump(at point, r float64) {
	c.circle("panel", at, r)
	c.circle("l", at, r)
	c.path("ink", closed(point{at.x, at.y - r}, point{at.x - r*0.78, at.y + r*0.5}, point{at.x + r*0.78, at.y + r*0.5}))
}

// valve is the usual sign for a valve, two triangles tip to tip (ISO 10628-2,
// from memory), in a level line. A box on it is what drives it.
func (c *canvas) valve(at point, r float64, driven bool) {
	c.path("panel", closed(point{at.x - r, at.y - r}, point{at.x + r, at.y + r}, point{at.x + r, at.y - r}, point{at.x - r, at.y + r}))
	c.path("l", closed(point{at.x - r, at.y - r*0.8}, point{at.x + r, at.y + r*0.8}, point{at.x + r, at.y - r*0.8}, point{at.x - r, at.y + r*0.8}))
	if driven {
		c.rect("panel l", box{at.x - r*0.55, at.y - r*2.1, at.x + r*0.55, at.y - r})
		c.line("l", at, point{at.x, at.y - r})
	}
}

// checkValve is a triangle against a bar; flow goes to the left.
func (c *canvas) checkValve(at point, r float64) {
	c.path("panel", closed(point{at.x - r, at.y}, point{at.x + r, at.y - r}, point{at.x + r, at.y + r}))
	c.path("l", closed(point{at.x - r, at.y}, point{at.x + r, at.y - r}, point{at.x + r, at.y + r}))
	c.line("l-bold", point{at.x - r, at.y - r}, point{at.x - r, at.y + r})
}

// sensor draws a level sensor on a rod that comes down from top, and the band
// between getting dry and getting wet. Each kind has its own shape.
func (c *canvas) sensor(kind string, at point, top, band, r float64) {
	c.line("l", point{at.x, top}, at)
	c.line("l-fine", point{at.x - r*1.5, at.y - band/2}, point{at.x + r*1.5, at.y - band/2})
	c.line("l-fine", point{at.x - r*1.5, at.y + band/2}, point{at.x + r*1.5, at.y + band/2})
	switch kind {
	case "float":
		b := box{at.x - r, at.y - r*0.75, at.x + r, at.y + r*0.75}
		c.rect("panel l", b)
		c.line("l-bold", point{b.x0, at.y}, point{b.x1, at.y})
	case "conductive":
		c.line("l-bold", point{at.x - r*0.5, at.y - r}, point{at.x - r*0.5, at.y})
		c.line("l-bold", point{at.x + r*0.5, at.y - r}, point{at.x + r*0.5, at.y})
		c.circle("ink", point{at.x - r*0.5, at.y}, 1.6)
		c.circle("ink", point{at.x + r*0.5, at.y}, 1.6)
	case "pressure":
		c.rect("panel l", box{at.x - r*0.8, at.y - r*0.8, at.x + r*0.8, at.y + r*0.8})
		c.path("l", polyline(point{at.x - r*0.8, at.y}, point{at.x - r*0.3, at.y - 2.5}, point{at.x + r*0.3, at.y + 2.5}, point{at.x + r*0.8, at.y}))
	case "ultrasonic":
		for i := 1.0; i <= 3; i++ {
			d := "M" + num(at.x-i*r*0.4) + " " + num(at.y-r*1.6+i*r*0.4) + "Q" + num(at.x) + " " + num(at.y-r*1.6+i*r*0.75) + " " + num(at.x+i*r*0.4) + " " + num(at.y-r*1.6+i*r*0.4)
			c.path("l", d)
		}
		c.circle("ink", at, 1.6)
	default: // optical: a prism
		c.path("panel", closed(point{at.x - r*0.7, at.y - r*1.2}, point{at.x + r*0.7, at.y - r*1.2}, point{at.x + r*0.7, at.y - r*0.2}, point{at.x, at.y + r*0.4}, point{at.x - r*0.7, at.y - r*0.2}))
		c.path("l", closed(point{at.x - r*0.7, at.y - r*1.2}, point{at.x + r*0.7, at.y - r*1.2}, point{at.x + r*0.7, at.y - r*0.2}, point{at.x, at.y + r*0.4}, point{at.x - r*0.7, at.y - r*0.2}))
	}
}

// ground is a line with the hatching of solid ground below it.
func (c *canvas) ground(from, to point) {
	c.line("l", from, to)
	d := ""
	for x := from.x + 6; x <= to.x; x += 7 {
		d += polyline(point{x, from.y}, point{x - 5, from.y + 5})
	}
	c.path("l-fine", d)
}

// staffRoom is the width that a staff and its numbers take, up to a height.
func (d *drawing) staffRoom(toM float64) float64 {
	return measure(d.unit.number(-toM), sans, d.small) + staffTick + staffWidth
}

// staffTick is the room for a tick and the space to its number.
const (
	staffTick  = 6.0
	staffWidth = 7.0
)

// dimension is a dimension line between two points at one height, with its
// value over it, or under it if there is no room between the ends.
func (c *canvas) dimension(from, to point, s style, value string) {
	c.line("l-fine", from, to)
	for _, p := range []point{from, to} {
		c.line("l", point{p.x - 2.5, p.y + 2.5}, point{p.x + 2.5, p.y - 2.5})
	}
	s.at = middle
	c.text(point{(from.x + to.x) / 2, from.y - 4}, s, value)
}

// staff is a graduated staff with its right edge at x, the heights numbered on
// its left. Cells are filled in turn, as on the staffs that levels are read
// from.
func (c *canvas) staff(right float64, v view, fromM, toM float64, unit lengthUnit, size float64, skip func(m float64) bool) {
	const leastCell, leastLabel = 4.5, 1.9
	x := right - staffWidth
	cell := unit.stepFor(v.scale, leastCell)
	label := unit.stepFor(v.scale, max(leastLabel*size, cell*v.scale))
	for math.Abs(math.Remainder(label, cell)) > 1e-9 {
		label = unit.stepFor(v.scale, label*v.scale*1.01) // the next that cells divide
	}
	for i := math.Floor(fromM / cell); i*cell < toM; i++ {
		lo, hi := max(fromM, i*cell), min(toM, (i+1)*cell)
		if skip != nil && (skip(lo+1e-6) || skip(hi-1e-6)) {
			continue
		}
		if math.Mod(math.Abs(i), 2) == 1 {
			c.rect("ink", box{x, v.y(hi), right, v.y(lo)})
		}
	}
	c.text(point{right, v.y(toM) - 0.7*size}, style{size: size, class: "t-soft", at: end}, unit.name)
	c.line("l", point{x, v.y(fromM)}, point{x, v.y(toM)})
	c.line("l", point{right, v.y(fromM)}, point{right, v.y(toM)})
	last := math.Inf(1) // the label below: beyond a break the next may come too soon
	for _, m := range ticks(fromM, toM, label) {
		if skip != nil && skip(m) || last-v.y(m) < 1.1*size {
			continue
		}
		last = v.y(m)
		c.line("l", point{x - 3, v.y(m)}, point{x, v.y(m)})
		c.text(point{x - staffTick + 1, v.y(m) + size*0.34}, style{size: size, class: "t-soft", at: end}, unit.number(m))
	}
}
