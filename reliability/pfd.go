package reliability

import (
	"fmt"
	"math"
)

// MaxChannels bounds a voted group.
const MaxChannels = 10

// maxFailuresPerTest refuses a rate that would fail a channel more than ten
// times between two tests: nearly always a rate per year given as per hour.
const maxFailuresPerTest = 10

// minIntervalH: a check that runs more often than hourly is a self-test, and
// belongs in DiagnosticCoverage.
const minIntervalH = 1

// KooN is a voting architecture: K of N channels are needed to stop the
// hazard. Two float switches, either of which stops the pump, are 1oo2 against
// flooding and 2oo2 against a needless stop.
type KooN struct{ K, N int }

func (v KooN) String() string { return fmt.Sprintf("%doo%d", v.K, v.N) }

// fatal is how many failed channels defeat the group.
func (v KooN) fatal() int { return v.N - v.K + 1 }

// choose is the number of ways to pick k of the channels.
func (v KooN) choose(k int) float64 {
	ways := 1.0
	for i := range k {
		ways = ways * float64(v.N-i) / float64(i+1)
	}
	return ways
}

// Group is a voted group of like channels and how it is tested.
type Group struct {
	Vote    KooN
	Channel Channel
	Common  CommonCause
	Test    ProofTest
}

// Channel is one sensor with what it needs to stop the hazard. Safe failures
// do not enter.
type Channel struct {
	// Dangerous is the rate of failures that leave the channel unable to act.
	Dangerous PerHour
	// DiagnosticCoverage is the share of them that a self-test announces at
	// once, 0 to 1; the rest stay hidden until the proof test.
	DiagnosticCoverage float64
	// RestoreH is the mean time from such an announcement to a working
	// channel (MTTR), RepairH from a proof test that found a failure (MRT).
	RestoreH, RepairH float64
}

// CommonCause is the share of failures that hits every channel at once, of the
// hidden and of the announced ones (beta and beta_D, IEC 61508-6:2010 Annex
// D). It does not enter where one failed channel already defeats the group.
type CommonCause struct{ Beta, BetaDetected float64 }

// ProofTest finds hidden failures.
type ProofTest struct {
	IntervalH float64 // at least 1
	// Coverage is the share of hidden failures it finds, above 0 to 1.
	Coverage float64
	// RenewalH is when the rest is found, by replacement or overhaul; needed
	// where Coverage is below 1, at least IntervalH. 0: never renewed.
	RenewalH float64
}

func (g Group) check() error {
	if g.Vote.N < 1 || g.Vote.N > MaxChannels || g.Vote.K < 1 || g.Vote.K > g.Vote.N {
		return refuse("Vote", fmt.Sprintf("need 1 to N of N channels, N up to %d", MaxChannels), "%v is not a voting architecture", g.Vote)
	}
	c, test := g.Channel, g.Test
	if err := checkRate("Channel.Dangerous", c.Dangerous); err != nil {
		return err
	}
	for _, share := range []struct {
		place string
		value float64
	}{
		{"Channel.DiagnosticCoverage", c.DiagnosticCoverage},
		{"Common.Beta", g.Common.Beta},
		{"Common.BetaDetected", g.Common.BetaDetected},
		{"Test.Coverage", test.Coverage},
	} {
		if err := checkProbability(share.place, share.value); err != nil {
			return err
		}
	}
	for _, time := range []struct {
		place string
		value float64
	}{
		{"Channel.RestoreH", c.RestoreH},
		{"Channel.RepairH", c.RepairH},
		{"Test.RenewalH", test.RenewalH},
	} {
		if !(time.value >= 0) || math.IsInf(time.value, 1) {
			return refuse(time.place, "give hours, 0 or more", "%v h is not a duration", time.value)
		}
	}
	switch {
	case !(test.IntervalH >= minIntervalH) || math.IsInf(test.IntervalH, 1):
		return refuse("Test.IntervalH", "give the hours between two tests, at least 1: 730 for monthly", "%v h is not an interval between proof tests", test.IntervalH)
	case test.Coverage == 0:
		return refuse("Test.Coverage", "give the share it finds, 1 for all", "a test that finds nothing is not a test")
	case test.Coverage < 1 && test.RenewalH == 0:
		return refuse("Test.RenewalH", "say when the rest is found", "the test finds only %v of the failures and nothing finds the rest", test.Coverage)
	case test.RenewalH > 0 && test.RenewalH < test.IntervalH:
		return refuse("Test.RenewalH", "give at least the test interval, or 0 for none", "%v h is shorter than the %v h between tests", test.RenewalH, test.IntervalH)
	case float64(c.Dangerous)*test.IntervalH > maxFailuresPerTest:
		return refuse("Channel.Dangerous", "check the rate's unit or shorten the interval",
			"%v/h means %.3g failures between two tests", float64(c.Dangerous), float64(c.Dangerous)*test.IntervalH)
	}
	return nil
}

// rates splits a channel's dangerous failures: those of its own and those it
// shares, hidden and announced.
type rates struct{ ownHidden, ownAnnounced, sharedHidden, sharedAnnounced float64 }

func (g Group) rates() rates {
	announced := float64(g.Channel.Dangerous) * g.Channel.DiagnosticCoverage
	hidden := float64(g.Channel.Dangerous) * (1 - g.Channel.DiagnosticCoverage)
	b, bd := g.Common.Beta, g.Common.BetaDetected
	if g.Vote.fatal() == 1 {
		b, bd = 0, 0
	}
	return rates{(1 - b) * hidden, (1 - bd) * announced, b * hidden, bd * announced}
}

// hiddenH is the mean time a hidden failure has been there when k-1 channels
// are already waiting: T/k for the share the test finds, T2/k for the rest,
// and the repair.
func (g Group) hiddenH(k int) float64 {
	test := g.Test
	return (test.Coverage*test.IntervalH+(1-test.Coverage)*test.RenewalH)/float64(k) + g.Channel.RepairH
}

// allDown is the mean probability that j given channels are down together,
// each by a failure of its own: j! X^j t(2)...t(j+1), where X*t(k) weighs the
// down times of hidden and announced failures by their share of the channel's
// whole rate.
func (g Group) allDown(j int) float64 {
	r := g.rates()
	dangerous := float64(g.Channel.Dangerous)
	if dangerous == 0 && j > 0 {
		return 0
	}
	p := 1.0
	for i := 1; i <= j; i++ {
		meanDownH := (1-g.Channel.DiagnosticCoverage)*g.hiddenH(i+1) + g.Channel.DiagnosticCoverage*g.Channel.RestoreH
		p *= float64(i) * (r.ownHidden + r.ownAnnounced) * meanDownH
	}
	return p
}

// PFDavg is the average probability that the group fails on demand, by the
// equations of IEC 61508-6:2010 Annex B.3 for low demand, with those for an
// imperfect proof test: for 1oo1, 1oo2, 2oo2, 2oo3 and 1oo3 as printed there,
// for other architectures by the same pattern. All channels are tested together, and
// every test is done.
//
// The equations are of first order: good while the dangerous rate times the
// interval is below about 0.1, too high beyond, capped at 1. It returns an
// *InputError for a field that cannot be.
func PFDavg(g Group) (float64, error) {
	if err := g.check(); err != nil {
		return 0, err
	}
	r := g.rates()
	own := g.Vote.choose(g.Vote.fatal()) * g.allDown(g.Vote.fatal())
	shared := r.sharedAnnounced*g.Channel.RestoreH + r.sharedHidden*g.hiddenH(2)
	return min(1, own+shared), nil
}

// PFH is the average frequency of the group's dangerous failure, per hour, by
// the equations of IEC 61508-6:2010 Annex B.3 for continuous demand, under the
// same conditions and limits as PFDavg. The failure that completes the harm is a hidden one:
// an announced one brings the system to its safe state.
func PFH(g Group) (PerHour, error) {
	if err := g.check(); err != nil {
		return 0, err
	}
	r := g.rates()
	m := g.Vote.fatal()
	own := g.Vote.choose(m) * float64(m) * g.allDown(m-1) * r.ownHidden
	return PerHour(own + r.sharedHidden), nil
}
