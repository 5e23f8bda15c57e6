package reliability

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// CutSet is a combination of events that together cause the top, none of which
// can be spared.
type CutSet struct {
	Events []string // in the order of Tree.Events
	Prob   float64  // that all of them are there
}

// CutSets is every minimal cut set of a tree. A top that cannot happen has
// none; a top that is certain has one, without events.
type CutSets struct {
	// Sets holds those with the fewest events first, and within one size in
	// the order of Tree.Events.
	Sets []CutSet

	tree    *Tree
	indices [][]int // the events of each set, ascending
}

// MinimalCutSets lists the minimal cut sets by way of the diagram. It returns
// ErrTooLarge, with their number, if there are more than limit.
func (d *Diagram) MinimalCutSets(limit int) (*CutSets, error) {
	// The family's nodes come out of the diagram's and the steps between;
	// DefaultLimit covers diagrams far larger than lists anyone would read.
	z := newZBDD(DefaultLimit)
	root := z.minimalSets(d.nodes, d.root)
	if z.stopped() {
		return nil, fmt.Errorf("minimal cut sets: %w", ErrTooLarge)
	}
	if n := counts(z.nodes)[root]; n > float64(limit) {
		return nil, fmt.Errorf("%.0f minimal cut sets, more than %d: %w", n, limit, ErrTooLarge)
	}
	var found [][]int
	var path []int
	var walk func(f int32)
	walk = func(f int32) {
		switch f {
		case none:
		case all:
			found = append(found, slices.Clone(path))
		default:
			n := z.nodes[f]
			path = append(path, d.eventAt[n.level])
			walk(n.hi)
			path = path[:len(path)-1]
			walk(n.lo)
		}
	}
	walk(root)
	return newCutSets(d.tree, found), nil
}

// newCutSets sorts the sets and gives them names and probabilities.
func newCutSets(t *Tree, indices [][]int) *CutSets {
	for _, set := range indices {
		slices.Sort(set)
	}
	slices.SortFunc(indices, func(a, b []int) int {
		return cmp.Or(cmp.Compare(len(a), len(b)), slices.Compare(a, b))
	})
	c := &CutSets{Sets: make([]CutSet, len(indices)), tree: t, indices: indices}
	for i, set := range indices {
		s := CutSet{Events: make([]string, len(set)), Prob: 1}
		for j, e := range set {
			s.Events[j] = t.events[e].Name
			s.Prob *= t.events[e].Prob
		}
		c.Sets[i] = s
	}
	return c
}

// ByOrder counts the sets with one event, two events and so on. The empty set
// of a certain top is not counted.
func (c *CutSets) ByOrder() []int {
	var n []int
	for _, set := range c.indices {
		for len(n) < len(set) {
			n = append(n, 0)
		}
		if len(set) > 0 {
			n[len(set)-1]++
		}
	}
	return n
}

// Dominant returns the n sets with the highest probability, highest first.
func (c *CutSets) Dominant(n int) []CutSet {
	sorted := slices.Clone(c.Sets)
	slices.SortStableFunc(sorted, func(a, b CutSet) int { return cmp.Compare(b.Prob, a.Prob) })
	return sorted[:max(0, min(n, len(sorted)))]
}

// RareEvent is the sum of the sets' probabilities. It is never below the
// probability of the top, and can pass 1 by far.
func (c *CutSets) RareEvent() float64 {
	sum := 0.0
	for _, s := range c.Sets {
		sum += s.Prob
	}
	return sum
}

// UpperBound is the min cut upper bound, what the top would have if the sets
// shared no event. It lies between the probability of the top and RareEvent.
func (c *CutSets) UpperBound() float64 {
	logNone := 0.0
	for _, s := range c.Sets {
		logNone += math.Log1p(-s.Prob)
	}
	return -math.Expm1(logNone)
}
