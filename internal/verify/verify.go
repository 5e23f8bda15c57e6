package verify

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"isohaline/evaporation"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/reliability"
)

// Options say how a check is done.
type Options struct {
	Units units.System
	// SinglesOnly leaves the pairs out.
	SinglesOnly bool
	// Progress, if set, is told how many of how many combinations are done. It
	// is called from several goroutines, never at the same time.
	Progress func(done, total int)
}

// Check reads like the job: water, settings, geometry, faults, verdict,
// changes.
func Check(ctx context.Context, s *tankfile.Tank, o Options) (*Report, error) {
	b, err := prepare(s, o.Units)
	if err != nil {
		return nil, err
	}
	r := &Report{Tank: s, Units: o.Units, Water: b.water, Settings: b.settings, Geometry: b.geometry}
	r.AsBuilt = b.asBuilt()

	combinations := combinationsOf(s, !o.SinglesOnly)
	rows, err := b.tryAll(ctx, combinations, o.Progress)
	if err != nil {
		return nil, err
	}
	for _, row := range rows {
		if row.Alone.Unfinished {
			return nil, fmt.Errorf("trying %s: the twin could not finish the run; this is a defect of the program, please report it with the tank file", row.ID())
		}
		if len(row.Faults) == 1 {
			r.Singles = append(r.Singles, row)
		} else {
			r.Pairs = append(r.Pairs, row)
		}
	}
	rank(r.Singles)
	rank(r.Pairs)
	r.Verdict = judge(r)
	if !r.Verdict.Accepted {
		if r.Changes, r.Left, err = findChanges(ctx, r, o.Units); err != nil {
			return nil, fmt.Errorf("searching for changes: %w", err)
		}
	}
	r.TankYears = float64(b.tankDays.Load()) / reliability.DaysPerYear
	return r, nil
}

// bench is a tank set up for trying faults: one twin and one onset a season.
type bench struct {
	tank     *tankfile.Tank
	u        units.System
	water    []SeasonWater
	settings Settings
	geometry Geometry
	twins    []*plant.Twin
	onsets   []*plant.Onset
	healthy  []plant.Result // nothing wrong, by season
	problems []string
	// One fill, and the flow that makes it.
	fillM3, topOffM3S float64

	// tankDays is simulated time, added up from many goroutines.
	tankDays atomic.Int64
}

// prepare sets a tank up and brings a twin of every season to the onset.
func prepare(s *tankfile.Tank, u units.System) (*bench, error) {
	b, setup, err := settle(s, u)
	if err != nil {
		return nil, err
	}
	for i := range s.Room.Seasons {
		setup.Season = i
		tw, err := plant.Build(setup)
		if err != nil {
			return nil, err
		}
		b.twins = append(b.twins, tw)
		onset := tw.SpinUp()
		b.onsets = append(b.onsets, onset)
		if over := tw.LimeDKHDay() - s.Water.ConsumptionDKHDay; over > 0 {
			b.geometry.Problems = append(b.geometry.Problems, fmt.Sprintf("In %s the lime water brings %s a day more than the tank is said to use: make it weaker, or alkalinity climbs.", s.Room.Seasons[i].Name, u.Alkalinity(over)))
		}
		b.healthy = append(b.healthy, onset.Run(plant.Scenario{Conditions: plant.Healthy(), Length: horizon(s)}))
	}
	return b, nil
}

// settle works out water, settings and geometry, and how twins of the tank are
// built. It simulates nothing.
func settle(s *tankfile.Tank, u units.System) (*bench, plant.Setup, error) {
	var setup plant.Setup
	b := &bench{tank: s, u: u}
	factor, err := b.evaporate()
	if err != nil {
		return nil, setup, err
	}
	// A first twin, with levels but without settings, measures the flows.
	returnFlow, err := plant.ReturnFlow(s)
	if err != nil {
		return nil, setup, err
	}
	levels, watchReason, err := placeSensors(s, returnFlow)
	if err != nil {
		return nil, setup, err
	}
	setup = plant.Setup{Tank: s, Levels: levels, EvaporationFactor: factor}
	tw, err := plant.Build(setup)
	if err != nil {
		return nil, setup, err
	}
	v, err := drainDown(s, returnFlow)
	if err != nil {
		return nil, setup, err
	}
	k := &sketch{tank: s, u: u, water: b.water, returnFlowM3S: tw.ReturnFlowM3S(), topOffM3S: tw.TopOffFlowM3S(), levels: levels}
	k.measure(v)
	if s.Controller != nil && k.topOffM3S <= 0 {
		return nil, setup, fmt.Errorf("top-off.pump: no water reaches the chamber through this tube and lift; check the pump's curve and the tube's end")
	}
	for i := range b.water {
		b.water[i].FracDay = b.water[i].Total.LitresPerDay * litre / tw.SystemM3()
	}
	// What enters after the sensor has said stop.
	overshootM3 := 0.0
	if t := &s.TopOff; t.Ceiling != nil {
		overshootM3 = k.topOffM3S * t.Ceiling.ResponseS
	} else if t.Watch != nil {
		overshootM3 = k.topOffM3S * t.Watch.ResponseS
	}
	if b.geometry, err = proveGeometry(tw, s, levels, overshootM3, u); err != nil {
		return nil, setup, err
	}
	b.geometry.Problems = append(b.geometry.Problems, b.problems...)
	k.safeM3 = b.geometry.DumpSafeM3
	b.fillM3, b.topOffM3S = k.fillM3, k.topOffM3S
	g := k.guardSettings(v)
	b.settings = Settings{Levels: levels, Guard: g, Items: k.items(g, &b.geometry, watchReason)}
	if g != nil {
		if err := g.Validate(); err != nil {
			return nil, setup, fmt.Errorf("controller: %w", err)
		}
	}
	setup.Guard = g
	return b, setup, nil
}

// surprising is how many bands off a tank's own record must be for a leak to be
// the likelier explanation; see evaporation.Calibration.
const surprising = 3

// recordDays is how long the record behind a tank's own long-run figure is
// taken to be.
const recordDays = reliability.DaysPerYear

// evaporate works out every season's water and the tank's own factor.
func (b *bench) evaporate() (factor float64, err error) {
	var yearly evaporation.Estimate
	for _, season := range b.tank.Room.Seasons {
		w := SeasonWater{Season: season}
		if w.Display, w.Sump, err = plant.Evaporation(b.tank, season); err != nil {
			return 0, err
		}
		w.Total = w.Display.Plus(w.Sump)
		share := season.Days / reliability.DaysPerYear
		yearly.LitresPerDay += w.Total.LitresPerDay * share
		yearly.LowLitresPerDay += w.Total.LowLitresPerDay * share
		yearly.HighLitresPerDay += w.Total.HighLitresPerDay * share
		b.water = append(b.water, w)
	}
	measured := b.tank.Room.MeasuredLitresPerDay
	if measured == 0 {
		return 1, nil
	}
	// The record is all that was topped off; skimmate is not evaporation.
	measured -= skimmateM3Day(b.tank) / litre
	c, err := evaporation.Calibrate(yearly, measured, recordDays)
	if err != nil {
		return 0, fmt.Errorf("room.measured top-off: %w", err)
	}
	if c.SurpriseBands > surprising {
		b.problems = append(b.problems, fmt.Sprintf("The tank's own top-off record is %.1f times what the room explains: look for a leak, a wet skimmer or a wrong measure before believing it.", measured/yearly.LitresPerDay))
	}
	for i := range b.water {
		w := &b.water[i]
		w.Display, w.Sump, w.Total = c.Apply(w.Display), c.Apply(w.Sump), c.Apply(w.Total)
	}
	return c.Multiplier, nil
}

// asBuilt is the tank with nothing wrong, in its worst season.
func (b *bench) asBuilt() Row { return b.worst(nil) }

// worst tries a combination in every season and keeps the worst.
func (b *bench) worst(faults []plant.Fault) Row {
	var worst Row
	for season := range b.twins {
		row := b.try(season, faults)
		if season == 0 || worse(row, worst) < 0 {
			worst = row
		}
	}
	worst.Sentence = sentence(b.tank, &worst, b.u)
	return worst
}

// combinationsOf lists every single fault and every pair that can happen
// together.
func combinationsOf(s *tankfile.Tank, pairs bool) [][]plant.Fault {
	faults := plant.FaultsOf(s)
	var out [][]plant.Fault
	for _, f := range faults {
		out = append(out, []plant.Fault{f})
	}
	if !pairs {
		return out
	}
	for i, f := range faults {
		for _, g := range faults[i+1:] {
			if f.Unit != g.Unit {
				out = append(out, []plant.Fault{f, g})
			}
		}
	}
	return out
}

// tryAll tries every combination, on every core; the result's order is the
// input's.
func (b *bench) tryAll(ctx context.Context, combinations [][]plant.Fault, progress func(done, total int)) ([]Row, error) {
	rows := make([]Row, len(combinations))
	var next atomic.Int64
	var mu sync.Mutex
	done := 0
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(combinations) {
					return
				}
				rows[i] = b.worst(combinations[i])
				if progress != nil {
					mu.Lock()
					done++
					progress(done, len(combinations))
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("trying the faults: %w", err)
	}
	return rows, nil
}
