package plant

import "math"

// advance moves water and salt for dt seconds at the segment's flows.
func (r *run) advance(dt float64) {
	f, from, b, fl := &r.segment.flows, &r.segment.at, &r.out.Books, r.tw.fluid
	hasSump := r.tw.site.HasSump()

	// The source.
	switch {
	case f.topOff > 0:
		var water parcel
		if r.tw.site.TopOff.Plumbed != nil {
			water = fl.parcelOf(f.topOff*dt, 0)
			b.enter(water)
			r.out.drawMains(f.topOff*dt, r.tw.line.rejectRatio)
		} else {
			water = fl.draw(&r.reservoir, f.topOff*dt)
		}
		if r.cond.TubeOut {
			r.floor[FromTube].add(water)
		} else {
			r.chamber.add(water)
			r.out.TopOffM3 += f.topOff * dt
		}
	case f.topOff < 0:
		r.reservoir.add(fl.draw(&r.chamber, -f.topOff*dt))
	}
	if f.refill > 0 {
		water := fl.parcelOf(f.refill*dt, 0)
		b.enter(water)
		r.out.drawMains(f.refill*dt, r.tw.line.rejectRatio)
		r.reservoir.add(water)
	}
	if f.reservoirLeak+f.spillReservoir > 0 {
		r.floor[FromReservoir].add(fl.draw(&r.reservoir, (f.reservoirLeak+f.spillReservoir)*dt))
	}

	// The tank's own losses.
	difference := 0.0
	leaking := &r.chamber
	if hasSump {
		leaking = &r.display
		difference = r.display.saltPerM3(from.displayM3) - r.chamber.saltPerM3(from.chamberM3)
		r.evaporate(&r.display, f.evapDisplayKgS*dt)
		if f.spillDisplay > 0 {
			r.floor[FromDisplay].add(fl.draw(&r.display, f.spillDisplay*dt))
		}
	}
	if f.leak > 0 {
		r.floor[FromLeak].add(fl.draw(leaking, f.leak*dt))
	}
	r.evaporate(&r.chamber, f.evapChamberKgS*dt)
	if f.skim > 0 {
		skimmate := fl.draw(&r.chamber, f.skim*dt)
		r.floor[FromSkimmer].add(skimmate.take(f.spillCup / f.skim))
		r.cup.add(skimmate)
	}
	if f.spillChamber > 0 {
		r.floor[FromSump].add(fl.draw(&r.chamber, f.spillChamber*dt))
	}
	if hasSump {
		r.exchange(dt, difference)
	}
	r.measure()
}

// exchange carries water and salt between display and chamber.
func (r *run) exchange(dt, differenceBefore float64) {
	f, fl := &r.segment.flows, r.tw.fluid
	if net := (f.returned - f.overflowed) * dt; net > 0 {
		r.display.add(fl.draw(&r.chamber, net))
	} else if net < 0 {
		r.chamber.add(fl.draw(&r.display, -net))
	}
	both := min(f.returned, f.overflowed)
	displayM3, chamberM3 := fl.volumeM3(r.display), fl.volumeM3(r.chamber)
	if both <= 0 || displayM3 <= 0 || chamberM3 <= 0 {
		return
	}
	// The concentrations differ by d, and d' = sources - k d: the closed
	// solution over dt, with the sources' share taken from what they did just
	// now.
	perM3 := 1/displayM3 + 1/chamberM3
	after := r.display.saltPerM3(displayM3) - r.chamber.saltPerM3(chamberM3)
	decay, held := relaxation(both * perM3 * dt)
	target := differenceBefore*decay + (after-differenceBefore)*held
	saltKg := (target - after) / perM3
	saltKg = min(max(saltKg, -r.display.saltKg), r.chamber.saltKg)
	waterKg := saltKg * fl.saltM3Kg / fl.waterM3Kg
	r.display.add(parcel{waterKg: -waterKg, saltKg: saltKg})
	r.chamber.add(parcel{waterKg: waterKg, saltKg: -saltKg})
}

const (
	// Below smallDecay the series of (1-exp(-x))/x is exact to rounding; above
	// longDecay nothing is left of exp(-x).
	smallDecay = 1e-6
	longDecay  = 40
)

// relaxation is exp(-x) and (1-exp(-x))/x: what is left of a difference, and
// how much of a steady source's work.
func relaxation(x float64) (decay, held float64) {
	switch {
	case x < smallDecay:
		return 1 - x, 1 - x/2
	case x > longDecay:
		return 0, 1 / x
	}
	decay = math.Exp(-x)
	return decay, (1 - decay) / x
}

// evaporate takes fresh water, as much as there is.
func (r *run) evaporate(p *parcel, kg float64) {
	kg = min(kg, p.waterKg)
	p.waterKg -= kg
	r.out.EvaporatedM3 += kg * r.tw.fluid.waterM3Kg
	r.out.Books.leave(parcel{waterKg: kg})
}
