package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/server/monitor"
)

// Rounds is the morning list.
type Rounds struct {
	At         time.Time  `json:"at"`
	NeedPerson []RoundRow `json:"needPerson" doc:"tanks that need a person, worst first"`
	Quiet      []Quiet    `json:"quiet" doc:"the others, by name"`
	// CatchingUp says that tanks are missing, because the service has just begun.
	CatchingUp *CatchingUp `json:"catchingUp,omitempty" doc:"tanks are still missing here; absent once every one is taken up"`
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

func (a *API) rounds(ctx context.Context, _ *struct{}) (*reply[Rounds], error) {
	return &reply[Rounds]{Body: a.roundsFor(personOf(ctx))}, nil
}

// roundsFor is the list for one person.
func (a *API) roundsFor(person *Person) Rounds {
	now := a.now()
	out := Rounds{At: now, NeedPerson: []RoundRow{}, Quiet: []Quiet{}, CatchingUp: a.catchingUp()}
	worst := map[string]*account.Finding{}
	for _, v := range a.monitor.Tanks() {
		switch {
		case !person.sees(v.SiteID):
		case needsPerson(&v):
			out.NeedPerson = append(out.NeedPerson, a.roundRow(&v, now))
			worst[v.ID] = &v.Findings[0]
		default:
			out.Quiet = append(out.Quiet, a.quiet(&v))
		}
	}
	slices.SortStableFunc(out.NeedPerson, func(x, y RoundRow) int { return monitor.Worse(worst[x.Tank.ID], worst[y.Tank.ID]) })
	slices.SortStableFunc(out.Quiet, func(x, y Quiet) int { return cmp.Compare(x.Tank.Name, y.Tank.Name) })
	return out
}

func needsPerson(v *monitor.View) bool {
	return len(v.Findings) > 0 && monitor.NeedsPerson(&v.Findings[0])
}

func (a *API) roundRow(v *monitor.View, now time.Time) RoundRow {
	worst := &v.Findings[0]
	r := RoundRow{
		Tank: a.refOf(v), Priority: monitor.Priority(worst).String(), Finding: showFinding(worst, now),
		Others: showFindings(v.Findings[1:], now), LastHeard: known(v.LastHeard),
	}
	key := alarm.Key{Code: worst.Code, Tank: v.ID}
	if al, ok := a.monitor.Alarm(v.SiteID, key); ok {
		r.AlarmID, r.AlarmState = monitor.AlarmID(v.SiteID, key), al.State().String()
	}
	return r
}

func (a *API) quiet(v *monitor.View) Quiet {
	q := Quiet{Tank: a.refOf(v), Notes: []string{}, LastHeard: known(v.LastHeard)}
	for _, f := range v.Findings {
		q.Notes = append(q.Notes, f.Sentence)
	}
	if e := heard(v); e != nil {
		q.LitresPerDay, q.SalinityPSU, q.ReservoirDays = &e.EvaporationLitresDay, &e.SalinityPSU, e.ReservoirDays
	}
	return q
}
