package reliability

import (
	"fmt"
)

// Importance says what one event means to the top. With Q the probability of
// the top, q of the event, Q1 and Q0 of the top if the event is certain and if
// it cannot happen (definitions as in W. E. Vesely et al., "Measures of risk
// importance and their applications", NUREG/CR-3385, 1983, from memory):
type Importance struct {
	Event string
	Prob  float64 // q
	// CutSets is how many minimal cut sets name the event: a whole number that
	// may be past every integer type.
	CutSets float64

	// IfCertain and IfImpossible are Q1 and Q0.
	IfCertain, IfImpossible float64
	// Birnbaum is Q1 - Q0: how much the top follows the event. Times the
	// frequency of an initiating event, it is the frequency of the top by way
	// of it.
	Birnbaum float64
	// Criticality is Birnbaum*q/Q: the share of the top in which the event is
	// there and decides.
	Criticality float64
	// FussellVesely is the probability that a cut set naming the event is
	// there, over Q: the share of the top in which the event takes part.
	FussellVesely float64
	// Diagnostic is q*Q1/Q: the probability that the event is there once the
	// top is, with or without a part in it.
	Diagnostic float64
	// RAW, risk achievement worth, is Q1/Q: how many times worse if the part
	// is given up.
	RAW float64
	// RRW, risk reduction worth, is Q/Q0: how many times better if the part
	// were perfect; +Inf if nothing else leads to the top.
	RRW float64
}

// Importance works out every event's measures, in the order of Tree.Events,
// all exact. Fussell-Vesely is the costly one, some seconds where there are
// tens of thousands of cut sets. It refuses a top that cannot happen, since its shares are 0/0,
// and returns ErrTooLarge where the cut sets do not fit DefaultLimit.
func (d *Diagram) Importance() ([]Importance, error) {
	probs := d.tree.Probs()
	top := d.probability(probs)
	if top == 0 {
		return nil, refuse("top", "give the events that lead to it a probability above 0", "it cannot happen, so nothing has a share in it")
	}
	takesPart, named, err := d.sharesInCutSets(probs)
	if err != nil {
		return nil, err
	}
	measures := make([]Importance, len(probs))
	for e, q := range probs {
		probs[e] = 1
		q1 := d.probability(probs)
		probs[e] = 0
		q0 := d.probability(probs)
		probs[e] = q
		measures[e] = Importance{
			Event:         d.tree.events[e].Name,
			Prob:          q,
			CutSets:       named[e],
			IfCertain:     q1,
			IfImpossible:  q0,
			Birnbaum:      q1 - q0,
			Criticality:   (q1 - q0) * q / top,
			FussellVesely: takesPart[e] / top,
			Diagnostic:    q * q1 / top,
			RAW:           q1 / top,
			RRW:           top / q0, // q0 = 0 gives +Inf
		}
	}
	return measures, nil
}

// sharesInCutSets returns for each event the probability that a minimal cut
// set naming it is there, and the number of such sets.
func (d *Diagram) sharesInCutSets(probs []float64) (takesPart, named []float64, err error) {
	takesPart, named = make([]float64, len(probs)), make([]float64, len(probs))
	z := newZBDD(DefaultLimit)
	root := z.minimalSets(d.nodes, d.root)
	b := newBDD(DefaultLimit)
	for level, e := range d.eventAt {
		rest := z.naming(root, int32(level))
		family, familyRoot := under(z.nodes, rest)
		named[e] = counts(family)[familyRoot]
		reached := b.union(family, familyRoot)
		if z.stopped() || b.stopped() {
			return nil, nil, fmt.Errorf("importance: %w", ErrTooLarge)
		}
		nodes, root := under(b.nodes, reached)
		takesPart[e] = probs[e] * nodeProbabilities(nodes, d.eventAt, probs)[root]
	}
	return takesPart, named, nil
}

// naming returns the sets that name the event at a level, without it.
func (z *zbdd) naming(f, level int32) int32 {
	below := make(map[int32]int32)
	var walk func(f int32) int32
	walk = func(f int32) int32 {
		n := z.nodes[f]
		switch {
		case n.level > level:
			return none
		case n.level == level:
			return n.hi
		}
		if r, ok := below[f]; ok {
			return r
		}
		r := z.mk(n.level, walk(n.hi), walk(n.lo))
		below[f] = r
		return r
	}
	return walk(f)
}

// union is the function "some set of the family is there".
func (b *bdd) union(family []node, root int32) int32 {
	f := make([]int32, len(family))
	f[all] = all
	for i := all + 1; int(i) < len(family); i++ {
		n := family[i]
		f[i] = b.mk(n.level, b.or(f[n.hi], f[n.lo]), f[n.lo])
	}
	return f[root]
}
