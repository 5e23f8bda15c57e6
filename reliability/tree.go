package reliability

import (
	"fmt"
	"slices"
	"strings"
)

// MaxNames bounds the gates and events of one model together. It keeps the
// depth of every recursion over a tree within what a stack can carry.
const MaxNames = 1 << 16

// Model is a fault tree as it is written down. NewTree checks it and builds
// the tree that can be analysed.
type Model struct {
	// Top is the gate or event whose probability is wanted.
	Top    string
	Gates  []Gate
	Events []Event
}

// GateKind says how a gate's inputs combine. There is no NOT: more failures
// never make the top less likely, so every tree is coherent.
type GateKind uint8

const (
	Or      GateKind = iota + 1 // at least one input
	And                         // all inputs
	AtLeast                     // at least K inputs
)

// Gate is an intermediate event. Inputs name gates or events, each at most
// once.
type Gate struct {
	Name   string
	Kind   GateKind
	K      int // for AtLeast: 1 to the number of inputs
	Inputs []string
}

// Event is a basic event. It is independent of every other event; dependence
// is written as an event that several gates share.
type Event struct {
	Name string
	// Prob is the probability that the event is there, 0 to 1.
	Prob float64
}

// Tree is a checked fault tree. Its events stand in the model's order, which
// probability vectors use. It does not change and may be used by many
// goroutines at once.
type Tree struct {
	events []Event
	gates  []gate // the ones under the top, inputs before the gates that use them
	top    operand
}

// gate is every kind of gate in one: at least k of its inputs. One input makes
// an OR, all of them an AND.
type gate struct {
	k      int
	inputs []operand
}

type operandKind uint8

const (
	isEvent operandKind = iota
	isGate
)

// operand is an index into Tree.events or Tree.gates.
type operand struct {
	kind operandKind
	i    int
}

// checkProbs refuses a probability vector that does not fit the tree.
func (t *Tree) checkProbs(p []float64) error {
	if len(p) != len(t.events) {
		return refuse("probabilities", "give one per event, in the order of the model",
			"%d values for %d events", len(p), len(t.events))
	}
	for i, v := range p {
		if err := checkProbability("event "+t.events[i].Name, v); err != nil {
			return err
		}
	}
	return nil
}

// NewTree checks a model. It returns an *InputError for a probability outside
// 0 to 1, a name defined twice or not at all, a gate with no inputs or an
// impossible K, and a loop (with the path round it).
func NewTree(m Model) (*Tree, error) {
	b := builder{byName: map[string]operand{}}
	for _, step := range []func(Model) error{b.addEvents, b.addGates} {
		if err := step(m); err != nil {
			return nil, err
		}
	}
	top, ok := b.byName[m.Top]
	if !ok {
		return nil, refuse("top", "name a gate or an event of the model", "%q is not defined", m.Top)
	}
	order, err := b.inputsFirst(m, top)
	if err != nil {
		return nil, err
	}
	return b.tree(top, order), nil
}

// builder resolves names.
type builder struct {
	byName map[string]operand
	events []Event
	gates  []gate
}

func (b *builder) define(place, name string, o operand) error {
	if name == "" {
		return refuse(place, "give it a name", "it has no name")
	}
	if _, twice := b.byName[name]; twice {
		return refuse(place+" "+name, "give one of them another name", "the name is defined twice")
	}
	if len(b.byName) == MaxNames {
		return refuse(place+" "+name, "split the model", "more than %d names", MaxNames)
	}
	b.byName[name] = o
	return nil
}

func (b *builder) addEvents(m Model) error {
	for i, e := range m.Events {
		if err := checkProbability("event "+e.Name, e.Prob); err != nil {
			return err
		}
		if err := b.define("event", e.Name, operand{isEvent, i}); err != nil {
			return err
		}
	}
	b.events = slices.Clone(m.Events)
	return nil
}

func (b *builder) addGates(m Model) error {
	for i, g := range m.Gates {
		if err := b.define("gate", g.Name, operand{isGate, i}); err != nil {
			return err
		}
	}
	for _, g := range m.Gates {
		resolved, err := b.resolve(g)
		if err != nil {
			return err
		}
		b.gates = append(b.gates, resolved)
	}
	return nil
}

func (b *builder) resolve(g Gate) (gate, error) {
	place := "gate " + g.Name
	n := len(g.Inputs)
	if n == 0 {
		return gate{}, refuse(place, "give it inputs or remove it", "it has no inputs")
	}
	var k int
	switch g.Kind {
	case Or:
		k = 1
	case And:
		k = n
	case AtLeast:
		k = g.K
		if k < 1 || k > n {
			return gate{}, refuse(place, fmt.Sprintf("ask for 1 to %d", n), "at least %d of %d inputs", k, n)
		}
	default:
		return gate{}, refuse(place, "use Or, And or AtLeast", "kind %d is unknown", g.Kind)
	}
	inputs := make([]operand, n)
	seen := make(map[string]bool, n)
	for i, name := range g.Inputs {
		o, ok := b.byName[name]
		if !ok {
			return gate{}, refuse(place, "define it as a gate or an event", "it refers to %q, which is not defined", name)
		}
		if seen[name] {
			return gate{}, refuse(place, "name each input once", "it names %q twice", name)
		}
		seen[name] = true
		inputs[i] = o
	}
	return gate{k, inputs}, nil
}

// inputsFirst lists the gates under the top so that each comes after its
// inputs. It walks every gate, so a loop is found wherever it is. It keeps its
// own stack because a chain of gates may be as long as MaxNames.
func (b *builder) inputsFirst(m Model, top operand) ([]int, error) {
	const (
		unseen = iota
		open
		done
	)
	state := make([]uint8, len(b.gates))
	type frame struct{ gate, next int }
	var order []int
	visit := func(root int) error {
		stack := []frame{{root, 0}}
		state[root] = open
		for len(stack) > 0 {
			f := &stack[len(stack)-1]
			inputs := b.gates[f.gate].inputs
			if f.next == len(inputs) {
				state[f.gate] = done
				order = append(order, f.gate)
				stack = stack[:len(stack)-1]
				continue
			}
			in := inputs[f.next]
			f.next++
			if in.kind != isGate || state[in.i] == done {
				continue
			}
			if state[in.i] == open {
				path := []int{in.i}
				for i := slices.IndexFunc(stack, func(f frame) bool { return f.gate == in.i }) + 1; i < len(stack); i++ {
					path = append(path, stack[i].gate)
				}
				return b.loop(m, append(path, in.i))
			}
			state[in.i] = open
			stack = append(stack, frame{in.i, 0})
		}
		return nil
	}
	if top.kind == isGate {
		if err := visit(top.i); err != nil {
			return nil, err
		}
	}
	underTop := slices.Clone(order)
	for g := range b.gates {
		if state[g] == unseen {
			if err := visit(g); err != nil {
				return nil, err
			}
		}
	}
	return underTop, nil
}

func (b *builder) loop(m Model, path []int) error {
	names := make([]string, len(path))
	for i, g := range path {
		names[i] = m.Gates[g].Name
	}
	return refuse("gate "+names[0], "a gate cannot depend on itself: break the loop",
		"it is part of a loop: %s", strings.Join(names, " -> "))
}

// tree renumbers the gates to the given order.
func (b *builder) tree(top operand, order []int) *Tree {
	place := make(map[int]int, len(order))
	for i, g := range order {
		place[g] = i
	}
	renumber := func(o operand) operand {
		if o.kind == isGate {
			o.i = place[o.i]
		}
		return o
	}
	t := &Tree{events: b.events, top: renumber(top)}
	for _, g := range order {
		g := b.gates[g]
		for i, in := range g.inputs {
			g.inputs[i] = renumber(in)
		}
		t.gates = append(t.gates, g)
	}
	return t
}
