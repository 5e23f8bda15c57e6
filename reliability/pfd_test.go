package reliability

import (
	"math"
	"testing"
)

func TestRefusedGroups(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	rows := []struct {
		name           string
		change         func(g *Group)
		place, problem string
	}{
		{"interval of zero", func(g *Group) { g.Test.IntervalH = 0 }, "Test.IntervalH", "0 h"},
		{"interval of a self-test", func(g *Group) { g.Test.IntervalH = 0.5 }, "Test.IntervalH", "0.5 h"},
		{"negative interval", func(g *Group) { g.Test.IntervalH = -730 }, "Test.IntervalH", "-730"},
		{"endless interval", func(g *Group) { g.Test.IntervalH = inf }, "Test.IntervalH", "+Inf"},
		{"interval NaN", func(g *Group) { g.Test.IntervalH = nan }, "Test.IntervalH", "NaN"},
		{"3oo2", func(g *Group) { g.Vote = KooN{3, 2} }, "Vote", "3oo2"},
		{"0oo2", func(g *Group) { g.Vote = KooN{0, 2} }, "Vote", "0oo2"},
		{"no vote", func(g *Group) { g.Vote = KooN{} }, "Vote", "0oo0"},
		{"too many channels", func(g *Group) { g.Vote = KooN{1, MaxChannels + 1} }, "Vote", "1oo11"},
		{"negative rate", func(g *Group) { g.Channel.Dangerous = -1e-6 }, "Channel.Dangerous", "-1e-06"},
		{"rate NaN", func(g *Group) { g.Channel.Dangerous = PerHour(nan) }, "Channel.Dangerous", "NaN"},
		{"rate per year as per hour", func(g *Group) { g.Channel.Dangerous = 0.09 }, "Channel.Dangerous", "65.7 failures"},
		{"coverage above 1", func(g *Group) { g.Channel.DiagnosticCoverage = 90 }, "Channel.DiagnosticCoverage", "90"},
		{"beta above 1", func(g *Group) { g.Common.Beta = 10 }, "Common.Beta", "10"},
		{"beta NaN", func(g *Group) { g.Common.BetaDetected = nan }, "Common.BetaDetected", "NaN"},
		{"negative repair", func(g *Group) { g.Channel.RepairH = -8 }, "Channel.RepairH", "-8"},
		{"endless restoration", func(g *Group) { g.Channel.RestoreH = inf }, "Channel.RestoreH", "+Inf"},
		{"test that finds nothing", func(g *Group) { g.Test.Coverage = 0 }, "Test.Coverage", "finds nothing"},
		{"test coverage above 1", func(g *Group) { g.Test.Coverage = 1.5 }, "Test.Coverage", "1.5"},
		{"rest never found", func(g *Group) { g.Test.Coverage = 0.9 }, "Test.RenewalH", "0.9"},
		{"renewal before the test", func(g *Group) { g.Test.Coverage, g.Test.RenewalH = 0.9, 100 }, "Test.RenewalH", "100"},
	}
	for _, r := range rows {
		g := plain(1, 2, 1e-6, monthH)
		r.change(&g)
		_, err := PFDavg(g)
		wantRefusal(t, r.name, err, r.place, r.problem)
		_, err = PFH(g)
		wantRefusal(t, r.name, err, r.place, r.problem)
		_, err = InPractice(g, Practice{})
		wantRefusal(t, r.name, err, r.place, r.problem)
	}
	practices := []struct {
		name           string
		practice       Practice
		place, problem string
	}{
		{"always skipped", Practice{SkipProb: 1}, "SkipProb", "1"},
		{"skipped NaN", Practice{SkipProb: nan}, "SkipProb", "NaN"},
		{"skipped less than never", Practice{SkipProb: -0.1}, "SkipProb", "-0.1"},
		{"left off above 1", Practice{LeftOffProb: 1.1}, "LeftOffProb", "1.1"},
		{"together below 0", Practice{LeftOffTogether: -1}, "LeftOffTogether", "-1"},
	}
	for _, r := range practices {
		_, err := InPractice(plain(1, 2, 1e-6, monthH), r.practice)
		wantRefusal(t, r.name, err, r.place, r.problem)
	}
	g := plain(1, 2, 1e-6, monthH)
	g.Test.RenewalH = monthH * (MaxTestsPerRenewal + 1)
	_, err := InPractice(g, Practice{})
	wantRefusal(t, "too many tests to follow", err, "Test.RenewalH", "5000")
}

// TestVoting: what defeats a group, and 1oo3, whose equation is printed in
// IEC 61508-6 Annex B though no row of its tables is checked here (three of
// the transcribed entries disagree with it).
func TestVoting(t *testing.T) {
	g := plain(1, 3, 1e-6, 8760)
	g.Common = CommonCause{0.1, 0.05}
	g.Channel.DiagnosticCoverage, g.Channel.RestoreH, g.Channel.RepairH = 0.6, 8, 8
	const hidden, announced = 0.4e-6, 0.6e-6
	own := 0.9*hidden + 0.95*announced
	down := func(k float64) float64 { return 0.4*(8760/k+8) + 0.6*8 }
	want := 6*math.Pow(own, 3)*down(2)*down(3)*down(4) + 0.05*announced*8 + 0.1*hidden*(8760/2+8)
	if got, err := PFDavg(g); err != nil || !near(got, want) {
		t.Errorf("1oo3: %v, %v, want %v", got, err, want)
	}
	still := plain(2, 3, 0, 8760)
	pfd, err := PFDavg(still)
	if p := inPractice(t, still, Practice{}); err != nil || pfd != 0 || p.PFDavg != 0 || p.PFH != 0 {
		t.Errorf("parts that never fail: %v, %v, %+v", pfd, err, p)
	}
	worn := plain(2, 2, 1e-2, 990)
	if pfd, err := PFDavg(worn); err != nil || pfd != 1 {
		t.Errorf("far beyond first order: %v, %v, want 1", pfd, err)
	}
	if got := (KooN{2, 3}).String(); got != "2oo3" {
		t.Errorf("written %s", got)
	}
}
