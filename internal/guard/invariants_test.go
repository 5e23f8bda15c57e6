package guard_test

import (
	"fmt"
	"time"

	"isohaline/internal/guard"
)

// invariant is something that must be so whatever happens. holds answers why it
// is not, "" if it is.
type invariant struct {
	name  string
	at    moment
	holds func(*move, controller) string
}

// moment is when an invariant is asked.
type moment uint8

const (
	atMove     moment = iota // of every step from every state
	atState                  // of every state, as it is first reached
	atPowerCut               // of every state's power cut
)

var invariants = []invariant{
	{"pump off when an input forbids it", atMove, func(m *move, _ controller) string {
		if by := forbidden(&m.kit.settings, m.in); m.out.Pump && by != "" {
			return "pump on against the " + by
		}
		return ""
	}},
	{"pump off when held", atMove, func(m *move, _ controller) string {
		return when(m.out.Pump && m.to.witness.held, "pump on under a hold")
	}},
	{"pump off when latched", atMove, func(m *move, _ controller) string {
		return when(m.out.Pump && m.to.state.Phase == guard.Latched, "pump on under a latch")
	}},
	{"pump on in filling only, and always then", atMove, func(m *move, _ controller) string {
		return when(m.out.Pump != (m.to.state.Phase == guard.Filling), "phase and pump disagree")
	}},
	{"valve with the pump", atMove, func(m *move, _ controller) string {
		return when(m.out.Valve != m.out.Pump, "valve and pump disagree")
	}},
	{"run limit", atMove, invariantRunLimit},
	{"a fill ends", atMove, func(m *move, _ controller) string {
		if !m.from.witness.on || !m.out.Pump {
			return ""
		}
		// (time run, steps without time) rises with every step and is bounded.
		longer := m.to.witness.ran > m.from.witness.ran
		waited := m.to.witness.ran == m.from.witness.ran && m.to.witness.stalls > m.from.witness.stalls
		return when(!longer && !waited, "nothing brings this fill nearer to its end")
	}},
	{"a fill starts on confirmed need alone", atMove, invariantStart},
	{"latch left by clear on site only", atMove, func(m *move, _ controller) string {
		left := m.from.witness.latched && m.to.state.Phase != guard.Latched
		return when(left && (m.in.Request != guard.Clear || m.in.Remote), "latch left without a clear on site")
	}},
	{"latch reason kept", atMove, func(m *move, _ controller) string {
		kept := m.from.witness.latched && m.to.witness.latched && (m.in.Request != guard.Clear || m.in.Remote)
		return when(kept && m.from.state.Latch != m.out.Reason, "another reason for the same latch")
	}},
	{"hold ends by resume or expiry only", atMove, func(m *move, _ controller) string {
		held := m.to.state.Phase == guard.Held
		want := m.to.witness.held && !m.to.witness.latched
		if held != want {
			return fmt.Sprintf("held is %v and should be %v", held, want)
		}
		return ""
	}},
	{"wet floor latches at once", atMove, func(m *move, _ controller) string {
		wet := m.kit.settings.FloorFitted && m.in.Floor == guard.Wet
		return when(wet && m.to.state.Phase != guard.Latched, "floor wet and not latched")
	}},
	{"wet ceiling latches once confirmed", atMove, invariantCeiling},
	{"clock at fault", atMove, func(m *move, _ controller) string {
		if m.broken && (m.out.Pump || !m.out.Alarms.Has(guard.ClockFault)) {
			return fmt.Sprintf("pump %v, alarms: %v", m.out.Pump, m.out.Alarms)
		}
		return ""
	}},
	{"unreadable input alarms", atMove, func(m *move, _ controller) string {
		return when(fault(&m.kit.settings, m.in) != m.out.Alarms.Has(guard.InputFault), "input fault and alarm disagree")
	}},
	{"low reservoir alarms", atMove, func(m *move, _ controller) string {
		low := m.kit.settings.ReservoirLowFitted && m.in.ReservoirLow == guard.Dry
		return when(low != m.out.Alarms.Has(guard.ReservoirEmpty), "reservoir and alarm disagree")
	}},
	{"watch wet too long alarms", atMove, func(m *move, _ controller) string {
		limit := m.kit.settings.WetTooLong
		long := limit > 0 && m.to.witness.wetFor >= limit
		return when(long != m.out.Alarms.Has(guard.WatchWetTooLong), "watch and alarm disagree")
	}},
	{"latch alarms", atMove, func(m *move, _ controller) string {
		return when(m.to.witness.latched && !m.out.Alarms.Has(m.out.Reason), "latched without its alarm")
	}},
	{"reason fits phase", atMove, invariantReason},
	{"a give ends at its measure", atMove, func(m *move, _ controller) string {
		due := m.from.witness.on && m.from.witness.measure > 0 && m.from.witness.ran+m.elapsed >= m.from.witness.measure
		return when(due && m.out.Pump, "pump on beyond what was asked for")
	}},
	{"what is given together stays within the most", atMove, func(m *move, _ controller) string {
		begins := !m.from.witness.on && m.out.Pump && m.to.witness.measure > 0
		if sum := m.from.witness.given + m.in.GiveFor; begins && sum > m.kit.settings.GiveMost {
			return fmt.Sprintf("%v in all", sum)
		}
		return ""
	}},
	{"a give is refused with its reason, or begins", atMove, func(m *move, _ controller) string {
		begins := !m.from.witness.on && m.out.Pump && m.out.Reason == guard.GivingMeasure
		taken := m.in.Request == guard.Give && m.out.Refused == guard.NoReason
		return when(begins != taken, "answer and pump disagree")
	}},
	{"a clear is refused with its reason, or no latch is left", atMove, func(m *move, _ controller) string {
		taken := m.in.Request == guard.Clear && m.out.Refused == guard.NoReason
		return when(taken && m.to.state.Phase == guard.Latched, "cleared and latched")
	}},
	{"the horn sounds for every alarm not silenced", atMove, func(m *move, _ controller) string {
		return when(m.out.Horn != (m.out.Alarms&^m.to.witness.silenced != 0), "horn and alarms disagree")
	}},
	{"budget", atMove, invariantBudget},
	{"learned once, from a fill the watch ended", atMove, func(m *move, _ controller) string {
		if m.to.state.Learned != m.to.witness.learned {
			return fmt.Sprintf("learned %v, witnessed %v", m.to.state.Learned, m.to.witness.learned)
		}
		return ""
	}},
	{"time origin does not matter", atMove, func(m *move, _ controller) string {
		return when(m.to.state.Last != 0, "the step did not take the clock's time")
	}},
	{"budget over a power cut", atPowerCut, invariantBudget},
	{"what was given over a power cut", atPowerCut, func(m *move, _ controller) string {
		return when(m.to.state.Above < m.to.witness.given, "forgotten")
	}},
	{"deadline is exact", atState, invariantDeadline},
	{"steps between change nothing", atState, invariantCompose},
	{"a need is met in the end", atState, invariantAlive},
}

func when(broken bool, because string) string {
	if broken {
		return because
	}
	return ""
}

// invariantRunLimit: at the step at which the pump has been on for the limit it
// is off, and latched unless the clock or a person or an input stopped it.
func invariantRunLimit(m *move, _ controller) string {
	if !m.from.witness.on || m.broken {
		return ""
	}
	ran := m.from.witness.ran + m.elapsed
	if ran < limit(&m.kit.settings, m.from.witness.learned) {
		return ""
	}
	if m.out.Pump || m.to.state.Phase != guard.Latched {
		return fmt.Sprintf("%v into a fill: pump %v, %v", ran, m.out.Pump, m.to.state.Phase)
	}
	return ""
}

// invariantStart: a fill begins only after dry watch, quiet and settled level
// have each lasted as long as the settings ask. A measured one asks for a wet
// watch instead of a dry one, and for the same quiet.
func invariantStart(m *move, _ controller) string {
	if m.from.witness.on || !m.out.Pump {
		return ""
	}
	s, w := &m.kit.settings, m.to.witness
	confirm := s.ConfirmDry
	if w.measure > 0 {
		confirm = 0
	}
	switch {
	case w.measure > 0 && m.in.Watch != guard.Wet:
		return "a measure given to a dry watch"
	case w.measure == 0 && w.dryFor < s.ConfirmDry:
		return fmt.Sprintf("watch dry for %v only", w.dryFor)
	case w.quietFor < s.MinOff+confirm:
		return fmt.Sprintf("pump off and free for %v only", w.quietFor)
	case w.steadyFor < s.RestartSettle:
		return fmt.Sprintf("level settling for %v only", w.steadyFor)
	case owed(m.kit, m.to.state) >= guard.Day:
		return "the budget is spent"
	}
	return ""
}

// invariantCeiling: a ceiling wet for CeilingConfirm latches, unless the return
// pump is or was just stopped and the watch does not contradict.
func invariantCeiling(m *move, _ controller) string {
	s, w := &m.kit.settings, m.to.witness
	if w.ceilingFor < s.CeilingConfirm {
		return ""
	}
	crossed := w.dryFor >= s.ConfirmDry
	due := w.steadyFor >= s.RestartSettle || crossed
	return when(due && m.to.state.Phase != guard.Latched, "ceiling confirmed wet and not latched")
}

// reasonsOf is the reasons that each phase can have.
var reasonsOf = [...]guard.Alarms{
	guard.Resting:    1 << guard.WatchWet,
	guard.Confirming: 1<<guard.ConfirmingDry | 1<<guard.BudgetSpent,
	guard.Filling:    1<<guard.FillingToWatch | 1<<guard.GivingMeasure,
	guard.Settling: 1<<guard.MinimumOff | 1<<guard.RestartSettle | 1<<guard.ReturnStopped | 1<<guard.CeilingWet |
		1<<guard.BudgetSpent | 1<<guard.ReservoirEmpty | 1<<guard.InputFault | 1<<guard.ClockFault,
	guard.Held: 1<<guard.HeldByPerson | 1<<guard.ValveShut,
	guard.Latched: 1<<guard.FloorWet | 1<<guard.CeilingWet | 1<<guard.CeilingWetWatchDry |
		1<<guard.RunLimit | 1<<guard.LevelNotAnswering,
}

func invariantReason(m *move, _ controller) string {
	if !reasonsOf[m.to.state.Phase].Has(m.out.Reason) {
		return fmt.Sprintf("%v because %v", m.to.state.Phase, m.out.Reason)
	}
	return ""
}

// owed is the rest due for all the pump time so far, the running fill's too.
// The settings make it whole quanta.
func owed(k *kit, state guard.State) time.Duration {
	budget := k.settings.DailyBudget
	if state.Phase != guard.Filling || budget >= guard.Day {
		return state.Owed
	}
	return min(state.Owed+state.For*((guard.Day-budget)/budget), guard.Day)
}

// invariantBudget: no move forgets pump time faster than the bucket drains, and
// with a full bucket the pump is off. Added up over any window this is the
// bound that budget.go states.
func invariantBudget(m *move, _ controller) string {
	budget := m.kit.settings.DailyBudget
	if budget >= guard.Day {
		return ""
	}
	elapsed := max(m.elapsed, 0)
	atLeast := max(owed(m.kit, m.from.state)-elapsed, 0)
	if m.from.witness.on && !m.broken {
		atLeast = min(owed(m.kit, m.from.state)+elapsed*((guard.Day-budget)/budget), guard.Day)
	}
	now := owed(m.kit, m.to.state)
	if now < atLeast {
		return fmt.Sprintf("owes %v, should owe at least %v", now, atLeast)
	}
	return when(m.out.Pump && now >= guard.Day, "pump on with the budget spent")
}

// invariantDeadline: up to the deadline the answer is the same, at it the
// answer is another.
func invariantDeadline(m *move, c controller) string {
	s := &m.kit.settings
	in := m.in
	in.Request = guard.NoRequest
	deadline := c.deadline(s, m.to.state, in)
	if deadline <= m.to.state.Last {
		return fmt.Sprintf("deadline %v is not after the step", deadline)
	}
	same := func(at time.Duration) bool {
		state, out := c.step(s, m.to.state, in, at)
		out.Refused = m.out.Refused // belongs to the request's own step
		return out == m.out && state.Phase == m.to.state.Phase
	}
	for at := time.Duration(1); at < min(deadline, 20*q); at += q / 2 { // every setting is shorter
		if !same(at) {
			return fmt.Sprintf("changes at %v, before the deadline %v", at, deadline)
		}
	}
	if deadline == guard.Never {
		return when(!same(guard.Never), "changes though the deadline never comes")
	}
	if !same(deadline - 1) {
		return fmt.Sprintf("changes before the deadline %v", deadline)
	}
	if same(deadline) {
		return fmt.Sprintf("nothing changes at the deadline %v", deadline)
	}
	return ""
}

// invariantCompose: a step more on the way leads to the same state.
func invariantCompose(m *move, c controller) string {
	s := &m.kit.settings
	in := m.in
	in.Request = guard.NoRequest
	end := min(c.deadline(s, m.to.state, in), 5*q)
	way, _ := c.step(s, m.to.state, in, end/2)
	way, outWay := c.step(s, way, in, end)
	direct, outDirect := c.step(s, m.to.state, in, end)
	if way != direct || outWay != outDirect {
		return fmt.Sprintf("%+v %v by way of %v, %+v %v directly", way, outWay, end/2, direct, outDirect)
	}
	return ""
}

// invariantAlive: once every cause is gone and a person has cleared and
// resumed, a dry watch gets its water.
func invariantAlive(m *move, c controller) string {
	s := &m.kit.settings
	in := guard.Inputs{
		Watch: guard.Dry, Ceiling: guard.Dry, Floor: guard.Dry,
		ReservoirLow: guard.Wet, ReturnPump: guard.Wet, Request: guard.Clear,
	}
	state, _ := c.step(s, m.to.state, in, 1)
	in.Request = guard.Resume
	state, out := c.step(s, state, in, 2)
	in.Request = guard.NoRequest
	for range 6 { // settled, paused, confirmed, budget
		if out.Pump {
			return ""
		}
		at := c.deadline(s, state, in)
		if at == guard.Never {
			break
		}
		state, out = c.step(s, state, in, at)
	}
	if !out.Pump {
		return fmt.Sprintf("still %v because %v", state.Phase, out.Reason)
	}
	return ""
}
