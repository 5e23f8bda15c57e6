package hublife

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/alarm/deliver"
	"isohaline/internal/channel"
	"isohaline/internal/live"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// Books are a store and what is asked of it to see whether it has what it should.
type Books interface {
	monitor.Keeper
	Findings(ctx context.Context, tankID string, from, to time.Time) ([]store.Finding, error)
	Readings(ctx context.Context, channel int64, from, to time.Time, each func(store.Reading) error) error
	LoadAlarms(ctx context.Context, siteID string) (store.AlarmStep, error)
}

// site, tank and device are what there is. The last may move: tank is the number of
// the one that it reports of, none where it is revoked.
type (
	site struct {
		id   string
		plan monitor.Plan
	}
	tank struct {
		id   string
		site int
		bare bool // its description cannot be read
	}
	device struct {
		id   string
		site int
		tank int
		// unknown: the store has lost it.
		unknown bool
		// moved: it has reported of another tank.
		moved bool
	}
)

const none = -1

// house is what there is.
type house struct {
	sites   []site
	tanks   []tank
	devices []device
}

// The contacts that are a condition by themselves, the codes that they tell, and how
// long each lasts before it is an alarm: what people are promised, see docs/alarms.md.
var contacts = [...]struct {
	channel string
	code    account.Code
	onDelay time.Duration
}{
	{channel.Floor, alarm.FloorWet, 0},
	{channel.CeilingLevel, account.CeilingWet, 10 * time.Second},
	{channel.Latched, alarm.GuardLatched, time.Minute},
}

const floor, ceiling, latched = 0, 1, 2

// world is a house, its log, its store and its hub under one clock.
type world struct {
	house
	books  Books
	faulty Faulty
	// now is the hub's clock, which can be set back; newest the latest that it was.
	now, newest time.Time
	log         frameLog
	monitor     *monitor.Monitor // nil: the hub is down
	after       uint64           // where the hub's consumer is
	// stopped: the hub was told to stop and does no more.
	stopped bool
	// paused is what happens while the hub waits for its store.
	paused  func()
	oracle  oracle
	verdict Verdict
	step    int
}

// frameLog is the log: frames from number first on.
type frameLog struct {
	first  uint64
	frames []wire.Frame
	// fails says whether it does not answer now.
	fails func() bool
}

func (l *frameLog) ID() string { return "log" }

func (l *frameLog) head() uint64 { return l.first + uint64(len(l.frames)) - 1 }

// Head is the number of the newest frame.
func (l *frameLog) Head(context.Context) (uint64, error) {
	if l.fails() {
		return 0, errInjected
	}
	return l.head(), nil
}

// from are the frames after a number.
func (l *frameLog) from(after uint64) []wire.Frame {
	return l.frames[min(max(after+1, l.first)-l.first, uint64(len(l.frames))):]
}

// trim lets go of the frames up to a number.
func (l *frameLog) trim(upTo uint64) {
	if upTo >= l.first {
		l.frames = l.from(upTo)
		l.first = upTo + 1
	}
}

// description is the file of every tank, sheet what it says.
var description = string(tankfile.Starter(tankfile.Answers{Name: "A reef"}))

var sheet = sync.OnceValue(func() *live.Sheet {
	s, err := live.Read("reef", description)
	if err != nil {
		panic(err) // of a file of our own
	}
	return s
})

// fresh is a tank's value as the store has it before the first reading.
func fresh(t *tank, siteID string, now time.Time) ([]byte, error) {
	l, err := sheet().Live(t.id, siteID)
	if err != nil {
		return nil, err
	}
	return l.Begin(now).Encode()
}

const unreadable = "no tank file"

// read works out a description of a life: each start does, and there are two.
func read(name, file string) (*live.Sheet, error) {
	if file == description {
		return sheet(), nil
	}
	return live.Read(name, file)
}

// furnish fills a memory with what there is.
func (h *house) furnish(now time.Time) (*Memory, error) {
	m := NewMemory()
	for _, s := range h.sites {
		plan, err := json.Marshal(s.plan)
		if err != nil {
			return nil, err
		}
		m.Sites = append(m.Sites, store.SiteSaved{Site: store.Site{ID: s.id, Name: s.id}, Plan: plan})
	}
	for i := range h.tanks {
		t := &h.tanks[i]
		siteID := h.sites[t.site].id
		text := description
		if t.bare {
			text = unreadable
		}
		m.Tanks = append(m.Tanks, store.TankSaved{Tank: store.Tank{ID: t.id, SiteID: siteID, Name: t.id}, Description: text})
		data, err := fresh(t, siteID, now)
		if err != nil {
			return nil, err
		}
		m.saved[t.id] = store.SavedTank{Data: data}
	}
	for _, d := range h.devices {
		m.Devices[d.id] = !d.unknown
	}
	return m, nil
}

// newWorld has a hub that is down, and a store in which nothing goes wrong.
func newWorld(h house, books Books, now time.Time) *world {
	w := &world{house: h, books: books, now: now, newest: now, log: frameLog{first: 1, fails: func() bool { return false }}, paused: func() {}}
	w.faulty = Faulty{Keeper: books, Fault: func() Fault { return Sound }, Kept: w.kept}
	w.oracle.begin(w)
	return w
}

// wrong says what is wrong. What is wrong first is what is looked into.
func (w *world) wrong(format string, args ...any) {
	if w.verdict.First == "" {
		w.verdict.First = fmt.Sprintf("step %d, %s: %s", w.step, w.now.Format(time.DateTime), fmt.Sprintf(format, args...))
	}
}

func (w *world) kept(c *store.Commit) {
	w.verdict.Commits++
	w.oracle.kept(c)
}

var (
	errKilled = errors.New("killed")
	silent    = slog.New(slog.DiscardHandler)
)

// live lets the hub do something, in which it may be killed.
func (w *world) live(what string, do func() error) (err error) {
	defer func() {
		switch p := recover().(type) {
		case nil:
		case killed:
			w.verdict.Kills++
			w.monitor, err = nil, errKilled
		default:
			w.wrong("%s: panic: %v", what, p)
			w.monitor, err = nil, errKilled
		}
	}()
	err = do()
	if err != nil && !errors.Is(err, errInjected) && !w.stopped {
		w.wrong("%s: %v", what, err)
	}
	return err
}

// start starts the hub, if it is down.
func (w *world) start() bool {
	if w.monitor != nil {
		return true
	}
	w.verdict.Starts++
	_ = w.live("start", func() error {
		w.stopped = false
		m, err := monitor.Open(context.Background(), monitor.Options{Keeper: &w.faulty, Log: silent, Now: func() time.Time { return w.now },
			TankOf: w.tankOf, Source: &w.log, Pause: w.pause, Read: read})
		if err == nil {
			err = m.TakeUp(context.Background())
		}
		if err == nil {
			w.monitor, w.after = m, m.After()
			w.oracle.started(m)
		}
		return err
	})
	return w.monitor != nil
}

func (w *world) tankOf(id wire.DeviceID) string {
	for i := range w.devices {
		if d := &w.devices[i]; d.id == id.Device && d.tank != none {
			return w.tanks[d.tank].id
		}
	}
	return ""
}

// pause is the hub's waiting for its store.
func (w *world) pause(by time.Duration) {
	w.pass(by)
	w.paused()
}

func (w *world) pass(by time.Duration) {
	w.now = w.now.Add(by)
	if w.now.After(w.newest) {
		w.newest = w.now
	}
	if by < 0 {
		w.oracle.blur()
	}
}

// say writes readings into the log, as one frame. The device has its answer.
func (w *world) say(readings ...wire.Reading) {
	for i := range readings {
		readings[i].Received = w.now
	}
	w.log.frames = append(w.log.frames, wire.Frame{Sequence: w.log.head() + 1, Readings: readings})
	w.verdict.Frames++
}

// reading is one of a device.
func (w *world) reading(device int, channel string, value float64, at time.Time) wire.Reading {
	d := &w.devices[device]
	w.verdict.Readings++
	return wire.Reading{Site: w.sites[d.site].id, Device: d.id, Channel: channel, At: at.Round(time.Microsecond), Value: value}
}

// take lets the hub take some frames, and says whether it has.
func (w *world) take(most int) bool {
	frames := w.log.from(w.after)
	frames = frames[:min(most, len(frames))]
	if w.monitor == nil || len(frames) == 0 {
		return w.monitor != nil
	}
	last := frames[len(frames)-1].Sequence
	// A frame is decoded anew each time that it is given.
	given := make([]wire.Frame, len(frames))
	for i, f := range frames {
		given[i] = wire.Frame{Sequence: f.Sequence, Readings: slices.Clone(f.Readings)}
	}
	err := w.live("take", func() error { return w.monitor.Take(context.Background(), given) })
	if err != nil {
		return false
	}
	w.after = last
	w.oracle.taken(w.monitor, last)
	return true
}

func (w *world) tick() bool {
	return w.monitor != nil && w.live("tick", func() error { return w.monitor.Tick(context.Background()) }) == nil
}

// stop is a clean stop, and says whether it was one.
func (w *world) stop() bool {
	if w.monitor == nil {
		return true
	}
	w.verdict.Stops++
	err := w.live("stop", func() error { return w.monitor.Close(context.Background()) })
	w.monitor = nil
	return err == nil
}

// ask lets a person ask something of an alarm, and says whether the hub took it.
func (w *world) ask(siteID string, e alarm.Event) bool {
	e.By = "somebody"
	return w.monitor != nil && w.live("ask", func() error {
		_, err := w.monitor.Ask(context.Background(), siteID, e)
		return err
	}) == nil
}

// enter lets a person enter what was read at a tank.
func (w *world) enter(r store.HandReading) bool {
	return w.monitor != nil && w.live("hear", func() error {
		err := w.monitor.Hear(context.Background(), store.HandEntry{HandReading: r, By: "somebody", At: w.now})
		if errors.Is(err, store.ErrExists) {
			return nil // it was kept, and the person not told
		}
		return err
	}) == nil
}

// post sends what is to be sent. trouble says what goes wrong with a message.
func (w *world) post(trouble func() string) {
	if w.monitor == nil {
		return
	}
	for _, out := range w.monitor.Outbox() {
		problem := trouble()
		if problem == "" {
			w.oracle.delivered(out)
		}
		r := deliver.Result{ID: out.Notice.ID, At: w.now, Problem: problem}
		const tries = 5 // as the sender's
		for range tries {
			if w.monitor == nil || w.live("report", func() error {
				_, err := w.monitor.Reported(context.Background(), out.SiteID, r)
				return err
			}) == nil {
				break
			}
		}
		if w.monitor == nil {
			return
		}
	}
}

func soundPost() string { return "" }

// move lets a device report of another tank, or of none.
func (w *world) move(device, tank int) {
	from := w.devices[device].tank
	if from == tank {
		return
	}
	w.devices[device].tank, w.devices[device].moved = tank, true
	w.oracle.moved(device, from, tank)
}

// openFindings are those of a tank that go on, as they are kept.
func openFindings(books Books, tankID string) ([]store.Finding, error) {
	later := began.AddDate(100, 0, 0)
	return books.Findings(context.Background(), tankID, later, later)
}
