package api

// ReadingEvent is a reading that has been taken in.
type ReadingEvent struct {
	TankID  string  `json:"tankId"`
	Channel string  `json:"channel"`
	Value   float64 `json:"value"`
	AtS     float64 `json:"atS" doc:"seconds since 1970, UTC"`
}

// FindingEvent is a finding that began, changed or ended.
type FindingEvent struct {
	TankID  string  `json:"tankId"`
	Finding Finding `json:"finding"`
}

// AlarmEvent is an alarm that changed its state.
type AlarmEvent struct {
	Alarm Alarm `json:"alarm"`
}

// RoundsEvent says that Rounds reads differently now; it is sent once when the
// stream opens, too.
type RoundsEvent struct {
	Rounds Rounds `json:"rounds"`
}
