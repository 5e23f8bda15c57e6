package reliability

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// The second road to cut sets and to the exact probability, sharing nothing
// with the diagrams but the tree. Cut sets: every gate's list of products,
// multiplied out and reduced by absorption (J. B. Fussell and W. E. Vesely, "A
// new methodology for obtaining cut sets for fault trees", Trans. American
// Nuclear Society 15, 1972; here from the bottom up). Probability: the list is
// split into disjoint cases until each is a product.

// product is a set of events, one bit each.
type product []uint64

const wordBits = 64

func (p product) has(e int) bool { return p[e/wordBits]>>(e%wordBits)&1 == 1 }

func (p product) size() int {
	n := 0
	for _, w := range p {
		n += bits.OnesCount64(w)
	}
	return n
}

func (p product) within(q product) bool {
	for i, w := range p {
		if w&^q[i] != 0 {
			return false
		}
	}
	return true
}

func (p product) union(q product) product {
	r := make(product, len(p))
	for i := range p {
		r[i] = p[i] | q[i]
	}
	return r
}

// events lists the members, ascending.
func (p product) events() []int {
	e := make([]int, 0, p.size())
	for i, w := range p {
		for ; w != 0; w &= w - 1 {
			e = append(e, i*wordBits+bits.TrailingZeros64(w))
		}
	}
	return e
}

// absorb keeps the minimal products, fewest events first. A product can only
// be absorbed by one whose first event it contains, so the kept ones are
// looked up by their first event.
func absorb(list []product) []product {
	slices.SortFunc(list, func(a, b product) int {
		return cmp.Or(cmp.Compare(a.size(), b.size()), slices.Compare(a, b))
	})
	if len(list) > 0 && list[0].size() == 0 {
		return list[:1]
	}
	byFirst := map[int][]product{}
	kept := make([]product, 0, len(list))
	for _, p := range list {
		events := p.events()
		absorbed := slices.ContainsFunc(events, func(e int) bool {
			return slices.ContainsFunc(byFirst[e], func(q product) bool { return q.within(p) })
		})
		if !absorbed {
			byFirst[events[0]] = append(byFirst[events[0]], p)
			kept = append(kept, p)
		}
	}
	return kept
}

// ExpandCutSets lists the minimal cut sets by multiplying the gates out. It
// returns ErrTooLarge where a list on the way would pass limit; Compile and
// MinimalCutSets go much further, this is their witness.
func (t *Tree) ExpandCutSets(limit int) (*CutSets, error) {
	words := (len(t.events) + wordBits - 1) / wordBits
	lists := make([][]product, 0, len(t.gates))
	listOf := func(o operand) []product {
		switch {
		case o.kind == isGate:
			return lists[o.i]
		case o.kind == isConst && o.i == 0:
			return nil
		}
		p := make(product, words)
		if o.kind == isEvent {
			p[o.i/wordBits] = 1 << (o.i % wordBits)
		}
		return []product{p}
	}
	for _, g := range t.gates {
		list, err := expandGate(g, listOf, words, limit)
		if err != nil {
			return nil, err
		}
		lists = append(lists, list)
	}
	top := listOf(t.top)
	indices := make([][]int, len(top))
	for i, p := range top {
		indices[i] = p.events()
	}
	return newCutSets(t, indices), nil
}

// expandGate writes "k of the inputs" as: the first and k-1 of the rest, or k
// of the rest.
func expandGate(g gate, listOf func(operand) []product, words, limit int) ([]product, error) {
	n := len(g.inputs)
	// need[k] is the list for k of the inputs seen so far, which come from the
	// last to the first.
	need := make([][]product, g.k+1)
	need[0] = []product{make(product, words)}
	for i := n - 1; i >= 0; i-- {
		in := listOf(g.inputs[i])
		for k := min(g.k, n-i); k >= max(1, g.k-i); k-- {
			if len(in)*len(need[k-1])+len(need[k]) > limit {
				return nil, fmt.Errorf("expanding cut sets: %w", ErrTooLarge)
			}
			list := slices.Clone(need[k])
			for _, p := range in {
				for _, q := range need[k-1] {
					list = append(list, p.union(q))
				}
			}
			need[k] = absorb(list)
		}
	}
	return need[g.k], nil
}

// Exact is the exact probability of the top from the cut sets alone, with the
// tree's own event probabilities. It returns ErrTooLarge after limit steps.
func (c *CutSets) Exact(limit int) (float64, error) {
	words := (len(c.tree.events) + wordBits - 1) / wordBits
	list := make([]product, len(c.indices))
	for i, set := range c.indices {
		p := make(product, words)
		for _, e := range set {
			p[e/wordBits] |= 1 << (e % wordBits)
		}
		list[i] = p
	}
	d := disjoint{probs: c.tree.Probs(), steps: limit}
	q := d.probability(list)
	if d.steps < 0 {
		return 0, fmt.Errorf("disjoint products: %w", ErrTooLarge)
	}
	return q, nil
}

// disjoint works out the probability that some product of a minimal list is
// there.
type disjoint struct {
	probs []float64
	steps int // left
}

func (d *disjoint) probability(list []product) float64 {
	d.steps -= len(list)
	switch {
	case d.steps < 0 || len(list) == 0:
		return 0
	case len(list) == 1:
		return d.product(list[0])
	}
	logNone := 0.0
	for _, part := range independentParts(list) {
		logNone += math.Log1p(-d.connected(part))
	}
	return -math.Expm1(logNone)
}

func (d *disjoint) product(p product) float64 {
	q := 1.0
	for _, e := range p.events() {
		q *= d.probs[e]
	}
	return q
}

// connected takes the event that most products name and splits the cases: it
// is there, or it is not.
func (d *disjoint) connected(list []product) float64 {
	if len(list) == 1 {
		return d.product(list[0])
	}
	named := make([]int, len(d.probs))
	for _, p := range list {
		for _, e := range p.events() {
			named[e]++
		}
	}
	pivot := 0
	for e, n := range named {
		if n > named[pivot] {
			pivot = e
		}
	}
	var with, without []product
	for _, p := range list {
		if !p.has(pivot) {
			without = append(without, p)
			with = append(with, p)
			continue
		}
		rest := slices.Clone(p)
		rest[pivot/wordBits] &^= 1 << (pivot % wordBits)
		with = append(with, rest)
	}
	p := d.probs[pivot]
	q := p * d.probability(absorb(with))
	if len(without) > 0 {
		q += (1 - p) * d.probability(without)
	}
	return q
}

// independentParts groups the products that share events, directly or through
// others.
func independentParts(list []product) [][]product {
	var parts [][]product
	var spans []product // the events of each part
	for _, p := range list {
		span := slices.Clone(p)
		part := []product{p}
		keep := 0
		for i := range parts {
			if !overlap(spans[i], p) {
				parts[keep], spans[keep] = parts[i], spans[i]
				keep++
				continue
			}
			part = append(part, parts[i]...)
			span = span.union(spans[i])
		}
		parts = append(parts[:keep], part)
		spans = append(spans[:keep], span)
	}
	return parts
}

func overlap(p, q product) bool {
	for i, w := range p {
		if w&q[i] != 0 {
			return true
		}
	}
	return false
}
