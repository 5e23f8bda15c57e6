package api

import "time"

// Rounds is the morning list.
type Rounds struct {
	At         time.Time  `json:"at"`
	NeedPerson []RoundRow `json:"needPerson" doc:"tanks that need a person, worst first"`
	Quiet      []Quiet    `json:"quiet" doc:"the others, by name"`
}

// RoundRow is one tank that needs a person, with the worst finding first.
type RoundRow struct {
	Tank TankRef `json:"tank"`
	// Priority after IEC 62682.
	Priority string  `json:"priority" enum:"none,low,medium,high,critical"`
	Finding  Finding `json:"finding" doc:"the worst; its sentence is the row"`
	// AlarmState in the standard's words, empty without an alarm.
	AlarmID    string     `json:"alarmId,omitempty"`
	AlarmState string     `json:"alarmState,omitempty"`
	Others     []Finding  `json:"others" doc:"what else goes on at this tank"`
	LastHeard  *time.Time `json:"lastHeard,omitempty"`
}

// Quiet is a tank that needs nobody.
type Quiet struct {
	Tank          TankRef    `json:"tank"`
	LitresPerDay  *Estimate  `json:"litresPerDay,omitempty" doc:"what it evaporates"`
	SalinityPSU   *Estimate  `json:"salinityPSU,omitempty"`
	ReservoirDays *Band      `json:"reservoirDays,omitempty"`
	Notes         []string   `json:"notes" doc:"sentences about harmless changes"`
	LastHeard     *time.Time `json:"lastHeard,omitempty"`
}

type roundsOut struct{ Body Rounds }
