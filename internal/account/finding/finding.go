// Package finding is what the account says: findings as people get them, and the
// records from which their figures and words are made.
package finding

import (
	"time"

	"isohaline/internal/account/belief"
	"isohaline/internal/account/design"
	"isohaline/internal/account/reservoir"
)

// Code names a kind of finding.
type Code string

const (
	TankLeak           Code = "tank-leak"           // salt water leaves, fresh water replaces it
	FreshLeak          Code = "fresh-leak"          // top-off water goes somewhere else
	DemandChanged      Code = "demand-changed"      // more water goes in than the air explains; a leak or the air, open
	EvaporationChanged Code = "evaporation-changed" // harmless by itself: it must say so
	PumpWeak           Code = "pump-weak"
	PumpSeized         Code = "pump-seized"
	WatchFouled        Code = "watch-fouled" // switches late, early or erratically
	WatchStuck         Code = "watch-stuck"
	CeilingWet         Code = "ceiling-wet"
	TopOffOverdue      Code = "top-off-overdue" // longer without a fill than evaporation allows
	EndlessFill        Code = "endless-fill"    // a siphon, a welded relay, a fill without end
	RestartDip         Code = "restart-dip"     // filled into the dip after a restart
	SalinityCreeping   Code = "salinity-creeping"
	ReservoirEmptyBy   Code = "reservoir-empty-by"
	DeviceSilent       Code = "device-silent"
	InstrumentOff      Code = "instrument-off" // instruments disagree
)

// Codes returns every code.
func Codes() []Code {
	return []Code{TankLeak, FreshLeak, DemandChanged, EvaporationChanged, PumpWeak, PumpSeized, WatchFouled, WatchStuck,
		CeilingWet, TopOffOverdue, EndlessFill, RestartDip, SalinityCreeping, ReservoirEmptyBy, DeviceSilent, InstrumentOff}
}

// Finding is a change the account can defend.
type Finding struct {
	Code Code
	// Since is when it most likely began, Found when it became certain enough
	// to say, Ended when it was over; zero while it goes on.
	Since, Found, Ended time.Time
	// Confidence is the probability, 0 to 1, that this and not an alternative
	// explains the evidence.
	Confidence float64
	// Class is the harm class it leads to if nobody acts, 0 to 4; HarmIn how
	// long until then, negative if it does not lead to class 3.
	Class  int
	HarmIn time.Duration
	// Amount is the finding's own measure, with its spread: litres a day of a
	// leak, share of its flow left to a pump. AmountUnit names it.
	Amount, AmountSD float64
	AmountUnit       string
	Evidence         []Evidence
	RuledOut         []RuledOut
	// Sentence says it to a practitioner, in metric units.
	Sentence string
}

// Evidence is one number behind a finding: what was measured or estimated, what was
// expected, and SD, one standard deviation. All three are in Unit.
type Evidence struct {
	Name            string
	Value, Expected float64
	SD              float64
	Unit            string
	At              time.Time
}

// RuledOut is an explanation that was considered and why it was dropped.
type RuledOut struct {
	Code Code
	Why  string
}

// Record is what is remembered of a finding while it goes on.
type Record struct {
	Code         Code
	Since, Found time.Time
	// Ended is zero while it goes on; Last is when something that comes again
	// last came.
	Ended, Last time.Time `json:",omitzero"`
	Confidence  float64
	// Subject tells the ways of one code apart.
	Subject string `json:",omitempty"`
	// Reads and Against are the instruments that disagree.
	Reads, Against   string `json:",omitempty"`
	Amount, AmountSD float64
	// Number is a second figure, where the code has one.
	Number float64 `json:",omitempty"`
	// Was is what was believed before.
	Was belief.Levels
}

// The subjects of records.
const (
	// How a watch sensor is fouled, and how one is stuck.
	ByBand    = "band"
	ByShift   = "shift"
	ByCreep   = "creep"
	ByErratic = "unrest"
	ByDry     = "dry"
	ByWet     = "wet"
	// What salinity tells, and a gauge.
	BySalinity = "salinity"
	ByDrift    = "drift"
	ByMix      = "water change"
	ByGauge    = "level gauge"
	// Where water goes.
	ByFloor  = "floor"
	BySiphon = "siphon"
)

// Surely is the confidence where nothing else explains it.
const Surely = 0.99

// Facts are the numbers that a record is told with, as they stand at one moment.
type Facts struct {
	// At is the time of the belief, Done up to when all is known.
	At, Done      time.Time
	Belief        belief.Belief
	PredictedLDay float64
	Reservoir     reservoir.State
	// Dispersion is the variance of the watch sensor's turns over the usual.
	Dispersion float64
}

// DemandLDay returns what the tank takes, L/day of the filter.
func (f *Facts) DemandLDay(t *design.Tank) float64 { return t.DemandLDay(&f.Belief, f.PredictedLDay) }

// DemandSD returns one standard deviation of DemandLDay, L/day.
func (f *Facts) DemandSD() float64 { return f.Belief.DemandSD(f.PredictedLDay) }

// DaysLeft returns how many days the reservoir lasts: the early end, the middle and
// the late end of nine cases in ten.
func (f *Facts) DaysLeft(t *design.Tank) (early, middle, late float64) {
	return f.Reservoir.DaysLeft(&t.Reservoir, f.DemandLDay(t), f.DemandSD(), t.LeastUseLDay())
}
