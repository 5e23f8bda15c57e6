package decide

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
	"isohaline/internal/longtest"
)

// The exploration tries an agent, its disk, a network and a relay under a lease
// in every order: every request lost, repeated, late, or after its successor; the
// process hung, killed and started again, before and after what it saves; and the
// watch sensor saying anything. Time comes in ticks of 10 s, so that a request is
// fresh for three of them; a lease lasts one. Worlds that are alike are visited
// once.
const tick = 10 * time.Second

// horizon is how many ticks are explored: a give, a fill, their pauses, and time
// enough for every request to be stale.
const horizon = 9

// asked are the requests on the network; each may arrive at any tick from its own
// on, any number of times, or never.
var asked = [...]struct {
	at   int // tick
	kind requests.Kind
	ml   float64
}{
	{2, requests.Give, 20}, {3, requests.Hold, 0}, {4, requests.Resume, 0},
}

func message(i int) requests.Request {
	a := asked[i]
	return requests.Request{ID: fmt.Sprint("r", i), Seq: uint64(i + 1), Kind: a.kind, GiveML: a.ml, AskedAt: noon.Add(time.Duration(a.at) * tick)}
}

// small are settings of one or two ticks each; one millilitre a second.
func small() *Config {
	s := guard.Settings{
		ConfirmDry: tick, ConfirmWet: 0, FirstFillLimit: 3 * tick, RunLimitFactor: 1.5, RunLimitFloor: 3 * tick, HardCap: 3 * tick,
		MinOff: tick, RestartSettle: tick, DailyBudget: guard.Day, GiveMost: 3 * tick, StallCalls: 5,
	}
	return &Config{Settings: s, FlowMLS: 1}
}

// process is what the agent's process does.
type process uint8

const (
	runs process = iota
	hangs
	dead
)

// world is everything, as a comparable value: what of the ledger matters is which
// requests it holds and how they were answered.
type world struct {
	at              int
	process         process
	memory, disk    guard.State
	memSeq, diskSeq uint64
	memAns, diskAns [len(asked)]int8 // 0: none, 1: refused, 2: taken

	relay lease.Lease // its Until counted from now, so that worlds are alike
	pump  bool        // at the relay

	// What a witness has seen.
	on      int              // ticks for which the relay has been on
	silent  int              // ticks since the process last said anything
	effects [len(asked)]int8 // how often each took effect
	highest int8             // the latest that did, from 1
	told    [len(asked)]int8 // the first answer each got
	broken  string
}

// house is how the agent is built; a broken one must be caught.
type house struct {
	step   func(*Config, State, guard.Inputs, *Ask, Moment) Result
	save   func(State) State // what the disk keeps
	lasts  time.Duration     // of a lease
	before bool              // acts before it saves
	only   string            // the one invariant to ask; "": all
}

var genuine = house{step: Step, save: func(s State) State { return s }, lasts: tick}

// state is the agent's memory as decide has it.
func (w *world) state() State {
	return State{Guard: w.memory, Ledger: ledgerOf(w.memSeq, w.memAns)}
}

func ledgerOf(seq uint64, answers [len(asked)]int8) requests.Ledger {
	l := requests.Ledger{LastSeq: seq}
	for i, a := range answers {
		if a > 0 {
			l.Recent = append(l.Recent, requests.Entry{Request: message(i), Answer: requests.Answer{ID: message(i).ID, Taken: a == 2}})
		}
	}
	return l
}

func answersOf(l requests.Ledger) (answers [len(asked)]int8) {
	for _, e := range l.Recent {
		for i := range asked {
			if e.Request.ID == message(i).ID {
				answers[i] = 1
				if e.Answer.Taken {
					answers[i] = 2
				}
			}
		}
	}
	return answers
}

// happening is one thing that may happen at a tick.
type happening struct {
	watch   guard.Contact
	deliver int // a message, -1: none
	what    string
}

var whats = []string{"", "hangs", "wakes", "killed", "starts", "killed before saving", "killed after saving"}

// after is the world a tick later, and false where this cannot happen.
func (w world) after(c *Config, h house, x happening) (world, bool) {
	switch x.what {
	case "hangs", "killed before saving", "killed after saving":
		if w.process != runs {
			return w, false
		}
	case "wakes":
		if w.process != hangs {
			return w, false
		}
	case "starts":
		if w.process != dead {
			return w, false
		}
	case "killed":
		if w.process == dead {
			return w, false
		}
	}
	if x.deliver >= 0 && (asked[x.deliver].at > w.at || w.process == dead && x.what != "starts") {
		return w, false
	}
	w.at++
	now := Moment{Clock: time.Duration(w.at) * tick, Wall: noon.Add(time.Duration(w.at) * tick)}
	w.relay.Until -= tick // a tick has gone by
	w.silent++

	switch x.what {
	case "hangs":
		w.process = hangs
	case "killed":
		w.process = dead
	case "wakes":
		w.process = runs
	case "starts":
		w.process = runs
		s := Boot(c, State{Guard: w.disk, Ledger: ledgerOf(w.diskSeq, w.diskAns)}, now.Clock)
		w.memory, w.memSeq, w.memAns = s.Guard, s.Ledger.LastSeq, answersOf(s.Ledger)
	}
	if w.process == runs {
		w = w.works(c, h, x, now)
	}
	if pump := w.relay.At(0, 0).Pump; pump {
		w.pump, w.on = true, w.on+1
	} else {
		w.pump, w.on = false, 0
	}
	w.judge(c, h)
	return w, true
}

// works is a step of the agent, with what may cut it short.
func (w world) works(c *Config, h house, x happening, now Moment) world {
	before := w
	var ask *Ask
	if x.deliver >= 0 {
		ask = &Ask{Request: message(x.deliver)}
	}
	r := h.step(c, w.state(), guard.Inputs{Watch: x.watch}, ask, now)
	act := func() {
		w.relay, w.silent = lease.Grant(lease.Outputs{Pump: r.Out.Pump}, 0, h.lasts), 0
		if x.deliver < 0 {
			return
		}
		fresh := before.memAns[x.deliver] == 0 && r.State.Ledger.LastSeq != before.memSeq
		if i := int8(x.deliver); fresh && r.Answer.Taken {
			w.effects[i]++
			if i+1 < w.highest {
				w.fail(h, inOrder, fmt.Sprintf("request %d took effect after %d", i+1, w.highest))
			}
			w.highest = max(w.highest, i+1)
			if age := now.Wall.Sub(message(x.deliver).AskedAt); age > requests.Fresh {
				w.fail(h, inTime, fmt.Sprintf("took effect %v after it was asked", age))
			}
		}
		told := int8(1)
		if r.Answer.Taken {
			told = 2
		}
		switch first := w.told[x.deliver]; {
		case first == 0:
			w.told[x.deliver] = told
		case first == 2 && told != 2:
			w.fail(h, oneAnswer, "no after yes")
		case first == 1 && told == 2 && before.memAns[x.deliver] != 0:
			w.fail(h, oneAnswer, "yes after a no that was recorded")
		}
	}
	dies := func() world {
		w.process = dead
		return w
	}
	if h.before {
		act()
	}
	if x.what == "killed before saving" {
		return dies()
	}
	if r.Save {
		kept := h.save(r.State)
		w.disk, w.diskSeq, w.diskAns = kept.Guard, kept.Ledger.LastSeq, answersOf(kept.Ledger)
	}
	if x.what == "killed after saving" {
		return dies()
	}
	w.memory, w.memSeq, w.memAns = r.State.Guard, r.State.Ledger.LastSeq, answersOf(r.State.Ledger)
	if !h.before {
		act()
	}
	return w
}

// The invariants.
const (
	limited   = "the pump runs no longer than its limit and a lease"
	leased    = "the pump is on only while the agent says so"
	onceOnly  = "a request takes effect once at most"
	inOrder   = "a request never takes effect after a later one"
	inTime    = "a request takes effect only while it is fresh"
	oneAnswer = "a request has one answer"
	heldOff   = "the pump is off under a hold"
)

var invariants = []string{limited, leased, onceOnly, inOrder, inTime, oneAnswer, heldOff}

func (w *world) fail(h house, invariant, because string) {
	if w.broken == "" && (h.only == "" || h.only == invariant) {
		w.broken = invariant + ": " + because
	}
}

// judge asks the invariants of the world as it is.
func (w *world) judge(c *Config, h house) {
	say := func(broken bool, invariant, because string) {
		if broken {
			w.fail(h, invariant, because)
		}
	}
	// The relay's ticks count both ends, and a fill found after a hang is cut off
	// by the lease long before.
	limit := int(c.Settings.HardCap/tick) + 1
	say(w.on > limit, limited, fmt.Sprintf("on for %d ticks", w.on))
	say(w.pump && w.silent > 0, leased, "on, and nobody is there")
	for i, n := range w.effects {
		say(n > 1, onceOnly, fmt.Sprintf("request %d did %d times", i+1, n))
	}
	say(w.process == runs && w.pump && w.memory.OnHold, heldOff, "on")
}

// explore visits every world and returns how many, how many moves between them,
// and the way to the first that is broken.
func explore(h house) (worlds, moves int, broken string) {
	c := small()
	first := world{memory: guard.Boot(&c.Settings, guard.State{}, 0), relay: lease.Lease{Until: -tick}}
	first.disk = first.memory
	type origin struct {
		parent int32
		by     happening
	}
	all, origins := []world{first}, []origin{{parent: -1}}
	known := map[world]struct{}{first: {}}
	for i := 0; i < len(all); i++ {
		if all[i].at == horizon {
			continue
		}
		for _, watch := range []guard.Contact{guard.Dry, guard.Wet} {
			for deliver := -1; deliver < len(asked); deliver++ {
				for _, what := range whats {
					x := happening{watch, deliver, what}
					next, can := all[i].after(c, h, x)
					if !can {
						continue
					}
					moves++
					if next.relay.Until <= 0 {
						next.relay = lease.Lease{} // over: alike, however long ago
					}
					if next.broken != "" {
						way := fmt.Sprintf("%d: %+v", next.at, x)
						for j := i; j > 0; j = int(origins[j].parent) {
							way = fmt.Sprintf("%d: %+v\n%s", all[j].at, origins[j].by, way)
						}
						return len(all), moves, next.broken + "\n" + way
					}
					if _, ok := known[next]; ok {
						continue
					}
					known[next] = struct{}{}
					all, origins = append(all, next), append(origins, origin{int32(i), x})
				}
			}
		}
	}
	return len(all), moves, ""
}

// TestEveryOrder is the proof for requests and leases.
func TestEveryOrder(t *testing.T) {
	longtest.Only(t, "every order")
	worlds, moves, broken := explore(genuine)
	if broken != "" {
		t.Fatal(broken)
	}
	t.Logf("%d worlds, %d moves, %d invariants", worlds, moves, len(invariants))
	const guide = "../../../docs/install-edge.md"
	text, err := os.ReadFile(guide)
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(strings.Fields(string(text)), " ")
	if want := fmt.Sprintf("%d worlds, %d moves, %d invariants", worlds, moves, len(invariants)); !strings.Contains(said, want) {
		t.Errorf("%s lacks %q", guide, want)
	}
}

// TestBrokenAgentsAreCaught: the exploration can fail.
func TestBrokenAgentsAreCaught(t *testing.T) {
	with := func(change func(*house)) house {
		h := genuine
		change(&h)
		return h
	}
	ledger := func(forget func(*Ask, *State)) house {
		return with(func(h *house) {
			h.step = func(c *Config, s State, in guard.Inputs, ask *Ask, now Moment) Result {
				if ask != nil {
					copied := *ask
					ask = &copied
					forget(ask, &s)
				}
				return Step(c, s, in, ask, now)
			}
		})
	}
	for _, tt := range []struct {
		name   string
		h      house
		breaks string
	}{
		{"has no lease", with(func(h *house) { h.lasts = 100 * tick }), leased},
		{"has no lease, and its guard hangs", with(func(h *house) { h.lasts = 100 * tick }), limited},
		{"has too long a lease", with(func(h *house) { h.lasts = 2 * tick }), leased},
		{"saves no ledger", with(func(h *house) { h.save = func(s State) State { return State{Guard: s.Guard} } }), onceOnly},
		{"acts before it saves", with(func(h *house) { h.before = true }), onceOnly},
		{"remembers nothing", ledger(func(_ *Ask, s *State) { s.Ledger = requests.Ledger{} }), onceOnly},
		{"remembers no answers", ledger(func(_ *Ask, s *State) { s.Ledger.Recent = nil }), oneAnswer},
		{"minds no order", ledger(func(_ *Ask, s *State) { s.Ledger.LastSeq = 0 }), inOrder},
		{"minds no age", ledger(func(a *Ask, s *State) { a.Request.AskedAt = noon.Add(s.Guard.Last + tick) }), inTime},
		{"does not see a hold", with(func(h *house) {
			h.step = func(c *Config, s State, in guard.Inputs, ask *Ask, now Moment) Result {
				r := Step(c, s, in, ask, now)
				r.Out.Pump = r.Out.Pump || r.State.Guard.OnHold
				return r
			}
		}), heldOff},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tt.h.only = tt.breaks
			worlds, _, broken := explore(tt.h)
			if !strings.HasPrefix(broken, tt.breaks) {
				t.Fatalf("not caught in %d worlds: %q", worlds, broken)
			}
			t.Log(broken)
		})
	}
}
