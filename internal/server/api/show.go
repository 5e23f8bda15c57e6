package api

import (
	"math"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/server/monitor"
)

// This file turns what monitor knows into what the interface shows.

func (a *API) refOf(v *monitor.View) TankRef {
	return TankRef{ID: v.ID, Name: v.Name, SiteID: v.SiteID, SiteName: a.monitor.SiteName(v.SiteID)}
}

func showFinding(f *account.Finding, now time.Time) Finding {
	out := Finding{
		Code: string(f.Code), Sentence: f.Sentence, Since: f.Since, Found: f.Found, Ended: known(f.Ended),
		Confidence: finite(f.Confidence), Class: f.Class,
		Amount: finite(f.Amount), AmountSD: finite(f.AmountSD), AmountUnit: f.AmountUnit,
		Evidence: []Evidence{}, RuledOut: []RuledOut{},
	}
	if f.HarmIn >= 0 && f.Ended.IsZero() && f.Class > 0 {
		out.HarmAt = known(now.Add(f.HarmIn))
	}
	for _, e := range f.Evidence {
		out.Evidence = append(out.Evidence, Evidence{Name: e.Name, Value: finite(e.Value), Expected: finite(e.Expected),
			SD: finite(e.SD), Unit: e.Unit, At: e.At})
	}
	for _, r := range f.RuledOut {
		out.RuledOut = append(out.RuledOut, RuledOut{Code: string(r.Code), Why: r.Why})
	}
	return out
}

func showFindings(list []account.Finding, now time.Time) []Finding {
	return listed(list, func(f *account.Finding) Finding { return showFinding(f, now) })
}

func (a *API) showAlarm(siteID string, al *alarm.Alarm) Alarm {
	out := Alarm{
		ID: monitor.AlarmID(siteID, al.Key), Code: string(al.Code), Title: titleOf(al.Code),
		SiteID: siteID, SiteName: a.monitor.SiteName(siteID), TankID: al.Tank, DeviceID: al.Device,
		Sentence: al.Sentence, State: al.State().String(), Priority: al.Priority.String(), Class: al.Class,
		HarmAt: known(al.HarmAt), Called: known(al.Called), AckedBy: al.AckedBy,
		ShelvedUntil: known(al.ShelvedUntil), ShelvedBy: al.ShelvedBy,
		LongestShelfS: alarm.ShelveMax(al.Priority).Seconds(), Told: told(a.monitor.Told(siteID, al.Key)),
	}
	if al.Cause != (alarm.Key{}) {
		out.Cause = monitor.AlarmID(siteID, al.Cause)
	}
	if kind := monitor.KindOf(al.Code); kind != nil {
		out.Caution = kind.Caution
	}
	return out
}

func titleOf(code account.Code) string {
	if kind := monitor.KindOf(code); kind != nil {
		return kind.Title
	}
	return string(code)
}

// known is a time, nil for one that never came.
func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// finite keeps what JSON cannot say out of an answer.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// believed is what a tank's account believes now.
func believed(v *monitor.View) Account {
	e := &v.Estimate
	out := Account{
		At:                   e.At,
		EvaporationLitresDay: Estimate{finite(e.InLDay - e.LeakLDay), finite(math.Hypot(e.InSD, e.LeakSD))},
		ExpectedLitresDay:    Band{finite(e.ExpectedLDay), finite(e.ExpectedLowL), finite(e.ExpectedHiL)},
		LeakLitresDay:        Estimate{finite(e.LeakLDay), finite(e.LeakSD)},
		SalinityPSU:          Estimate{finite(e.SalinityPSU), finite(e.SalinitySD)},
		PumpLitresMin:        Estimate{finite(e.FlowLMin), finite(e.FlowSD)},
	}
	if e.ReservoirKnown {
		litres := finite(e.ReservoirL)
		out.ReservoirLitres = &litres
		out.ReservoirDays = &Band{finite(e.DaysLeft), finite(e.DaysLeftLow), finite(e.DaysLeftHigh)}
	}
	return out
}
