package guard_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"isohaline/internal/guard"
)

// The exploration visits every state a guard can reach, from every state under
// every input, request and movement of the clock, and asks each invariant of
// each move. Time comes in whole quanta of four hours, so that the 24 h of the
// daily budget are six of them and the states stay few; a rule that compares
// ages with settings cannot tell.
const q = 4 * time.Hour

// controller is the guard, or a broken one that must be caught.
type controller struct {
	boot     func(*guard.Settings, guard.State, time.Duration) guard.State
	step     func(*guard.Settings, guard.State, guard.Inputs, time.Duration) (guard.State, guard.Outputs)
	deadline func(*guard.Settings, guard.State, guard.Inputs) time.Duration
}

var genuine = controller{guard.Boot, guard.Step, guard.Deadline}

// node is a guard's state, its clock set back to 0, with what a witness beside
// it has seen.
type node struct {
	state   guard.State
	witness witness
}

// move is one step from node to node.
type move struct {
	kit     *kit
	from    *node
	to      node
	in      guard.Inputs
	elapsed time.Duration
	out     guard.Outputs
	broken  bool // the clock was at fault, or the power went
}

func (m *move) String() string {
	line := fmt.Sprintf("%+v later: watch %v, ceiling %v, floor %v, reservoir %v, return %v, level %v, asked %v",
		m.elapsed, m.in.Watch, m.in.Ceiling, m.in.Floor, m.in.ReservoirLow, m.in.ReturnPump, m.in.LevelMM, m.in.Request)
	if m.in.Request == guard.Give {
		line += fmt.Sprintf(" %v", m.in.GiveFor)
	}
	if m.in.Remote {
		line += " from afar"
	}
	if m.out.Refused != guard.NoReason {
		line += fmt.Sprintf(", refused: %v", m.out.Refused)
	}
	return fmt.Sprintf("%s -> %v, pump %v, %v [%v]", line, m.to.state.Phase, m.out.Pump, m.out.Reason, m.out.Alarms)
}

// violation is a broken invariant, with the way there from power-up.
type violation struct {
	invariant, because string
	path               []move
}

func (v *violation) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n", v.invariant, v.because)
	for i := range v.path {
		fmt.Fprintf(&b, "  %v\n", &v.path[i])
	}
	return b.String()
}

// result is how much was explored, and what was seen on the way.
type result struct {
	states, moves int
	seen          guard.Alarms // every reason answered or alarmed
	phases        map[guard.Phase]int
}

// explore visits every node that kit can reach under c, breadth first, until
// none is new or one of the invariants breaks.
func explore(k *kit, c controller, invariants []invariant) (result, *violation) {
	type origin struct {
		parent  int32
		input   int32 // index into inputs; -1: power-up
		elapsed time.Duration
	}
	inputs := k.inputs()
	var (
		nodes   = []node{{state: c.boot(&k.settings, guard.State{}, 0), witness: newWitness()}}
		origins = []origin{{parent: -1, input: -1}}
		known   = map[node]struct{}{nodes[0]: {}}
		res     = result{phases: map[guard.Phase]int{}}
	)
	visit := func(m *move, from, input int) bool {
		res.moves++
		res.seen |= m.out.Alarms | 1<<m.out.Reason | 1<<m.out.Refused
		if _, ok := known[m.to]; ok {
			return false
		}
		known[m.to] = struct{}{}
		nodes = append(nodes, m.to)
		origins = append(origins, origin{int32(from), int32(input), m.elapsed})
		res.phases[m.to.state.Phase]++
		return true
	}
	fail := func(m *move, from int, v *violation) *violation {
		v.path = []move{*m}
		for i := from; i > 0; i = int(origins[i].parent) {
			o := origins[i]
			if o.input < 0 {
				v.path = append([]move{{kit: k, to: nodes[i], broken: true}}, v.path...)
				continue
			}
			var m move
			m.take(c, k, &nodes[o.parent], inputs[o.input], o.elapsed)
			v.path = append([]move{m}, v.path...)
		}
		return v
	}
	var m move // one for all moves: there are tens of millions
	for i := 0; i < len(nodes); i++ {
		// The power goes, and comes back.
		from := nodes[i]
		m = move{kit: k, from: &from, broken: true}
		m.to.state = c.boot(&k.settings, from.state, 0)
		m.to.witness = from.witness.afterBoot(&k.settings)
		if because := check(invariants, atPowerCut, &m, c); because != nil {
			return res, fail(&m, i, because)
		}
		visit(&m, i, -1)

		for j, in := range inputs {
			for _, elapsed := range k.elapsed {
				m.take(c, k, &from, in, elapsed)
				because := check(invariants, atMove, &m, c)
				if because == nil && visit(&m, i, j) {
					because = check(invariants, atState, &m, c)
				}
				if because != nil {
					return res, fail(&m, i, because)
				}
			}
		}
		if len(nodes) > maxNodes {
			return res, &violation{invariant: "finite states", because: fmt.Sprintf("more than %d", maxNodes)}
		}
	}
	res.states = len(nodes)
	return res, nil
}

// check is the first of the invariants asked at this moment that m breaks.
func check(invariants []invariant, at moment, m *move, c controller) *violation {
	for i := range invariants {
		if invariants[i].at != at {
			continue
		}
		if because := invariants[i].holds(m, c); because != "" {
			return &violation{invariant: invariants[i].name, because: because}
		}
	}
	return nil
}

// maxNodes stops an exploration that does not end.
const maxNodes = 50_000

// take makes one move.
func (m *move) take(c controller, k *kit, from *node, in guard.Inputs, elapsed time.Duration) {
	m.kit, m.from, m.in, m.elapsed = k, from, in, elapsed
	m.to.state, m.out = c.step(&k.settings, from.state, in, elapsed)
	m.to.state.Last -= elapsed // the time origin must not matter: set the clock back to 0
	m.to.witness, m.broken = from.witness.see(k, in, elapsed, m.to.state.Phase, m.out)
}

// kit is a guard's wiring and settings, and how far time moves between steps.
type kit struct {
	name     string
	settings guard.Settings
	elapsed  []time.Duration
	levelsMM []float64
	gives    []time.Duration // measures to ask for; with them whatever else is asked from afar
	strays   bool            // also try readings that the wiring cannot give
	large    bool            // not with -short
}

// inputs is every reading that the kit's inputs can give together with every
// request.
func (k *kit) inputs() []guard.Inputs {
	says := func(fitted bool) []guard.Contact {
		if fitted {
			return []guard.Contact{guard.Dry, guard.Wet, guard.Faulty}
		}
		return []guard.Contact{guard.Absent}
	}
	levels := k.levelsMM
	if levels == nil {
		levels = []float64{math.NaN()}
	}
	s := &k.settings
	var all []guard.Inputs
	for _, watch := range says(true) {
		for _, ceiling := range says(s.CeilingFitted) {
			for _, floor := range says(s.FloorFitted) {
				for _, reservoir := range says(s.ReservoirLowFitted) {
					for _, pump := range says(s.ReturnFitted) {
						for _, level := range levels {
							in := guard.Inputs{
								Watch: watch, Ceiling: ceiling, Floor: floor,
								ReservoirLow: reservoir, ReturnPump: pump, LevelMM: level,
							}
							all = append(all, k.asked(in)...)
						}
					}
				}
			}
		}
	}
	if k.strays {
		for _, in := range slices.Clone(all) {
			if in.Watch == guard.Faulty { // a fitted input that is missing, or says nonsense
				in.Watch = guard.Absent
				all = append(all, in)
				in.Watch = 9
				all = append(all, in)
				continue
			}
			in.Ceiling, in.Floor, in.ReservoirLow, in.ReturnPump = guard.Wet, guard.Wet, guard.Dry, guard.Dry
			all = append(all, in) // inputs that are not fitted speak
		}
	}
	return all
}

// asked is a reading with every request that the kit's people make.
func (k *kit) asked(in guard.Inputs) []guard.Inputs {
	var all []guard.Inputs
	for request := guard.NoRequest; request <= guard.Clear; request++ {
		in.Request = request
		all = append(all, in)
	}
	if len(k.gives) == 0 {
		return all
	}
	in.Remote = true
	for _, request := range []guard.Request{guard.Clear, guard.ShutValve, guard.Silence} {
		in.Request = request
		all = append(all, in)
	}
	for _, measure := range k.gives {
		in.Request, in.GiveFor = guard.Give, measure
		all = append(all, in)
	}
	return all
}
