package hublife

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
)

// settled: everything is taken in, all delays are over and the post works. What was
// promised must be so.
func (o *oracle) settled() {
	w, m := o.w, o.w.monitor
	w.verdict.Checks++
	if m.Taken() != w.log.head() && len(w.log.from(0)) > 0 { // else all that it held was trimmed, and its end was lost
		w.wrong("taken in is %d of %d frames", m.Taken(), w.log.head())
	}
	o.forgotten()
	for t := range w.tanks {
		for c := range contacts {
			o.told[t][c].moved = o.says(t, c) == unsure
			o.conditionTold(t, c)
		}
		o.findingsKept(t)
	}
	o.sameAlarms(m)
	o.passedOn()
	for key, n := range o.notices {
		switch {
		case n.Outcome == alarm.Sent && o.sent[key] == 0:
			o.once("notice %s is kept as sent and was not", n.ID)
		case n.Outcome == alarm.Pending && !n.Due.After(w.now):
			o.once("notice %s was to be sent at %s", n.ID, n.Due.Format(time.DateTime))
		}
	}
}

// passedOn: where nobody acknowledged an alarm in time the next person was told.
func (o *oracle) passedOn() {
	w := o.w
	for _, a := range w.monitor.Alarms() {
		plan := w.sites[w.siteNumber(a.SiteID)].plan
		// A round that nobody was there to send is not made up for: the next begins with
		// the first person.
		called := w.now.Sub(a.Called)
		if called > plan.Low.Repeat {
			called -= plan.Low.Repeat
		}
		if len(plan.Low.Rungs) == 0 || !a.State().Calls() || called <= answerIn {
			continue
		}
		told := false
		for key, n := range o.notices {
			told = told || key[0] == a.SiteID && n.Alarm == a.Key && n.Called.Equal(a.Called) && n.Rung > 0
		}
		if !told {
			w.wrong("%s at %s calls since %s and only one person was told", a.Code, a.Tank, a.Called.Format(time.DateTime))
		}
	}
}

// once says what is wrong; of several at one step the one that comes first in the
// alphabet, so that the same life always says the same.
func (o *oracle) once(format, id string, args ...any) {
	w := o.w
	text := fmt.Sprintf(format, append([]any{id}, args...)...)
	prefix := fmt.Sprintf("step %d, %s: ", w.step, w.now.Format(time.DateTime))
	if w.verdict.First == "" || strings.HasPrefix(w.verdict.First, prefix+"notice ") && prefix+text < w.verdict.First {
		w.verdict.First = prefix + text
	}
}

// conditionTold: the last word of a tank's contacts has its alarm.
func (o *oracle) conditionTold(t, c int) {
	w := o.w
	id := w.tanks[t].id
	a, there := w.monitor.Alarm(w.sites[w.tanks[t].site].id, alarm.Key{Code: contacts[c].code, Tank: id})
	switch said := o.says(t, c); {
	case said == on && !(there && a.Present && a.Active):
		w.wrong("%s: the %s contact is on and there is no alarm: %+v", id, contacts[c].channel, a)
	case said == on && a.State() <= alarm.LatchedAcknowledged && a.State() != alarm.Unacknowledged && a.State() != alarm.Acknowledged:
		w.wrong("%s: the %s contact is on and its alarm is %v", id, contacts[c].channel, a.State())
	case said == off && a.Present && !(c == ceiling && o.found(t, account.CeilingWet)):
		w.wrong("%s: the %s contact is off and its alarm is there", id, contacts[c].channel)
	}
}

// found says whether a tank has a finding that goes on.
func (o *oracle) found(t int, code account.Code) bool {
	v, _ := o.w.monitor.Tank(o.w.tanks[t].id)
	return slices.ContainsFunc(v.Findings, func(f account.Finding) bool { return f.Code == code })
}

// findingsKept: the findings that go on are those that are kept as such, and each
// that matters has its alarm.
func (o *oracle) findingsKept(t int) {
	w := o.w
	id := w.tanks[t].id
	v, _ := w.monitor.Tank(id)
	open, err := openFindings(w.books, id)
	if err != nil {
		w.wrong("reading the findings: %v", err)
		return
	}
	for _, kept := range open {
		if !slices.ContainsFunc(v.Findings, func(f account.Finding) bool { return f.Code == kept.Code && f.Found.Equal(kept.Found) }) {
			w.wrong("%s: %s, found %s, is kept as going on and does not", id, kept.Code, kept.Found.Format(time.DateTime))
		}
	}
	for _, f := range v.Findings {
		kept := slices.ContainsFunc(open, func(k store.Finding) bool { return k.Code == f.Code && k.Found.Equal(f.Found) })
		// A ceiling that only its contact tells of is an alarm and no finding.
		if !kept && f.Code != account.CeilingWet {
			w.wrong("%s: %s, found %s, goes on and is not kept", id, f.Code, f.Found.Format(time.DateTime))
		}
		a, there := w.monitor.Alarm(w.sites[w.tanks[t].site].id, alarm.Key{Code: f.Code, Tank: id})
		if f.Class > 0 && monitor.KindOf(f.Code) != nil && !(there && a.Present) {
			w.wrong("%s: %s goes on and there is no alarm", id, f.Code)
		}
	}
	for _, code := range account.Codes() {
		a, there := w.monitor.Alarm(w.sites[w.tanks[t].site].id, alarm.Key{Code: code, Tank: id})
		if there && a.Present && !o.found(t, code) {
			w.wrong("%s: the alarm %s is there and no finding is", id, code)
		}
	}
}

// readingsKept: every reading is kept once, as it came first.
func (o *oracle) readingsKept() {
	w := o.w
	ctx := context.Background()
	byChannel := map[[2]string]int{}
	for key := range o.readings {
		byChannel[[2]string{key.device, key.channel}]++
	}
	for i := range w.devices {
		d := &w.devices[i]
		for _, name := range said {
			n := byChannel[[2]string{d.id, name}]
			if n == 0 {
				continue
			}
			c, err := w.books.EnsureChannel(ctx, d.id, name)
			if err != nil {
				w.wrong("%v", err)
				return
			}
			found := 0
			err = w.books.Readings(ctx, c.ID, time.Unix(0, 0), w.newest.AddDate(1, 0, 0), func(r store.Reading) error {
				found++
				if value, there := o.readings[storedKey{d.id, name, r.At.UnixMicro()}]; !there || value != r.Value {
					w.wrong("%s says %s %v at %s: there %v, %v", d.id, name, r.Value, r.At.Format(time.DateTime), there, value)
				}
				return nil
			})
			if err != nil || found != n {
				w.wrong("of %d readings of %s of %s %d are kept, %v", n, name, d.id, found, err)
			}
		}
	}
}

// summary is what a restart must not change: which alarms there are and which
// findings go on.
func (w *world) summary() string {
	var lines []string
	for i := range w.tanks {
		v, _ := w.monitor.Tank(w.tanks[i].id)
		for _, f := range v.Findings {
			// An account that takes in again what came late, and no look at the clock
			// between, may date the same finding otherwise.
			lines = append(lines, fmt.Sprintf("%s %s", v.ID, f.Code))
		}
	}
	slices.Sort(lines)
	for _, a := range w.monitor.Alarms() {
		lines = append(lines, fmt.Sprintf("%s %s %v", a.Tank, a.Code, a.State()))
	}
	text, _ := json.Marshal(lines)
	return string(text)
}
