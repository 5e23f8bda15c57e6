package plant

import (
	"time"

	"isohaline/internal/tankfile"
)

// Fault is one thing that goes wrong, with the words a practitioner uses.
type Fault struct {
	ID string
	// Unit is the part that fails. Two faults of one unit exclude each other,
	// so they make no pair.
	Unit string
	// Words is a clause: what happened, and how it comes about.
	Words string
	// Applies says whether the tank has the part at all; nil: always.
	Applies func(*tankfile.Tank) bool
	// Apply changes the conditions. The twin gives the scale.
	Apply func(*Twin, *Conditions)
}

// Sizes of the faults. All are common practice or judgement, no source.
const (
	foulingShiftM      = 0.015 // slime or salt on a sensor
	ceilingShiftM      = 0.020
	slowSensorS        = 600.0 // a float dragging through slime
	pumpWornFrac       = 0.3
	returnWornFrac     = 0.5
	drainCloggedFrac   = 0.6  // of the return pump's flow
	tankLeakFracDay    = 0.02 // of the water in the system, a day
	reservoirLeakM3Day = 0.5e-3
	skimmerFloodM3S    = 10e-3 / 3600
	wetSkimmingFactor  = 4.0
	weakMixPSU         = 30.0
	heatWaveFactor     = 2.0
	newFanFactor       = 1.4
	humidSpellFactor   = 0.5
	bucketFrac         = 0.03 // of the water in the system
	bucketMaxM3        = 10e-3
	limeStirredGL      = 5.0 // undissolved lime in a litre of what is pumped
)

const day = 24 * time.Hour

func hasSump(s *tankfile.Tank) bool       { return s.HasSump() }
func hasController(s *tankfile.Tank) bool { return s.Controller != nil }
func hasWatch(s *tankfile.Tank) bool      { return s.Controller != nil && s.TopOff.Watch != nil }
func hasCeiling(s *tankfile.Tank) bool    { return s.Controller != nil && s.TopOff.Ceiling != nil }

// sensorsShare: what two sensors have in common fails them together.
func sensorsShare(s *tankfile.Tank) bool {
	return hasCeiling(s) && s.TopOff.Ceiling.Group != "" && s.TopOff.Ceiling.Group == s.TopOff.Watch.Group
}

func hasPump(s *tankfile.Tank) bool      { return s.TopOff.Pump != nil }
func hasReservoir(s *tankfile.Tank) bool { return s.TopOff.Reservoir != nil }
func hasRefill(s *tankfile.Tank) bool    { return hasReservoir(s) && s.TopOff.Reservoir.Refill != nil }
func hasLime(s *tankfile.Tank) bool      { return hasReservoir(s) && s.TopOff.Reservoir.LimeWater }
func hasSkimmer(s *tankfile.Tank) bool   { return s.Skimmer != nil }

// Faults is the catalogue, in the order a practitioner would walk the system.
// Tanks and reservoirs that burst are not in it: no top-off design can answer
// that.
var Faults = []Fault{
	{ID: "watch-stuck-dry", Unit: "watch sensor", Applies: hasWatch,
		Words: "the watch sensor sticks dry (slime, a snail, a salt bridge)",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.Stuck = StuckDry }},
	{ID: "watch-stuck-wet", Unit: "watch sensor", Applies: hasWatch,
		Words: "the watch sensor sticks wet (foam, a droplet, a film)",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.Stuck = StuckWet }},
	{ID: "watch-jammed", Unit: "watch sensor", Applies: hasWatch,
		Words: "the watch sensor jams where it is",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.Stuck = Jammed }},
	{ID: "watch-slow", Unit: "watch sensor", Applies: hasWatch,
		Words: "the watch sensor answers ten minutes late",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.SlowS = slowSensorS }},
	{ID: "watch-fouled-high", Unit: "watch sensor", Applies: hasWatch,
		Words: "fouling makes the watch sensor switch 15 mm too high",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.ShiftM = foulingShiftM }},
	{ID: "watch-fouled-low", Unit: "watch sensor", Applies: hasWatch,
		Words: "fouling makes the watch sensor switch 15 mm too low",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.ShiftM = -foulingShiftM }},
	{ID: "ceiling-stuck-dry", Unit: "ceiling sensor", Applies: hasCeiling,
		Words: "the ceiling sensor sticks dry",
		Apply: func(_ *Twin, c *Conditions) { c.Ceiling.Stuck = StuckDry }},
	{ID: "ceiling-stuck-wet", Unit: "ceiling sensor", Applies: hasCeiling,
		Words: "the ceiling sensor sticks wet",
		Apply: func(_ *Twin, c *Conditions) { c.Ceiling.Stuck = StuckWet }},
	{ID: "ceiling-slow", Unit: "ceiling sensor", Applies: hasCeiling,
		Words: "the ceiling sensor answers ten minutes late",
		Apply: func(_ *Twin, c *Conditions) { c.Ceiling.SlowS = slowSensorS }},
	{ID: "ceiling-fouled-high", Unit: "ceiling sensor", Applies: hasCeiling,
		Words: "fouling makes the ceiling sensor switch 20 mm too high",
		Apply: func(_ *Twin, c *Conditions) { c.Ceiling.ShiftM = ceilingShiftM }},
	{ID: "sensors-stuck-dry-together", Unit: "watch sensor", Applies: sensorsShare,
		Words: "both level sensors stick dry together, being of one group",
		Apply: func(_ *Twin, c *Conditions) { c.Watch.Stuck, c.Ceiling.Stuck = StuckDry, StuckDry }},
	{ID: "floor-sensor-dead", Unit: "floor sensor",
		Applies: func(s *tankfile.Tank) bool { return hasController(s) && s.FloorSensor != nil },
		Words:   "the floor sensor is dead",
		Apply:   func(_ *Twin, c *Conditions) { c.FloorSensorDead = true }},
	{ID: "return-sense-stuck", Unit: "return-pump input",
		Applies: func(s *tankfile.Tank) bool { return hasController(s) && s.TopOff.ReturnSensed },
		Words:   "the controller believes the return pump runs when it does not",
		Apply:   func(_ *Twin, c *Conditions) { c.ReturnSenseStuck = true }},
	{ID: "reservoir-low-stuck", Unit: "reservoir sensor",
		Applies: func(s *tankfile.Tank) bool {
			return hasController(s) && hasReservoir(s) && s.TopOff.Reservoir.LowSensor != nil
		},
		Words: "the reservoir's low sensor says there is water when there is none",
		Apply: func(_ *Twin, c *Conditions) { c.ReservoirLowStuck = true }},
	{ID: "gauge-stuck", Unit: "level gauge",
		Applies: func(s *tankfile.Tank) bool { return hasController(s) && s.TopOff.LevelGauge },
		Words:   "the level gauge sticks at one reading",
		Apply:   func(_ *Twin, c *Conditions) { c.LevelGaugeStuck = true }},

	{ID: "relay-welded", Unit: "pump relay",
		Applies: func(s *tankfile.Tank) bool { return hasController(s) && hasPump(s) },
		Words:   "the pump's relay welds closed",
		Apply:   func(_ *Twin, c *Conditions) { c.RelayWelded = true }},
	{ID: "run-timer-stuck", Unit: "run timer",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.RunTimerS > 0 },
		Words:   "the run timer's relay does not open",
		Apply:   func(_ *Twin, c *Conditions) { c.RunTimerStuck = true }},
	{ID: "pump-worn", Unit: "top-off pump", Applies: hasPump,
		Words: "the top-off pump is worn or scaled down to 30 %",
		Apply: func(_ *Twin, c *Conditions) { c.TopOffPumpFrac = pumpWornFrac }},
	{ID: "pump-seized", Unit: "top-off pump", Applies: hasPump,
		Words: "the top-off pump seizes",
		Apply: func(_ *Twin, c *Conditions) { c.TopOffPumpFrac = 0 }},
	{ID: "tube-out", Unit: "top-off tube",
		Words: "the tube slips out and lies on the floor",
		Apply: func(_ *Twin, c *Conditions) { c.TubeOut = true }},
	{ID: "tube-blocked", Unit: "top-off tube",
		Words: "the tube is kinked or scaled shut",
		Apply: func(_ *Twin, c *Conditions) { c.TubeBlocked = true }},
	{ID: "tube-under-water", Unit: "top-off tube", Applies: hasReservoir,
		Words: "the tube's end slips under water",
		Apply: func(_ *Twin, c *Conditions) { c.TubeSubmerged = true }},
	{ID: "topoff-siphon", Unit: "top-off air hole",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.SiphonBreak },
		Words:   "the air hole of the top-off line is blocked, so it can siphon",
		Apply:   func(_ *Twin, c *Conditions) { c.SiphonBreakBlocked = true }},
	{ID: "check-valve-leaks", Unit: "check valve",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.CheckValve },
		Words:   "the check valve leaks back",
		Apply:   func(_ *Twin, c *Conditions) { c.CheckValveLeaks = true }},
	{ID: "valve-stuck-open", Unit: "shut-off valve",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.ShutoffValve },
		Words:   "the shut-off valve sticks open",
		Apply:   func(_ *Twin, c *Conditions) { c.Shutoff = ValveStuckOpen }},
	{ID: "valve-stuck-shut", Unit: "shut-off valve",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.ShutoffValve },
		Words:   "the shut-off valve sticks shut",
		Apply:   func(_ *Twin, c *Conditions) { c.Shutoff = ValveStuckShut }},
	{ID: "float-valve-stuck-open", Unit: "float valve",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.FloatValve != nil },
		Words:   "the float valve sticks open",
		Apply:   func(_ *Twin, c *Conditions) { c.FloatValveStuckOpen = true }},
	{ID: "float-valve-stuck-shut", Unit: "float valve",
		Applies: func(s *tankfile.Tank) bool { return s.TopOff.FloatValve != nil },
		Words:   "the float valve sticks shut",
		Apply:   func(_ *Twin, c *Conditions) { c.FloatValveStuckShut = true }},

	{ID: "controller-hung-on", Unit: "controller", Applies: hasController,
		Words: "the controller hangs with the pump on",
		Apply: func(_ *Twin, c *Conditions) { c.Controller = HungOn }},
	{ID: "controller-hung-off", Unit: "controller", Applies: hasController,
		Words: "the controller hangs with the pump off",
		Apply: func(_ *Twin, c *Conditions) { c.Controller = HungOff }},
	{ID: "controller-rebooting", Unit: "controller", Applies: hasController,
		Words: "the controller restarts every ten minutes and never dares to fill",
		Apply: func(_ *Twin, c *Conditions) { c.Controller = Rebooting }},
	{ID: "run-limit-disabled", Unit: "run limit", Applies: hasController,
		Words: "the run limit does not work",
		Apply: func(_ *Twin, c *Conditions) { c.RunLimitDisabled = true }},
	{ID: "budget-disabled", Unit: "daily budget", Applies: hasController,
		Words: "the daily budget does not work",
		Apply: func(_ *Twin, c *Conditions) { c.BudgetDisabled = true }},
	{ID: "held-by-person", Unit: "person at the controller", Applies: hasController,
		Words: "somebody leaves the top-off on hold",
		Apply: func(_ *Twin, c *Conditions) { c.Held = true }},
	{ID: "alarm-silent", Unit: "alarm", Applies: hasController,
		Words: "the alarm reaches nobody",
		Apply: func(_ *Twin, c *Conditions) { c.AlarmSilent = true }},

	{ID: "reservoir-salted", Unit: "filling the reservoir", Applies: hasReservoir,
		Words: "the reservoir is filled with salt water by mistake",
		Apply: func(_ *Twin, c *Conditions) { c.ReservoirSalted = true }},
	{ID: "reservoir-forgotten", Unit: "filling the reservoir",
		Applies: func(s *tankfile.Tank) bool { return hasReservoir(s) && !hasRefill(s) },
		Words:   "nobody refills the reservoir",
		Apply:   func(_ *Twin, c *Conditions) { c.ReservoirForgotten = true }},
	{ID: "reservoir-leak", Unit: "reservoir", Applies: hasReservoir,
		Words: "the reservoir weeps half a litre a day",
		Apply: func(_ *Twin, c *Conditions) { c.ReservoirLeakM3S = reservoirLeakM3Day / day.Seconds() }},
	{ID: "lime-stirred", Unit: "filling the reservoir", Applies: hasLime,
		Words: "the lime on the reservoir's floor is stirred up, so that a slurry of 5 g more a litre is pumped",
		Apply: func(_ *Twin, c *Conditions) { c.LimeStirred = true }},
	{ID: "refill-stuck-open", Unit: "reservoir refill", Applies: hasRefill,
		Words: "the reservoir's automatic refill sticks open",
		Apply: func(_ *Twin, c *Conditions) { c.RefillStuckOpen = true }},
	{ID: "refill-stuck-shut", Unit: "reservoir refill", Applies: hasRefill,
		Words: "the reservoir's automatic refill sticks shut",
		Apply: func(_ *Twin, c *Conditions) { c.RefillStuckShut = true }},

	{ID: "return-stopped-hour", Unit: "return pump", Applies: hasSump,
		Words: "the return pump stops for an hour",
		Apply: func(_ *Twin, c *Conditions) { c.ReturnOff = c.ReturnOff.longer(Pulse{On: time.Hour}) }},
	{ID: "return-stopped-day", Unit: "return pump", Applies: hasSump,
		Words: "the return pump stops for a day",
		Apply: func(_ *Twin, c *Conditions) { c.ReturnOff = c.ReturnOff.longer(Pulse{On: day}) }},
	{ID: "return-cycling", Unit: "return pump", Applies: hasSump,
		Words: "the return pump stops for ten minutes every two hours",
		Apply: func(_ *Twin, c *Conditions) {
			c.ReturnOff = c.ReturnOff.longer(Pulse{On: 10 * time.Minute, Period: 2 * time.Hour})
		}},
	{ID: "return-worn", Unit: "return pump", Applies: hasSump,
		Words: "the return pump is worn to half its flow",
		Apply: func(_ *Twin, c *Conditions) { c.ReturnPumpFrac = returnWornFrac }},
	{ID: "return-siphon-break-blocked", Unit: "return siphon break",
		Applies: func(s *tankfile.Tank) bool { return hasSump(s) && s.Return.SiphonBreakHeightM > 0 },
		Words:   "the return line's siphon break is blocked when the power fails for an hour",
		Apply: func(_ *Twin, c *Conditions) {
			c.ReturnSiphonBreakBlocked = true
			c.PowerOff = c.PowerOff.longer(Pulse{On: time.Hour})
		}},
	{ID: "drain-part-clogged", Unit: "display drain", Applies: hasSump,
		Words: "the display's drain clogs until it passes 60 % of the return flow",
		Apply: func(tw *Twin, c *Conditions) {
			c.DrainFrac = min(drainCloggedFrac*tw.returnFlowM3S/tw.drainCapacityM3S, 1)
		}},
	{ID: "drain-blocked", Unit: "display drain", Applies: hasSump,
		Words: "the display's drain is blocked (a snail, a strainer)",
		Apply: func(_ *Twin, c *Conditions) { c.DrainFrac = 0 }},
	{ID: "emergency-drain-blocked", Unit: "emergency drain",
		Applies: func(s *tankfile.Tank) bool { return hasSump(s) && s.Overflow.EmergencyHeightM > 0 },
		Words:   "the emergency drain is blocked",
		Apply:   func(_ *Twin, c *Conditions) { c.EmergencyDrainBlocked = true }},
	{ID: "power-cut-minute", Unit: "mains power",
		Words: "the power fails for a minute",
		Apply: func(_ *Twin, c *Conditions) { c.PowerOff = c.PowerOff.longer(Pulse{On: time.Minute}) }},
	{ID: "power-cut-hour", Unit: "mains power",
		Words: "the power fails for an hour",
		Apply: func(_ *Twin, c *Conditions) { c.PowerOff = c.PowerOff.longer(Pulse{On: time.Hour}) }},
	{ID: "power-cut-day", Unit: "mains power",
		Words: "the power fails for a day",
		Apply: func(_ *Twin, c *Conditions) { c.PowerOff = c.PowerOff.longer(Pulse{On: day}) }},

	{ID: "tank-leak", Unit: "tank",
		Words: "the tank leaks 2 % of its water a day",
		Apply: func(tw *Twin, c *Conditions) {
			c.TankLeakM3S = tankLeakFracDay * tw.SystemM3() / day.Seconds()
		}},
	{ID: "skimmer-overflow", Unit: "skimmer", Applies: hasSkimmer,
		Words: "the skimmer boils over at 10 L an hour",
		Apply: func(_ *Twin, c *Conditions) { c.SkimmerFloodM3S = skimmerFloodM3S }},
	{ID: "wet-skimming", Unit: "skimmer", Applies: hasSkimmer,
		Words: "the skimmer runs wet and takes four times its usual water",
		Apply: func(_ *Twin, c *Conditions) { c.SkimmateFactor = wetSkimmingFactor }},
	{ID: "cup-cutoff-fails", Unit: "skimmer cut-off",
		Applies: func(s *tankfile.Tank) bool { return hasSkimmer(s) && s.Skimmer.CupCutoff },
		Words:   "the skimmer's cut-off does not work",
		Apply:   func(_ *Twin, c *Conditions) { c.CupCutoffFails = true }},
	{ID: "weak-water-change", Unit: "water change",
		Applies: func(s *tankfile.Tank) bool { return s.WaterChange != nil },
		Words:   "water changes are mixed at 30 ppt",
		Apply:   func(_ *Twin, c *Conditions) { c.WaterChangePSU = weakMixPSU }},
	{ID: "heat-wave", Unit: "room",
		Words: "a heat wave or an open window doubles evaporation",
		Apply: func(_ *Twin, c *Conditions) { c.EvaporationFactor = heatWaveFactor }},
	{ID: "new-fan", Unit: "room",
		Words: "somebody adds a fan: evaporation grows by 40 %",
		Apply: func(_ *Twin, c *Conditions) { c.EvaporationFactor = newFanFactor }},
	{ID: "humid-spell", Unit: "room",
		Words: "a humid spell halves evaporation",
		Apply: func(_ *Twin, c *Conditions) { c.EvaporationFactor = humidSpellFactor }},
	{ID: "bucket-of-fresh", Unit: "person with a bucket",
		Words: "somebody empties a bucket of fresh water into the tank",
		Apply: func(tw *Twin, c *Conditions) {
			c.BucketM3 = min(bucketFrac*tw.SystemM3(), bucketMaxM3)
		}},
}

// FaultsOf lists the catalogue's faults that the tank can have.
func FaultsOf(s *tankfile.Tank) []Fault {
	var fs []Fault
	for _, f := range Faults {
		if f.Applies == nil || f.Applies(s) {
			fs = append(fs, f)
		}
	}
	return fs
}
