package reliability

// A zero-suppressed diagram (S. Minato, "Zero-suppressed BDDs for set
// manipulation in combinatorial problems", DAC 1993) has the nodes of a
// decision diagram but stands for a family of sets: hi holds the sets with the
// event (less the event itself), lo the sets without it. The 46,188 cut sets of
// the largest published model in the tests share 6,044 nodes.

// zbdd builds families of sets.
type zbdd struct {
	nodeTable
	withouts map[[2]int32]int32
}

func newZBDD(limit int) *zbdd {
	return &zbdd{newNodeTable(limit), map[[2]int32]int32{}}
}

func (z *zbdd) mk(level, hi, lo int32) int32 {
	if hi == none {
		return lo
	}
	return z.intern(node{level, hi, lo})
}

// without keeps the sets of f that contain no set of g.
func (z *zbdd) without(f, g int32) int32 {
	switch {
	case f == none || g == all || f == g:
		return none
	case g == none || f == all:
		// If f is the empty set alone it contains no set of g: families here
		// are minimal, so the empty set is in g only if g is all.
		return f
	}
	if z.stopped() {
		return none
	}
	key := [2]int32{f, g}
	if r, ok := z.withouts[key]; ok {
		return r
	}
	fn, gn := z.nodes[f], z.nodes[g]
	var r int32
	switch {
	case fn.level < gn.level:
		r = z.mk(fn.level, z.without(fn.hi, g), z.without(fn.lo, g))
	case fn.level > gn.level:
		r = z.without(f, gn.lo)
	default:
		hi := z.without(z.without(fn.hi, gn.hi), gn.lo)
		r = z.mk(fn.level, hi, z.without(fn.lo, gn.lo))
	}
	z.steps++
	z.withouts[key] = r
	return r
}

// minimalSets turns a decision diagram of a coherent function into the family
// of its minimal sets (Rauzy 1993): those that need the event at a node are
// the ones of its hi side that the lo side does not already reach without it.
func (z *zbdd) minimalSets(nodes []node, root int32) int32 {
	family := make([]int32, len(nodes))
	family[all] = all
	for i := all + 1; i <= root; i++ {
		n := nodes[i]
		lo := family[n.lo]
		family[i] = z.mk(n.level, z.without(family[n.hi], lo), lo)
	}
	return family[root]
}

// counts is the number of sets in the family at each node, as floats because
// it can pass every integer type.
func counts(nodes []node) []float64 {
	n := make([]float64, len(nodes))
	n[all] = 1
	for i := all + 1; int(i) < len(nodes); i++ {
		n[i] = n[nodes[i].hi] + n[nodes[i].lo]
	}
	return n
}
