package api

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/server/monitor"
	"isohaline/internal/server/sender"
	"isohaline/internal/store"
)

// Notice is one message to one contact about one alarm: who was told what and
// when, and what became of it.
type Notice struct {
	ID       string    `json:"id"`
	AlarmID  string    `json:"alarmId"`
	SiteID   string    `json:"siteId"`
	TankID   string    `json:"tankId,omitempty"`
	Title    string    `json:"title" doc:"the alarm's"`
	Contact  Recipient `json:"contact"`
	Decided  time.Time `json:"decided"`
	Called   time.Time `json:"called" doc:"the alarm's call that it is about"`
	Rung     int       `json:"rung" doc:"from 1; 0 where it tells the end"`
	Round    int       `json:"round" doc:"from 1; 0 where it tells the end"`
	End      bool      `json:"end" doc:"it tells that the condition is gone"`
	Outcome  string    `json:"outcome" enum:"pending,sent,failed,dropped"`
	Reason   string    `json:"reason" doc:"why it was decided or dropped"`
	Attempts []Attempt `json:"attempts" doc:"oldest first"`
}

// Attempt is one try to deliver a notice.
type Attempt struct {
	At      time.Time `json:"at"`
	Problem string    `json:"problem" doc:"what went wrong, empty if nothing"`
	Subject string    `json:"subject,omitempty" doc:"what was sent"`
	Text    string    `json:"text,omitempty"`
}

type noticesOut struct {
	Body struct {
		Notices []Notice `json:"notices" doc:"newest first"`
	}
}

type noticesIn struct {
	From    time.Time `query:"from" required:"true"`
	To      time.Time `query:"to" required:"true"`
	Outcome string    `query:"outcome" enum:"pending,sent,failed,dropped" doc:"only those; absent: all"`
}

// noticesFor is how far back the notices of one alarm are listed.
const noticesFor = 400 * 24 * time.Hour

func (a *API) alarmNotices(ctx context.Context, in *AlarmIn) (*noticesOut, error) {
	siteID, key, _ := monitor.ParseAlarmID(in.Alarm) // the guard has looked it up
	now := a.now()
	list, err := a.store.Notices(ctx, siteID, now.Add(-noticesFor), now.Add(time.Second))
	if err != nil {
		return nil, err
	}
	sent, err := a.sentAbout(ctx, in.Alarm)
	if err != nil {
		return nil, err
	}
	out := &noticesOut{}
	out.Body.Notices = []Notice{}
	for _, n := range slices.Backward(list) {
		if n.Alarm == key {
			out.Body.Notices = append(out.Body.Notices, showNotice(siteID, &n, sent[n.ID]))
		}
	}
	return out, nil
}

// sentAbout is what was sent about an alarm, by notice, oldest first.
func (a *API) sentAbout(ctx context.Context, alarmID string) (map[string][]sender.Sent, error) {
	const enough = 1000
	lines, err := a.store.Audit(ctx, store.AuditQuery{Subject: sender.Subject(alarmID), Who: sender.Who, Limit: enough})
	out := map[string][]sender.Sent{}
	for _, line := range slices.Backward(lines) {
		var s sender.Sent
		if json.Unmarshal([]byte(line.Detail), &s) == nil {
			out[s.Notice] = append(out[s.Notice], s)
		}
	}
	return out, err
}

func (a *API) notices(ctx context.Context, in *noticesIn) (*noticesOut, error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	out := &noticesOut{}
	out.Body.Notices = []Notice{}
	person := personOf(ctx)
	for _, s := range a.monitor.Sites() {
		if !person.sees(s.ID) {
			continue
		}
		list, err := a.store.Notices(ctx, s.ID, in.From, in.To)
		if err != nil {
			return nil, err
		}
		for i := range list {
			if n := &list[i]; in.Outcome == "" || in.Outcome == string(n.Outcome) {
				out.Body.Notices = append(out.Body.Notices, showNotice(s.ID, n, nil))
			}
		}
	}
	slices.SortStableFunc(out.Body.Notices, func(x, y Notice) int { return y.Decided.Compare(x.Decided) })
	return out, nil
}

// showNotice is a notice with what was sent at each attempt, where that is known.
func showNotice(siteID string, n *alarm.Notice, sent []sender.Sent) Notice {
	out := Notice{
		ID: n.ID, AlarmID: monitor.AlarmID(siteID, n.Alarm), SiteID: siteID, TankID: n.Alarm.Tank, Title: titleOf(n.Alarm.Code),
		Contact: showContact(&n.Contact), Decided: n.Decided, Called: n.Called, End: n.End,
		Outcome: string(n.Outcome), Reason: string(n.Reason), Attempts: []Attempt{},
	}
	if !n.End {
		out.Rung, out.Round = n.Rung+1, n.Round+1
	}
	for _, attempt := range n.Attempts {
		shown := Attempt{At: attempt.At, Problem: attempt.Error}
		if i := slices.IndexFunc(sent, func(s sender.Sent) bool { return s.At.Equal(attempt.At) }); i >= 0 {
			shown.Subject, shown.Text = sent[i].Subject, sent[i].Text
		}
		out.Attempts = append(out.Attempts, shown)
	}
	return out
}

// told counts the notices about an alarm's present call, nil if there are none.
func told(list []alarm.Notice) *Told {
	if len(list) == 0 {
		return nil
	}
	var out Told
	for _, n := range list {
		switch n.Outcome {
		case alarm.Sent:
			out.Sent++
		case alarm.Pending:
			out.Pending++
		case alarm.Failed:
			out.Failed++
		}
	}
	return &out
}
