package verify

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// Trial tries further combinations of faults on a report's tank. It keeps the
// twins, so a try costs the run and nothing else. Many goroutines may use it at
// once.
type Trial struct{ b *bench }

// ErrUnfinished is returned where a run hit the twin's bound on its steps: a
// defect of the twin, met so far only where many things are wrong at once.
var ErrUnfinished = errors.New("the twin could not finish the run; this is a defect of the program, please report it with the tank file and the faults")

// Trial prepares the report's tank for more tries.
func (r *Report) Trial() (*Trial, error) {
	b, err := prepare(r.Tank, r.Units)
	if err != nil {
		return nil, err
	}
	return &Trial{b}, nil
}

// Try lets any number of faults happen in one season, by its place among the
// tank's, just as the check tries a pair: all at once, and again with each
// interruption half a day late. It returns the worse.
func (t *Trial) Try(season int, faults []plant.Fault) (Row, error) {
	after := make([]time.Duration, len(faults))
	worst, err := t.InTurn(season, faults, after)
	if err != nil || len(faults) < 2 {
		return worst, err
	}
	for i, f := range faults {
		if !interrupts(t.b.twins[season], f) {
			continue
		}
		late := slices.Clone(after)
		late[i] = lateAfter
		row, err := t.InTurn(season, faults, late)
		if err != nil {
			return Row{}, err
		}
		if worse(row, worst) < 0 {
			worst = row
		}
	}
	return worst, nil
}

// InTurn lets each fault begin at its own time after the onset. An interruption
// that another fault overtakes goes on for what is left of it.
func (t *Trial) InTurn(season int, faults []plant.Fault, after []time.Duration) (Row, error) {
	if season < 0 || season >= len(t.b.twins) {
		return Row{}, fmt.Errorf("season %d: the tank has %d; count from 0", season, len(t.b.twins))
	}
	if len(after) != len(faults) {
		return Row{}, fmt.Errorf("%d times for %d faults: give each fault one", len(after), len(faults))
	}
	tw := t.b.twins[season]
	sc := t.b.scenario(season, faults)
	sc.Conditions = begunBy(tw, faults, after, 0)
	stages := slices.Compact(slices.Sorted(slices.Values(after)))
	for _, at := range stages {
		if at > 0 {
			sc.Later = append(sc.Later, plant.Later{After: at, Conditions: begunBy(tw, faults, after, at)})
		}
	}
	row := t.b.judged(season, faults, sc)
	if row.Alone.Unfinished {
		return Row{}, ErrUnfinished
	}
	row.Sentence = sentence(t.b.tank, &row, t.b.u)
	return row, nil
}

func interrupts(tw *plant.Twin, f plant.Fault) bool {
	c := conditionsOf(tw, []plant.Fault{f})
	return c.PowerOff.On > 0 || c.ReturnOff.On > 0
}

// begunBy puts together what has begun by a time. The twin counts the
// interruptions of new conditions from their beginning.
func begunBy(tw *plant.Twin, faults []plant.Fault, after []time.Duration, at time.Duration) plant.Conditions {
	c := plant.Healthy()
	var power, back plant.Pulse
	for i, f := range faults {
		if after[i] > at {
			continue
		}
		f.Apply(tw, &c)
		alone := conditionsOf(tw, faults[i:i+1])
		power = longest(power, left(alone.PowerOff, at-after[i]))
		back = longest(back, left(alone.ReturnOff, at-after[i]))
	}
	c.PowerOff, c.ReturnOff = power, back
	return c
}

// left is what is left of an interruption; one that comes again stays as it is.
func left(p plant.Pulse, since time.Duration) plant.Pulse {
	if p.Period == 0 {
		p.On = max(0, p.On-since)
	}
	return p
}

func longest(p, q plant.Pulse) plant.Pulse {
	if q.On > p.On {
		return q
	}
	return p
}

// Proposal is one change that the check's search for changes knows, made to a
// copy of a tank.
type Proposal struct {
	ID, Words string
	Tank      *tankfile.Tank
}

// Proposals lists every change that a tank leaves room for, each by itself,
// from the least trouble to the most. None has been tried.
func Proposals(s *tankfile.Tank, u units.System) []Proposal {
	var out []Proposal
	for _, c := range candidates {
		after := clone(s)
		if !c.apply(after) {
			continue
		}
		if _, err := tankfile.Write(after); err != nil {
			continue // it would make a tank that cannot be
		}
		out = append(out, Proposal{ID: c.id, Words: c.words(s, after, u), Tank: after})
	}
	return out
}
