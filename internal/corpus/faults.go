package corpus

import (
	"time"

	"isohaline/internal/account"
	"isohaline/internal/plant"
)

// Kit is what a tank tells.
type Kit uint8

const (
	// Bare is a float switch and a pump: when the pump ran, and salinity by hand.
	Bare Kit = iota
	// Switches adds every contact, the return pump, power and a heartbeat.
	Switches
	// Full adds a level gauge, the room's air and a salinity probe.
	Full

	kits
)

// String is the kit in one word.
func (k Kit) String() string { return [...]string{"bare", "switches", "full"}[k] }

// Fault is one thing that goes wrong, at three severities.
type Fault struct {
	Name string
	// Wants are the codes that name it; with what a kit can tell.
	Wants func(Kit) []account.Code
	// Follows are findings that are true because of it.
	Follows []account.Code
	// Severity says what the three severities are.
	Severity [3]float64
	Unit     string
	// Kits is the poorest kit that can see it at all.
	Kits  Kit
	needs needs
	// length is how long the history goes on after the onset.
	length time.Duration
	// lasts is how long the fault does; 0: to the end.
	lasts func(severity float64) time.Duration
	// apply changes the conditions at a time since the onset.
	apply func(b *built, d *Design, severity float64, since time.Duration, c *plant.Conditions)
	// silences, reads and gauges change what is told instead.
	silences, reads, gauges bool
	// weight is how often it comes in a round of the corpus, by severity.
	weight [3]int
}

func codes(c ...account.Code) func(Kit) []account.Code {
	return func(Kit) []account.Code { return c }
}

// unlessBare are the codes of a kit with contacts; the bare one can only say
// that something about the fills is wrong.
func unlessBare(c ...account.Code) func(Kit) []account.Code {
	return func(k Kit) []account.Code {
		if k == Bare {
			return append([]account.Code{account.PumpSeized, account.TopOffOverdue, account.WatchStuck}, c...)
		}
		return c
	}
}

// stopsTopOff are what follows when no more water comes.
var stopsTopOff = []account.Code{account.TopOffOverdue, account.PumpSeized, account.PumpWeak, account.WatchStuck,
	account.ReservoirEmptyBy, account.SalinityCreeping}

const (
	defaultLength = 14 * day
	secondsPerDay = 86400.0
	// leakFault is the fault that the goals speak of.
	leakFault = "tank leak"
	// airFault is what a leak must be told from.
	airFault = "air drier"
)

// always is a fault that begins at the onset and stays as it is.
func always(change func(b *built, d *Design, severity float64, c *plant.Conditions)) func(*built, *Design, float64, time.Duration, *plant.Conditions) {
	return func(b *built, d *Design, severity float64, _ time.Duration, c *plant.Conditions) {
		change(b, d, severity, c)
	}
}

// Faults are the corpus's, each with the codes that name it.
var Faults = []Fault{
	{Name: leakFault, Wants: codes(account.TankLeak), Follows: []account.Code{account.DemandChanged, account.ReservoirEmptyBy, account.SalinityCreeping, account.TopOffOverdue},
		Severity: [3]float64{0.5, 2, 5}, Unit: "% of the water a day", weight: [3]int{3, 7, 2},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) {
			c.TankLeakM3S = x / 100 * d.SystemM3 / secondsPerDay
			c.FloorSensorDead = true // it runs where no sensor lies
		})},
	{Name: airFault, Wants: codes(account.EvaporationChanged), Follows: []account.Code{account.DemandChanged, account.ReservoirEmptyBy},
		Severity: [3]float64{1.35, 1.7, 2.3}, Unit: "times the evaporation", weight: [3]int{3, 3, 3},
		apply: func(b *built, d *Design, x float64, since time.Duration, c *plant.Conditions) {
			c.EvaporationFactor *= 1 + (x-1)*min(since.Hours()/12, 1)
		}},
	{Name: "air damper", Wants: codes(account.EvaporationChanged), Follows: []account.Code{account.DemandChanged},
		Severity: [3]float64{0.7, 0.5, 0.35}, Unit: "times the evaporation", weight: [3]int{2, 2, 2},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.EvaporationFactor *= x })},
	{Name: "reservoir leak", Wants: codes(account.FreshLeak), Follows: []account.Code{account.ReservoirEmptyBy},
		Severity: [3]float64{0.25, 0.5, 1.2}, Unit: "of the demand", weight: [3]int{1, 1, 1}, length: 21 * day, needs: needs{measured: true},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) {
			c.ReservoirLeakM3S = x * b.twin.EvaporationM3Day() / secondsPerDay
			c.FloorSensorDead = true
		})},
	{Name: "tube out", Wants: unlessBare(account.FreshLeak), Follows: append([]account.Code{account.FreshLeak}, stopsTopOff...),
		Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.TubeOut = true })},
	{Name: "pump weak", Wants: codes(account.PumpWeak), Follows: stopsTopOff,
		Severity: [3]float64{0.75, 0.55, 0.4}, Unit: "of its flow", weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.TopOffPumpFrac *= x })},
	{Name: "pump seized", Wants: unlessBare(account.PumpSeized), Follows: stopsTopOff,
		Severity: [3]float64{0, 0.02, 0.05}, Unit: "of its flow", weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.TopOffPumpFrac *= x })},
	{Name: "watch slow", Wants: codes(account.WatchFouled), Follows: append([]account.Code{account.CeilingWet}, stopsTopOff...),
		Severity: [3]float64{0.4, 0.7, 1.2}, Unit: "fill times late", weight: [3]int{1, 1, 1}, needs: needs{sump: true},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.Watch.SlowS = x * b.fillS() })},
	{Name: "watch erratic", Wants: codes(account.WatchFouled), Follows: stopsTopOff,
		Severity: [3]float64{0.2, 0.3, 0.45}, Unit: "of its band", weight: [3]int{1, 1, 1},
		apply: func(b *built, d *Design, x float64, since time.Duration, c *plant.Conditions) {
			c.Watch.ShiftM *= x * b.site.TopOff.Watch.HysteresisM / b.jitterM
		}},
	{Name: "watch moved", Wants: codes(account.WatchFouled, account.WatchStuck), Kits: Full, Severity: [3]float64{-7, 7, -12}, Unit: "mm", weight: [3]int{1, 1, 1},
		Follows: append([]account.Code{account.CeilingWet}, stopsTopOff...),
		apply:   always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.Watch.ShiftM += x / 1000 })},
	{Name: "watch stuck wet", Wants: codes(account.WatchStuck), Kits: Switches, Follows: stopsTopOff, Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.Watch.Stuck = plant.StuckWet })},
	{Name: "watch stuck dry", Wants: unlessBare(account.WatchStuck), Follows: append([]account.Code{account.CeilingWet}, stopsTopOff...),
		Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.Watch.Stuck = plant.StuckDry })},
	{Name: "ceiling wet", Wants: codes(account.CeilingWet), Kits: Switches, Follows: stopsTopOff, Severity: [3]float64{1, 2, 3}, Unit: "1 stuck, 2 fouled low, 3 a bucket of fresh", weight: [3]int{1, 1, 1},
		apply: func(b *built, d *Design, x float64, since time.Duration, c *plant.Conditions) {
			switch x {
			case 1:
				c.Ceiling.Stuck = plant.StuckWet
			case 2:
				// Low enough for an ordinary fill to wet it.
				c.Ceiling.ShiftM = d.Settings.Levels.WatchM - d.Settings.Levels.CeilingM - b.site.TopOff.Ceiling.HysteresisM/2
			case 3:
				if since == 0 {
					c.BucketM3 = bandM3(b.site) / b.site.TopOff.Watch.HysteresisM * (d.Settings.Levels.CeilingM - d.Settings.Levels.WatchM + 0.012)
				}
			}
		}},
	{Name: "top-off held", Wants: codes(account.TopOffOverdue), Follows: stopsTopOff, Severity: [3]float64{0.7, 2, 10}, Unit: "days", weight: [3]int{1, 1, 1},
		lasts: func(x float64) time.Duration { return time.Duration(x * float64(day)) },
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.Held = true })},
	{Name: "relay welded", Wants: codes(account.EndlessFill), Kits: Switches, Follows: append([]account.Code{account.CeilingWet, account.FreshLeak}, stopsTopOff...),
		Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.RelayWelded = true })},
	{Name: "siphon", Wants: codes(account.EndlessFill), Kits: Switches, Follows: append([]account.Code{account.CeilingWet}, stopsTopOff...),
		Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1}, needs: needs{raised: true},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.SiphonBreakBlocked = true })},
	{Name: "restart dip", Wants: codes(account.RestartDip), Kits: Switches, Severity: [3]float64{1, 2, 4}, Unit: "stops a day", weight: [3]int{1, 1, 1},
		needs: needs{sump: true, noCeiling: true}, Follows: []account.Code{account.WatchFouled},
		apply: func(b *built, d *Design, x float64, since time.Duration, c *plant.Conditions) {
			period := time.Duration(float64(day) / x)
			if since%period >= period/2 && since%period < period/2+20*time.Minute {
				c.ReturnOff = forever
			}
		}},
	{Name: "wet skimming", Wants: codes(account.SalinityCreeping), Severity: [3]float64{0.08, 0.14, 0.22}, Unit: "% of the water a day more", weight: [3]int{1, 2, 2},
		needs: needs{sump: true}, length: 35 * day, Follows: []account.Code{account.DemandChanged},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) {
			if s := b.site.Skimmer; s != nil && s.SkimmateM3Day > 0 {
				c.SkimmateFactor = 1 + x/100*d.SystemM3/s.SkimmateM3Day
			}
			c.CupCutoffFails, c.FloorSensorDead = true, true
		})},
	{Name: "weak mix", Wants: codes(account.SalinityCreeping), Severity: [3]float64{30, 27, 24}, Unit: "PSU", weight: [3]int{1, 1, 1},
		length: 60 * day,
		apply:  always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.WaterChangePSU = x })},
	{Name: "reservoir salted", Wants: codes(account.SalinityCreeping), Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.ReservoirSalted = true })},
	{Name: "reservoir forgotten", Wants: codes(account.ReservoirEmptyBy), Follows: stopsTopOff, Severity: [3]float64{1, 1, 1}, weight: [3]int{1, 1, 1},
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.ReservoirForgotten = true })},
	{Name: "device silent", Wants: codes(account.DeviceSilent), Kits: Switches, Severity: [3]float64{4, 24, 240}, Unit: "hours", weight: [3]int{1, 1, 1},
		silences: true, lasts: func(x float64) time.Duration { return time.Duration(x * float64(time.Hour)) },
		apply: always(func(*built, *Design, float64, *plant.Conditions) {})},
	{Name: "power cut", Wants: codes(account.DeviceSilent), Kits: Switches, Severity: [3]float64{2, 8, 24}, Unit: "hours", weight: [3]int{1, 1, 1},
		lasts: func(x float64) time.Duration { return time.Duration(x * float64(time.Hour)) },
		apply: always(func(b *built, d *Design, x float64, c *plant.Conditions) { c.PowerOff = forever })},
	{Name: "instrument off", Wants: codes(account.InstrumentOff), Kits: Full, Severity: [3]float64{1, -1.5, 2.5}, Unit: "PSU", weight: [3]int{1, 1, 1},
		reads: true, apply: always(func(*built, *Design, float64, *plant.Conditions) {})},
	{Name: "gauge off", Wants: codes(account.InstrumentOff), Kits: Full, Severity: [3]float64{5, -8, 12}, Unit: "mm", weight: [3]int{1, 1, 1},
		gauges: true, apply: always(func(*built, *Design, float64, *plant.Conditions) {})},
}

// forever is an interruption that the history ends by itself.
var forever = plant.Pulse{On: 1 << 60}

// fillS is how long a sound fill takes.
func (b *built) fillS() float64 {
	return bandM3(b.site) / (b.twin.TopOffFlowM3S() * b.pumpFrac)
}

// healthyWeight is how many histories in a round have no fault.
const healthyWeight = 22

// slot is one place in a round: a fault (nil: none) at a severity.
type slot struct {
	fault    *Fault
	severity int
}

// round is the corpus's order of faults: a seed's place in it says what goes
// wrong.
var round = func() []slot {
	var out []slot
	most := 0
	for _, f := range Faults {
		most = max(most, f.weight[0], f.weight[1], f.weight[2])
	}
	// By turns, so that any stretch of seeds holds some of everything.
	for turn := range most {
		for i := range Faults {
			for severity, n := range Faults[i].weight {
				if turn < n {
					out = append(out, slot{&Faults[i], severity})
				}
			}
		}
	}
	step := len(out)/healthyWeight + 1
	var mixed []slot
	for i, s := range out {
		if i%step == 0 {
			mixed = append(mixed, slot{})
		}
		mixed = append(mixed, s)
	}
	return mixed
}()

// RoundSize is how many seeds hold one round.
func RoundSize() int { return len(round) }
