package alarm

import (
	"time"

	"isohaline/internal/account"
)

// Conditions that are not findings of one tank's account.
const (
	PowerCut     account.Code = "power-cut"     // the site has no mains
	SiteSilent   account.Code = "site-silent"   // every device of the site is silent
	FloorWet     account.Code = "floor-wet"     // the guard's floor sensor
	GuardLatched account.Code = "guard-latched" // the guard stopped and wants a person on site
)

// Kind is one kind of alarm, declared once.
type Kind struct {
	Code  account.Code
	Title string
	// OnDelay is how long the condition must last before it is an alarm,
	// OffDelay how long it must stay away before it is over.
	OnDelay, OffDelay time.Duration
	// Latches: once it has been an alarm it stays one, also when the condition
	// goes, until a person acknowledges and resets it.
	Latches bool
	// SilencedBy are the kinds that explain this one: while one of them is up
	// at the same place this one is suppressed by design.
	SilencedBy []account.Code
	// Gathers is the kind that becomes this one when every device of the site
	// has it; empty: none.
	Gathers account.Code
	// Caution is what somebody who goes there must know first.
	Caution string
}

// The usual cautions, common practice, no source. Local codes and a licensed
// electrician or plumber decide.
const (
	cautionWater = "Mains power near salt water can kill: switch off at the breaker before you touch anything wet."
	cautionMains = "Work on mains power is for a licensed electrician."
)

// Kinds is the catalogue: every condition that can be an alarm.
//
// The delays are common practice, no source, where the condition has been found
// by the account, which tests for change by itself. For the ceiling and the
// floor, levels, the off-delay is the 60 s that ISA-18.2 and EEMUA 191 advise
// to begin with for a level (from memory). Nothing silences what says that water
// is where it must not be.
func Kinds() []Kind {
	const second, minute, hour = time.Second, time.Minute, time.Hour
	return []Kind{
		{Code: PowerCut, Title: "No mains power", OnDelay: minute, OffDelay: 30 * minute, Caution: cautionMains},
		{Code: SiteSilent, Title: "Nothing is heard from the site", OnDelay: minute, OffDelay: 15 * minute,
			SilencedBy: []account.Code{PowerCut}, Gathers: account.DeviceSilent},

		{Code: FloorWet, Title: "Water on the floor", OffDelay: minute, Latches: true, Caution: cautionWater},
		{Code: account.CeilingWet, Title: "Ceiling level wet", OnDelay: 10 * second, OffDelay: minute, Latches: true, Caution: cautionWater},
		{Code: account.EndlessFill, Title: "A fill that does not end", OffDelay: minute, Latches: true, Caution: cautionWater},
		{Code: GuardLatched, Title: "The guard has latched and doses nothing", OnDelay: minute, OffDelay: minute,
			SilencedBy: []account.Code{FloorWet, account.CeilingWet, account.EndlessFill}},
		{Code: account.TankLeak, Title: "Salt water is leaving the tank", OffDelay: hour, Caution: cautionWater},
		{Code: account.FreshLeak, Title: "Top-off water does not reach the tank", OffDelay: hour, Caution: cautionWater},
		{Code: account.RestartDip, Title: "Filled into the dip after a restart", OffDelay: hour},

		{Code: account.DeviceSilent, Title: "A device is silent", OnDelay: 10 * minute, OffDelay: 10 * minute,
			SilencedBy: []account.Code{PowerCut, SiteSilent}},
		{Code: account.PumpSeized, Title: "Top-off pump does not pump", OnDelay: 15 * minute, OffDelay: 10 * minute,
			SilencedBy: []account.Code{PowerCut, SiteSilent, account.DeviceSilent}},
		{Code: account.WatchStuck, Title: "Watch sensor is stuck", OnDelay: 15 * minute, OffDelay: 10 * minute,
			SilencedBy: []account.Code{PowerCut, SiteSilent, account.DeviceSilent}},
		{Code: account.ReservoirEmptyBy, Title: "Reservoir runs empty", OnDelay: 15 * minute, OffDelay: 15 * minute},
		{Code: account.TopOffOverdue, Title: "Top-off is overdue", OnDelay: 20 * minute, OffDelay: minute,
			SilencedBy: []account.Code{PowerCut, SiteSilent, account.DeviceSilent, account.PumpSeized,
				account.WatchStuck, account.ReservoirEmptyBy, GuardLatched}},

		{Code: account.PumpWeak, Title: "Top-off pump is getting weaker", OnDelay: hour, OffDelay: 10 * minute,
			SilencedBy: []account.Code{PowerCut, account.PumpSeized}},
		{Code: account.WatchFouled, Title: "Watch sensor needs cleaning", OnDelay: hour, OffDelay: 10 * minute,
			SilencedBy: []account.Code{account.WatchStuck}},
		{Code: account.SalinityCreeping, Title: "Salinity is creeping", OnDelay: hour, OffDelay: hour,
			SilencedBy: []account.Code{account.TankLeak}},
		{Code: account.InstrumentOff, Title: "Instruments disagree", OnDelay: hour, OffDelay: hour},
		{Code: account.DemandChanged, Title: "More water goes in than the air explains", OnDelay: hour, OffDelay: hour,
			SilencedBy: []account.Code{account.TankLeak, account.FreshLeak}},
		{Code: account.EvaporationChanged, Title: "Evaporation has changed", OnDelay: hour, OffDelay: hour},
	}
}

// find is the kind with this code, nil if there is none.
func find(kinds []Kind, code account.Code) *Kind {
	for i := range kinds {
		if kinds[i].Code == code {
			return &kinds[i]
		}
	}
	return nil
}
