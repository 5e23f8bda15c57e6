package monitor

import (
	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/wire"
)

// Event is something that has just happened; one of its fields is set, or none
// where what is known of a tank as such has changed, like its name.
type Event struct {
	TankID, SiteID string
	Reading        *wire.Reading
	Finding        *account.Finding
	Alarm          *alarm.Alarm
}

// Topic is what an event is about: a later event of the same topic says all that an
// earlier one said.
type Topic struct{ siteID, tankID, kind, name string }

// Topic is what the event is about.
func (e *Event) Topic() Topic {
	t := Topic{siteID: e.SiteID, tankID: e.TankID, kind: "tank"}
	switch {
	case e.Reading != nil:
		t.kind, t.name = "reading", e.Reading.Channel
	case e.Finding != nil:
		t.kind, t.name = "finding", string(e.Finding.Code)
	case e.Alarm != nil:
		t.kind, t.name = "alarm", string(e.Alarm.Code)+"/"+e.Alarm.Device
	}
	return t
}
