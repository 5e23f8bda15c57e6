package reliability

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawModel makes a tree of up to nine events with everything a model can
// hold: shared gates, a shared cause, probabilities 0 and 1.
func drawModel(t *rapid.T) Model {
	var m Model
	var names []string
	// No lower than 1e-9, or products run out of the digits that floats keep
	// near their smallest.
	probability := rapid.OneOf(rapid.Float64Range(0.001, 1), rapid.Just(0.0), rapid.Just(1.0), rapid.Float64Range(1e-9, 1e-3))
	for i := range rapid.IntRange(1, 6).Draw(t, "events") {
		name := fmt.Sprintf("e%d", i)
		names = append(names, name)
		m.Events = append(m.Events, Event{Name: name, Prob: probability.Draw(t, name)})
	}
	if rapid.Bool().Draw(t, "group") {
		names = append(names, "m1", "m2")
		m.addGroup("common", []string{"m1", "m2"}, probability.Draw(t, "p"), probability.Draw(t, "beta"))
	}
	for i := range rapid.IntRange(1, 8).Draw(t, "gates") {
		g := Gate{Name: fmt.Sprintf("g%d", i), Kind: rapid.SampledFrom([]GateKind{Or, And, AtLeast}).Draw(t, "kind")}
		g.Inputs = rapid.SliceOfNDistinct(rapid.SampledFrom(names), 1, min(5, len(names)), rapid.ID).Draw(t, "inputs")
		if g.Kind == AtLeast {
			g.K = rapid.IntRange(1, len(g.Inputs)).Draw(t, "k")
		}
		m.Gates = append(m.Gates, g)
		names = append(names, g.Name)
	}
	m.Top = m.Gates[len(m.Gates)-1].Name
	return m
}

// truth is the top for every state of the events, bit i of the state for
// event i of the tree: the definition of a fault tree, with no method in it.
func truth(m Model, events []Event) []bool {
	columns := map[string][]bool{}
	column := func(f func(state int) bool) []bool {
		c := make([]bool, 1<<len(events))
		for state := range c {
			c[state] = f(state)
		}
		return c
	}
	bit := func(name string) int {
		return slices.IndexFunc(events, func(e Event) bool { return e.Name == name })
	}
	for _, e := range m.Events {
		i := bit(e.Name)
		columns[e.Name] = column(func(s int) bool { return s>>i&1 == 1 })
	}
	for _, g := range m.Gates { // drawn inputs first
		k := map[GateKind]int{Or: 1, And: len(g.Inputs), AtLeast: g.K}[g.Kind]
		columns[g.Name] = column(func(s int) bool {
			n := 0
			for _, in := range g.Inputs {
				if columns[in][s] {
					n++
				}
			}
			return n >= k
		})
	}
	return columns[m.Top]
}

// probabilityOf a state of the events.
func probabilityOf(state int, events []Event) float64 {
	p := 1.0
	for i, e := range events {
		if state>>i&1 == 1 {
			p *= e.Prob
		} else {
			p *= 1 - e.Prob
		}
	}
	return p
}

func topProbability(table []bool, events []Event) float64 {
	top := 0.0
	for s, is := range table {
		if is {
			top += probabilityOf(s, events)
		}
	}
	return top
}

// near allows for rounding: the methods multiply in different orders.
func near(a, b float64) bool {
	return math.Abs(a-b) <= 1e-12*max(math.Abs(a), math.Abs(b))
}

const treesPerCheck = 30 // with rapid's hundred checks: three thousand trees

// TestDiagramAgreesWithStates: the diagram finds what the table of all states says.
func TestDiagramAgreesWithStates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for range treesPerCheck {
			m := drawModel(t)
			tree, err := NewTree(m)
			if err != nil {
				t.Fatal(err)
			}
			d, err := tree.Compile(DefaultLimit)
			if err != nil {
				t.Fatal(err)
			}
			want := topProbability(truth(m, tree.events), tree.events)
			if got := probability(t, d); !near(got, want) {
				t.Fatalf("top by diagram %v, by states %v", got, want)
			}
		}
	})
}
