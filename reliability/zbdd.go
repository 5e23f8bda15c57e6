package reliability

// A zero-suppressed diagram (S. Minato, "Zero-suppressed BDDs for set
// manipulation in combinatorial problems", DAC 1993) has the nodes of a
// decision diagram but stands for a family of sets: hi holds the sets with the
// event (less the event itself), lo the sets without it. The 46,188 cut sets of
// the largest published model in the tests share 6,044 nodes.

// zbdd builds families of sets.
type zbdd struct {
	nodeTable
	differences map[[2]int32]int32
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

// minus keeps the sets of f that are not in g. Both hold minimal sets only, so
// a family with the empty set has no other.
func (z *zbdd) minus(f, g int32) int32 {
	switch {
	case f == none || f == g:
		return none
	case g <= all || f == all:
		return f
	}
	if z.stopped() {
		return none
	}
	key := [2]int32{f, g}
	if r, ok := z.differences[key]; ok {
		return r
	}
	fn, gn := z.nodes[f], z.nodes[g]
	var r int32
	switch {
	case fn.level < gn.level:
		r = z.mk(fn.level, fn.hi, z.minus(fn.lo, g))
	case fn.level > gn.level:
		r = z.minus(f, gn.lo)
	default:
		r = z.mk(fn.level, z.minus(fn.hi, gn.hi), z.minus(fn.lo, gn.lo))
	}
	z.steps++
	z.differences[key] = r
	return r
}

// minimalSets turns a decision diagram of a coherent function into the family
// of its minimal sets (Rauzy 1993): those that need the event at a node are
// the ones of its hi side that do not already reach the top without it. Since
// lo implies hi, a minimal set of hi that contains one of lo is that very set,
// and plain difference finds them.
func (z *zbdd) minimalSets(nodes []node, root int32) int32 {
	family := make([]int32, len(nodes))
	family[all] = all
	for i := all + 1; i <= root; i++ {
		n := nodes[i]
		lo := family[n.lo]
		family[i] = z.mk(n.level, z.minus(family[n.hi], lo), lo)
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
