package hublife

import (
	"context"
	"fmt"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
)

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
			switch {
			case !f.Ended.IsZero():
			case f.Code == account.CeilingWet:
				o.ceilings[t]++
			case f.Code == account.DeviceSilent:
				o.silent(t, &f)
			}
		}
	}
	if c.Hand != nil {
		o.seen(c)
	}
	for _, step := range c.Sites {
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

// signs are channels by which an account of our tanks hears that a device lives.
var signs = []string{channel.Heartbeat, channel.Floor, channel.CeilingLevel, channel.WatchLevel}

// silent: no frame that was in the log by then, taken in or not, says otherwise and did
// not come late.
func (o *oracle) silent(t int, f *account.Finding) {
	w := o.w
	for _, frame := range w.log.frames {
		for i := range frame.Readings {
			r := &frame.Readings[i]
			d := &w.devices[w.deviceNumber(r.Device)]
			if d.tank == t && !d.moved && !d.unknown && slices.Contains(signs, r.Channel) &&
				!r.Received.After(f.Found) && r.Received.Sub(r.At) <= account.ReorderWindow && r.At.After(f.Since) && r.At.Before(f.Found) {
				w.wrong("%s is called silent from %s to %s; frame %d says %s at %s", w.tanks[t].id, f.Since.Format(time.DateTime), f.Found.Format(time.DateTime),
					frame.Sequence, r.Channel, r.At.Format(time.DateTime))
			}
		}
	}
}

// seen: what a person entered is in what is kept of the tank: no log gives it again.
func (o *oracle) seen(c *store.Commit) {
	t := &o.w.tanks[o.w.tankNumber(c.Hand.TankID)]
	if !t.bare && !slices.ContainsFunc(c.Tanks, func(s store.TankStep) bool { return s.TankID == t.id && s.Saved != nil }) {
		o.w.wrong("%s: a reading by hand is kept and the account that heard it is not", t.id)
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
