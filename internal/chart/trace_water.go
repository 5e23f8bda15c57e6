package chart

import (
	"fmt"
	"slices"
)

// kept is something of the water that is kept between borders: where each harm
// class begins above and below.
type kept struct {
	name         string
	target       float64 // 0: none is drawn
	above, below [Classes - 1]float64
}

// symmetricBorders are borders at one distance both ways.
func symmetricBorders(target float64, off [Classes - 1]float64) (above, below [Classes - 1]float64) {
	for i, o := range off {
		above[i], below[i] = target+o, target-o
	}
	return above, below
}

func (d *traceDrawing) salinity(top, height float64) (bottom float64) {
	k := kept{name: "Salinity, PSU", target: d.t.TargetPSU}
	k.above, k.below = symmetricBorders(k.target, d.t.OffPSU)
	a := d.borders(k, top, height, salinityOf)
	d.path("l-bold", d.curve(a, salinityOf))
	return a.bottom
}

func (d *traceDrawing) alkalinity(top, height float64) (bottom float64) {
	k := kept{name: "Alkalinity, dKH", target: d.t.TargetDKH}
	k.above, k.below = symmetricBorders(k.target, d.t.OffDKH)
	a := d.borders(k, top, height, alkalinityOf)
	d.path("l-bold", d.curve(a, alkalinityOf))
	return a.bottom
}

// pH is drawn twice: the truth lies between.
func (d *traceDrawing) pH(top, height float64) (bottom float64) {
	name := "pH: bold, no air met for a day; fine, in balance with the room"
	if d.w == narrowW {
		name = "pH: bold, no air met; fine, settled"
	}
	a := d.borders(kept{name: name, above: d.t.HighPH, below: d.t.LowPH}, top, height, closedOf, settledOf)
	d.path("l", d.curve(a, settledOf))
	d.path("l-bold", d.curve(a, closedOf))
	return a.bottom
}

// borders draws the frame for curves with their target and the harm limits that
// they come near: one limit beyond what is reached, so that the distance to it
// shows.
func (d *traceDrawing) borders(k kept, top, height float64, curves ...func(TracePoint) float64) axis {
	lo, hi := k.below[0], k.above[0]
	for _, value := range curves {
		l, h := d.t.bounds(value)
		lo, hi = min(lo, l), max(hi, h)
	}
	if i := slices.IndexFunc(k.below[:], func(v float64) bool { return v < lo }); i >= 0 {
		lo = k.below[i]
	}
	if i := slices.IndexFunc(k.above[:], func(v float64) bool { return v > hi }); i >= 0 {
		hi = k.above[i]
	}
	const least = 1e-3 // of an axis, so that it has a length
	pad := max(0.04*(hi-lo), least)
	a := axis{lo - pad, hi + pad, top + 18, top + 18 + height}
	d.rect("w1", box{d.left, a.y(k.above[0]), d.right, a.y(k.below[0])})
	d.frame(a, k.name, niceStep((a.hi-a.lo)/6), num2)
	var lines []named
	if k.target > 0 {
		lines = append(lines, named{"target", "l-shore", "", k.target})
	}
	for i := range k.above {
		style, class := limitStyle(i + 1)
		for _, side := range []struct {
			v     float64
			where string
		}{{k.above[i], "above"}, {k.below[i], "below"}} {
			if side.v >= a.lo && side.v <= a.hi && k.above[i] > k.below[i] {
				lines = append(lines, named{fmt.Sprintf("class %d %s", i+1, side.where), style, class, side.v})
			}
		}
	}
	d.across(a, lines)
	return a
}
