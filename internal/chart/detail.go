package chart

import "math"

// detail enlarges the return chamber, or the top of a tank without a sump:
// where the sensors switch, how far the water comes up when the return pump
// stops, and what is left to the rim. It fills at most a box and returns where
// it ends.
func (d *drawing) detail(b box) (bottom float64) {
	s := d.s
	const padTop = 30
	labelsW := d.levelColumnW()
	fromM, toM := d.detailHeights()
	staffW := d.staffRoom(toM) + 8
	heading := "The return chamber"
	if s.Sump == nil {
		heading = "At the water’s surface"
	}
	top, floor := b.y0+padTop+16, b.y1-22
	scale := (floor - top) / (toM - fromM)
	// The chamber's width is to the same scale: what does not fit is cut off on
	// the left.
	x0, x1 := b.x0+staffW, b.x1-labelsW-bracketRoom
	if s.Sump != nil {
		// Shrink to show all of it, if that takes little.
		last := s.Sump.Compartments[len(s.Sump.Compartments)-1]
		fits := (x1 - x0 - sliceW) / (last.LengthM + 2*glassM)
		if fits < scale && fits > smallestShare*scale {
			scale = fits
			b.y1 -= floor - top - (toM-fromM)*scale
			floor = top + (toM-fromM)*scale
		}
	}
	widthM, cut := d.detailWidth((x1-x0-sliceW)/scale - 2*glassM)
	x0 = x1 - (widthM+glassM)*scale
	x1 -= glassM * scale
	staffX := x0 - glassM*scale - 8
	if !cut {
		staffX -= sliceW
	}
	v := view{x0: x0, y0: floor + fromM*scale, scale: scale}

	d.rect("panel l", b)
	d.rect("l-fine", b.inset(3.5))
	d.text(point{b.x0 + 14, b.y0 + 22}, style{face: serif, size: d.label + 2.5}, heading)
	at := point{b.x1 - 14, b.y0 + 22}
	d.text(at, style{face: italic, size: d.small, class: "t-soft", at: end}, d.detailScaleWords(scale))

	d.detailWater(v, fromM, toM, widthM, cut)
	d.staff(staffX, v, fromM, toM, d.unit, d.small, nil)
	d.detailLevels(v, x0, x1, b)
	d.detailParts(v, fromM, toM, widthM, cut)
	return b.y1
}

// Room in the detail: for the bracket between wall and labels, for the slice of
// the compartment before the chamber, and how much of the full scale may be
// given up to show the chamber's whole width.
const (
	bracketRoom   = 44.0
	sliceW        = 14.0
	smallestShare = 0.55
)

// levelColumnW is the room for the levels' names and values.
func (d *drawing) levelColumnW() float64 {
	names, values := 0.0, 0.0
	for _, w := range d.s.levelWords() {
		names = max(names, measure(w.name, sans, d.label))
		values = max(values, measure(w.value, bold, d.label))
	}
	return names + values + 7 + 12
}

// detailScaleWords says how much larger the detail is than the whole.
func (d *drawing) detailScaleWords(scale float64) string {
	times := scale / d.scale
	if times < 1.05 {
		return ""
	}
	return "whole × " + trim1(times)
}

func trim1(x float64) string { return num(math.Round(x*10) / 10) }

// detailHeights is the stretch of elevation shown: all of a chamber, the part
// with the levels of a tank.
func (d *drawing) detailHeights() (fromM, toM float64) {
	s := d.s
	toM = s.chamberRimM()
	if s.Sump != nil {
		return 0, toM
	}
	lowest := toM
	for _, l := range s.levelWords() {
		lowest = min(lowest, l.elevationM)
	}
	const belowLevels, leastShare = 0.8, 0.25 // of the stretch with levels; of the tank
	return max(s.Display.FloorElevationM, toM-max((toM-lowest)*(1+belowLevels), s.Display.rimM()*leastShare)), toM
}

// detailWidth is how much of the width fits, and whether some is cut off.
func (d *drawing) detailWidth(roomM float64) (widthM float64, cut bool) {
	s := d.s
	if s.Sump == nil {
		return min(roomM, 0.8*s.Display.widthM(s.Display.WaterHeightM)), true
	}
	last := s.Sump.Compartments[len(s.Sump.Compartments)-1]
	if last.LengthM > roomM {
		return roomM, true
	}
	return last.LengthM, false
}

// detailWater draws the water, the walls and what drains down. The chamber's
// inside reaches from x = 0 to widthM.
func (d *drawing) detailWater(v view, fromM, toM, widthM float64, cut bool) {
	s := d.s
	level := s.chamberLevelM()
	right := widthM
	d.detailTints(v, box{v.x(0), 0, v.x(right), 0}, level, fromM)
	if high, rest := max(s.Levels.HighestM, fromM), min(s.Levels.RestM, toM); s.Sump != nil && rest > high {
		// What comes down: waves, and no tint, for it is not there yet.
		d.path("l-shore", waves(box{v.x(0) + 3, v.y(rest) + 5, v.x(right) - 3, v.y(high) - 2}))
	}
	d.line("l-shore", point{v.x(0), v.y(level)}, point{v.x(right), v.y(level)})
	wall := glassM * v.scale
	baffle := baffleM * v.scale
	d.rect("glass", box{v.x(right), v.y(toM), v.x(right) + wall, v.y(fromM)})
	floorEnd := v.x(0)
	switch n := d.baffleCount(); {
	case cut || n == 0 && s.Sump == nil:
		d.breakLine(v.x(0), v.y(toM), v.y(fromM))
	case n == 0:
		d.rect("glass", box{v.x(0) - wall, v.y(toM), v.x(0), v.y(fromM) + wall})
	default:
		before := s.Sump.Compartments[n-1]
		stands := s.Sump.standingM(n-1, level)
		d.detailTints(v, box{v.x(0) - baffle - sliceW, 0, v.x(0) - baffle, 0}, stands, fromM)
		d.line("l-shore", point{v.x(0) - baffle - sliceW, v.y(stands)}, point{v.x(0) - baffle, v.y(stands)})
		d.rect("glass", box{v.x(0) - baffle, v.y(before.BaffleHeightM), v.x(0), v.y(fromM)})
		d.breakLine(v.x(0)-baffle-sliceW, v.y(stands)-8, v.y(fromM))
		floorEnd -= baffle + sliceW
	}
	if fromM <= 0 {
		d.rect("glass", box{floorEnd, v.y(fromM), v.x(right) + wall, v.y(fromM) + wall})
	} else {
		d.path("l-fine", polyline(point{v.x(0), v.y(fromM)}, point{v.x(right) + wall, v.y(fromM)}))
	}
}

// detailTints fills the width of a box with water from a level down.
func (d *drawing) detailTints(v view, width box, levelM, fromM float64) {
	for i := range tints {
		top := levelM - float64(i)*d.tintM
		low := max(top-d.tintM, fromM)
		if i == tints-1 {
			low = fromM
		}
		if top > low {
			d.rect(tintClass(i), box{width.x0, v.y(top), width.x1, v.y(low)})
		}
	}
}

// baffleCount is how many compartments come before the return chamber.
func (d *drawing) baffleCount() int {
	if d.s.Sump == nil {
		return 0
	}
	return len(d.s.Sump.Compartments) - 1
}

// breakLine is a wavy line where a drawing is cut off.
func (d *drawing) breakLine(x, top, bottom float64) {
	path := "M" + num(x) + " " + num(top)
	const wave = 14.0
	side := 2.5
	for y := top; y+1 < bottom; y += wave {
		next := min(y+wave, bottom)
		path += "Q" + num(x+side) + " " + num((y+next)/2) + " " + num(x) + " " + num(next)
		side = -side
	}
	d.path("l-fine", path)
}

// waves are rows of small waves in a box.
func waves(b box) string {
	const w, h, row, gap = 9.0, 1.8, 8.0, 16.0
	path := ""
	for i, y := 0, b.y0; y <= b.y1; i, y = i+1, y+row {
		for x := b.x0 + float64(i%2)*gap/2; x+w <= b.x1; x += gap {
			path += "M" + num(x) + " " + num(y) + "q" + num(w/4) + " " + num(-h) + " " + num(w/2) + " 0t" + num(w/2) + " 0"
		}
	}
	return path
}

// detailLevels draws every level with its line, and its name and value in a
// column on the right; volumes get a bracket.
func (d *drawing) detailLevels(v view, x0, x1 float64, b box) {
	s := d.s
	words := s.levelWords()
	wallX := x1 + glassM*v.scale
	columnX := b.x1 - 12
	bracketX := wallX + 12
	slots := make([]slot, len(words))
	for i, w := range words {
		slots[i] = slot{want: v.y(w.elevationM), height: d.label * 1.32}
	}
	spread(slots, b.y0+34, b.y1-8)
	values := 0.0
	for _, w := range words {
		values = max(values, measure(w.value, bold, d.label))
	}
	nameX := columnX - values - 7 // and the column's edge of 12: see levelColumnW
	for i, w := range words {
		y, to := slots[i].at, v.y(w.elevationM)
		class, text := "l-fine", ""
		if w.person {
			class, text = "l-person", "t-person"
		}
		if w.style != "" && w.elevationM <= s.chamberRimM() {
			line := w.style
			if w.person {
				line = "l-person dash"
			}
			d.line(line, point{x0, to}, point{wallX, to})
		}
		base := y + d.label*0.36
		d.text(point{columnX, base}, style{face: bold, size: d.label, class: text, at: end}, w.value)
		d.text(point{nameX, base}, style{size: d.label, class: text, at: end}, w.name)
		from := nameX - measure(w.name, sans, d.label) - 4
		start := point{wallX, to}
		if w.between {
			start.x = bracketX
		}
		knee := min(from, bracketX+20)
		d.path(class, polyline(start, point{max(start.x, bracketX+4), to}, point{knee, y}, point{from, y}))
	}
	bracket := func(lowM, highM float64, person bool) {
		if math.IsNaN(lowM+highM) || highM-lowM <= 0 {
			return
		}
		class, head := "l", "ink"
		if person {
			class, head = "l-person", "person"
		}
		low, high := point{bracketX, v.y(lowM)}, point{bracketX, v.y(highM)}
		d.line(class, low, high)
		if length := low.y - high.y; length > 10 {
			d.arrowHead(head, high, -math.Pi/2, 7)
			d.arrowHead(head, low, math.Pi/2, 7)
		}
	}
	rim := s.chamberRimM()
	if s.Levels.MarginM3 >= 0 {
		bracket(s.Levels.RestM, rim, false)
	}
	if s.Sump != nil {
		bracket(s.Levels.HighestM, min(s.Levels.RestM, rim), s.Levels.MarginM3 < 0)
	}
}

// detailParts are pump, tube and sensors in the chamber.
func (d *drawing) detailParts(v view, fromM, toM, widthM float64, cut bool) {
	s := d.s
	rim := v.y(toM)
	if s.Sump != nil && !cut {
		at := point{v.x(0.2 * widthM), v.y(s.Return.IntakeElevationM)}
		bore := max(s.Return.BoreM*v.scale, leastBore)
		d.pipe(bore, true, at, point{at.x, rim - 12})
		d.pump(at, max(8, min(0.02*v.scale, 0.15*widthM*v.scale)))
	}
	if t := &s.TopOff; t.EndElevationM > fromM {
		end := v.at(0.93*widthM, min(t.EndElevationM, toM+0.004))
		d.pipe(max(t.BoreM*v.scale, leastBore), true, point{end.x, rim - 12}, end)
		if !math.IsNaN(t.FloatValveElevationM) {
			level := v.y(t.FloatValveElevationM)
			arm := point{end.x - 24, level}
			d.line("l-bold", end, arm)
			d.circle("panel", arm, 7)
			d.circle("l", arm, 7)
		}
	}
	const r = 6.5
	for i, sensor := range []Switch{s.Levels.Watch, s.Levels.Ceiling} {
		if sensor.fitted() {
			at := v.at((0.5+0.2*float64(i))*widthM, sensor.ElevationM)
			d.sensor(sensor.Kind, at, rim-6, sensor.HysteresisM*v.scale, r)
		}
	}
}
