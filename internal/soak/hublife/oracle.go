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
	"isohaline/internal/wire"
)

// word is what a contact of a device said last, by its own time, while the device
// reported of a tank. unsure: the device was moved since then, and has not spoken.
type word struct {
	known, unsure, on bool
	// at is when it said so last, from when it began to.
	from, at time.Time
}

// condition is what the contacts of a tank say.
type condition int

const (
	off condition = iota
	on
	unsure
)

// telling is a condition and what is told of it.
type telling struct {
	condition
	since time.Time // by the hub's clock, when it was taken in
	// blurred: since may be off. moved: a device came or went, whose words may be
	// heard again at another tank; the next look at the clock puts that right.
	blurred, moved bool
	// turns is how often it came on, or may have; told how often that became an
	// alarm.
	turns, told int
}

// oracle knows what was promised. It hears every commit that is kept, and nothing of
// what the monitor thinks.
type oracle struct {
	w *world
	// log and position are how far a log is taken in.
	log      string
	position uint64
	words    [][][len(contacts)]word // by tank and device
	last     [][len(contacts)]word   // by device, wherever it stood
	told     [][len(contacts)]telling
	alarms   map[string]store.AlarmStep // by site
	ceilings []int                      // of the account, by tank
	notices  map[[2]string]alarm.Notice // by site and ID
	ids      map[string]string          // of notices, by what they are
	sent     map[[2]string]int
	readings map[storedKey]float64
	// saved is the frame that each tank is saved up to, since the frames with
	// readings of it that are taken in.
	saved []uint64
	since [][]uint64
	floor uint64
}

type storedKey struct {
	device, channel string
	at              int64
}

func (o *oracle) begin(w *world) {
	*o = oracle{w: w, told: make([][len(contacts)]telling, len(w.tanks)), alarms: map[string]store.AlarmStep{}, ceilings: make([]int, len(w.tanks)),
		notices: map[[2]string]alarm.Notice{}, ids: map[string]string{}, sent: map[[2]string]int{}, readings: map[storedKey]float64{},
		saved: make([]uint64, len(w.tanks)), last: make([][len(contacts)]word, len(w.devices)), since: make([][]uint64, len(w.tanks))}
	for range w.tanks {
		o.words = append(o.words, make([][len(contacts)]word, len(w.devices)))
	}
}

// kept hears of a commit.
func (o *oracle) kept(c *store.Commit) {
	w := o.w
	for i := range c.Tanks {
		t := w.tankNumber(c.Tanks[i].TankID)
		for _, f := range c.Tanks[i].Findings {
			if f.Code == account.CeilingWet && f.Ended.IsZero() {
				o.ceilings[t]++
			}
		}
	}
	before := map[string]store.AlarmStep{}
	for _, step := range c.Sites {
		before[step.SiteID] = o.alarms[step.SiteID]
		o.alarms[step.SiteID] = step
	}
	if c.Log != nil {
		o.takenIn(c.Log)
	}
	for i := range c.Tanks {
		if s := c.Tanks[i].Saved; s != nil {
			t := w.tankNumber(c.Tanks[i].TankID)
			o.saved[t] = 0
			if s.Log == o.log {
				o.saved[t] = s.Sequence
			}
		}
	}
	if c.Log != nil {
		o.floorHolds(c.Log.Floor)
	}
	for i := range c.Sites {
		o.transitions(&c.Sites[i])
		o.noticed(&c.Sites[i])
	}
}

func (w *world) tankNumber(id string) int {
	return slices.IndexFunc(w.tanks, func(t tank) bool { return t.id == id })
}

func (w *world) deviceNumber(id string) int {
	return slices.IndexFunc(w.devices, func(d device) bool { return d.id == id })
}

// takenIn hears the words of the frames that a commit has taken in.
func (o *oracle) takenIn(p *store.LogPosition) {
	w := o.w
	if p.Log != o.log {
		o.log, o.position, o.floor = p.Log, 0, 0
		for t := range o.saved {
			o.saved[t], o.since[t] = 0, nil
			for c := range contacts {
				// What the log still has is heard again, of the tank where its device is now.
				o.told[t][c].moved = o.told[t][c].moved || w.verdict.Moves > 0
			}
		}
	}
	if p.Sequence > w.log.head() {
		w.wrong("frame %d is taken in, the log has %d", p.Sequence, w.log.head())
	}
	for _, f := range w.log.from(o.position) {
		if f.Sequence > p.Sequence {
			break
		}
		for i := range f.Readings {
			o.hear(&f.Readings[i], f.Sequence)
		}
	}
	o.position = p.Sequence
	// What a contact said last has its alarm in the same commit.
	for t := range o.told {
		for c := range contacts {
			x := &o.told[t][c]
			if x.condition != on || x.moved {
				continue
			}
			a := o.alarm(t, c)
			if a == nil || !a.Present || contacts[c].onDelay == 0 && !a.Active {
				w.wrong("%s: the %s contact is on and its readings are kept without the alarm", w.tanks[t].id, contacts[c].channel)
			}
		}
	}
}

// hear hears a reading that is taken in.
func (o *oracle) hear(r *wire.Reading, frame uint64) {
	w := o.w
	d := w.deviceNumber(r.Device)
	if w.devices[d].unknown {
		return
	}
	key := storedKey{r.Device, r.Channel, r.At.UnixMicro()}
	if _, there := o.readings[key]; !there {
		o.readings[key] = r.Value
	}
	t := w.devices[d].tank
	if t == none {
		return
	}
	if n := len(o.since[t]); n == 0 || o.since[t][n-1] != frame {
		o.since[t] = append(o.since[t], frame)
	}
	for c := range contacts {
		if contacts[c].channel != r.Channel {
			continue
		}
		last := &o.words[t][d][c]
		said := word{known: true, on: r.Value != 0, from: r.At, at: r.At}
		switch {
		case !last.known || !r.At.Before(last.at):
			if last.known && last.on == said.on {
				said.from = last.from
			}
			*last = said
			o.last[d][c] = said
		case w.verdict.PowerCuts > 0 && last.on != said.on && !r.At.Before(last.from):
			last.unsure = true // the log may have lost the later word, which was a repetition
		}
		o.turn(t, c)
	}
}

// says is what the contacts of a tank say together.
func (o *oracle) says(t, c int) condition {
	all := off
	for d := range o.words[t] {
		switch said := &o.words[t][d][c]; {
		case !said.known:
		case said.unsure:
			all = unsure
		case said.on:
			return on
		}
	}
	return all
}

// anyUnsure: a device that was moved has not spoken since.
func (o *oracle) anyUnsure() bool {
	for t := range o.words {
		for c := range contacts {
			if o.says(t, c) == unsure || o.told[t][c].moved {
				return true
			}
		}
	}
	return false
}

// turn notes what a condition has come to.
func (o *oracle) turn(t, c int) {
	x, now := &o.told[t][c], o.w.now
	next := o.says(t, c)
	switch {
	case next == x.condition:
		return
	case next == on:
		x.turns++
		x.since, x.blurred = now, x.condition == unsure
	case x.condition == on && next == off && !x.blurred && !x.moved && now.Sub(x.since) >= contacts[c].onDelay:
		// It lasted: the alarm was there, and stays for its off-delay.
		o.w.verdict.Turns++
		if a := o.alarm(t, c); a == nil || !a.Active && !a.Present { // where the account still says so it is there until then
			o.w.wrong("%s: the %s contact was on since %s and nobody was told", o.w.tanks[t].id, contacts[c].channel, x.since.Format(time.DateTime))
		}
	}
	x.condition = next
}

// alarm is the alarm of a condition as it was kept last.
func (o *oracle) alarm(t, c int) *alarm.Alarm {
	w := o.w
	step := o.alarms[w.sites[w.tanks[t].site].id]
	return step.Site.Find(alarm.Key{Code: contacts[c].code, Tank: w.tanks[t].id})
}

// moved makes unsure what a device said: what it said of one tank may count at the
// other until it speaks, or not.
func (o *oracle) moved(d, from, to int) {
	for _, t := range []int{from, to} {
		if t != none {
			o.since[t] = nil // what it needs again is another device's now
		}
	}
	for c := range contacts {
		last := o.last[d][c]
		if !last.known {
			continue
		}
		last.unsure = true
		for _, t := range []int{from, to} {
			if t != none {
				o.words[t][d][c] = last
				o.turn(t, c)
				o.told[t][c].moved = true
			}
		}
	}
}

// forgotten: what devices said that have moved away is forgotten by now.
func (o *oracle) forgotten() {
	for t := range o.words {
		for d := range o.words[t] {
			for c := range contacts {
				if o.w.devices[d].tank != t && o.words[t][d][c].known {
					o.words[t][d][c] = word{}
					o.turn(t, c)
				}
			}
		}
	}
}

// blur: the clock was set back.
func (o *oracle) blur() {
	for t := range o.told {
		for c := range contacts {
			o.told[t][c].blurred = true
		}
	}
}

// transitions hears what was said of a site's alarms.
func (o *oracle) transitions(step *store.AlarmStep) {
	w := o.w
	for _, said := range step.Said {
		if said.Reason.Refused() {
			continue
		}
		w.verdict.Transitions++
		if said.Reason != alarm.Occurred && said.Reason != alarm.CameAgain {
			continue
		}
		for c := range contacts {
			if contacts[c].code != said.Key.Code {
				continue
			}
			t := w.tankNumber(said.Key.Tank)
			x := &o.told[t][c]
			most := x.turns
			if c == ceiling {
				most += o.ceilings[t] // the account tells of it too
			}
			if x.told++; x.told > most && x.moved {
				x.turns += x.told - most
			} else if x.told > most {
				w.wrong("%s: %s was told %d times and came %d times", said.Key.Tank, said.Key.Code, x.told, most)
			}
		}
	}
}

// noticed hears who is to be told. An alarm that calls has somebody who is.
func (o *oracle) noticed(step *store.AlarmStep) {
	w := o.w
	for _, n := range step.Changed {
		id := fmt.Sprintf("%s %v %d %d %v %v %v", step.SiteID, n.Alarm, n.Called.UnixNano(), n.Rung, n.Round, n.Contact, n.End)
		if known, there := o.ids[id]; there && known != n.ID {
			w.wrong("one notice has two IDs, %s and %s", known, n.ID)
		} else if !there {
			w.verdict.Notices++
		}
		o.ids[id] = n.ID
		o.notices[[2]string{step.SiteID, n.ID}] = n
	}
	if len(w.sites[w.siteNumber(step.SiteID)].plan.Low.Rungs) == 0 {
		return
	}
	for i := range step.Site.Alarms {
		a := &step.Site.Alarms[i]
		if a.State().Calls() && !slices.ContainsFunc(step.Record.Notices, func(n alarm.Notice) bool {
			return n.Alarm == a.Key && n.Called.Equal(a.Called)
		}) {
			w.wrong("%s calls at %s and nobody is to be told", a.Code, a.Tank)
		}
	}
}

func (w *world) siteNumber(id string) int {
	return slices.IndexFunc(w.sites, func(s site) bool { return s.id == id })
}

// floorHolds: no tank needs again what the log need not give again.
func (o *oracle) floorHolds(floor uint64) {
	if floor > o.position {
		o.w.wrong("the log is read from frame %d, taken in is %d", floor, o.position)
	}
	for t, list := range o.since {
		for _, frame := range list {
			if frame > o.saved[t] && frame <= floor {
				o.w.wrong("%s is saved up to frame %d and needs %d again; the log is read from %d", o.w.tanks[t].id, o.saved[t], frame, floor)
			}
		}
		o.since[t] = slices.DeleteFunc(list, func(frame uint64) bool { return frame <= floor })
	}
	o.floor = floor
}

// started: the hub goes on from what is kept.
func (o *oracle) started(m *monitor.Monitor) {
	w := o.w
	if m.After() > m.Taken() || m.Taken() > w.log.head() {
		w.wrong("after a start the log is read from %d, taken in is %d, its last is %d", m.After(), m.Taken(), w.log.head())
	}
	o.sameAlarms(m)
}

// taken: what the hub says it has taken is kept.
func (o *oracle) taken(m *monitor.Monitor, last uint64) {
	if m.Taken() > o.position || o.position < last && m.Taken() >= last {
		o.w.wrong("frame %d is said to be taken in; kept is %d", m.Taken(), o.position)
	}
}

// delivered: somebody was told.
func (o *oracle) delivered(out monitor.Outgoing) {
	key := [2]string{out.SiteID, out.Notice.ID}
	if n, there := o.notices[key]; !there || n.Outcome != alarm.Pending {
		o.w.wrong("notice %s is sent and not kept as to be sent: %q", out.Notice.ID, n.Outcome)
	}
	o.w.verdict.Delivered++
	o.sent[key]++
}

// sameAlarms: the alarms that the hub goes by are those that are kept.
func (o *oracle) sameAlarms(m *monitor.Monitor) {
	w := o.w
	for _, s := range w.sites {
		step, err := w.books.LoadAlarms(context.Background(), s.id)
		if err != nil {
			w.wrong("reading the alarms: %v", err)
			return
		}
		var has []alarm.Alarm
		for i := range step.Site.Alarms {
			if a, there := m.Alarm(s.id, step.Site.Alarms[i].Key); there {
				has = append(has, a)
			}
		}
		if !sameAlarms(has, step.Site.Alarms) {
			w.wrong("the alarms of %s are not those that are kept", s.id)
		}
		for _, a := range m.Alarms() {
			if a.SiteID == s.id && step.Site.Find(a.Key) == nil {
				w.wrong("%s at %s is not kept", a.Code, a.Tank)
			}
		}
	}
}

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
	for key, n := range o.notices {
		switch {
		case n.Outcome == alarm.Sent && o.sent[key] == 0:
			o.once("notice %s is kept as sent and was not", n.ID)
		case n.Outcome == alarm.Pending && !n.Due.After(w.now):
			o.once("notice %s was to be sent at %s", n.ID, n.Due.Format(time.DateTime))
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
