package plant

import "time"

// Conditions is everything that may be wrong with a tank at one time. The zero
// value is not healthy (a factor of zero stops a pump): start from Healthy.
// Faults change a copy, so two faults make a pair by being applied one after
// the other.
type Conditions struct {
	Watch, Ceiling      SensorFault
	FloorSensorDead     bool
	ReservoirLowStuck   bool // says there is water when there is none
	ReturnSenseStuck    bool // says the return pump runs when it does not
	LevelGaugeStuck     bool
	Controller          Hang
	RunLimitDisabled    bool
	BudgetDisabled      bool
	Held                bool // a person put the guard on hold and left
	RelayWelded         bool // the top-off pump has power whatever the guard says
	RunTimerStuck       bool // the run timer's relay does not open
	TopOffPumpFrac      float64
	TubeOut             bool // the tube's end lies on the floor
	TubeBlocked         bool
	TubeSubmerged       bool // the tube's end hangs under water
	SiphonBreakBlocked  bool // the air hole of the top-off line
	CheckValveLeaks     bool
	Shutoff             Valve
	FloatValveStuckOpen bool
	FloatValveStuckShut bool

	ReservoirSalted    bool // filled with salt water at the last visit
	ReservoirForgotten bool // not filled at visits
	LimeStirred        bool // the lime on its floor was stirred up at the last visit
	ReservoirLeakM3S   float64
	RefillStuckOpen    bool
	RefillStuckShut    bool

	ReturnPumpFrac           float64
	ReturnSiphonBreakBlocked bool
	DrainFrac                float64 // what is left of the drain's capacity
	EmergencyDrainBlocked    bool

	TankLeakM3S     float64
	SkimmerFloodM3S float64 // what the skimmer throws beyond its habit
	CupCutoffFails  bool
	// SkimmateFactor multiplies the skimmer's habit (wet skimming).
	SkimmateFactor float64
	// WaterChangePSU overrides the salinity of new water; 0: as the tank says.
	WaterChangePSU float64

	EvaporationFactor float64
	// HandEvery: nothing is topped off but by a person, who so often pours in
	// at once what the system lacks; 0: nobody does.
	HandEvery time.Duration
	// BucketM3 of fresh water is emptied into the tank at the onset.
	BucketM3 float64

	PowerOff  Pulse
	ReturnOff Pulse
	// AlarmSilent: the alarm reaches nobody.
	AlarmSilent bool
}

// Healthy is a tank with nothing wrong.
func Healthy() Conditions {
	return Conditions{
		TopOffPumpFrac: 1, ReturnPumpFrac: 1, DrainFrac: 1,
		SkimmateFactor: 1, EvaporationFactor: 1,
	}
}

// SensorFault is what is wrong with a level sensor.
type SensorFault struct {
	Stuck Stuck
	// ShiftM moves the level at which it switches; fouling moves it.
	ShiftM float64
	// SlowS is added to its response.
	SlowS float64
}

// Stuck is a sensor that no longer follows the water.
type Stuck uint8

const (
	Free Stuck = iota
	StuckDry
	StuckWet
	Jammed // stays as it was at the onset
)

// Hang is a controller that no longer runs its program.
type Hang uint8

const (
	Running   Hang = iota
	HungOn         // its outputs freeze during a fill
	HungOff        // its outputs freeze with the pump off
	Rebooting      // it starts again every RebootPeriod
)

// RebootPeriod is how often a controller in a reboot loop starts again: sooner
// than it dares to fill after a start, so it never does. A judgement.
const RebootPeriod = 10 * time.Minute

// Valve is what is wrong with the shut-off valve.
type Valve uint8

const (
	ValveWorks Valve = iota
	ValveStuckOpen
	ValveStuckShut
)

// Pulse is an interruption: it begins at the onset, lasts On, and comes again
// every Period where that is not zero.
type Pulse struct{ On, Period time.Duration }

// longer is the longer of two interruptions.
func (p Pulse) longer(q Pulse) Pulse {
	if q.On > p.On {
		return q
	}
	return p
}

// activeAt says whether the interruption is on, since after the onset.
func (p Pulse) activeAt(since time.Duration) bool {
	if p.On == 0 || since < 0 {
		return false
	}
	if p.Period > 0 {
		since %= p.Period
	}
	return since < p.On
}

// nextChange is the first change strictly after since.
func (p Pulse) nextChange(since time.Duration) time.Duration {
	if p.On == 0 {
		return never
	}
	if since < p.On {
		return p.On
	}
	if p.Period == 0 {
		return never
	}
	start := since - since%p.Period
	if since < start+p.On {
		return start + p.On
	}
	return start + p.Period
}

const never = time.Duration(1<<63 - 1)
