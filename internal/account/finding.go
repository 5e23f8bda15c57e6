package account

import "time"

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

// Codes lists every code.
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

// Evidence is one number behind a finding.
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
