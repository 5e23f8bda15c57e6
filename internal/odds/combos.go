package odds

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"isohaline/internal/plant"
	"isohaline/internal/verify"
)

// combination is faults that together do harm, in at least one season.
type combination struct {
	set      set
	bySeason []harm
	worst    verify.Row
	// windowsH, for a pair: the hours after a first fault that stands only
	// briefly within which the other still makes it harm; by harm, season and
	// which of the two (ascending) is first.
	windowsH [harmCount][][2]float64
}

// harmful lists what does harm: singles and pairs from the check, and triples
// where a pair leaves one barrier standing. The twin tries each in every
// season.
func (w *world) harmful(ctx context.Context) ([]*combination, error) {
	var suspects []set
	for s, row := range w.known {
		if row.Class >= plant.Danger {
			suspects = append(suspects, s)
		}
	}
	suspects = append(suspects, w.triples()...)
	slices.Sort(suspects)
	tried := make([]*combination, len(suspects))
	err := runParallel(ctx, len(suspects), func(i int) (err error) {
		tried[i], err = w.try(suspects[i])
		return err
	})
	if err != nil {
		return nil, err
	}
	tried = slices.DeleteFunc(tried, func(c *combination) bool { return c == nil })
	slices.SortFunc(tried, func(a, b *combination) int {
		return cmp.Or(cmp.Compare(a.set.size(), b.set.size()), cmp.Compare(a.set, b.set))
	})
	return tried, nil
}

// try gives a set's harm in every season, nil if there is none.
func (w *world) try(s set) (*combination, error) {
	c := &combination{set: s, bySeason: make([]harm, len(w.seasonShares))}
	var all harm
	for season := range w.seasonShares {
		row, err := w.trial.Try(season, w.faultsOf(s))
		if err != nil {
			return nil, err
		}
		c.bySeason[season] = harmOf(w.report.Tank, &row)
		all |= c.bySeason[season]
		if season == 0 || row.Class > c.worst.Class {
			c.worst = row
		}
	}
	if all == 0 {
		return nil, nil
	}
	return c, nil
}

// defeats says which faults take a barrier away.
var defeats = map[verify.Barrier][]string{
	verify.CeilingBarrier:  {"ceiling-stuck-dry", "ceiling-slow", "ceiling-fouled-high"},
	verify.RunLimitBarrier: {"run-limit-disabled"},
	verify.FloorBarrier:    {"floor-sensor-dead"},
	verify.GaugeBarrier:    {"gauge-stuck"},
	verify.SenseBarrier:    {"ceiling-stuck-dry", "ceiling-slow", "ceiling-fouled-high"},
	verify.BudgetBarrier:   {"budget-disabled"},
	verify.TimerBarrier:    {"run-timer-stuck"},
}

const alarmSilent = "alarm-silent"

// defeating is what would take away the barriers that held in a row: the one
// that stopped it, and the alarm that brought somebody.
func (w *world) defeating(row *verify.Row) []int {
	ids := defeats[row.StoppedBy]
	if row.FoundBy == verify.ByAlarm {
		ids = append(slices.Clone(ids), alarmSilent)
	}
	var out []int
	for _, id := range ids {
		if i := w.index(id); i >= 0 {
			out = append(out, i)
		}
	}
	return out
}

// triples follows the barriers: a fault, what takes away the barrier that held
// it, and what takes away the next; and for every pair that does serious harm,
// what would let it become a loss.
func (w *world) triples() []set {
	var out []set
	extend := func(pair set) {
		row, ok := w.known[pair]
		if !ok || row.Class >= plant.Loss {
			return
		}
		for _, k := range w.defeating(&row) {
			clashes := false
			pair.each(func(i int) { clashes = clashes || w.clash(i, k) })
			if !clashes {
				out = append(out, pair.with(k))
			}
		}
	}
	for s, row := range w.known {
		switch {
		case s.size() == 2 && row.Class >= plant.Danger:
			extend(s)
		case s.size() == 1 && row.Class < plant.Danger:
			for _, j := range w.defeating(&row) {
				extend(s.with(j))
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// lagSteps is at how many moments of a brief fault's standing the second is
// tried.
const lagSteps = 12

// findWindows measures, for every pair that does harm, how long after a brief
// first fault the other still finds it and makes it harm.
func (w *world) findWindows(ctx context.Context, combos []*combination) error {
	type task struct {
		c             *combination
		season, first int
	}
	var tasks []task
	for _, c := range combos {
		if c.set.size() != 2 {
			continue
		}
		for h := range c.windowsH {
			c.windowsH[h] = make([][2]float64, len(w.seasonShares))
		}
		for season, h := range c.bySeason {
			for first, i := range indices(c.set) {
				if h != 0 && !w.stands[i].hidden {
					tasks = append(tasks, task{c, season, first})
				}
			}
		}
	}
	return runParallel(ctx, len(tasks), func(n int) error {
		t := tasks[n]
		stands := w.stands[indices(t.c.set)[t.first]]
		step := stands.briefH / lagSteps
		for k := range lagSteps {
			after := make([]time.Duration, 2)
			if stands.shows() { // what does not sets no clock
				after[1-t.first] = hours((float64(k) + 0.5) * step)
			}
			row, err := w.trial.InTurn(t.season, w.faultsOf(t.c.set), after)
			if err != nil {
				return err
			}
			h := harmOf(w.report.Tank, &row)
			for kind := range harmCount {
				if h.has(kind) {
					t.c.windowsH[kind][t.season][t.first] += step
				}
			}
		}
		return nil
	})
}

func indices(s set) []int {
	out := make([]int, 0, s.size())
	s.each(func(i int) { out = append(out, i) })
	return out
}

// minimal keeps the combinations that reach a harm in a season and contain no
// smaller one that does; given in the order of their size.
func minimal(combos []*combination, season int, kind Harm) []*combination {
	var out []*combination
	for _, c := range combos {
		if !c.bySeason[season].has(kind) {
			continue
		}
		if !slices.ContainsFunc(out, func(smaller *combination) bool { return c.set.contains(smaller.set) }) {
			out = append(out, c)
		}
	}
	return out
}

// runParallel does n tasks, none more once the context ends or one has failed.
func runParallel(ctx context.Context, n int, do func(i int) error) error {
	g, going := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		if going.Err() != nil {
			break
		}
		g.Go(func() error { return do(i) })
	}
	if err := g.Wait(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("stopped: %w", err)
	}
	return nil
}
