package verify

import (
	"context"
	"math"
	"slices"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// clone is a copy deep enough that no candidate's change shows through.
func clone(s *tankfile.Tank) *tankfile.Tank {
	c := *s
	dup(&c.Overflow)
	dup(&c.Return)
	dup(&c.Sump)
	dup(&c.TopOff.Watch)
	dup(&c.TopOff.Ceiling)
	dup(&c.TopOff.Pump)
	dup(&c.TopOff.Reservoir)
	if r := c.TopOff.Reservoir; r != nil {
		dup(&r.LowSensor)
		dup(&r.Refill)
	}
	dup(&c.TopOff.Plumbed)
	dup(&c.TopOff.FloatValve)
	dup(&c.Controller)
	dup(&c.Skimmer)
	dup(&c.WaterChange)
	dup(&c.FloorSensor)
	return &c
}

func dup[T any](p **T) {
	if *p != nil {
		v := **p
		*p = &v
	}
}

// findChanges looks for changes that make the design acceptable, the least
// trouble first, and drops those that are not needed after all. It takes one
// step at a time, so another plan may be smaller. What it finds has been
// verified like the tank itself; what it could not mend is named.
func findChanges(ctx context.Context, r *Report, u units.System) (changes []Change, left []string, err error) {
	start := r.Tank
	plan, err := search(ctx, start)
	if err != nil {
		return nil, nil, err
	}
	return describe(ctx, start, plan, r, u)
}

// shortfall is what keeps a tank from being accepted.
type shortfall struct {
	ids []string
	// harm adds the classes up: less is better, none is accepted.
	harm int
}

// These stand beside the faults' IDs in a shortfall.
const (
	geometryID = "geometry"
	asBuiltID  = "as-built"
)

// shortfallOf tries the single faults, or only those named.
func shortfallOf(ctx context.Context, s *tankfile.Tank, only []string) (shortfall, error) {
	b, err := prepare(s, units.Metric)
	if err != nil {
		return shortfall{harm: math.MaxInt}, nil // a change that cannot be built is no help
	}
	var f shortfall
	count := func(id string, c plant.Class) {
		f.ids = append(f.ids, id)
		f.harm += int(c)
	}
	if b.geometry.MarginM3 < 0 {
		count(geometryID, plant.Loss)
	}
	if a := b.asBuilt(); asBuiltFails(&a) {
		count(asBuiltID, max(a.Unattended, plant.Stress))
	}
	combinations := combinationsOf(s, false)
	if only != nil {
		combinations = slices.DeleteFunc(combinations, func(c []plant.Fault) bool {
			return !slices.Contains(only, c[0].ID)
		})
	}
	rows, err := b.tryAll(ctx, combinations, nil)
	if err != nil {
		return f, err
	}
	for i := range rows {
		if rows[i].Class >= plant.Danger {
			count(rows[i].ID(), rows[i].Class)
		}
	}
	return f, nil
}

func applied(s *tankfile.Tank, plan []candidate) *tankfile.Tank {
	c := clone(s)
	for _, p := range plan {
		p.apply(c)
	}
	return c
}

// search takes, again and again, the least trouble that helps: one change, or
// where none helps alone, two together (an alarm is no use without a sensor).
func search(ctx context.Context, s *tankfile.Tank) ([]candidate, error) {
	var plan []candidate
	now, err := shortfallOf(ctx, s, nil)
	if err != nil {
		return nil, err
	}
	for now.harm > 0 {
		more, then, err := nextStep(ctx, applied(s, plan), now)
		if err != nil {
			return nil, err
		}
		if more == nil {
			break
		}
		plan, now = append(plan, more...), then
	}
	return prune(ctx, s, plan, now.harm)
}

// nextStep is the first change, or the first two, with which less is left.
func nextStep(ctx context.Context, s *tankfile.Tank, now shortfall) ([]candidate, shortfall, error) {
	try := func(cs ...candidate) ([]candidate, shortfall, error) {
		after := clone(s)
		for i := range cs {
			if !cs[i].apply(after) {
				return nil, now, nil
			}
			if cs[i].keep != nil {
				cs[i].apply = cs[i].keep(after)
			}
		}
		if _, err := tankfile.Write(after); err != nil {
			return nil, now, nil // it would make a tank that cannot be
		}
		// The faults that fail now are quick to try; all of them only if that
		// promises something.
		if then, err := shortfallOf(ctx, after, now.ids); err != nil || then.harm >= now.harm {
			return nil, now, err
		}
		then, err := shortfallOf(ctx, after, nil)
		if err != nil || then.harm >= now.harm {
			return nil, now, err
		}
		return cs, then, nil
	}
	for _, c := range candidates {
		if cs, then, err := try(c); err != nil || cs != nil {
			return cs, then, err
		}
	}
	// Pairs with one that searches by itself take longer, so they come last.
	for _, searching := range []bool{false, true} {
		for j, d := range candidates {
			for i, c := range candidates {
				first := i < j && c.keep == nil && d.keep == nil
				if !searching && !first || searching && (c.keep != nil || d.keep == nil) {
					continue
				}
				if cs, then, err := try(c, d); err != nil || cs != nil {
					return cs, then, err
				}
			}
		}
	}
	return nil, now, nil
}

// prune drops what the plan does not need after all.
func prune(ctx context.Context, s *tankfile.Tank, plan []candidate, harm int) ([]candidate, error) {
	for i := 0; i < len(plan); {
		without := slices.Delete(slices.Clone(plan), i, i+1)
		left, err := shortfallOf(ctx, applied(s, without), nil)
		if err != nil {
			return nil, err
		}
		if left.harm <= harm {
			plan = without
		} else {
			i++
		}
	}
	return plan, nil
}

// describe says what each change of the plan buys, in the plan's order.
func describe(ctx context.Context, s *tankfile.Tank, plan []candidate, r *Report, u units.System) (out []Change, left []string, err error) {
	before, err := shortfallOf(ctx, s, nil)
	if err != nil {
		return nil, nil, err
	}
	for i, c := range plan {
		from, to := applied(s, plan[:i]), applied(s, plan[:i+1])
		after, err := shortfallOf(ctx, to, nil)
		if err != nil {
			return nil, nil, err
		}
		ch := Change{ID: c.id, Words: c.words(from, to, u)}
		for _, id := range before.ids {
			if !slices.Contains(after.ids, id) {
				ch.Buys = append(ch.Buys, wordsOf(r, id))
			}
		}
		out = append(out, ch)
		before = after
	}
	for _, id := range before.ids {
		left = append(left, wordsOf(r, id))
	}
	return out, left, nil
}

func wordsOf(r *Report, id string) string {
	for i := range r.Singles {
		if r.Singles[i].ID() == id {
			return r.Singles[i].Faults[0].Words
		}
	}
	if id == asBuiltID {
		return "harm with nothing wrong"
	}
	return "spilling after drain-down"
}
