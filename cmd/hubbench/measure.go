package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/procfs"
	"golang.org/x/sync/errgroup"
)

// target is what takes the load.
type target interface {
	name() string
	process() int // its id
	// connect makes a client of a device.
	connect(d *device) (mqtt.Client, error)
	// follow tells of each reading of a device that comes through, once it is known to
	// look, and until ctx ends.
	follow(ctx context.Context, d *device, looking func(), seen func(channel string, at time.Time)) error
}

// device is a tank's device, as the program has made it.
type device struct {
	tankID                          string
	clientID, user, password, topic string
}

// result is what was measured at one rate.
type result struct {
	name       string
	rate, sent int
	acks, seen []time.Duration // in order of length
	// behind is how long after the last reading was due the last of those looked at
	// was seen.
	behind  time.Duration
	cpu     time.Duration
	written uint64 // bytes
}

// quantile is of durations in order; 1 is the longest.
func quantile(d []time.Duration, q float64) time.Duration {
	if len(d) == 0 {
		return 0
	}
	return d[min(len(d)-1, int(q*float64(len(d))))]
}

// catchUp is how long the last reading may take to be seen after it was due.
const catchUp = 5 * time.Minute

// measure puts a target under load and looks on.
func measure(ctx context.Context, t target, fleet []device, rate int, o options) (result, error) {
	r := result{name: t.name(), rate: rate}
	clients := make([]mqtt.Client, len(fleet))
	for i := range fleet {
		c, err := t.connect(&fleet[i])
		if err != nil {
			return r, err
		}
		clients[i] = c
		defer c.Disconnect(0)
	}
	lookers := make([]*looker, o.pages)
	following, leave := context.WithCancel(ctx)
	defer leave()
	group, following := errgroup.WithContext(following)
	var looking sync.WaitGroup
	for i := range lookers {
		l := newLooker()
		lookers[i] = l
		looking.Add(1)
		group.Go(func() error { return t.follow(following, &fleet[i], sync.OnceFunc(looking.Done), l.see) })
	}
	looked := make(chan struct{})
	go func() { looking.Wait(); close(looked) }()
	select {
	case <-looked:
	case <-following.Done():
		return r, group.Wait()
	}
	before, err := usageOf(t.process())
	if err != nil {
		return r, err
	}
	start := time.Now().Add(100 * time.Millisecond).Truncate(time.Microsecond)
	var mu sync.Mutex
	load, loading := errgroup.WithContext(ctx)
	for i := range fleet {
		load.Go(func() error {
			acks, last, err := publish(loading, clients[i], fleet[i].topic, schedule{start, i, len(fleet), rate, o.length})
			mu.Lock()
			defer mu.Unlock()
			r.sent += len(acks)
			r.acks = append(r.acks, acks...)
			if i < len(lookers) {
				lookers[i].await(last)
			}
			return err
		})
	}
	if err := load.Wait(); err != nil {
		return r, err
	}
	limit := time.NewTimer(catchUp)
	defer limit.Stop()
	for i, l := range lookers {
		select {
		case <-l.done:
		case <-limit.C:
			return r, fmt.Errorf("the last reading of %s was not seen within %v", fleet[i].tankID, catchUp)
		case <-following.Done():
			return r, group.Wait()
		}
		r.behind = max(r.behind, l.finished.Sub(start.Add(o.length)))
		r.seen = append(r.seen, l.late...)
	}
	after, err := usageOf(t.process())
	if err != nil {
		return r, err
	}
	r.cpu, r.written = after.cpu-before.cpu, after.written-before.written
	slices.Sort(r.acks)
	slices.Sort(r.seen)
	leave()
	if err := group.Wait(); err != nil && following.Err() == nil {
		return r, err
	}
	return r, ctx.Err()
}

// schedule is when one device of several publishes: the readings of all are spread
// evenly.
type schedule struct {
	start       time.Time
	device, all int
	rate        int
	length      time.Duration
}

// due is when the device's n-th reading is due, false after the last.
func (s schedule) due(n int) (time.Time, bool) {
	after := time.Duration(float64(n*s.all+s.device) / float64(s.rate) * float64(time.Second)).Truncate(time.Microsecond)
	return s.start.Add(after), after < s.length
}

// channels are what a device reports in turn.
var channels = []struct {
	name, unit  string
	usual, step float64
}{{"level", "m", 0.2, 0.0001}, {"temperature", "Cel", 25, 0.01}, {"room-temperature", "Cel", 21, 0.01}, {"room-humidity", "%RH", 50, 0.1}}

// payload is a reading as SenML. Its time is when it was due, so that a publisher
// that is held up shows in what is measured.
func payload(n int, at time.Time) (channel string, body []byte) {
	c := channels[n%len(channels)]
	value := c.usual + c.step*float64(n/len(channels)%7)
	return c.name, fmt.Appendf(nil, `[{"n":%q,"u":%q,"v":%.4f,"t":%d.%06d}]`, c.name, c.unit, value, at.Unix(), at.Nanosecond()/1000)
}

// inFlight is how many readings of a device may wait for their acknowledgement.
const inFlight = 1000

// publish publishes a device's readings as they are due. It returns how long each
// waited for its acknowledgement, and the time of the last of each channel.
func publish(ctx context.Context, c mqtt.Client, topic string, s schedule) (acks []time.Duration, last map[string]time.Time, err error) {
	type sent struct {
		token mqtt.Token
		at    time.Time
	}
	waiting := make(chan sent, inFlight)
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error {
		for w := range waiting {
			select {
			case <-w.token.Done():
			case <-ctx.Done():
				return ctx.Err()
			}
			if err := w.token.Error(); err != nil {
				return fmt.Errorf("a reading was not acknowledged: %w", err)
			}
			acks = append(acks, time.Since(w.at))
		}
		return nil
	})
	last = map[string]time.Time{}
	group.Go(func() error {
		defer close(waiting)
		for n := 0; ; n++ {
			at, more := s.due(n)
			if !more {
				return nil
			}
			select {
			case <-time.After(time.Until(at)):
			case <-ctx.Done():
				return ctx.Err()
			}
			channel, body := payload(n, at)
			last[channel] = at
			const atLeastOnce = 1
			select {
			case waiting <- sent{c.Publish(topic, atLeastOnce, false, body), time.Now()}:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
	})
	err = group.Wait()
	return acks, last, err
}

// looker is somebody who looks at one tank.
type looker struct {
	mu       sync.Mutex
	late     []time.Duration
	newest   map[string]time.Time
	awaited  map[string]time.Time // nil: not known yet
	done     chan struct{}        // closed once what was awaited was seen
	finished time.Time
}

func newLooker() *looker { return &looker{newest: map[string]time.Time{}, done: make(chan struct{})} }

// see notes that a reading was seen now.
func (l *looker) see(channel string, at time.Time) {
	now := time.Now()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.late = append(l.late, now.Sub(at))
	if at.After(l.newest[channel]) {
		l.newest[channel] = at
	}
	l.check(now)
}

// await says which readings are the last.
func (l *looker) await(last map[string]time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.awaited = last
	l.check(time.Now())
}

// rounding is how far a time may move on its way, as a number of seconds.
const rounding = 2 * time.Microsecond

func (l *looker) check(now time.Time) {
	if l.awaited == nil || !l.finished.IsZero() {
		return
	}
	for channel, at := range l.awaited {
		if l.newest[channel].Before(at.Add(-rounding)) {
			return
		}
	}
	l.finished = now
	close(l.done)
}

// readingAt reads the time of a payload.
func readingAt(body []byte) (channel string, at time.Time, err error) {
	var records []struct {
		N string
		T float64
	}
	if err := json.Unmarshal(body, &records); err != nil || len(records) != 1 {
		return "", at, fmt.Errorf("%.60q is no reading of ours: %w", body, err)
	}
	return records[0].N, timeOf(records[0].T), nil
}

func timeOf(seconds float64) time.Time { return time.UnixMicro(int64(seconds*1e6 + 0.5)) }

// usage is what a process has used.
type usage struct {
	cpu     time.Duration
	written uint64
}

func usageOf(pid int) (u usage, err error) {
	p, err := procfs.NewProc(pid)
	if err != nil {
		return u, fmt.Errorf("what a process uses can be read on Linux only: %w", err)
	}
	stat, err := p.Stat()
	if err != nil {
		return u, err
	}
	io, err := p.IO()
	if err != nil {
		return u, err
	}
	return usage{time.Duration(stat.CPUTime() * float64(time.Second)), io.WriteBytes}, nil
}
