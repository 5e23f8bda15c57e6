package reliability

import (
	"fmt"
	"math"
	"slices"
)

// A binary decision diagram (R. E. Bryant, "Graph-based algorithms for Boolean
// function manipulation", IEEE Trans. Computers C-35, 1986) asks about one
// event at a time, always in the same order, and shares equal questions. The
// probability of the top is then one sum over its nodes, exact however often
// an event repeats in the tree (A. Rauzy, "New algorithms for fault trees
// analysis", Reliability Engineering & System Safety 40, 1993).

// The two terminals.
const (
	none int32 = 0 // false
	all  int32 = 1 // true
)

// node asks about the event at a level of the order: hi if it is there, lo if
// not. Nodes hold the indices of nodes made before them, so walking a node
// slice upward meets children first.
type node struct {
	level  int32
	hi, lo int32
}

// bdd builds decision diagrams of coherent functions. It makes each node once
// and stops at its limit: then it answers everything with none and stays
// stopped, so a recursion that runs into the limit folds up quickly.
type bdd struct {
	nodes     []node
	unique    map[node]int32
	ands, ors map[[2]int32]int32
	// steps counts nodes made and results remembered, the two things that
	// take room.
	steps, limit int
}

// terminalLevel is below every event's level.
const terminalLevel = math.MaxInt32

func newBDD(limit int) *bdd {
	return &bdd{
		nodes:  []node{{level: terminalLevel}, {level: terminalLevel}},
		unique: map[node]int32{},
		ands:   map[[2]int32]int32{},
		ors:    map[[2]int32]int32{},
		limit:  limit,
	}
}

func (b *bdd) stopped() bool { return b.steps > b.limit }

// split returns the two answers of f to the question at level; both are f
// itself if it does not ask.
func (b *bdd) split(f, level int32) (hi, lo int32) {
	if n := b.nodes[f]; n.level == level {
		return n.hi, n.lo
	}
	return f, f
}

func (b *bdd) mk(level, hi, lo int32) int32 {
	if hi == lo {
		return hi
	}
	n := node{level, hi, lo}
	if i, ok := b.unique[n]; ok {
		return i
	}
	b.steps++
	i := int32(len(b.nodes))
	b.nodes = append(b.nodes, n)
	b.unique[n] = i
	return i
}

func (b *bdd) and(f, g int32) int32 {
	switch {
	case f == none || g == none:
		return none
	case f == all || f == g:
		return g
	case g == all:
		return f
	}
	return b.apply(b.ands, b.and, f, g)
}

func (b *bdd) or(f, g int32) int32 {
	switch {
	case f == all || g == all:
		return all
	case f == none || f == g:
		return g
	case g == none:
		return f
	}
	return b.apply(b.ors, b.or, f, g)
}

func (b *bdd) apply(memo map[[2]int32]int32, op func(f, g int32) int32, f, g int32) int32 {
	if b.stopped() {
		return none
	}
	key := [2]int32{min(f, g), max(f, g)}
	if r, ok := memo[key]; ok {
		return r
	}
	level := min(b.nodes[f].level, b.nodes[g].level)
	fHi, fLo := b.split(f, level)
	gHi, gLo := b.split(g, level)
	r := b.mk(level, op(fHi, gHi), op(fLo, gLo))
	b.steps++
	memo[key] = r
	return r
}

// atLeast is the function "k or more of fs". Row j holds "j or more of the
// inputs so far"; since rows are nested, adding an input is an OR with it. It
// goes from the last input to the first because later inputs tend to ask
// further down, so each step works near the root.
func (b *bdd) atLeast(k int, fs []int32) int32 {
	rows := make([]int32, k+1)
	rows[0] = all
	for left := len(fs) - 1; left >= 0; left-- {
		if b.stopped() {
			return none
		}
		// A row that the inputs so far cannot fill, or from which the ones
		// left cannot reach k, is skipped: an OR or an AND costs n steps.
		for j := min(k, len(fs)-left); j >= max(1, k-left); j-- {
			rows[j] = b.or(rows[j], b.and(fs[left], rows[j-1]))
		}
	}
	return rows[k]
}

// Diagram is the decision diagram of a tree's top. It does not change and may
// be used by many goroutines at once.
type Diagram struct {
	tree *Tree
	// nodes holds the two terminals, then every node under the root, children
	// first; root is its last, or a terminal.
	nodes []node
	root  int32
	// eventAt is the event asked about at each level.
	eventAt []int
}

// DefaultLimit is enough for a tree of some hundred events in any sensible
// order, at about 100 bytes a step.
const DefaultLimit = 5_000_000

// Compile builds the decision diagram, asking about events in the order in
// which a walk down from the top first meets them. It returns ErrTooLarge
// after limit steps; use DefaultLimit where nothing better is known.
func (t *Tree) Compile(limit int) (*Diagram, error) {
	eventAt := t.eventOrder()
	levelOf := make([]int32, len(t.events))
	for level, e := range eventAt {
		levelOf[e] = int32(level)
	}
	b := newBDD(limit)
	functions := make([]int32, 0, len(t.gates))
	function := func(o operand) int32 {
		if o.kind == isGate {
			return functions[o.i]
		}
		return b.mk(levelOf[o.i], all, none)
	}
	for _, g := range t.gates {
		fs := make([]int32, len(g.inputs))
		for i, in := range g.inputs {
			fs[i] = function(in)
		}
		functions = append(functions, b.atLeast(g.k, fs))
		if b.stopped() {
			return nil, fmt.Errorf("decision diagram, %d steps: %w", limit, ErrTooLarge)
		}
	}
	d := &Diagram{tree: t, eventAt: eventAt}
	d.nodes, d.root = under(b.nodes, function(t.top))
	return d, nil
}

// eventOrder lists the events as a walk down from the top meets them,
// inputs in the order written. It keeps its own stack because a chain of gates
// may be as long as MaxNames.
func (t *Tree) eventOrder() []int {
	var order []int
	seenEvent, seenGate := make([]bool, len(t.events)), make([]bool, len(t.gates))
	for stack := []operand{t.top}; len(stack) > 0; {
		o := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		switch {
		case o.kind == isEvent && !seenEvent[o.i]:
			seenEvent[o.i] = true
			order = append(order, o.i)
		case o.kind == isGate && !seenGate[o.i]:
			seenGate[o.i] = true
			for _, in := range slices.Backward(t.gates[o.i].inputs) {
				stack = append(stack, in)
			}
		}
	}
	return order
}

// under keeps the nodes that root needs, in their order.
func under(nodes []node, root int32) ([]node, int32) {
	terminals := nodes[: all+1 : all+1]
	if root <= all {
		return terminals, root
	}
	needed := make([]bool, root+1)
	needed[root] = true
	for i := root; i > all; i-- {
		if needed[i] {
			needed[nodes[i].hi], needed[nodes[i].lo] = true, true
		}
	}
	kept := terminals
	place := make([]int32, root+1)
	place[all] = all
	for i := all + 1; i <= root; i++ {
		if needed[i] {
			n := nodes[i]
			place[i] = int32(len(kept))
			kept = append(kept, node{n.level, place[n.hi], place[n.lo]})
		}
	}
	return kept, place[root]
}

// ProbabilityWith is the exact probability of the top with these probabilities
// of the Tree's events, in their order: for ranges, for averages over time and
// for what-ifs.
func (d *Diagram) ProbabilityWith(probs []float64) (float64, error) {
	if err := d.tree.checkProbs(probs); err != nil {
		return 0, err
	}
	// p*hi + (1-p)*lo upward: no difference of near equals, so small
	// probabilities keep their digits.
	at := make([]float64, len(d.nodes))
	at[all] = 1
	for i := all + 1; int(i) < len(d.nodes); i++ {
		n := d.nodes[i]
		p := probs[d.eventAt[n.level]]
		at[i] = p*at[n.hi] + (1-p)*at[n.lo]
	}
	return at[d.root], nil
}
