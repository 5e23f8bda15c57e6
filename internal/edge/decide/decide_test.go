package decide

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"isohaline/internal/edge/prooftest"
	"isohaline/internal/edge/requests"
	"isohaline/internal/guard"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// tank is an agent's decisions over a tank at rest.
type tank struct {
	c     Config
	s     State
	in    guard.Inputs
	clock time.Duration
	seq   uint64
	last  Result
}

func newTank() *tank {
	k := &tank{c: Config{Settings: guard.Typical(), FlowMLS: 15},
		in: guard.Inputs{Watch: guard.Wet, Ceiling: guard.Dry, Floor: guard.Dry}}
	k.c.Settings.CeilingFitted, k.c.Settings.FloorFitted = true, true
	k.c.Settings.GiveMost = time.Minute
	k.s = Boot(&k.c, State{}, 0)
	k.run(time.Hour)
	return k
}

func (k *tank) now() Moment { return Moment{k.clock, noon.Add(k.clock)} }

func (k *tank) step(ask *Ask) Result {
	k.clock += 100 * time.Millisecond
	k.last = Step(&k.c, k.s, k.in, ask, k.now())
	k.s = k.last.State
	return k.last
}

func (k *tank) run(d time.Duration) {
	for end := k.clock + d; k.clock < end; {
		k.step(nil)
	}
}

// afar asks over the network, with the next number.
func (k *tank) afar(kind requests.Kind, ml float64) *requests.Answer {
	k.seq++
	r := requests.Request{ID: fmt.Sprint(kind, k.seq), Seq: k.seq, Kind: kind, GiveML: ml, By: "mira", AskedAt: k.now().Wall}
	return k.step(&Ask{Request: r}).Answer
}

func (k *tank) onSite(kind requests.Kind) *requests.Answer {
	return k.step(&Ask{Request: requests.Request{Kind: kind}, OnSite: true}).Answer
}

// TestAnswers tells a night's story: what is asked, and the guard's reason in
// each answer.
func TestAnswers(t *testing.T) {
	k := newTank()
	want := func(a *requests.Answer, taken bool, why string) {
		t.Helper()
		if a == nil || a.Taken != taken || a.Why != why {
			t.Fatalf("answered %+v, want taken %v, %q", a, taken, why)
		}
	}
	want(k.afar(requests.Give, 901), false, "more than may be given now")
	want(k.afar(requests.Give, 1e300), false, "give_ml is 1e+300: give millilitres above 0 and up to 1000000")
	want(k.afar(requests.Give, 600), true, "giving a measured amount")
	if got := k.c.GiveMostML(&k.s); got != 300 {
		t.Errorf("%v mL may still be given while the first are under way", got)
	}
	want(k.afar(requests.Give, 10), false, "giving a measured amount")
	k.run(39 * time.Second)
	if !k.last.Out.Pump {
		t.Error("the measure is not given")
	}
	k.run(2 * time.Second)
	if k.last.Out.Pump || k.c.GiveMostML(&k.s) > 301 {
		t.Errorf("pump %v; %v mL may still be given", k.last.Out.Pump, k.c.GiveMostML(&k.s))
	}
	want(k.afar(requests.Give, 10), false, "pause between fills")
	want(k.afar(requests.Hold, 0), true, "held by a person")
	want(k.afar(requests.Give, 10), false, "held by a person")
	want(k.afar(requests.ShutValve, 0), true, "valve shut by a person")
	want(k.afar(requests.Resume, 0), true, "pause between fills")

	k.in.Floor = guard.Wet
	k.step(nil)
	if !k.last.Out.Horn {
		t.Error("no horn")
	}
	want(k.afar(requests.Silence, 0), true, "water on the floor")
	if k.last.Out.Horn || !k.last.Out.Alarms.Has(guard.FloorWet) {
		t.Error("silencing takes the horn and leaves the alarm")
	}
	k.in.Floor = guard.Dry
	want(k.afar(requests.Clear, 0), false, "a fault is cleared on site only")
	want(k.afar(requests.Resume, 0), true, "water on the floor") // ends no latch
	want(k.afar(requests.ProofTest, 0), false, "water on the floor")
	want(k.onSite(requests.Clear), true, "pause between fills")
	want(k.onSite("dance"), false, `there is no request "dance"`)
	k.run(time.Hour)
	if a := k.afar(requests.ProofTest, 0); !a.Taken || !strings.HasPrefix(a.Why, "go to the tank") {
		t.Errorf("%+v", a)
	}
	want(k.onSite(requests.ProofTest), false, "a proof test is under way")
	k.step(&Ask{Saying: prooftest.Stop, OnSite: true})
	if k.s.Test.Running() {
		t.Error("the test goes on")
	}
}

// TestEvents: the record tells what a person would ask in the morning.
func TestEvents(t *testing.T) {
	k := newTank()
	var record []string
	note := func(list []Event) {
		for _, e := range list {
			record = append(record, strings.TrimSpace(fmt.Sprintf("%s %s: %s", e.Kind, e.By, e.Words)))
		}
	}
	k.afar(requests.Give, 150)
	note(k.last.Events)
	k.run(time.Second)
	k.in.Floor = guard.Wet
	note(k.step(nil).Events)
	k.in.Floor = guard.Dry
	k.onSite(requests.Clear)
	note(k.last.Events)
	want := []string{
		"answer mira: give of 150 mL from afar taken: giving a measured amount",
		"phase : filling: giving a measured amount",
		"phase : latched: water on the floor",
		"alarm : water on the floor",
		"answer : clear on site taken: pause between fills",
		"phase : settling: pause between fills",
		"alarm-over : over: water on the floor",
	}
	if strings.Join(record, "\n") != strings.Join(want, "\n") {
		t.Errorf("recorded\n%s\nwant\n%s", strings.Join(record, "\n"), strings.Join(want, "\n"))
	}
}

// TestWhatMustBeSaved: a change that a power cut must not undo, and no other.
func TestWhatMustBeSaved(t *testing.T) {
	k := newTank()
	if k.step(nil).Save {
		t.Error("rest has to be saved")
	}
	k.afar(requests.Silence, 0)
	if !k.last.Save {
		t.Error("a request from afar has to be saved, so that it is not taken twice")
	}
	again := k.last.State.Ledger.Recent[0].Request
	if r := k.step(&Ask{Request: again}); r.Save || r.Answer.ID != again.ID {
		t.Errorf("a repeated one: %+v", r)
	}
	k.in.Watch = guard.Dry
	if !k.step(nil).Save {
		t.Error("a change of phase has to be saved")
	}
}

// TestUnable: without a disk the pump goes off and nothing is taken.
func TestUnable(t *testing.T) {
	k := newTank()
	k.afar(requests.Give, 600)
	k.clock += time.Second
	r := Unable(&k.c, k.s, &Ask{Request: requests.Request{ID: "x", Seq: 99, Kind: requests.Hold, AskedAt: k.now().Wall}}, k.now())
	if r.Out.Pump || r.Save || r.Answer.Code != requests.Unsaved || r.State.Guard.OnHold || r.State.Ledger.LastSeq != 1 {
		t.Errorf("%+v", r)
	}
}
