package chart

import (
	"bytes"
	"encoding/xml"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// canvas collects the elements of a drawing. It knows where all text stands, so
// that what comes later can keep clear of it and tests can see that it did.
type canvas struct {
	w, h  float64
	body  bytes.Buffer
	texts []placed
}

// placed is a line of text and the room it takes.
type placed struct {
	box
	text string
	size float64
}

type point struct{ x, y float64 }

// box is a rectangle; y grows downward.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) overlaps(o box) bool {
	return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1
}

func (b box) w() float64 { return b.x1 - b.x0 }
func (b box) h() float64 { return b.y1 - b.y0 }

// inset is the box less a border.
func (b box) inset(d float64) box { return box{b.x0 + d, b.y0 + d, b.x1 - d, b.y1 - d} }

// document is the finished drawing.
func (c *canvas) document(title, description string) []byte {
	var b bytes.Buffer
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" class="iso" role="img" viewBox="0 0 ` +
		num(c.w) + " " + num(c.h) + `" width="` + num(c.w) + `" height="` + num(c.h) + `">` + "\n<title>")
	b.WriteString(escape(title) + "</title>\n<desc>" + escape(description) + "</desc>\n<style>" + styleCSS + "</style>\n")
	b.Write(c.body.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// behind writes elements that were worked out last but lie beneath what has
// been written since the mark.
func (c *canvas) behind(mark int, write func()) {
	above := strings.Clone(c.body.String()[mark:])
	c.body.Truncate(mark)
	write()
	c.body.WriteString(above)
}

// tie lifts a number that lies halfway between two tenths to the upper one, whatever
// the last bit of it is: machines that multiply and add at once differ there. It is
// far more than they differ by and far less than anybody sees.
const tie = 1e-6

// num writes a coordinate to a tenth of a unit.
func num(x float64) string {
	s := strconv.FormatFloat(math.Floor(x*10+0.5+tie)/10, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

// escape makes any text fit for XML: control characters have no place in it.
func escape(text string) string {
	clean := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
	var b bytes.Buffer
	_ = xml.EscapeText(&b, []byte(clean)) // a Buffer takes every write
	return b.String()
}

func (c *canvas) element(name, class, attributes string) {
	c.body.WriteString("<" + name)
	if class != "" {
		c.body.WriteString(` class="` + class + `"`)
	}
	c.body.WriteString(" " + attributes + "/>\n")
}

func (c *canvas) rect(class string, b box) {
	c.element("rect", class, `x="`+num(b.x0)+`" y="`+num(b.y0)+`" width="`+num(b.w())+`" height="`+num(b.h())+`"`)
}

func (c *canvas) circle(class string, at point, r float64) {
	c.element("circle", class, `cx="`+num(at.x)+`" cy="`+num(at.y)+`" r="`+num(r)+`"`)
}

func (c *canvas) line(class string, a, b point) { c.path(class, polyline(a, b)) }

func (c *canvas) path(class, d string) { c.element("path", class, `d="`+d+`"`) }

// stroke is a path of a given width, for pipes and walls drawn to scale.
func (c *canvas) stroke(class, d string, width float64) {
	c.element("path", class, `d="`+d+`" stroke-width="`+num(width)+`"`)
}

// polyline is the path data of a line through points; closed adds the last leg.
func polyline(points ...point) string {
	var b strings.Builder
	for i, p := range points {
		if i == 0 {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		b.WriteString(num(p.x) + " " + num(p.y))
	}
	return b.String()
}

func closed(points ...point) string { return polyline(points...) + "Z" }

// anchor says which end of a text its point is.
type anchor uint8

const (
	start anchor = iota
	middle
	end
)

// style is how a text looks.
type style struct {
	face  face
	size  float64
	class string
	at    anchor
}

// Proportions of a line of type: how far it reaches above and below its base
// line, and from one base line to the next.
const (
	ascent  = 0.76
	descent = 0.22
	leading = 1.22
)

// text writes one line with its base line at p.
func (c *canvas) text(p point, s style, text string) {
	if text == "" {
		return
	}
	w := measure(text, s.face, s.size)
	x := p.x - [...]float64{0, w / 2, w}[s.at]
	c.texts = append(c.texts, placed{
		box:  box{x, p.y - ascent*s.size, x + w, p.y + descent*s.size},
		text: text, size: s.size,
	})
	class := strings.TrimSpace(s.face.class() + " " + s.class)
	c.body.WriteString("<text")
	if class != "" {
		c.body.WriteString(` class="` + class + `"`)
	}
	c.body.WriteString(` x="` + num(p.x) + `" y="` + num(p.y) + `" font-size="` + num(s.size) + `"`)
	if s.at != start {
		c.body.WriteString(` text-anchor="` + [...]string{"start", "middle", "end"}[s.at] + `"`)
	}
	c.body.WriteString(">" + escape(text) + "</text>\n")
}

// spaced writes one character several times on a line, its middle at each x.
func (c *canvas) spaced(xs []float64, y float64, s style, char rune) {
	if len(xs) == 0 {
		return
	}
	w := measure(string(char), s.face, s.size)
	var at strings.Builder
	for i, x := range xs {
		if i > 0 {
			at.WriteByte(' ')
		}
		at.WriteString(num(x))
		c.texts = append(c.texts, placed{
			box:  box{x - w/2, y - ascent*s.size, x + w/2, y + descent*s.size},
			text: string(char), size: s.size,
		})
	}
	class := strings.TrimSpace(s.face.class() + " " + s.class)
	c.body.WriteString(`<text class="` + class + `" x="` + at.String() + `" y="` + num(y) + `" font-size="` + num(s.size) +
		`" text-anchor="middle">` + escape(strings.Repeat(string(char), len(xs))) + "</text>\n")
}

// lines writes several lines, the first with its base line at p, and returns
// the base line after the last.
func (c *canvas) lines(p point, s style, lines []string) float64 {
	for _, l := range lines {
		c.text(p, s, l)
		p.y += leading * s.size
	}
	return p.y
}

// paragraph wraps a text to a width, writes it and returns the next base line.
func (c *canvas) paragraph(p point, s style, width float64, text string) float64 {
	return c.lines(p, s, wrap(text, s.face, s.size, width))
}

// heading writes a title and what is under it along the top of a sheet, for
// labels of a size, and returns the next base line.
func (c *canvas) heading(label float64, title, subtitle string) float64 {
	const edge = 10
	width := c.w - 2*edge
	y := c.paragraph(point{edge, edge + 17}, style{face: serif, size: label * 1.55}, width, title)
	return c.paragraph(point{edge, y}, style{face: italic, size: label, class: "t-soft"}, width, subtitle)
}

// arrowHead is a slim filled head with its tip at p, pointing along the angle
// (radians, 0 to the right, growing clockwise).
func (c *canvas) arrowHead(class string, p point, angle, length float64) {
	const slimness = 0.32
	sin, cos := math.Sincos(angle)
	corner := func(side float64) point {
		return point{p.x - length*cos - side*slimness*length*sin, p.y - length*sin + side*slimness*length*cos}
	}
	c.path(class, closed(p, corner(1), corner(-1)))
}
