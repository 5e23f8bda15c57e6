package hublife

import (
	"fmt"
	"math/rand/v2"
	"time"

	"isohaline/internal/alarm"
	"isohaline/internal/channel"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/wire"
)

// Verdict is what a life was found to have done wrong, and what it went through.
type Verdict struct {
	TankDays float64
	// First says what went wrong first, and when; empty: nothing.
	First string

	Frames, Readings, Commits, Faults, Kills, Starts, Stops, PowerCuts int
	Moves, Asked, Entered, Turns, Transitions, Notices, Delivered      int
	Checks                                                             int
}

// OK says whether nothing went wrong.
func (v *Verdict) OK() bool { return v.First == "" }

// Add sums up another life.
func (v *Verdict) Add(o *Verdict) {
	v.TankDays += o.TankDays
	for _, n := range [][2]*int{{&v.Frames, &o.Frames}, {&v.Readings, &o.Readings}, {&v.Commits, &o.Commits}, {&v.Faults, &o.Faults},
		{&v.Kills, &o.Kills}, {&v.Starts, &o.Starts}, {&v.Stops, &o.Stops}, {&v.PowerCuts, &o.PowerCuts}, {&v.Moves, &o.Moves},
		{&v.Asked, &o.Asked}, {&v.Entered, &o.Entered}, {&v.Turns, &o.Turns}, {&v.Transitions, &o.Transitions},
		{&v.Notices, &o.Notices}, {&v.Delivered, &o.Delivered}, {&v.Checks, &o.Checks}} {
		*n[0] += *n[1]
	}
}

// Length is how long one life is: long enough for troubles to meet, short enough to
// be lived again.
const Length = 30 * 24 * time.Hour

// began is when every life begins.
var began = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// How often something happens in a life, on average. A judgement: a quiet tank says
// little, and each step costs.
const stepEvery = 2 * time.Hour

// shares are those of the store's calls that go wrong, one for each life.
var shares = [...]float64{0, 0.01, 0.03, 0.1}

// life is one seed's.
type life struct {
	*world
	random *rand.Rand
	// faulty is the share of the store's calls that go wrong, calm that none does.
	share float64
	calm  bool
	// behind: the hub takes nothing in; unsent: messages are not taken.
	behind, unsent bool
	// wet is what is the case at each tank.
	wet [][len(contacts)]bool
	// late are readings that have not come yet.
	late    []wire.Reading
	entered int
}

// Live lives through one seed's life.
func Live(seed uint64) Verdict {
	l := draw(rand.New(rand.NewPCG(seed, 0x4b1d)))
	for w := l.world; w.now.Sub(began) < Length && w.verdict.OK(); w.step++ {
		w.pass(time.Duration(l.random.ExpFloat64() * float64(stepEvery)))
		l.something()
	}
	if l.verdict.OK() {
		l.settle()
		l.oracle.readingsKept()
	}
	l.verdict.TankDays = float64(len(l.tanks)) * l.now.Sub(began).Hours() / 24
	return l.verdict
}

// answerIn is how long the first person has to acknowledge.
const answerIn = 20 * time.Minute

// onePerson is who is told, and who where that person does not answer.
var onePerson = monitor.Plan{Plan: alarm.Plan{Low: alarm.Route{Rungs: []alarm.Rung{
	{Contacts: []alarm.Contact{{Person: "Ines", Channel: alarm.Mail, Address: "ines@example.org"}}},
	{Wait: answerIn, Contacts: []alarm.Contact{{Person: "Olga", Channel: alarm.Webhook, Address: "desk"}}},
}, Repeat: 2 * time.Hour, Rounds: 2}}}

// draw draws a house and its troubles.
func draw(random *rand.Rand) *life {
	var h house
	for s := range 1 + random.IntN(2) {
		own := onePerson
		own.TellEnd = random.IntN(2) == 0
		if random.IntN(8) == 0 {
			own = monitor.Plan{}
		}
		h.sites = append(h.sites, site{fmt.Sprintf("site-%d", s), own})
		for range 1 + random.IntN(2) {
			h.tanks = append(h.tanks, tank{id: fmt.Sprintf("tank-%d", len(h.tanks)), site: s, bare: random.IntN(5) == 0})
			for range 1 + random.IntN(3) {
				d := device{id: fmt.Sprintf("device-%d", len(h.devices)), site: s, tank: len(h.tanks) - 1}
				if d.unknown = random.IntN(20) == 0; d.unknown {
					d.tank = none
				}
				h.devices = append(h.devices, d)
			}
		}
	}
	books, err := h.furnish(began)
	if err != nil {
		panic(err) // of a house of our own
	}
	l := &life{world: newWorld(h, books, began), random: random, share: shares[random.IntN(len(shares))],
		wet: make([][len(contacts)]bool, len(h.tanks))}
	l.faulty.Fault = l.fault
	l.log.fails = func() bool { return !l.calm && l.random.Float64() < l.share/4 }
	l.paused = func() {
		if l.monitor != nil && l.chance(8) {
			l.monitor.Stop()
			l.stopped = true
		}
	}
	return l
}

// fault draws what goes wrong with a call of the store.
func (l *life) fault() Fault {
	if l.calm || l.random.Float64() >= l.share {
		return Sound
	}
	l.verdict.Faults++
	return 1 + Fault(l.random.IntN(int(faults-1)))
}

// keptFrames are never trimmed: a log is larger than what a power cut takes of it.
const keptFrames = 8

// chances are what may happen, and how often.
var chances = []struct {
	weight int
	do     func(*life)
}{
	{34, (*life).speaks},
	{24, func(l *life) { l.tick() }},
	{8, (*life).lateComes},
	{8, (*life).sends},
	{6, (*life).asks},
	{3, (*life).enters},
	{2, func(l *life) { l.behind = !l.behind }},
	{2, func(l *life) { l.unsent = !l.unsent }},
	{2, (*life).diesNow},
	{1, func(l *life) { l.stop() }},
	{1, (*life).losesPower},
	{2, (*life).moves},
	{2, func(l *life) { l.pass(time.Duration(l.random.NormFloat64() * float64(time.Minute))) }},
	{2, (*life).readsAgain},
	{2, func(l *life) {
		if l.monitor != nil {
			l.log.trim(l.monitor.After() - min(l.monitor.After(), keptFrames))
		}
	}},
	{3, (*life).settle},
}

var allChances = func() (sum int) {
	for _, c := range chances {
		sum += c.weight
	}
	return sum
}()

// something lets one thing happen, and the hub go on.
func (l *life) something() {
	n := l.random.IntN(allChances)
	for _, c := range chances {
		if n -= c.weight; n < 0 {
			c.do(l)
			break
		}
	}
	l.goOn()
}

// goOn lets the hub do what it does: start, take frames, look at the clock.
func (l *life) goOn() {
	if l.stopped && l.monitor != nil {
		l.stop()
	}
	if !l.start() || l.behind {
		return
	}
	for l.monitor != nil && len(l.log.from(l.after)) > 0 {
		if !l.take(1 + l.random.IntN(6)) {
			return
		}
	}
	if l.random.IntN(3) == 0 {
		l.pass(time.Duration(l.random.IntN(int(3 * time.Minute))))
		l.tick()
		l.sends()
	}
}

// said are the channels that devices report.
var said = []string{channel.Floor, channel.CeilingLevel, channel.Latched, channel.WatchLevel, channel.TopOffPump, channel.Level, channel.Salinity, channel.Heartbeat}

// chance is one of so many.
func (l *life) chance(of int) bool { return l.random.IntN(of) == 0 }

// speaks lets something happen at a tank, and its devices say so.
func (l *life) speaks() {
	t := l.random.IntN(len(l.tanks))
	var frame []wire.Reading
	switch {
	case l.chance(3): // an ordinary reading
		d := l.random.IntN(len(l.devices))
		at := l.now.Add(-time.Duration(l.random.IntN(int(time.Minute))))
		switch l.random.IntN(5) {
		case 0:
			frame = append(frame, l.reading(d, channel.TopOffPump, 1, at.Add(-time.Minute)), l.reading(d, channel.TopOffPump, 0, at))
		case 1:
			frame = append(frame, l.reading(d, channel.WatchLevel, float64(l.random.IntN(2)), at))
		case 2:
			frame = append(frame, l.reading(d, channel.Level, 0.2+0.01*l.random.Float64(), at))
		case 3:
			frame = append(frame, l.reading(d, channel.Salinity, 35+l.random.NormFloat64(), at))
		default:
			frame = append(frame, l.reading(d, channel.Heartbeat, 1, at))
		}
	default: // a contact turns, once or several times
		c := l.random.IntN(len(contacts))
		at := l.now.Add(-time.Duration(l.random.IntN(int(20 * time.Second))))
		turns := 1
		if l.chance(4) {
			turns += l.random.IntN(5)
		}
		for range turns {
			l.wet[t][c] = !l.wet[t][c]
			for d := range l.devices {
				// A device may miss it, or have no such contact.
				if l.devices[d].tank == t && !l.chance(4) {
					frame = append(frame, l.reading(d, contacts[c].channel, value(l.wet[t][c]), at))
				}
			}
			at = at.Add(time.Duration(1 + l.random.IntN(int(5*time.Second))))
		}
	}
	l.arrive(frame)
}

func value(on bool) float64 {
	if on {
		return 1
	}
	return 0
}

// arrive lets readings come: in one frame or several, some late, some twice.
func (l *life) arrive(readings []wire.Reading) {
	var frame []wire.Reading
	flush := func() {
		if len(frame) > 0 {
			l.say(frame...)
			frame = nil
		}
	}
	for _, r := range readings {
		if l.chance(10) {
			l.late = append(l.late, r)
			if l.chance(2) {
				continue // else it comes twice
			}
		}
		frame = append(frame, r)
		if l.chance(3) {
			flush()
		}
	}
	flush()
}

// lateComes lets some of what is late come, in any order.
func (l *life) lateComes() {
	l.random.Shuffle(len(l.late), func(i, j int) { l.late[i], l.late[j] = l.late[j], l.late[i] })
	n := min(len(l.late), 1+l.random.IntN(4))
	if n > 0 {
		l.say(l.late[:n:n]...)
		l.late = l.late[n:]
	}
}

// sends lets the sender look for what is to be sent.
func (l *life) sends() {
	l.post(func() string {
		switch {
		case l.calm:
			return ""
		case l.chance(20): // sent, and the process dies before it says so
			return l.dies()
		case l.unsent, l.chance(10):
			return "not taken"
		}
		return ""
	})
}

// dies lets the process die as soon as it calls its store again.
func (l *life) dies() string {
	fault := l.faulty.Fault
	l.faulty.Fault = func() Fault {
		l.faulty.Fault = fault
		return KillBefore + Fault(l.random.IntN(2))
	}
	return ""
}

// asks lets a person ask something of an alarm.
func (l *life) asks() {
	if l.monitor == nil {
		return
	}
	all := l.monitor.Alarms()
	if len(all) == 0 {
		return
	}
	a := all[l.random.IntN(len(all))]
	do := []alarm.Action{alarm.Acknowledge, alarm.Acknowledge, alarm.Acknowledge, alarm.Reset, alarm.Reset, alarm.Shelve, alarm.Unshelve}[l.random.IntN(7)]
	l.verdict.Asked++
	l.ask(a.SiteID, alarm.Event{Do: do, Key: a.Key, For: time.Duration(1 + l.random.IntN(int(12*time.Hour)))})
}

// enters lets a person enter a reading, and again where the hub did not take it.
func (l *life) enters() {
	t := l.random.IntN(len(l.tanks))
	l.entered++
	r := store.HandReading{ID: fmt.Sprint("hand-", l.entered), TankID: l.tanks[t].id, At: l.now.Add(-time.Duration(l.random.IntN(int(time.Hour)))),
		Quantity: channel.Salinity, Value: 35 + l.random.NormFloat64()/2, Instrument: "refractometer"}
	const tries = 3
	for range tries {
		if l.enter(r) {
			l.verdict.Entered++
			return
		}
		l.start()
	}
}

// diesNow is a process that is killed between two calls.
func (l *life) diesNow() {
	if l.monitor != nil {
		l.monitor = nil
		l.verdict.Kills++
	}
}

// losesPower is a power cut that takes the log's last frames with it. Nothing is
// written into the log before the hub has looked at it.
func (l *life) losesPower() {
	l.verdict.PowerCuts++
	l.monitor = nil
	lost := min(len(l.log.frames), l.random.IntN(4))
	l.log.frames = l.log.frames[:len(l.log.frames)-lost]
	for !l.start() {
		l.pass(time.Second)
	}
}

// moves lets a device report of another tank of its site, or of none.
func (l *life) moves() {
	d := l.random.IntN(len(l.devices))
	if l.devices[d].unknown {
		return
	}
	to := none
	if !l.chance(3) {
		to = l.random.IntN(len(l.tanks))
		if l.tanks[to].site != l.devices[d].site {
			return
		}
	}
	// What was taken in is of the tank that the device reported of then, and is not
	// taken in again for another: the hub is stopped for a move, with nothing to do.
	if l.monitor == nil || len(l.log.from(l.after)) > 0 || !l.stop() {
		return
	}
	l.verdict.Moves++
	l.move(d, to)
}

// readsAgain lets the consumer go back, as after a broken connection.
func (l *life) readsAgain() {
	if l.monitor == nil {
		return
	}
	if back := l.after - l.monitor.After(); l.after > l.monitor.After() {
		l.after -= uint64(l.random.IntN(int(back) + 1))
	}
}

// settle ends every trouble, lets all delays pass, and looks whether all is as it
// was promised; sometimes once more after a restart.
func (l *life) settle() {
	l.calm = true
	defer func() { l.calm = false }()
	l.untroubled()
	l.oracle.settled()
	if !l.verdict.OK() || !l.chance(3) {
		return
	}
	before := l.summary()
	if l.chance(4) {
		l.stop()
	} else {
		l.monitor = nil
	}
	if !l.start() {
		return
	}
	l.takeAll()
	l.tick()
	if after := l.summary(); l.verdict.OK() && after != before && !l.oracle.anyUnsure() {
		l.wrong("a restart made of %s: %s", before, after)
	}
	l.post(soundPost)
	l.oracle.settled()
}

// takeAll lets the hub take everything in.
func (w *world) takeAll() {
	for len(w.log.from(w.after)) > 0 && w.take(1000) {
	}
}

// untroubled lets everything be taken in and all delays pass.
func (w *world) untroubled() {
	if w.stopped {
		w.stop()
	}
	if !w.start() {
		return // it said why
	}
	w.pass(w.newest.Sub(w.now))
	const turns, each = 4, 65 * time.Second // longer than the delays of contacts, and than accounts wait to be told the time
	for range turns {
		w.takeAll()
		w.pass(each)
		w.tick()
		w.post(soundPost)
	}
}
