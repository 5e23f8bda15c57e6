package demo

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// Value is one reading of the future or the past: a channel at a time since the
// records began.
type Value struct {
	At      time.Duration
	Channel string
	Value   float64
}

// Record is a tank's life, out of the physical twin.
type Record struct {
	Tank *tankfile.Tank
	File []byte
	// Values are what the device reports, Hand what a person wrote down, both in
	// the order of time.
	Values, Hand []Value
}

// drySkimmateM3 is what a skimmer that runs dry takes out in a day.
const drySkimmateM3 = 0.03 * litre

// Draft is a tank's description and its file.
func (t *Tank) Draft() (*tankfile.Tank, []byte, error) {
	s, _, err := tankfile.Read(t.ID+".yaml", tankfile.Starter(t.answers))
	if err != nil {
		return nil, nil, err
	}
	s.TopOff.LevelGauge = t.gauge
	// The account is told of every water change; the demo does without them.
	s.WaterChange = nil
	if s.Skimmer != nil {
		s.Skimmer.SkimmateM3Day = drySkimmateM3
	}
	if t.alter != nil {
		t.alter(s)
	}
	file, err := tankfile.Write(s)
	if err != nil {
		return nil, nil, fmt.Errorf("writing %s: %w", t.ID, err)
	}
	if s, _, err = tankfile.Read(t.ID+".yaml", file); err != nil {
		return nil, nil, err
	}
	return s, file, nil
}

// Live runs a tank for so long and returns what was reported of it. The same
// seed gives the same life.
func (t *Tank) Live(length time.Duration, seed uint64) (*Record, error) {
	s, file, err := t.Draft()
	if err != nil {
		return nil, err
	}
	set, err := verify.Settle(s, units.Metric)
	if err != nil {
		return nil, fmt.Errorf("working out %s: %w", t.ID, err)
	}
	tw, err := plant.Build(plant.Setup{Tank: s, Levels: set.Settings.Levels, Guard: set.Settings.Guard, EvaporationFactor: 1})
	if err != nil {
		return nil, fmt.Errorf("building %s: %w", t.ID, err)
	}
	own := fnv.New64a()
	own.Write([]byte(t.ID))
	rng := rand.New(rand.NewPCG(seed, own.Sum64()))
	days := t.days(int(length/day)+1, rng)
	sc := plant.Scenario{Conditions: days[0], Length: length}
	for i, c := range days[1:] {
		sc.Later = append(sc.Later, plant.Later{After: time.Duration(i+1) * day, Conditions: c})
	}
	r := reporter{tank: t, record: &Record{Tank: s, File: file}, rng: rng, guard: set.Settings.Guard}
	r.begin()
	sc.Trace = r.see
	tw.SpinUp().Run(sc)
	r.finish(length)
	return r.record, nil
}

// How the weather wanders from day to day: a first-order process around 1.
// Judgements, for looks.
const (
	weatherCorrelation = 0.75
	weatherSD          = 0.05
)

// days is the conditions of every day.
func (t *Tank) days(n int, rng *rand.Rand) []plant.Conditions {
	out := make([]plant.Conditions, n)
	weather := 0.0
	for i := range out {
		weather = weatherCorrelation*weather + weatherSD*rng.NormFloat64()
		c := plant.Healthy()
		c.EvaporationFactor = math.Exp(weather)
		if t.trouble != nil {
			t.trouble(i, &c)
		}
		out[i] = c
	}
	return out
}

// How often the device reports what changes slowly, and how noisy it is.
const (
	// aliveEvery is how often a device says something though nothing happens: the
	// account takes one that is quiet for longer to have lost what it did.
	aliveEvery  = 15 * time.Minute
	levelEvery  = 20 * time.Minute
	tempEvery   = time.Hour
	levelSDM    = 0.0003
	tempSDC     = 0.05
	handEvery   = 3 * day
	handAt      = 9*time.Hour + 20*time.Minute
	handSDPSU   = 0.12
	handStepPSU = 0.1
	pouredStepL = 0.1
)

// reporter writes down what a device and a person say about a twin.
type reporter struct {
	tank   *Tank
	record *Record
	rng    *rand.Rand
	guard  *guard.Settings // nil without a controller
	last   plant.Sample
	// When each slow channel is due next.
	alive, level, temp, hand time.Duration
}

func (r *reporter) say(at time.Duration, channel string, value float64) {
	r.record.Values = append(r.record.Values, Value{at, channel, value})
}

// see takes the state at the end of a segment of the run.
func (r *reporter) see(s plant.Sample) {
	r.between(s)
	at := s.SinceOnset
	if s.WatchWet != r.last.WatchWet {
		r.say(max(0, at-r.confirmed(s.WatchWet)), channel.WatchLevel, on(s.WatchWet))
	}
	if s.CeilingWet != r.last.CeilingWet {
		r.say(at, channel.CeilingLevel, on(s.CeilingWet))
	}
	if r.record.Tank.HasSump() && s.ReturnRunning != r.last.ReturnRunning {
		r.say(at, channel.ReturnPump, on(s.ReturnRunning))
	}
	if pump := s.Phase == guard.Filling; pump != (r.last.Phase == guard.Filling) {
		r.say(at, channel.TopOffPump, on(pump))
	}
	if filledM3 := s.ReservoirM3 - r.last.ReservoirM3; filledM3 > pouredStepL*litre {
		r.record.Hand = append(r.record.Hand, Value{at, channel.ReservoirFilled, round(filledM3/litre, pouredStepL)})
	}
	r.last = s
}

// confirmed is how long before the guard believes it the watch sensor turned:
// the twin's run shows both at once.
func (r *reporter) confirmed(wet bool) time.Duration {
	switch {
	case r.guard == nil:
		return 0
	case wet:
		return r.guard.ConfirmWet
	}
	return r.guard.ConfirmDry
}

// begin says what the inputs are as the records begin: a healthy tank, just
// filled.
func (r *reporter) begin() {
	r.say(0, channel.WatchLevel, 1)
	r.say(0, channel.CeilingLevel, 0)
	r.say(0, channel.TopOffPump, 0)
	r.last = plant.Sample{WatchWet: true, ReturnRunning: r.record.Tank.HasSump()}
	if r.last.ReturnRunning {
		r.say(0, channel.ReturnPump, 1)
	}
}

// between says what was due since the last sample, on the line from there.
func (r *reporter) between(s plant.Sample) {
	if r.last.ChamberM == 0 { // the first segment has no beginning to draw from
		r.last.ChamberM, r.last.SalinityPSU, r.last.ReservoirM3 = s.ChamberM, s.SalinityPSU, s.ReservoirM3
	}
	from, to := r.last.SinceOnset, s.SinceOnset
	along := func(at time.Duration, a, b float64) float64 {
		if to == from {
			return b
		}
		return a + (b-a)*float64(at-from)/float64(to-from)
	}
	for ; r.alive < to; r.alive += aliveEvery {
		r.say(r.alive, channel.Heartbeat, 1)
	}
	for ; r.tank.gauge && r.level < to; r.level += levelEvery {
		r.say(r.level, channel.Level, round(along(r.level, r.last.ChamberM, s.ChamberM)+levelSDM*r.rng.NormFloat64(), 0.0001))
	}
	for ; r.temp < to; r.temp += tempEvery {
		r.say(r.temp, channel.WaterTemp, round(r.record.Tank.Water.TempC+0.3*daily(r.temp)+tempSDC*r.rng.NormFloat64(), 0.01))
	}
	for ; r.hand < to; r.hand += handEvery {
		at := r.hand + handAt
		psu := along(r.hand, r.last.SalinityPSU, s.SalinityPSU) + handSDPSU*r.rng.NormFloat64()
		r.record.Hand = append(r.record.Hand, Value{at, channel.Salinity, round(psu, handStepPSU)})
	}
}

// finish puts everything into the order of time; segments end out of step with
// what is due.
func (r *reporter) finish(length time.Duration) {
	byTime := func(a, b Value) int { return cmp.Compare(a.At, b.At) }
	for _, list := range []*[]Value{&r.record.Values, &r.record.Hand} {
		slices.SortStableFunc(*list, byTime)
		n, _ := slices.BinarySearchFunc(*list, length, func(v Value, t time.Duration) int { return cmp.Compare(v.At, t) })
		*list = (*list)[:n]
	}
}

// daily is warmest in the afternoon, -1 to 1.
func daily(at time.Duration) float64 {
	const warmestHour = 16
	return math.Cos(2 * math.Pi * (at.Hours() - warmestHour) / 24)
}

func round(x, step float64) float64 { return math.Round(x/step) * step }

func on(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
