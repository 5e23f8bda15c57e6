package chart

import "math"

// least is the least width a pipe is drawn with.
const leastBore = 2.6

func (d *drawing) bore(m float64) float64 { return max(m*d.scale, leastBore) }

// pipes draws the water's ways: down the drain, up the return, in by the tube.
func (d *drawing) pipes(v view) {
	if d.s.Sump != nil {
		d.drain(v)
		d.returnLine(v)
	}
	d.topOffTube(v)
}

// tidy marks a pipe's room as taken.
func (d *drawing) tidy(bore float64, points ...point) {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		d.reserved = append(d.reserved, box{min(a.x, b.x) - bore/2 - 1, min(a.y, b.y) - bore/2 - 1, max(a.x, b.x) + bore/2 + 1, max(a.y, b.y) + bore/2 + 1})
	}
}

func (d *drawing) drain(v view) {
	o, p := d.s.Overflow, d.p
	floor := d.s.Display.FloorElevationM
	crest := floor + o.CrestHeightM
	bore := d.bore(drainBoreM)
	deep := min(weirDeepM, o.CrestHeightM*0.6)
	// Both pipes end below the water of the first compartment.
	end := 0.6 * d.s.Sump.standingM(0, d.s.chamberLevelM())
	var main, spare []point
	if o.Standpipe {
		main = []point{v.at(p.drainM, crest), v.at(p.drainM, end)}
		spare = []point{v.at(p.emergencyM, floor+o.EmergencyHeightM), v.at(p.emergencyM, end)}
	} else {
		y := crest - deep + drainBoreM
		main = []point{v.at(p.insideLeftM+0.01, y), v.at(p.drainM, y), v.at(p.drainM, end)}
		y = floor + o.EmergencyHeightM
		spare = []point{v.at(p.insideLeftM+0.01, y), v.at(p.emergencyM, y), v.at(p.emergencyM, end)}
	}
	if !math.IsNaN(o.EmergencyHeightM) {
		d.pipe(bore*0.8, false, spare...)
		d.tidy(bore, spare...)
		d.marks[EmergencyPart] = between(spare[len(spare)-2], spare[len(spare)-1], 0.3)
	}
	d.pipe(bore, true, main...)
	d.tidy(bore, main...)
	n := len(main)
	d.marks[DrainPart] = between(main[n-2], main[n-1], 0.42)
	d.flow(between(main[n-2], main[n-1], 0.5), between(main[n-2], main[n-1], 0.62))
}

func between(a, b point, share float64) point {
	return point{a.x + (b.x-a.x)*share, a.y + (b.y-a.y)*share}
}

func (d *drawing) returnLine(v view) {
	r, p := d.s.Return, d.p
	floor := d.s.Display.FloorElevationM
	over := d.s.Display.rimElevationM() + 0.6*clearM
	points := []point{v.at(p.pumpM, r.IntakeElevationM)}
	if p.riserM != p.pumpM {
		points = append(points, v.at(p.pumpM, p.crossElevationM), v.at(p.riserM, p.crossElevationM))
	}
	points = append(points, v.at(p.riserM, over), v.at(p.returnM, over), v.at(p.returnM, floor+r.OutletHeightM))
	bore := d.bore(r.BoreM)
	d.pipe(bore, true, points...)
	d.tidy(bore, points...)
	n := len(points)
	up := points[n-4]
	d.marks[ReturnLinePart] = between(up, points[n-3], 0.35)
	d.flow(between(up, points[n-3], 0.45), between(up, points[n-3], 0.6))
	at := points[0]
	radius := max(7, 0.022*d.scale)
	d.pump(at, radius)
	d.reserved = append(d.reserved, around(at, radius+1))
	d.marks[ReturnPumpPart] = at
	if !math.IsNaN(r.SiphonBreakHeightM) {
		hole := v.at(p.returnM, floor+r.SiphonBreakHeightM)
		hole.x += bore / 2
		d.circle("paper", hole, 2.4)
		d.circle("l", hole, 2.4)
		d.marks[SiphonBreakPart] = hole
	}
}

func around(p point, r float64) box { return box{p.x - r, p.y - r, p.x + r, p.y + r} }

// topOffTube draws the tube from the reservoir or the plumbed line to its end.
func (d *drawing) topOffTube(v view) {
	t, p, s := &d.s.TopOff, d.p, d.s
	bore := d.bore(t.BoreM)
	high := t.HighElevationM
	end := v.at(p.tubeEndM, t.EndElevationM)
	over := v.at(p.tubeEndM, min(high, max(t.EndElevationM, s.chamberRimM())+clearM/2))
	var points []point
	switch r := s.Reservoir; {
	case r != nil:
		intake := r.FloorElevationM + orZero(t.PumpIntakeHeightM)
		pump := v.at(p.reservoirMidM, intake)
		points = []point{pump, v.at(p.reservoirMidM, high)}
		if over.y > v.y(high) { // it climbs higher than it has to: down again beside the riser
			points = append(points, v.at(p.tubeDropM, high), point{v.x(p.tubeDropM), over.y})
		}
		d.marks[TopOffPumpPart] = pump
	case t.Plumbed:
		points = []point{v.at(p.lineM, max(high, s.chamberRimM()+clearM/2))}
		if over.y > points[0].y {
			points = append(points, point{v.x(p.lineM - clearM), points[0].y}, point{v.x(p.lineM - clearM), over.y})
		}
	default:
		points = []point{v.at(p.rightM, high)}
	}
	points = append(points, over, end)
	d.pipe(bore, true, points...)
	d.tidy(bore, points...)
	n := len(points)
	d.marks[TubeEndPart] = end
	run := between(points[n-3], points[n-2], 0.55) // the level run to the chamber
	d.marks[TubePart] = between(points[n-3], points[n-2], 0.3)
	d.flow(between(points[n-3], points[n-2], 0.7), between(points[n-3], points[n-2], 0.85))
	const sign = 4.5
	if t.CheckValve {
		d.checkValve(between(points[n-3], points[n-2], 0.18), sign)
	}
	if t.Shutoff {
		d.valve(run, sign, true)
	}
	if t.AirHole {
		hole := between(points[n-3], points[n-2], 0.06)
		if s.Reservoir != nil {
			hole = v.at(p.reservoirMidM, high)
		}
		d.circle("paper", hole, 2.4)
		d.circle("l", hole, 2.4)
	}
	if s.Reservoir != nil && !math.IsNaN(t.PumpIntakeHeightM) {
		d.pump(points[0], max(5.5, 0.014*d.scale))
		d.reserved = append(d.reserved, around(points[0], 7))
	}
	if !math.IsNaN(t.FloatValveElevationM) {
		d.floatValve(end, v.y(t.FloatValveElevationM))
	}
	if t.Plumbed {
		d.plumbedLine(v)
	}
}

func orZero(m float64) float64 {
	if math.IsNaN(m) {
		return 0
	}
	return m
}

// floatValve is a ball on an arm at the tube's end.
func (d *drawing) floatValve(end point, level float64) {
	const arm, ball = 13, 4.2
	at := point{end.x - arm, level}
	d.line("l-bold", end, at)
	d.circle("panel", at, ball)
	d.circle("l", at, ball)
	d.marks[FloatValvePart] = at
}

// plumbedLine is the wall tap of an RO/DI unit, and its refill of the reservoir
// if there is one.
func (d *drawing) plumbedLine(v view) {
	p, s := d.p, d.s
	top := max(s.TopOff.HighElevationM, s.chamberRimM()+clearM/2)
	if r := s.Reservoir; r != nil {
		top = r.rimElevationM() + clearM/2
		half := r.widthM(r.rimM()) / 2
		inlet := v.at(p.reservoirMidM+half*0.7, r.FloorElevationM+r.WaterHeightM)
		points := []point{v.at(p.lineM, top), {inlet.x, v.y(top)}, {inlet.x, inlet.y - 4}}
		d.pipe(leastBore, true, points...)
		d.tidy(leastBore, points...)
		d.floatValve(points[2], inlet.y)
	}
	at := v.at(p.lineM, top)
	b := box{at.x, at.y - 13, at.x + 13, at.y + 13}
	d.rect("panel l", b)
	d.path("l-fine", hatch([]point{{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}}, 3))
	d.reserved = append(d.reserved, b)
	d.marks[PlumbedPart] = at
}

// parts are the small things: sensors, the low sensor, the floor sensor.
func (d *drawing) parts(v view) {
	s, p := d.s, d.p
	if at, ok := d.marks[SensorPart]; ok {
		d.sensorsInWhole(v, at.x)
	} else if s.Levels.Watch.fitted() {
		x := v.x(p.insideRightM - 0.2*(p.insideRightM-p.insideLeftM))
		d.marks[SensorPart] = point{x, v.y(s.Levels.Watch.ElevationM)}
		d.sensorsInWhole(v, x)
	}
	if r := s.Reservoir; r != nil && !math.IsNaN(s.TopOff.LowSensorHeightM) {
		y := v.y(r.FloorElevationM + s.TopOff.LowSensorHeightM)
		x := v.x(p.reservoirMidM - r.widthM(s.TopOff.LowSensorHeightM)*0.32)
		d.line("l", point{x, v.y(r.rimElevationM())}, point{x, y})
		d.circle("ink", point{x, y}, 2.3)
		d.marks[LowSensorPart] = point{x, y}
	}
	if s.FloorSensor {
		x, y := v.x(p.leftM)-4, v.y(p.groundM)
		d.path("ink", closed(point{x - 4, y}, point{x, y - 5}, point{x + 4, y}))
		d.marks[FloorPart] = point{x, y - 4}
	}
}

func (d *drawing) sensorsInWhole(v view, x float64) {
	top := v.y(d.s.chamberRimM()) - 4
	for i, sensor := range []Switch{d.s.Levels.Watch, d.s.Levels.Ceiling} {
		if !sensor.fitted() {
			continue
		}
		at := point{x + 5*float64(i), v.y(sensor.ElevationM)}
		d.line("l", point{at.x, top}, at)
		d.circle("ink", at, 2.1)
	}
}
