package plant

import "math"

// advance moves water, and what is dissolved in it, for dt seconds at the
// segment's flows.
func (r *run) advance(dt float64) {
	f, from, b, fl := &r.segment.flows, &r.segment.at, &r.out.Books, r.tw.fluid
	hasSump := r.tw.tank.HasSump()

	// The source.
	switch {
	case f.topOff > 0:
		var water parcel
		if r.tw.tank.TopOff.Plumbed != nil {
			water = fl.parcelOf(f.topOff*dt, r.tw.topOffWater)
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
		water := fl.parcelOf(f.refill*dt, r.tw.topOffWater)
		b.enter(water)
		r.out.drawMains(f.refill*dt, r.tw.line.rejectRatio)
		r.reservoir.add(water)
	}
	if f.reservoirLeak+f.spillReservoir > 0 {
		r.floor[FromReservoir].add(fl.draw(&r.reservoir, (f.reservoirLeak+f.spillReservoir)*dt))
	}

	// The tank's own losses.
	var difference dissolved
	animals, animalsM3 := &r.chamber, from.chamberM3
	if hasSump {
		animals, animalsM3 = &r.display, from.displayM3
		difference = r.display.dissolvedIn(from.displayM3).minus(r.chamber.dissolvedIn(from.chamberM3))
		r.evaporate(&r.display, f.evapDisplayKgS*dt)
		if f.spillDisplay > 0 {
			r.floor[FromDisplay].add(fl.draw(&r.display, f.spillDisplay*dt))
		}
	}
	if f.leak > 0 {
		r.floor[FromLeak].add(fl.draw(animals, f.leak*dt))
	}
	r.consume(animals, animalsM3, dt)
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

// exchange carries water, and what is dissolved in it, between display and
// chamber.
func (r *run) exchange(dt float64, differenceBefore dissolved) {
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
	after := r.display.dissolvedIn(displayM3).minus(r.chamber.dissolvedIn(chamberM3))
	decay, held := relaxation(both * perM3 * dt)
	crosses := func(before, after, inDisplay, inChamber float64) float64 {
		target := before*decay + (after-before)*held
		return min(max((target-after)/perM3, -inDisplay), inChamber)
	}
	saltKg := crosses(differenceBefore.saltKgM3, after.saltKgM3, r.display.saltKg, r.chamber.saltKg)
	alkMol := crosses(differenceBefore.alkMolM3, after.alkMolM3, r.display.alkMol, r.chamber.alkMol)
	waterKg := saltKg * fl.saltM3Kg / fl.waterM3Kg
	r.display.add(parcel{waterKg: -waterKg, saltKg: saltKg, alkMol: alkMol})
	r.chamber.add(parcel{waterKg: waterKg, saltKg: -saltKg, alkMol: -alkMol})
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

// consume takes the alkalinity that animals and algae build into lime, down to
// what they cannot use.
func (r *run) consume(p *parcel, volumeM3, dt float64) {
	if r.tw.uptakeMolS == 0 {
		return
	}
	mol := min(r.tw.uptakeMolS*dt, max(p.alkMol-r.tw.uptakeEndsMolM3*volumeM3, 0))
	p.alkMol -= mol
	r.out.Books.leave(parcel{alkMol: mol})
}

// evaporate takes fresh water, as much as there is.
func (r *run) evaporate(p *parcel, kg float64) {
	kg = min(kg, p.waterKg)
	p.waterKg -= kg
	r.out.EvaporatedM3 += kg * r.tw.fluid.waterM3Kg
	r.out.Books.leave(parcel{waterKg: kg})
}
