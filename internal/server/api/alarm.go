package api

import (
	"context"
	"net/http"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/server/monitor"
)

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
	Told          *Told      `json:"told,omitempty" doc:"absent: nobody was told"`
}

// Told is how many messages about an alarm's present call went where.
type Told struct {
	Sent    int `json:"sent"`
	Pending int `json:"pending" doc:"to be tried, or tried again"`
	Failed  int `json:"failed" doc:"given up: somebody who should know was not reached"`
}

type alarmsOut struct {
	Body struct {
		Alarms []Alarm `json:"alarms" doc:"most urgent first; normal ones are left out"`
	}
}

type AlarmIn struct {
	Alarm string `path:"alarm" maxLength:"256"`
}

type shelveIn struct {
	AlarmIn
	Body struct {
		ForS float64 `json:"forS" exclusiveMinimum:"0" maximum:"604800" doc:"seconds; a shelving always ends by itself"`
	}
}

// siteOfAlarm is where an alarm is; known is false if there never was one.
func (a *API) siteOfAlarm(id string) (siteID string, known bool) {
	siteID, key, ok := monitor.ParseAlarmID(id)
	if !ok {
		return "", false
	}
	_, known = a.monitor.Alarm(siteID, key)
	return siteID, known
}

func (a *API) alarms(ctx context.Context, _ *struct{}) (*alarmsOut, error) {
	out := &alarmsOut{}
	out.Body.Alarms = []Alarm{}
	person := personOf(ctx)
	for _, al := range a.monitor.Alarms() {
		if person.sees(al.SiteID) {
			out.Body.Alarms = append(out.Body.Alarms, a.showAlarm(al.SiteID, &al.Alarm))
		}
	}
	return out, nil
}

func (a *API) acknowledge(ctx context.Context, in *AlarmIn) (*reply[Alarm], error) {
	return a.ask(ctx, in.Alarm, alarm.Event{Do: alarm.Acknowledge})
}

func (a *API) reset(ctx context.Context, in *AlarmIn) (*reply[Alarm], error) {
	return a.ask(ctx, in.Alarm, alarm.Event{Do: alarm.Reset})
}

func (a *API) shelve(ctx context.Context, in *shelveIn) (*reply[Alarm], error) {
	return a.ask(ctx, in.Alarm, alarm.Event{Do: alarm.Shelve, For: time.Duration(in.Body.ForS * float64(time.Second))})
}

func (a *API) unshelve(ctx context.Context, in *AlarmIn) (*reply[Alarm], error) {
	return a.ask(ctx, in.Alarm, alarm.Event{Do: alarm.Unshelve})
}

// ask asks something of an alarm in the name of who is signed in.
func (a *API) ask(ctx context.Context, id string, e alarm.Event) (*reply[Alarm], error) {
	siteID, key, _ := monitor.ParseAlarmID(id) // the guard has looked it up
	e.Key, e.By = key, personOf(ctx).Name
	reason, err := a.monitor.Ask(ctx, siteID, e)
	if err != nil {
		return nil, err
	}
	if reason.Refused() {
		return nil, refused(http.StatusConflict, "alarm", id, string(reason), "look at its state")
	}
	al, _ := a.monitor.Alarm(siteID, key)
	return &reply[Alarm]{Body: a.showAlarm(siteID, &al)}, a.edit(ctx).Note(ctx, string(e.Do), "alarm", id, reason)
}
