package reliability

import (
	"fmt"
	"math"
	"slices"
)

// Practice is how the proof test is really done. The zero value is the ideal
// of the standard's equations: every test done, everything put back, all
// channels at one visit.
type Practice struct {
	// SkipProb is the probability that a due test is not done, each time anew,
	// 0 to MaxSkipProb. Channels tested at one visit are skipped together.
	SkipProb float64
	// LeftOffProb is the probability that a test leaves a channel unable to
	// act (not plugged in again, a float still tied up) until the next test.
	LeftOffProb float64
	// LeftOffTogether is the share of LeftOffProb that leaves every channel
	// off at once, 0 to 1: high where one plug or one bypass serves all, or
	// where the same hurry forgets them all.
	LeftOffTogether float64
	// Staggered spreads the channels' tests evenly over the interval, each at
	// a visit of its own.
	Staggered bool
	// SharedSeen: each staggered test would also find a failure that all
	// channels share, because the tester looks at the others too.
	SharedSeen bool
}

const (
	// MaxSkipProb is one test done in twenty; below that, state the interval
	// at which tests are done.
	MaxSkipProb = 0.95
	// MaxTestsPerRenewal bounds the tests between two renewals: weekly for 96
	// years.
	MaxTestsPerRenewal = 5000
	// skipTail is the probability of a run of skipped tests that is no longer
	// followed one by one.
	skipTail = 1e-14
)

func (p Practice) check() error {
	if err := checkProbability("LeftOffProb", p.LeftOffProb); err != nil {
		return err
	}
	if err := checkProbability("LeftOffTogether", p.LeftOffTogether); err != nil {
		return err
	}
	if !(p.SkipProb >= 0 && p.SkipProb <= MaxSkipProb) {
		return refuse("SkipProb", fmt.Sprintf("give 0 to %v, or state the interval at which tests are really done", MaxSkipProb),
			"%v is out of range", p.SkipProb)
	}
	return nil
}

// Performance is what a group achieves.
type Performance struct {
	PFDavg float64
	PFH    PerHour
}

// InPractice averages the group over its test cycle (over its life up to
// renewal, if it has one), following each channel's probability of being down
// from moment to moment. In contrast to PFDavg and PFH it is not limited to
// small rates, and it knows Practice. It assumes:
//
//   - hidden failures come at constant rates, so a channel last tested t hours
//     ago is down with 1 - exp(-rate*t); a failure the test cannot find waits
//     for the renewal;
//   - failures that are known and being put right are spread evenly over the
//     cycle, each channel's by itself: for a pair less than the standard's
//     equations, from about 2*RepairH/IntervalH of the whole down to half
//     where announced failures rule;
//   - with an imperfect test the channels wait for one renewal together, which
//     for a pair gives up to a quarter of the mixed term less than the
//     standard's equations;
//   - a channel left off by itself is back after its own next test, channels
//     left off together after the next test of any;
//   - of staggered tests each is skipped by itself, and what one skipped visit
//     does to its channel and to a shared cause is averaged apart, which errs
//     slightly to the high side.
//
// The failure frequency counts hidden failures, as PFH does, and each time
// that leaving channels off completes the harm.
func InPractice(g Group, p Practice) (Performance, error) {
	if err := g.check(); err != nil {
		return Performance{}, err
	}
	if err := p.check(); err != nil {
		return Performance{}, err
	}
	if g.Test.RenewalH > MaxTestsPerRenewal*g.Test.IntervalH {
		return Performance{}, refuse("Test.RenewalH", "renew earlier or test less often",
			"%v h holds more than %d tests", g.Test.RenewalH, MaxTestsPerRenewal)
	}
	return newCycle(g, p).average(), nil
}

// cycle is a group and its practice with everything that stays the same
// through the cycle worked out.
type cycle struct {
	vote  KooN
	test  ProofTest
	rates rates
	// ownOpen and sharedOpen are the steady probabilities that a failure is
	// known and being put right.
	ownOpen, sharedOpen float64
	skip                float64
	ownOff, sharedOff   float64
	visits              []visit // the kinds of visit in one interval
	sharedVisit         visit   // the one that finds shared failures
}

// visit is a test that is due every intervalH, first at firstH.
type visit struct{ firstH, intervalH float64 }

func newCycle(g Group, p Practice) *cycle {
	r := g.rates()
	steady := func(x float64) float64 { return x / (1 + x) }
	c := &cycle{
		vote:       g.Vote,
		test:       g.Test,
		rates:      r,
		ownOpen:    steady(r.ownAnnounced*g.Channel.RestoreH + r.ownHidden*g.Channel.RepairH),
		sharedOpen: steady(r.sharedAnnounced*g.Channel.RestoreH + r.sharedHidden*g.Channel.RepairH),
		skip:       p.SkipProb,
		ownOff:     p.LeftOffProb * (1 - p.LeftOffTogether),
		sharedOff:  p.LeftOffProb * p.LeftOffTogether,
	}
	interval := g.Test.IntervalH
	c.sharedVisit = visit{interval, interval}
	if !p.Staggered || g.Vote.N == 1 {
		c.visits = []visit{c.sharedVisit}
		return c
	}
	n := float64(g.Vote.N)
	for i := range g.Vote.N {
		c.visits = append(c.visits, visit{float64(i+1) / n * interval, interval})
	}
	if p.SharedSeen {
		c.sharedVisit = visit{interval / n, interval / n}
	}
	return c
}

// lifeH is the time after which everything repeats.
func (c *cycle) lifeH() float64 {
	if c.test.RenewalH > 0 {
		return c.test.RenewalH
	}
	return c.test.IntervalH
}

func (c *cycle) average() Performance {
	life := c.lifeH()
	edges := []float64{0, life}
	for _, v := range c.visits {
		for n := 0.0; v.firstH+n*v.intervalH < life; n++ {
			edges = append(edges, v.firstH+n*v.intervalH)
		}
	}
	slices.Sort(edges)
	// No piece is longer than the mean time between failures, so the rule
	// sees a gentle curve.
	piece := 1 / (c.rates.ownHidden + c.rates.sharedHidden)
	rule := newGaussRule()
	var down, failures float64
	for i, from := range edges[:len(edges)-1] {
		rule.each(from, edges[i+1], piece, func(at, weight float64) {
			d, f := c.at(at)
			down += weight * d
			failures += weight * f
		})
	}
	return Performance{PFDavg: down / life, PFH: PerHour(failures/life + c.leftOffPerHour())}
}

// at returns the probability that the group is down at an hour of its life,
// and the rate at which hidden failures take it down.
func (c *cycle) at(hour float64) (down, rate float64) {
	own := make([]float64, c.vote.N)
	if len(c.visits) == 1 {
		// One visit for all: they share the age, so the average over skipped
		// tests comes last.
		c.ages(c.sharedVisit, hour, func(ageH, weight float64) {
			for i := range own {
				own[i] = c.ownDown(ageH, hour)
			}
			d, r := c.group(own, c.sharedDown(ageH, hour))
			down += weight * d
			rate += weight * r
		})
		return down, rate
	}
	for i, v := range c.visits {
		own[i] = c.meanDown(c.ownDown, v, hour)
	}
	return c.group(own, c.meanDown(c.sharedDown, c.sharedVisit, hour))
}

func (c *cycle) meanDown(down func(ageH, hour float64) float64, v visit, hour float64) float64 {
	mean := 0.0
	c.ages(v, hour, func(ageH, weight float64) { mean += weight * down(ageH, hour) })
	return mean
}

// ages goes through the possible times since the visit was last made, each
// with its probability: the last one due, or the one before if that was
// skipped, and so on back to the renewal, which is never skipped.
func (c *cycle) ages(v visit, hour float64, each func(ageH, weight float64)) {
	due := math.Floor((hour-v.firstH)/v.intervalH) + 1 // since the last renewal, if any
	last := v.firstH + (due-1)*v.intervalH
	reached := 1.0 // probability that every later visit was skipped
	for n := 0.0; ; n++ {
		if c.test.RenewalH > 0 && n >= due {
			each(hour, reached)
			return
		}
		age := hour - last + n*v.intervalH
		if reached*c.skip < skipTail {
			each(age, reached)
			return
		}
		each(age, reached*(1-c.skip))
		reached *= c.skip
	}
}

// ownFailed is the probability that one channel has failed by itself, ageH
// after its last test and hour after its renewal; ownDown, that it has failed
// or was left off.
func (c *cycle) ownFailed(ageH, hour float64) float64 {
	return either(c.hidden(c.rates.ownHidden, ageH, hour), c.ownOpen)
}

func (c *cycle) ownDown(ageH, hour float64) float64 {
	return either(c.ownFailed(ageH, hour), c.ownOff)
}

// sharedDown is the same for what takes all channels down at once.
func (c *cycle) sharedDown(ageH, hour float64) float64 {
	return either(either(c.hidden(c.rates.sharedHidden, ageH, hour), c.sharedOpen), c.sharedOff)
}

func (c *cycle) hidden(rate, ageH, hour float64) float64 {
	exposed := c.test.Coverage * ageH
	if c.test.Coverage < 1 {
		exposed += (1 - c.test.Coverage) * hour
	}
	return -math.Expm1(-rate * exposed)
}

// either is the probability of one or both of two independent events, without
// loss of digits where both are small.
func either(p, q float64) float64 { return p + q*(1-p) }

// group combines the channels, each down with own[i], and the shared causes.
func (c *cycle) group(own []float64, shared float64) (down, rate float64) {
	m := c.vote.fatal()
	defeated := atLeast(own, m)
	for i, q := range own {
		rate += c.rates.ownHidden * (1 - q) * exactly(own, m-1, i)
	}
	rate = (1-shared)*rate + c.rates.sharedHidden*(1-shared)*(1-defeated)
	return either(defeated, shared), rate
}

// atLeast is the probability that m or more of the channels are down.
func atLeast(own []float64, m int) float64 {
	p := 0.0
	for k := m; k <= len(own); k++ {
		p += exactly(own, k, noneLeftOut)
	}
	return p
}

const noneLeftOut = -1

// exactly is the probability that k of the channels are down, leaving out the
// one at index except.
func exactly(own []float64, k, except int) float64 {
	var p [MaxChannels + 1]float64 // p[j]: j down so far
	p[0] = 1
	for i, q := range own {
		if i == except {
			continue
		}
		for j := i + 1; j > 0; j-- {
			p[j] = p[j]*(1-q) + p[j-1]*q
		}
		p[0] *= 1 - q
	}
	return p[k]
}

// leftOffPerHour is how often a test takes the group down by leaving channels
// off: how much likelier the group is to be down as the tester walks away than
// had everything been put back.
func (c *cycle) leftOffPerHour() float64 {
	if c.ownOff == 0 && c.sharedOff == 0 {
		return 0
	}
	m := c.vote.fatal()
	putBack, leftOff := make([]float64, c.vote.N), make([]float64, c.vote.N)
	completed := 0.0
	for i, v := range c.visits {
		for hour := v.firstH; hour <= c.lifeH(); hour += v.intervalH {
			for j := range putBack {
				if len(c.visits) == 1 || i == j { // tested now
					putBack[j] = c.ownFailed(0, hour)
					leftOff[j] = c.ownDown(0, hour)
				} else {
					putBack[j] = c.meanDown(c.ownDown, c.visits[j], hour)
					leftOff[j] = putBack[j]
				}
			}
			completed += (1 - c.skip) * (either(atLeast(leftOff, m), c.sharedOff) - atLeast(putBack, m))
		}
	}
	return completed / c.lifeH()
}
