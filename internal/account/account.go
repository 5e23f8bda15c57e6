package account

import (
	"time"

	"isohaline/internal/account/design"
	"isohaline/internal/account/finding"
	"isohaline/internal/account/words"
	"isohaline/internal/tankfile"
)

// Account keeps the books of one tank. It holds what does not change; what does
// is in the State. It is only read, and may be shared by any number of states.
type Account struct {
	tank     design.Tank
	settings Settings
	words    words.Writer
}

// New returns the account of a validated tank. The error says which setting is out of
// range, or what of the tank cannot be calculated.
func New(s *tankfile.Tank, settings Settings) (*Account, error) {
	if err := settings.complete(); err != nil {
		return nil, err
	}
	t, err := design.New(s, settings.WatchM)
	if err != nil {
		return nil, err
	}
	a := &Account{tank: t, settings: settings}
	a.words = words.Writer{Name: s.Name, Zone: settings.Zone, Tank: &a.tank}
	return a, nil
}

// What the account says, by the names of package finding.
type (
	Finding  = finding.Finding
	Code     = finding.Code
	Evidence = finding.Evidence
	RuledOut = finding.RuledOut
)

const (
	TankLeak           = finding.TankLeak
	FreshLeak          = finding.FreshLeak
	DemandChanged      = finding.DemandChanged
	EvaporationChanged = finding.EvaporationChanged
	PumpWeak           = finding.PumpWeak
	PumpSeized         = finding.PumpSeized
	WatchFouled        = finding.WatchFouled
	WatchStuck         = finding.WatchStuck
	CeilingWet         = finding.CeilingWet
	TopOffOverdue      = finding.TopOffOverdue
	EndlessFill        = finding.EndlessFill
	RestartDip         = finding.RestartDip
	SalinityCreeping   = finding.SalinityCreeping
	ReservoirEmptyBy   = finding.ReservoirEmptyBy
	DeviceSilent       = finding.DeviceSilent
	InstrumentOff      = finding.InstrumentOff
)

// Codes returns every code.
func Codes() []Code { return finding.Codes() }

// Clock is a time as sentences say it: by the clocks of a zone, which people on
// site know; UTC, which hangs on no wall there, is named.
func Clock(t time.Time, zone *time.Location) string { return words.Clock(t, zone) }
