package soak

import (
	"encoding/json"
	"math"

	"isohaline/internal/edge/decide"
	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/requests"
	"isohaline/internal/edge/talk"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
)

// onDisk is what a save leaves: as text, so that nothing is shared by mistake.
func onDisk(s decide.State) decide.State {
	text, err := json.Marshal(s)
	if err != nil {
		panic(err) // of a plain value: the soak itself is at fault
	}
	var out decide.State
	if err := json.Unmarshal(text, &out); err != nil {
		panic(err)
	}
	return out
}

func (w *life) startAgent() {
	w.up, w.hung = true, false
	w.run++
	w.state = decide.Boot(&w.config, w.saved, w.now)
	w.pending = nil
	w.wasLatched = false
	w.push()
}

// kill is kill -9 of the agent. What holds the wires turns them off when the lease
// ends, or at once where it sees the agent go.
func (w *life) kill() {
	if !w.up {
		return
	}
	w.verdict.Kills++
	w.up = false
	w.letGo()
	w.timetable.at(w.now+exponential(w.random, restartAfter), func() {
		w.out, w.lease = plant.Outputs{}, lease.Lease{}
		w.startAgent()
	})
}

// hang is an agent that stands still, and goes on as if nothing had been.
func (w *life) hang() {
	if !w.running() {
		return
	}
	w.verdict.Hangs++
	w.hung = true
	w.letGo()
	run := w.run
	w.timetable.at(w.now+exponential(w.random, hangFor), func() {
		if w.run == run {
			w.hung = false
		}
	})
}

// stepAgent is one turn of the agent's wheel: read, decide, save, drive.
func (w *life) stepAgent() {
	if !w.running() {
		return
	}
	in := w.live.Inputs()
	if math.IsNaN(in.LevelMM) {
		in.LevelMM = 0 // not fitted; a number compares with itself
	}
	w.read(in)
	var ask *decide.Ask
	if len(w.pending) > 0 {
		ask = &w.pending[0]
		w.pending = w.pending[1:]
	}
	now := decide.Moment{Clock: w.now, Wall: w.wall()}
	before := w.state
	r := decide.Step(&w.config, w.state, in, ask, now)
	if r.Save {
		switch {
		case w.full:
			r = decide.Unable(&w.config, w.state, ask, now)
		case w.random.Float64() < unsavedFrac:
			// Killed with the save under way: the step has not happened.
			if w.broken == hastyAgent {
				w.drive(r.Out)
				w.apply(&before, &r, ask)
			}
			w.kill()
			return
		default:
			w.saved = onDisk(r.State)
		}
	}
	w.apply(&before, &r, ask)
	w.state = r.State
	w.told = in
	if w.broken == noLedger {
		w.state.Ledger, w.saved.Ledger = requests.Ledger{}, requests.Ledger{}
	}
	w.drive(r.Out)
	w.afterStep(&before, &r)
}

// letGo is the end of the agent's renewing: the outputs are on for one lease more.
func (w *life) letGo() {
	w.lease = lease.Grant(lease.Outputs{Pump: w.out.Pump, Valve: w.out.Valve}, w.now, lease.Usual)
}

// drive switches the outputs, under a lease that the agent renews all the time.
func (w *life) drive(o guard.Outputs) {
	if o.Pump && !w.out.Pump {
		w.verdict.Fills++
	}
	w.out = plant.Outputs{Pump: o.Pump, Valve: o.Valve}
}

// apply counts the requests that take effect: the guard has heard them.
func (w *life) apply(before *decide.State, r *decide.Result, ask *decide.Ask) {
	if ask == nil || ask.OnSite || r.Answer == nil || r.State.Ledger.LastSeq == before.Ledger.LastSeq {
		return
	}
	w.verdict.Applied++
	id := ask.Request.ID
	if w.heard[id]++; w.heard[id] > 1 {
		w.verdict.AppliedMore++
		w.wrong("request %s took effect %d times", id, w.heard[id])
	}
}

func (w *life) afterStep(before *decide.State, r *decide.Result) {
	if r.Answer != nil {
		if !r.Answer.Taken {
			w.verdict.Refused++
		}
		w.tell(talk.Tell{Answer: r.Answer, Picture: w.picture()})
	} else if before.Guard.Phase != r.State.Guard.Phase {
		w.tell(talk.Tell{Picture: w.picture()})
	}
	if latched := w.state.Guard.Phase == guard.Latched; latched && !w.wasLatched {
		w.verdict.Latches++
		w.timetable.at(w.now+exponential(w.random, clearAfter), func() { w.onSite(requests.Clear) })
		w.wasLatched = true
	} else if !latched {
		w.wasLatched = false
	}
}

func (w *life) picture() *talk.Picture {
	return &talk.Picture{At: w.wall(), Phase: w.state.Guard.Phase.String(), OnHold: w.state.Guard.OnHold,
		Latched: w.state.Guard.Phase == guard.Latched, LastSeq: w.state.Ledger.LastSeq}
}

// tell sends the hub a message, if it gets there.
func (w *life) tell(m talk.Tell) {
	text, err := talk.Encode(m)
	if err != nil {
		panic(err)
	}
	w.send(func() {
		if w.hubUp {
			w.hub.Told(edgeID, text)
		}
	})
}

// onSite is somebody at the tank.
func (w *life) onSite(kind requests.Kind) {
	if w.up {
		w.pending = append(w.pending, decide.Ask{OnSite: true, Request: requests.Request{Kind: kind}})
	}
}

// asked takes what arrives of the hub's asking.
func (w *life) asked(text []byte) {
	if !w.running() {
		return
	}
	r, err := talk.Decode[requests.Request](text)
	if err != nil {
		panic(err)
	}
	const inHand = 16
	if len(w.pending) < inHand {
		w.pending = append(w.pending, decide.Ask{Request: r})
		w.tell(talk.Tell{Received: r.ID})
	}
}

// buffer is the edge's own log: what was read, how much of it the hub is known to
// have, and the frame on its way.
type buffer struct {
	kept, pushed int
	inFlight     bool
	frame        int // counts frames, so that a late retry of one that is settled does nothing
}

// read keeps a reading of every contact that has turned. A disk that is full keeps
// none: nothing was acknowledged.
func (w *life) read(in guard.Inputs) {
	if w.full || in.Watch == w.told.Watch && in.Ceiling == w.told.Ceiling && in.Floor == w.told.Floor &&
		in.ReservoirLow == w.told.ReservoirLow && in.ReturnPump == w.told.ReturnPump {
		return
	}
	w.edge.kept++
	w.verdict.Readings++
	w.push()
}

// push sends what waits, a frame at a time, and again until the hub has answered.
func (w *life) push() {
	b := &w.edge
	if !w.running() || w.cut || b.inFlight || b.pushed == b.kept {
		return
	}
	const most = 64
	b.inFlight = true
	b.frame++
	from, to, frame, run := b.pushed, min(b.kept, b.pushed+most), b.frame, w.run
	if w.broken == hastyEdge {
		b.pushed = to
	}
	w.send(func() { w.take(from, to, frame, run) })
	w.timetable.at(w.now+retryEvery, func() {
		if b.inFlight && b.frame == frame {
			b.inFlight = false
			w.push()
		}
	})
}

// acknowledged takes the hub's answer for a frame.
func (w *life) acknowledged(to, frame, run int) {
	b := &w.edge
	if !w.running() || run != w.run || frame != b.frame || !b.inFlight {
		return
	}
	b.inFlight = false
	b.pushed = max(b.pushed, to)
	w.push()
}
