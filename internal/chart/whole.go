package chart

// whole draws display, sump and source into at most the room of a box and
// returns where it ends.
func (d *drawing) whole(b box) (bottom float64) {
	p := d.p
	const dimensionH, gap = 28, 9
	staffW, columnW := d.staffRoom(max(p.topM, -p.bottomM)), d.displayColumnW()
	if d.f == Narrow {
		staffW = 0 // the detail has one, and the water needs the room
	}
	below := d.lengthsRoom()
	d.elevations.scale = 1 // for drawnM only
	heightM := d.drawnM(p.bottomM, p.topM)
	d.scale = min((b.w()-staffW-columnW-2*gap)/(p.rightM-p.leftM), (b.h()-dimensionH-below)/heightM)
	contentW := (p.rightM - p.leftM) * d.scale
	// Spare width goes half to each side.
	spare := max(0, b.w()-staffW-columnW-2*gap-contentW)
	left := b.x0 + staffW + columnW + 2*gap + spare/2
	groundY := b.y0 + dimensionH + heightM*d.scale
	d.datumY = groundY - d.drawnM(p.groundM, 0)*d.scale
	if p.groundM > 0 {
		d.datumY = groundY + d.drawnM(0, p.groundM)*d.scale
	}
	v := view{x0: left - p.leftM*d.scale, scale: d.scale, heights: &d.elevations}
	extent := box{b.x0, b.y0, b.x1, groundY + below}

	d.ground(point{v.x(p.leftM) - 10, groundY}, point{v.x(p.rightM) + 10, groundY})
	d.stands(v)
	d.vessels(v)
	d.pipes(v)
	d.parts(v)
	d.zigzags(v, left, extent.x1)
	staffX := b.x0 + staffW
	if staffW > 0 {
		d.staff(staffX, v, p.groundM, p.topM, d.unit, d.small, d.broken)
	}
	extent.y1 = max(extent.y1, d.displayLevels(v, staffX+gap, columnW))
	d.lengths(v, groundY, box{staffX + gap + columnW, groundY, b.x1, extent.y1})
	d.marksIn(extent)
	return extent.y1
}

// stands are what vessels above the ground stand on.
func (d *drawing) stands(v view) {
	p, s := d.p, d.s
	const onGround, tallest = 0.02, 1.5
	posts := func(leftM, rightM, topM float64) {
		switch {
		case topM <= p.groundM+onGround:
			return
		case topM > p.groundM+tallest: // a shelf, or another floor
			d.ground(v.at(leftM-0.03, topM), v.at(rightM+0.03, topM))
			return
		}
		for _, x := range []float64{leftM, rightM} {
			d.line("l-fine", v.at(x, topM), v.at(x, p.groundM))
		}
		d.line("l-bold", v.at(leftM-0.01, topM), v.at(rightM+0.01, topM))
	}
	w := s.Display.Widths[0].WidthM / 2
	posts(p.displayMidM-w-glassM, p.displayMidM+w+glassM, s.Display.FloorElevationM-glassM)
	if s.Sump != nil {
		last := p.compartmentM[len(p.compartmentM)-1]
		posts(p.sumpM-glassM, last.hi+glassM, -glassM)
	}
	if r := s.Reservoir; r != nil {
		w := r.Widths[0].WidthM / 2
		posts(p.reservoirMidM-w-thinWallM, p.reservoirMidM+w+thinWallM, r.FloorElevationM-thinWallM)
	}
}

// vessels draws water, rock and walls.
func (d *drawing) vessels(v view) {
	s, p := d.s, d.p
	b := &s.Display
	running := min(b.WaterHeightM, b.rimM())
	d.water(b, v, p.displayMidM, running, d.tintM)
	d.rock(v, p.insideLeftM, p.insideRightM, b.FloorElevationM, running, b.RockFrac)
	d.weir(v)
	d.walls(b, v, p.displayMidM, glassM)
	half := b.widthM(running) / 2
	y := b.FloorElevationM + running
	d.surface(v.at(p.displayMidM-half, y), v.at(p.displayMidM+half, y), v.x(p.displayMidM))
	name := style{face: italic, size: d.label * 1.35, at: middle}
	inside := box{v.x(p.insideLeftM), v.y(b.FloorElevationM + running), v.x(p.insideRightM), v.y(b.FloorElevationM)}
	if measure("Display", name.face, name.size) < 0.5*inside.w() && 2.5*name.size < inside.h() {
		d.text(point{(inside.x0 + inside.x1) / 2, inside.y0 + 0.38*inside.h() + 0.3*name.size}, name, "Display")
	}
	d.marks[DisplayPart] = v.at(p.insideRightM-0.12*(p.insideRightM-p.insideLeftM), b.FloorElevationM+running*0.72)

	if s.Sump != nil {
		d.sump(v)
	}
	if r := s.Reservoir; r != nil {
		level := min(r.WaterHeightM, r.rimM())
		d.water(r, v, p.reservoirMidM, level, d.tintM)
		d.freshWater(v, level)
		d.walls(r, v, p.reservoirMidM, thinWallM)
		half := r.widthM(level) / 2
		y := r.FloorElevationM + level
		d.surface(v.at(p.reservoirMidM-half, y), v.at(p.reservoirMidM+half, y), v.x(p.reservoirMidM-half*0.5))
		d.marks[ReservoirPart] = v.at(p.reservoirMidM+half*0.5, r.FloorElevationM+level*0.6)
	}
}

// freshWater sets fresh water apart from salt without a colour: short dashes.
func (d *drawing) freshWater(v view, levelM float64) {
	r := d.s.Reservoir
	const row, dash, gap = 9.0, 7.0, 12.0
	path := ""
	top, floor := v.y(r.FloorElevationM+levelM), v.y(r.FloorElevationM)
	for i, y := 0, top+row; y < floor-3; i, y = i+1, y+row {
		half := r.widthM((floor-y)/v.scale) / 2
		from, to := v.x(d.p.reservoirMidM-half)+4, v.x(d.p.reservoirMidM+half)-4
		for x := from + float64(i%2)*(dash+gap)/2; x+dash <= to; x += dash + gap {
			path += polyline(point{x, y}, point{x + dash, y})
		}
	}
	d.path("l-shore", path)
}

func (d *drawing) sump(v view) {
	s, p := d.s, d.p
	chamber := s.chamberLevelM()
	last := len(p.compartmentM) - 1
	for i, c := range p.compartmentM {
		part := rectangle(c.hi-c.lo, s.Sump.HeightM)
		d.water(&part, v, (c.lo+c.hi)/2, s.Sump.standingM(i, chamber), d.tintM)
	}
	for i, c := range p.compartmentM {
		level := v.y(s.Sump.standingM(i, chamber))
		d.line("l-shore", point{v.x(c.lo), level}, point{v.x(c.hi), level})
		if i < last {
			top := v.y(s.Sump.Compartments[i].BaffleHeightM)
			d.rect("glass", box{v.x(c.hi), top, v.x(c.hi + baffleM), v.y(0)})
		}
	}
	whole := rectangle(p.compartmentM[last].hi-p.sumpM, s.Sump.HeightM)
	d.walls(&whole, v, (p.sumpM+p.compartmentM[last].hi)/2, glassM)
	c := p.compartmentM[last]
	d.surface(v.at(c.lo, chamber), v.at(c.hi, chamber), v.x(c.lo+0.55*(c.hi-c.lo)))
	d.marks[ChamberPart] = v.at(c.hi-0.1*(c.hi-c.lo), chamber*0.4)
	d.marks[SensorPart] = v.at(c.lo+0.72*(c.hi-c.lo), chamber)
}

func rectangle(widthM, heightM float64) Basin {
	return Basin{Widths: []WidthAtHeight{{0, widthM}, {heightM, widthM}}}
}

// weir draws the box behind a weir, or a standpipe.
func (d *drawing) weir(v view) {
	o, p := d.s.Overflow, d.p
	if o == nil {
		return
	}
	floor := d.s.Display.FloorElevationM
	crest := floor + o.CrestHeightM
	if o.Standpipe {
		d.marks[CrestPart] = v.at(p.drainM, crest)
		return // the pipe itself comes with the pipes
	}
	deep := min(weirDeepM, o.CrestHeightM*0.6)
	width := min(weirBoxM, 0.3*(p.insideRightM-p.insideLeftM))
	x0, x1 := p.insideLeftM, p.insideLeftM+width
	d.marks[CrestPart] = v.at(x1, crest)
	// Inside the box the water stands lower; how low nobody measures.
	inside := crest - deep*0.45
	d.rect("paper", box{v.x(x0), v.y(d.s.Display.rimElevationM()), v.x(x1), v.y(crest - deep)})
	d.rect("w1", box{v.x(x0), v.y(inside), v.x(x1), v.y(crest - deep)})
	d.line("l-shore", v.at(x0, inside), v.at(x1, inside))
	d.rect("glass", box{v.x(x1), v.y(crest), v.x(x1 + baffleM), v.y(crest - deep - baffleM)})
	d.rect("glass", box{v.x(x0), v.y(crest - deep), v.x(x1), v.y(crest - deep - baffleM)})
}
