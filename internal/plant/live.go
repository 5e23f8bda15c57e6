package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// Live is a tank that runs on as long as somebody lets it, with its controller
// outside: it takes what the controller puts out and gives what the sensors say.
type Live struct{ r run }

// Outputs is what the controller outside has switched on.
type Outputs struct{ Pump, Valve bool }

// Live begins at the onset, just after a visit, with nothing wrong. Visits and
// water changes come as the tank says.
func (o *Onset) Live() *Live {
	r := o.r
	outside := *r.tw
	outside.setup.Guard = nil
	r.tw = &outside
	r.end = r.onset
	r.guardOut = guard.Outputs{}
	r.begin(Healthy())
	return &Live{r}
}

// Apply lets a fault of the catalogue begin now.
func (l *Live) Apply(f Fault) {
	l.r.settle()
	c := l.r.cond
	f.Apply(l.r.tw, &c)
	l.r.change(c)
}

// Advance lets time pass with the outputs as they are.
func (l *Live) Advance(by time.Duration, out Outputs) {
	r := &l.r
	r.guardOut.Pump, r.guardOut.Valve = out.Pump, out.Valve
	r.end = r.now + by
	r.loop(Scenario{EveryCycle: true})
	r.readSensors()
}

// Turn lets time pass as Advance does, and no further than to where a sensor turns.
// It says how far that was. A level gauge moves all the time and turns nothing.
func (l *Live) Turn(by time.Duration, out Outputs) time.Duration {
	r := &l.r
	r.guardOut.Pump, r.guardOut.Valve = out.Pump, out.Valve
	from := r.now
	r.end = from + by
	before := l.contacts()
	for turns := segmentsPerDay * int(1+by/day); r.now < r.end && turns > 0; turns-- {
		r.turn(Scenario{EveryCycle: true})
		r.readSensors()
		if l.contacts() != before {
			break
		}
	}
	r.settle()
	return r.now - from
}

// contacts are the inputs that turn.
func (l *Live) contacts() guard.Inputs {
	in := l.Inputs()
	in.LevelMM = 0
	return in
}

// Mend ends every fault, as somebody on site does who finds them all.
func (l *Live) Mend() {
	l.r.settle()
	l.r.change(Healthy())
}

// Inputs is what the sensors say now. A controller that is fitted with fewer
// looks at fewer.
func (l *Live) Inputs() guard.Inputs {
	r := &l.r
	t := &r.tw.tank.TopOff
	in := guard.Inputs{
		Watch:        contactOf(t.Watch != nil, r.watch.wet),
		Ceiling:      contactOf(t.Ceiling != nil, r.ceiling.wet),
		Floor:        contactOf(r.tw.tank.FloorSensor != nil, r.floorWet()),
		ReservoirLow: r.reservoirContact(),
		ReturnPump:   contactOf(t.ReturnSensed && r.tw.tank.HasSump(), r.returnRuns || r.cond.ReturnSenseStuck),
		LevelMM:      math.NaN(),
	}
	if t.LevelGauge {
		levelM := r.tw.chamber.LevelM(r.chamberM3)
		if r.cond.LevelGaugeStuck {
			levelM = r.gaugeM
		}
		in.LevelMM = levelM * mmPerM
	}
	return in
}

// Sample is the state of the water now, for drawing.
func (l *Live) Sample() Sample { return l.r.sample() }
