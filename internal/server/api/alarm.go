package api

import "time"

// Alarm is one alarm in its life cycle after IEC 62682.
type Alarm struct {
	ID            string     `json:"id"`
	Code          string     `json:"code" example:"ceiling-wet"`
	Title         string     `json:"title"`
	SiteID        string     `json:"siteId"`
	SiteName      string     `json:"siteName"`
	TankID        string     `json:"tankId,omitempty"`
	DeviceID      string     `json:"deviceId,omitempty"`
	Sentence      string     `json:"sentence"`
	Caution       string     `json:"caution,omitempty"`
	State         string     `json:"state" example:"unacknowledged"`
	Priority      string     `json:"priority" enum:"none,low,medium,high,critical"`
	Class         int        `json:"class" minimum:"0" maximum:"4"`
	HarmAt        *time.Time `json:"harmAt,omitempty"`
	Called        *time.Time `json:"called,omitempty" doc:"when it last called for a person"`
	AckedBy       string     `json:"ackedBy,omitempty"`
	ShelvedUntil  *time.Time `json:"shelvedUntil,omitempty"`
	ShelvedBy     string     `json:"shelvedBy,omitempty"`
	Cause         string     `json:"cause,omitempty" doc:"the alarm that explains and silences this one"`
	LongestShelfS float64    `json:"longestShelfS" doc:"how long it may be shelved at most, in seconds"`
}

type alarmsOut struct {
	Body struct {
		Alarms []Alarm `json:"alarms" doc:"most urgent first; normal ones are left out"`
	}
}

type alarmIn struct {
	Alarm string `path:"alarm" maxLength:"256"`
}

type shelveIn struct {
	alarmIn
	Body struct {
		ForS float64 `json:"forS" exclusiveMinimum:"0" maximum:"604800" doc:"seconds; a shelving always ends by itself"`
	}
}

type alarmOut struct{ Body Alarm }
