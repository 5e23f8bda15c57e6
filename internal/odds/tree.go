package odds

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"isohaline/reliability"
)

// path is one way into a harm: its last cause comes, and finds what it needs.
type path struct {
	// last is the cause that completes it. first, if not negative, is a brief
	// fault that came at most windowH hours before.
	last, first int
	windowH     float64
	// found is the tree of the hidden failures that it must find, over the
	// parts in events; nil: none.
	found  *reliability.Diagram
	events []part
}

// part is one reason why a barrier is found failed.
type part int

// togetherOff is the part "the last test left off every barrier". Any other
// part is a cause's index.
const togetherOff part = -1

// forest is every path into every harm in every season.
type forest struct {
	w      *world
	combos []*combination
	paths  [harmCount][][]path // by season
	// trees are shared by paths that need the same: between harms and seasons
	// most are alike.
	trees map[string]grown
	// meets lists, for each hidden fault, the causes that do Danger with it
	// alone, and in what share of the year: harm finds it too.
	meets [][]meets
}

type meets struct {
	cause int
	share float64
}

type grown struct {
	found  *reliability.Diagram
	events []part
}

func (w *world) grow(combos []*combination) (*forest, error) {
	f := &forest{w: w, combos: combos, trees: map[string]grown{}, meets: make([][]meets, len(w.faults))}
	for season, share := range w.seasonShares {
		for _, c := range minimal(combos, season, Danger) {
			if pair := indices(c.set); len(pair) == 2 {
				for k, i := range pair {
					f.meets[i] = append(f.meets[i], meets{pair[1-k], share})
				}
			}
		}
	}
	for kind := range harmCount {
		f.paths[kind] = make([][]path, len(w.seasonShares))
		for season := range w.seasonShares {
			var err error
			if f.paths[kind][season], err = f.pathsOf(minimal(combos, season, kind), season, kind); err != nil {
				return nil, err
			}
		}
	}
	return f, nil
}

// pathsOf finds for each cause what it needs to find.
func (f *forest) pathsOf(combos []*combination, season int, kind Harm) ([]path, error) {
	var out []path
	for c := range f.w.causes {
		hits := f.w.causes[c].hits
		var needs []set // any one of these
		for _, combo := range combos {
			if rest := combo.set &^ hits; !combo.set.disjoint(hits) && f.w.allHidden(rest) {
				needs = append(needs, rest)
			}
		}
		if len(needs) == 0 {
			continue
		}
		g, err := f.tree(needs)
		if err != nil {
			return nil, err
		}
		out = append(out, path{last: c, first: -1, found: g.found, events: g.events})
	}
	for _, combo := range combos {
		if combo.set.size() != 2 {
			continue
		}
		pair := indices(combo.set)
		for first, window := range combo.windowsH[kind][season] {
			if window > 0 {
				out = append(out, path{last: pair[1-first], first: pair[first], windowH: window})
			}
		}
	}
	return out, nil
}

// tree makes the fault tree "one of these sets of hidden failures is there".
func (f *forest) tree(needs []set) (grown, error) {
	if slices.Contains(needs, 0) {
		return grown{}, nil
	}
	slices.Sort(needs)
	key := fmt.Sprint(needs)
	if g, ok := f.trees[key]; ok {
		return g, nil
	}
	m := reliability.Model{Top: "found"}
	var events []part
	event := func(p part) string {
		name := fmt.Sprintf("part %d", p)
		if !slices.Contains(events, p) {
			events = append(events, p)
			m.Events = append(m.Events, reliability.Event{Name: name})
		}
		return name
	}
	var barriers set
	top := reliability.Gate{Name: m.Top, Kind: reliability.Or}
	for n, need := range needs {
		all := reliability.Gate{Name: fmt.Sprintf("need %d", n), Kind: reliability.And}
		need.each(func(i int) { all.Inputs = append(all.Inputs, barrierName(i)) })
		m.Gates = append(m.Gates, all)
		top.Inputs = append(top.Inputs, all.Name)
		barriers |= need
	}
	barriers.each(func(i int) {
		gate := reliability.Gate{Name: barrierName(i), Kind: reliability.Or}
		for _, p := range f.w.partsOf(i) {
			gate.Inputs = append(gate.Inputs, event(p))
		}
		m.Gates = append(m.Gates, gate)
	})
	m.Gates = append(m.Gates, top)
	t, err := reliability.NewTree(m)
	if err != nil {
		return grown{}, fmt.Errorf("the tree of %s: %w", strings.Join(f.w.ids(barriers), ", "), err)
	}
	d, err := t.Compile(reliability.DefaultLimit)
	if err != nil {
		return grown{}, err
	}
	f.trees[key] = grown{d, events}
	return f.trees[key], nil
}

func barrierName(i int) string { return fmt.Sprintf("barrier %d", i) }

// partsOf lists why a hidden fault may be there: by a cause that hits it, or
// because it was left off with the others.
func (w *world) partsOf(i int) []part {
	var out []part
	for c := range w.causes {
		if w.causes[c].hits.has(i) {
			out = append(out, part(c))
		}
	}
	if w.rows[i].leftOff {
		out = append(out, togetherOff)
	}
	return out
}

func (w *world) ids(s set) []string {
	var out []string
	s.each(func(i int) { out = append(out, w.faults[i].ID) })
	return out
}

// state is how likely every part is found failed, moment by moment.
type state struct {
	moments []moment
	found   [][]float64 // by moment, then cause
	off     float64     // togetherOff
}

// stateAt works the parts out for given values of the columns.
func (f *forest) stateAt(values []float64, moments []moment) *state {
	w := f.w
	st := &state{moments: moments, off: values[w.leftOff] * leftOffTogether}
	ownOff := values[w.leftOff] * (1 - leftOffTogether)
	for _, m := range moments {
		st.found = append(st.found, make([]float64, len(w.causes)))
		for c := range w.causes {
			cause := &w.causes[c]
			i := w.longest(cause.hits)
			if stands := w.stands[i]; !stands.hidden {
				often := cause.rate(values) * stands.briefH
				st.found[len(st.found)-1][c] = often / (1 + often)
				continue
			}
			q := failed(cause.rate(values), f.metPerHour(i, values), w.stands[i].test, m)
			if cause.hits.size() == 1 && w.rows[i].leftOff {
				q = either(q, ownOff)
			}
			st.found[len(st.found)-1][c] = q
		}
	}
	return st
}

// longest is the one of some faults that stands longest: a part failed by a
// cause that also makes a noise elsewhere still waits for its test.
func (w *world) longest(s set) int {
	return slices.MaxFunc(indices(s), func(i, j int) int { return cmp.Compare(w.stands[i].maxStandingH(w), w.stands[j].maxStandingH(w)) })
}

// metPerHour is how often something comes that makes a hidden fault do harm.
func (f *forest) metPerHour(i int, values []float64) float64 {
	sum := 0.0
	for _, m := range f.meets[i] {
		sum += m.share * f.w.causes[m.cause].rate(values)
	}
	return sum
}

func (st *state) probability(moment int, p part) float64 {
	if p == togetherOff {
		return st.off
	}
	return st.found[moment][p]
}

// perHour is the frequency of a path, its tree averaged over the cycle.
func (f *forest) perHour(p *path, values []float64, st *state) (float64, error) {
	rate := f.w.causes[p.last].rate(values)
	if p.first >= 0 {
		return rate * f.w.causes[p.first].rate(values) * p.windowH, nil
	}
	mean := 0.0
	probs := make([]float64, len(p.events))
	for n, m := range st.moments {
		q := 1.0
		if p.found != nil {
			for e, part := range p.events {
				probs[e] = st.probability(n, part)
			}
			var err error
			if q, err = p.found.ProbabilityWith(probs); err != nil {
				return 0, err
			}
		}
		// What is failed already does not fail again.
		mean += m.weight * q * (1 - st.found[n][p.last])
	}
	return rate * mean, nil
}

// perYear is the frequency of each harm.
func (f *forest) perYear(values []float64, moments []moment) ([harmCount]float64, error) {
	var out [harmCount]float64
	st := f.stateAt(values, moments)
	type key struct {
		last  int
		found *reliability.Diagram
	}
	done := map[key]float64{}
	for kind, seasons := range f.paths {
		for season, paths := range seasons {
			for i := range paths {
				p := &paths[i]
				k := key{p.last, p.found}
				hourly, ok := done[k]
				if !ok || p.first >= 0 {
					var err error
					if hourly, err = f.perHour(p, values, st); err != nil {
						return out, err
					}
					if p.first < 0 {
						done[k] = hourly
					}
				}
				out[kind] += f.w.seasonShares[season] * perYear(hourly)
			}
		}
	}
	return out, nil
}

// shares is how often each combination does its harm, by itself: what the
// dominating ones are found by. Together they may come to a little more than
// the harm's frequency, where one demand completes several at once.
func (f *forest) shares(kind Harm, values []float64, moments []moment) (map[*combination]float64, error) {
	out := map[*combination]float64{}
	st := f.stateAt(values, moments)
	for season, share := range f.w.seasonShares {
		for _, c := range minimal(f.combos, season, kind) {
			paths, err := f.pathsOf([]*combination{c}, season, kind)
			if err != nil {
				return nil, err
			}
			for i := range paths {
				hourly, err := f.perHour(&paths[i], values, st)
				if err != nil {
					return nil, err
				}
				out[c] += share * perYear(hourly)
			}
		}
	}
	return out, nil
}
