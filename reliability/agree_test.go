package reliability

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func sorted(list []string) []string {
	list = slices.Clone(list)
	slices.Sort(list)
	return list
}

// drawModel makes a tree of up to nine events with everything a model can
// hold: shared gates, house events, a beta group, probabilities 0 and 1.
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
	if rapid.IntRange(0, 3).Draw(t, "house") == 0 {
		names = append(names, "yes", "no")
		m.House = []House{{"yes", true}, {"no", false}}
	}
	if rapid.Bool().Draw(t, "group") {
		names = append(names, "m1", "m2")
		m.Groups = []BetaGroup{{"common", []string{"m1", "m2"}, probability.Draw(t, "p"), probability.Draw(t, "beta")}}
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
	for _, h := range m.House {
		columns[h.Name] = column(func(int) bool { return h.State })
	}
	for _, g := range m.Groups {
		common := bit(g.Name)
		for _, name := range g.Members {
			own := bit(name)
			columns[name] = column(func(s int) bool { return s>>own&1 == 1 || s>>common&1 == 1 })
		}
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

// byStates works everything out from the table of states.
type byStates struct {
	table     []bool
	top       float64
	minimal   []int // states
	takesPart []float64
}

func enumerate(m Model, events []Event) byStates {
	table := truth(m, events)
	b := byStates{table: table, top: topProbability(table, events)}
	for s, is := range table {
		minimal := is
		for i := range events {
			if s>>i&1 == 1 && table[s&^(1<<i)] {
				minimal = false
			}
		}
		if minimal {
			b.minimal = append(b.minimal, s)
		}
	}
	b.takesPart = make([]float64, len(events))
	for s, is := range table {
		if !is {
			continue
		}
		p, part := probabilityOf(s, events), 0
		for _, set := range b.minimal {
			if set&^s == 0 {
				part |= set
			}
		}
		for i := range events {
			if part>>i&1 == 1 {
				b.takesPart[i] += p
			}
		}
	}
	return b
}

func states(c *CutSets) []int {
	var list []int
	for _, set := range c.indices {
		s := 0
		for _, e := range set {
			s |= 1 << e
		}
		list = append(list, s)
	}
	slices.Sort(list)
	return list
}

// near allows for rounding: the methods multiply in different orders.
func near(a, b float64) bool {
	return math.Abs(a-b) <= 1e-12*max(math.Abs(a), math.Abs(b))
}

const treesPerCheck = 30 // with rapid's hundred checks: three thousand trees

func TestMethodsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for range treesPerCheck {
			m := drawModel(t)
			tree, err := NewTree(m)
			if err != nil {
				t.Fatal(err)
			}
			want := enumerate(m, tree.events)
			d, err := tree.Compile(DefaultLimit)
			if err != nil {
				t.Fatal(err)
			}
			viaDiagram, err := d.MinimalCutSets(1000)
			if err != nil {
				t.Fatal(err)
			}
			viaExpansion, err := tree.ExpandCutSets(10_000)
			if err != nil {
				t.Fatal(err)
			}
			if got := states(viaDiagram); !slices.Equal(got, want.minimal) {
				t.Fatalf("cut sets by diagram %b, by states %b", got, want.minimal)
			}
			if got := states(viaExpansion); !slices.Equal(got, want.minimal) {
				t.Fatalf("cut sets by expansion %b, by states %b", got, want.minimal)
			}
			exact, err := viaExpansion.Exact(100_000)
			if err != nil {
				t.Fatal(err)
			}
			if got := d.Probability(); !near(got, want.top) || !near(exact, want.top) {
				t.Fatalf("top by diagram %v, by disjoint products %v, by states %v", got, exact, want.top)
			}
			rare, bound := viaDiagram.RareEvent(), viaDiagram.UpperBound()
			if slack := 1 + 1e-12; want.top > bound*slack || bound > rare*slack {
				t.Fatalf("top %v, upper bound %v, rare event %v are out of order", want.top, bound, rare)
			}
			checkImportance(t, d, want)
		}
	})
}

func checkImportance(t *rapid.T, d *Diagram, want byStates) {
	measures, err := d.Importance()
	if want.top == 0 {
		if err == nil {
			t.Fatal("importance of an impossible top was not refused")
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	for i, got := range measures {
		events := slices.Clone(d.tree.events)
		q := events[i].Prob
		events[i].Prob = 1
		q1 := topProbability(want.table, events)
		events[i].Prob = 0
		q0 := topProbability(want.table, events)
		named := 0.0
		for _, s := range want.minimal {
			if s>>i&1 == 1 {
				named++
			}
		}
		switch {
		case got.CutSets != named:
			t.Fatalf("%s: in %v cut sets, want %v", got.Event, got.CutSets, named)
		case !near(got.IfCertain, q1) || !near(got.IfImpossible, q0):
			t.Fatalf("%s: top if certain %v and if impossible %v, want %v and %v", got.Event, got.IfCertain, got.IfImpossible, q1, q0)
		case !near(got.FussellVesely, want.takesPart[i]/want.top):
			t.Fatalf("%s: Fussell-Vesely %v, want %v", got.Event, got.FussellVesely, want.takesPart[i]/want.top)
		case !near(q*got.IfCertain+(1-q)*got.IfImpossible, want.top):
			t.Fatalf("%s: the two cases do not add up to the top", got.Event)
		}
	}
}
