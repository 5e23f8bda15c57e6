package monitor

import (
	"context"
	"math"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/live"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// draft is one step in the making: what is to take the place of what, and what is
// to be kept for it. Whoever makes one holds the locks of its sites until it is
// kept or dropped.
type draft struct {
	m      *Monitor
	at     time.Time
	tanks  []*tankDraft
	sites  []*siteDraft
	events []Event
	count  Counters
	commit store.Commit
}

// tankDraft is the next value of a tank, and what it brought.
type tankDraft struct {
	*tank
	value    *live.Value
	seen     uint64
	readings []*wire.Reading
	findings []account.Finding
	beliefs  []live.Belief
	// since is not zero where the value has worked through everything again.
	since time.Time
	// save says that the value must be saved with what it brought.
	save bool
}

// siteDraft is what is next of a site's alarms.
type siteDraft struct {
	*place
	alarms  alarm.Site
	record  alarm.Record
	said    []alarm.Transition
	notices []alarm.Notice // that are new or not as they were
	again   time.Time
}

func (m *Monitor) draft(now time.Time) *draft { return &draft{m: m, at: now} }

// of is the draft of a tank.
func (d *draft) of(t *tank) *tankDraft {
	for _, td := range d.tanks {
		if td.tank == t {
			return td
		}
	}
	td := &tankDraft{tank: t, value: t.value.Load(), seen: t.seen}
	d.tanks = append(d.tanks, td)
	return td
}

// site is the draft of a site's alarms.
func (d *draft) site(p *place) *siteDraft {
	if sd := d.drafted(p); sd != nil {
		return sd
	}
	now := p.calls.Load()
	sd := &siteDraft{place: p, alarms: now.alarms, record: now.record}
	d.sites = append(d.sites, sd)
	return sd
}

// step takes a tank's readings in, up to a frame of the log. Where they tell
// something the tank's next value is part of the draft; else it is the tank's at
// once: nobody has to be told, and after a restart the log gives the readings again.
// Those of repeated frames were taken in before, and all that followed from them is
// kept: what they bring again is no news to the alarms.
func (d *draft) step(s *share, frame uint64) {
	t := s.tank
	if t.gone {
		return
	}
	spec := t.spec.Load()
	value, again := spec.live.Step(t.value.Load(), s.repeated, time.Time{})
	next, changes := spec.live.Step(value, s.readings, time.Time{})
	d.refused(t, &changes)
	readings := append(s.repeated, s.readings...)
	heard := Counters{Observations: int64(len(s.readings)), NotTaken: int64(len(changes.Refused))}
	if again.Quiet() && changes.Quiet() {
		d.m.counted(&heard) // it has them: they do not come again
		t.beliefs = append(append(t.beliefs, again.Beliefs...), changes.Beliefs...)
		t.hears(next, readings, frame)
		for _, r := range changes.Turned {
			e := Event{TankID: t.id, SiteID: t.siteID, Reading: r}
			d.m.Feed.Publish(e.Topic(), e)
		}
		return
	}
	d.count.add(&heard)
	td := d.of(t)
	td.value, td.seen, td.readings = next, frame, readings
	td.note(&again)
	for _, r := range changes.Turned {
		d.events = append(d.events, Event{TankID: t.id, SiteID: t.siteID, Reading: r})
	}
	d.changed(td, &changes)
}

// hears puts a tank's next value, which has taken readings in up to a frame, in the
// place of the one before.
func (t *tank) hears(next *live.Value, readings []*wire.Reading, frame uint64) {
	t.value.Store(next)
	if frame > t.seen {
		t.seen = frame
	}
	t.unsaved += len(readings)
	if t.rerun != nil {
		for _, r := range readings {
			t.rerun.readings = append(t.rerun.readings, *r)
		}
	}
}

// refused says which readings the account does not take.
func (d *draft) refused(t *tank, changes *live.Changes) {
	for _, refused := range changes.Refused {
		r := refused.Reading
		d.m.log.Warn("the account does not take a reading", "tank", t.id, "device", r.Device, "channel", r.Channel, "error", refused.Err)
	}
}

// advise tells a tank up to when everything it said is known, and holds its alarms
// against what is the case. What only time has changed, and nobody needs to be told
// of, is worked out again after a restart and needs no keeping now.
func (d *draft) advise(t *tank, known time.Time) {
	spec := t.spec.Load()
	if spec == nil {
		return
	}
	reports := func(device string) bool { return d.m.reports(wire.DeviceID{Site: t.siteID, Device: device}) == t.id }
	next, forgotten := spec.live.Forget(t.value.Load(), reports, d.at)
	next, changes := spec.live.Step(next, nil, known)
	changes.Conditions = append(forgotten.Conditions, changes.Conditions...)
	if len(changes.Findings)+len(changes.Conditions) == 0 {
		t.value.Store(next)
		t.beliefs = append(t.beliefs, changes.Beliefs...)
	} else {
		td := d.of(t)
		td.value = next
		d.changed(td, &changes)
	}
	d.conform(t, next)
}

// hear takes in what a person saw. Up to known it is known what the tank said.
func (d *draft) hear(t *tank, o account.Observation, known time.Time) error {
	td := d.of(t)
	next, changes, err := t.spec.Load().live.Hear(td.value, o, known)
	if err != nil {
		return err
	}
	td.value, td.save = next, true // the log does not give it again
	d.changed(td, &changes)
	return nil
}

// note notes what a step of a tank brought. The value is saved with what it found,
// and with what its contacts said: another time it may be otherwise, as where a
// device was moved meanwhile, or a power cut took the log's last frames.
func (td *tankDraft) note(changes *live.Changes) {
	for _, f := range changes.Conditions {
		if live.ByContact(f.Code) {
			td.findings = append(td.findings, f)
		}
	}
	td.findings = append(td.findings, changes.Findings...)
	td.beliefs = append(td.beliefs, changes.Beliefs...)
	td.save = td.save || changes.Said || len(changes.Conditions)+len(changes.Findings) > 0
}

// changed notes what a step of a tank brought, and tells the alarms.
func (d *draft) changed(td *tankDraft, changes *live.Changes) {
	td.note(changes)
	open := td.value.Open()
	for i, f := range slices.Concat(changes.Conditions, changes.Findings) {
		d.count.Findings++
		d.events = append(d.events, Event{TankID: td.id, SiteID: td.siteID, Finding: &f})
		e := alarm.FromFinding(td.id, "", f)
		if e.Do == alarm.Clear {
			if i < len(changes.Conditions) { // the account may have been mistaken, what a contact said was so
				e.Lasted = f.Ended.Sub(f.Since)
			}
			if open[f.Code] { // a contact or the account still says so, or says so again
				e.Do = alarm.Tick
			}
		}
		d.tell(td.place, e)
	}
}

// tell takes a site's alarms through an event.
func (d *draft) tell(p *place, e alarm.Event) []alarm.Transition {
	sd := d.site(p)
	next, transitions := alarm.Step(p.settings(), sd.alarms, e, d.at)
	sd.alarms = next
	for _, t := range transitions {
		sd.said = append(sd.said, t)
		if !t.Reason.Refused() {
			d.count.Transitions++
			d.events = append(d.events, Event{TankID: t.Key.Tank, SiteID: p.id, Alarm: next.Find(t.Key)})
		}
	}
	return transitions
}

// forget lets go of a site's alarms of tanks that nobody watches any more.
func (d *draft) forget(p *place) {
	watched := func(id string) bool {
		return id == "" || slices.ContainsFunc(p.all(), func(t *tank) bool { return t.id == id })
	}
	next, said := alarm.Forget(p.calls.Load().alarms, watched, d.at)
	if len(said) == 0 {
		return
	}
	sd := d.site(p)
	sd.alarms, sd.said = next, append(sd.said, said...)
	d.tell(p, alarm.Event{}) // alarms that stood for these are gone too
}

// conform holds a tank's alarms against its open findings, and tells what the
// alarms should know: nothing, unless something went wrong before.
func (d *draft) conform(t *tank, v *live.Value) {
	alarms := &t.place.calls.Load().alarms
	if sd := d.drafted(t.place); sd != nil {
		alarms = &sd.alarms
	}
	open := v.Open()
	var told []alarm.Key
	for i := range alarms.Alarms {
		a := &alarms.Alarms[i]
		if a.Tank != t.id || a.Device != "" || !ofTank(a.Code) {
			continue
		}
		switch {
		case a.Present && !open[a.Code]:
			told = append(told, a.Key)
		case a.Present:
			delete(open, a.Code)
		}
	}
	for _, key := range told {
		d.tell(t.place, alarm.Event{Do: alarm.Clear, Key: key})
	}
	if len(open) == 0 {
		return
	}
	for _, f := range t.spec.Load().live.Findings(v) {
		if open[f.Code] && f.Class > 0 && KindOf(f.Code) != nil {
			d.tell(t.place, alarm.FromFinding(t.id, "", f))
		}
	}
}

func (d *draft) drafted(p *place) *siteDraft {
	for _, sd := range d.sites {
		if sd.place == p {
			return sd
		}
	}
	return nil
}

// ofTank says whether an alarm's code is that of a finding at a tank.
func ofTank(code account.Code) bool {
	return live.ByContact(code) || slices.Contains(codes, code)
}

var codes = account.Codes()

// keep keeps a draft, and puts it in the place of what was. If the store does not
// take it, the draft is dropped and nothing has changed.
func (d *draft) keep(ctx context.Context) error {
	for _, sd := range d.sites {
		d.decide(sd)
	}
	c := &d.commit
	for _, td := range d.tanks {
		step, err := td.kept(d.m.position.Log)
		if err != nil {
			return err
		}
		if step != nil {
			c.Tanks = append(c.Tanks, *step)
		}
	}
	if c.Log == nil && len(c.Readings)+len(c.Tanks)+len(c.Sites) == 0 && c.Hand == nil {
		d.replace()
		return nil
	}
	if err := d.m.commit(ctx, c); err != nil {
		return err
	}
	d.replace()
	for _, e := range d.events {
		d.m.Feed.Publish(e.Topic(), e)
	}
	d.m.counted(&d.count)
	return nil
}

// decide works out who is to be told of a site's alarms now, and notes what is to
// be kept of the site, if anything is.
func (d *draft) decide(sd *siteDraft) {
	record, decision := alarm.Decide(&sd.plan.Load().Plan.Plan, sd.alarms, sd.record, d.at)
	sd.record, sd.again = record, decision.Again
	notices := latest(append(sd.notices, decision.Changed...))
	now := sd.calls.Load()
	if len(sd.said)+len(notices) == 0 && slices.Equal(now.alarms.Alarms, sd.alarms.Alarms) {
		return
	}
	d.commit.Sites = append(d.commit.Sites, store.AlarmStep{SiteID: sd.id, Position: now.step + 1,
		Site: sd.alarms, Record: record, Said: sd.said, Changed: notices})
}

// latest keeps the last of several notices with one ID.
func latest(notices []alarm.Notice) []alarm.Notice {
	var out []alarm.Notice
	for i, n := range notices {
		if !slices.ContainsFunc(notices[i+1:], func(later alarm.Notice) bool { return later.ID == n.ID }) {
			out = append(out, n)
		}
	}
	return out
}

// saves says whether the draft goes on from what the tank's value noted, and saves it.
func (td *tankDraft) saves() bool { return td.save && td.since.IsZero() }

// kept is what is to be kept of a tank, nil for nothing.
func (td *tankDraft) kept(logID string) (*store.TankStep, error) {
	if !td.save && len(td.findings)+len(td.beliefs) == 0 && td.since.IsZero() {
		return nil, nil
	}
	beliefs := td.beliefs
	if td.saves() { // the value does not note them again
		beliefs = append(slices.Clone(td.tank.beliefs), beliefs...)
	}
	step := &store.TankStep{TankID: td.id, Findings: td.findings, Beliefs: beliefsOf(beliefs), Since: td.since}
	if td.save {
		encode := td.encode
		if !td.since.IsZero() { // it has worked through everything
			encode = (*live.Value).Encode
		}
		data, err := encode(td.value)
		if err != nil {
			return nil, err
		}
		step.Saved = &store.SavedTank{Log: logID, Sequence: td.seen, Data: data}
	}
	return step, nil
}

// replace puts a draft in the place of what was.
func (d *draft) replace() {
	for _, td := range d.tanks {
		td.hears(td.value, td.readings, td.seen)
		if td.save {
			td.isSaved(td.seen, d.at)
			td.tank.beliefs = nil
		}
	}
	kept := map[string]int64{}
	for _, step := range d.commit.Sites {
		kept[step.SiteID] = step.Position
	}
	for _, sd := range d.sites {
		next := calls{step: sd.calls.Load().step, alarms: sd.alarms, record: sd.record, again: sd.again}
		if step, ok := kept[sd.id]; ok {
			next.step = step
		}
		sd.calls.Store(&next)
	}
}

// isSaved notes that a tank's value up to a frame is in the store.
func (t *tank) isSaved(frame uint64, at time.Time) {
	t.saved, t.savedAt, t.unsaved = frame, at, 0
}

func beliefsOf(list []live.Belief) []store.Belief {
	out := make([]store.Belief, len(list))
	for i := range list {
		out[i] = beliefOf(&list[i])
	}
	return out
}

func beliefOf(b *live.Belief) store.Belief {
	e := &b.Estimate
	out := store.Belief{At: b.At, SalinityPSU: storable(e.SalinityPSU), SalinitySD: storable(e.SalinitySD), FlowLMin: storable(e.FlowLMin), FlowSD: storable(e.FlowSD),
		ExpectedLDay: storable(e.ExpectedLDay), ExpectedLowL: storable(e.ExpectedLowL), ExpectedHighL: storable(e.ExpectedHiL)}
	if e.ReservoirKnown {
		out.DaysLeft = &store.DaysLeft{Low: storable(e.DaysLeftLow), Middle: storable(e.DaysLeft), High: storable(e.DaysLeftHigh)}
	}
	return out
}

// storable is a number that can be stored, 0 for one that cannot.
func storable(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// open are the findings of a value that go on, by code.
func (s *spec) open(v *live.Value) map[account.Code]account.Finding {
	out := map[account.Code]account.Finding{}
	for _, f := range s.live.Findings(v) {
		out[f.Code] = f
	}
	return out
}
