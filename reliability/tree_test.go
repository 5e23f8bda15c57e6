package reliability

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// wantRefusal checks that an error names the place and the trouble, and says
// what to do.
func wantRefusal(t *testing.T, name string, err error, place, problem string) {
	t.Helper()
	var refused *InputError
	switch {
	case !errors.As(err, &refused):
		t.Errorf("%s: got %v, want a refusal", name, err)
	case !strings.Contains(refused.Place, place) || !strings.Contains(refused.Problem, problem):
		t.Errorf("%s: got %q, want place %q and problem %q", name, err, place, problem)
	case refused.Fix == "":
		t.Errorf("%s: %q has no fix", name, err)
	}
}

func TestRefusedModels(t *testing.T) {
	two := []Event{{Name: "a", Prob: 0.1}, {Name: "b", Prob: 0.2}}
	or := func(name string, inputs ...string) Gate { return Gate{Name: name, Kind: Or, Inputs: inputs} }
	rows := []struct {
		name           string
		model          Model
		place, problem string
	}{
		{"probability above 1", Model{Top: "a", Events: []Event{{Name: "a", Prob: 1.2}}}, "event a", "1.2"},
		{"probability below 0", Model{Top: "a", Events: []Event{{Name: "a", Prob: -0.1}}}, "event a", "-0.1"},
		{"probability NaN", Model{Top: "a", Events: []Event{{Name: "a", Prob: math.NaN()}}}, "event a", "NaN"},
		{"no top", Model{Events: two}, "top", `""`},
		{"unknown top", Model{Top: "x", Events: two}, "top", `"x"`},
		{"loop", Model{Top: "g", Gates: []Gate{or("g", "a", "h"), or("h", "k"), or("k", "b", "h")}, Events: two}, "gate h", "h -> k -> h"},
		{"loop on itself", Model{Top: "g", Gates: []Gate{or("g", "g")}}, "gate g", "g -> g"},
		{"loop away from the top", Model{Top: "a", Gates: []Gate{or("g", "h"), or("h", "g")}, Events: two}, "gate g", "g -> h -> g"},
		{"missing reference", Model{Top: "g", Gates: []Gate{or("g", "a", "pump")}, Events: two}, "gate g", `"pump"`},
		{"gate without inputs", Model{Top: "g", Gates: []Gate{or("g")}}, "gate g", "no inputs"},
		{"input twice", Model{Top: "g", Gates: []Gate{or("g", "a", "a")}, Events: two}, "gate g", `"a" twice`},
		{"3 of 2", Model{Top: "g", Gates: []Gate{{Name: "g", Kind: AtLeast, K: 3, Inputs: []string{"a", "b"}}}, Events: two}, "gate g", "3 of 2"},
		{"0 of 2", Model{Top: "g", Gates: []Gate{{Name: "g", Kind: AtLeast, Inputs: []string{"a", "b"}}}, Events: two}, "gate g", "0 of 2"},
		{"no kind", Model{Top: "g", Gates: []Gate{{Name: "g", Inputs: []string{"a"}}}, Events: two}, "gate g", "kind 0"},
		{"event twice", Model{Top: "a", Events: append(two, two[0])}, "event a", "twice"},
		{"gate named like an event", Model{Top: "a", Gates: []Gate{or("a", "b")}, Events: two}, "gate a", "twice"},
		{"no name", Model{Top: "a", Events: []Event{{Prob: 0.1}}}, "event", "no name"},
	}
	for _, r := range rows {
		_, err := NewTree(r.model)
		wantRefusal(t, r.name, err, r.place, r.problem)
	}
}

func TestTooManyNames(t *testing.T) {
	m := Model{Top: "e0"}
	for i := range MaxNames + 1 {
		m.Events = append(m.Events, Event{Name: fmt.Sprintf("e%d", i)})
	}
	_, err := NewTree(m)
	wantRefusal(t, "one too many", err, fmt.Sprintf("event e%d", MaxNames), "more than")
	m.Events = m.Events[:MaxNames]
	if _, err := NewTree(m); err != nil {
		t.Error(err)
	}
}

// TestLongTrees: a chain of gates as long as a model may be, which would
// exhaust a careless recursion, and one OR over as many events.
func TestLongTrees(t *testing.T) {
	const n = MaxNames/2 - 1
	chain := Model{Top: fmt.Sprintf("g%d", n-1)}
	wide := Gate{Name: "wide", Kind: Or}
	below := "e"
	chain.Events = []Event{{Name: below, Prob: 1e-3}}
	for i := range n {
		event := Event{Name: fmt.Sprintf("e%d", i), Prob: 1e-8}
		g := Gate{Name: fmt.Sprintf("g%d", i), Kind: Or, Inputs: []string{event.Name, below}}
		below = g.Name
		chain.Events = append(chain.Events, event)
		chain.Gates = append(chain.Gates, g)
		wide.Inputs = append(wide.Inputs, event.Name)
	}
	flat := Model{Top: wide.Name, Events: chain.Events, Gates: []Gate{wide}}
	none := n * math.Log1p(-1e-8)
	for _, r := range []struct {
		model Model
		want  float64
	}{{chain, -math.Expm1(none + math.Log1p(-1e-3))}, {flat, -math.Expm1(none)}} {
		_, d := compile(t, r.model)
		if got := probability(t, d); math.Abs(got-r.want) > 1e-11*r.want {
			t.Errorf("%s: %v, want %v", r.model.Top, got, r.want)
		}
	}
}

func TestCertainAndImpossibleTops(t *testing.T) {
	for _, top := range []float64{0, 1} {
		_, d := compile(t, Model{
			Top:    "g",
			Gates:  []Gate{{Name: "g", Kind: AtLeast, K: 1, Inputs: []string{"h"}}},
			Events: []Event{{Name: "unused", Prob: 0.5}, {Name: "h", Prob: top}},
		})
		if got := probability(t, d); got != top {
			t.Errorf("top %v, want %v", got, top)
		}
	}
}

func TestLimits(t *testing.T) {
	tree, _ := compile(t, readModels(t)["Chinese"].Model)
	if _, err := tree.Compile(10); !errors.Is(err, ErrTooLarge) {
		t.Errorf("diagram of 10 steps: %v", err)
	}
}

func TestProbabilityVectors(t *testing.T) {
	_, d := compile(t, readModels(t)["two_of_three"].Model)
	for name, p := range map[string][]float64{"short": {0.1, 0.2}, "long": {0, 0, 0, 0}, "NaN": {0.1, math.NaN(), 0.2}, "above 1": {0.1, 1.1, 0}} {
		if _, err := d.ProbabilityWith(p); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	got, err := d.ProbabilityWith([]float64{1, 1, 0})
	if err != nil || got != 1 {
		t.Errorf("two of three certain: %v, %v", got, err)
	}
}
