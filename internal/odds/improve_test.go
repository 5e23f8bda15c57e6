package odds

import (
	"errors"
	"math"
	"strings"
	"testing"

	"isohaline/internal/guard"
	"isohaline/internal/longtest"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

// TestImprove: what is listed helps, the order is by money where prices are
// stated, and each figure is the one that Estimate gives the changed tank.
func TestImprove(t *testing.T) {
	longtest.Only(t, "a check for every change")
	r := reportOf(t, nano)
	told := 0
	byHarm, err := Improve(t.Context(), r, Improving{Prices: map[string]float64{"test-twice-as-often": 50}, Progress: func(done, total int) { told = done*1000 + total }})
	if err != nil {
		t.Fatal(err)
	}
	before := estimate(t, r, Options{Samples: 1}).Harms[Danger].PerYear
	if len(byHarm) < 2 || told == 0 || told/1000 != told%1000 {
		t.Fatalf("%d improvements, told %d: %+v", len(byHarm), told, byHarm)
	}
	for i, im := range byHarm {
		within(t, im.ID, im.PerYear[Danger]+im.Removes[Danger], before, 1e-9)
		if priced := im.ID == "test-twice-as-often"; priced != (i == 0) || priced != (im.Price == 50) {
			t.Errorf("%s is number %d at %v", im.ID, i, im.Price)
		}
		within(t, im.ID+" for its money", im.RemovesPerMoney*im.Price, im.Removes[Danger]*min(1, im.Price), 1e-9)
		if im.Removes[Danger] <= 0 || i > 1 && im.Removes[Danger] > byHarm[i-1].Removes[Danger] || !strings.Contains(im.Sentence, "takes away") {
			t.Errorf("%d: %+v", i, im)
		}
		t.Logf("%s", im.Sentence)
	}
}

func TestImprovementWords(t *testing.T) {
	for _, row := range []struct {
		im   Improvement
		want string
	}{
		{Improvement{PerYear: [harmCount]float64{Danger: 0.01}, Removes: [harmCount]float64{Danger: 0.03}}, "A change: takes away 75 % of the serious harm (once in 100 years instead of once in 25 years)."},
		{Improvement{PerYear: [harmCount]float64{Danger: 0.01}, Removes: [harmCount]float64{Danger: 0.03}, Price: 60}, "A change: takes away 75 % of the serious harm (once in 100 years instead of once in 25 years); at a price of 60 that is 1.3 % of it per unit of money."},
		{Improvement{Removes: [harmCount]float64{Danger: 0.04}, Price: 2.5}, "A change: then no combination that was tried does serious harm; at a price of 2.5 that is 40 % of it per unit of money."},
	} {
		row.im.Words = "a change"
		if got := row.im.sentence(0.04); got != row.want {
			t.Errorf("got  %q\nwant %q", got, row.want)
		}
	}
}

// TestRank: what is priced comes first, by what it takes away for its money.
func TestRank(t *testing.T) {
	list := []Improvement{
		{ID: "small", Removes: [harmCount]float64{Danger: 1}},
		{ID: "large", Removes: [harmCount]float64{Danger: 9}},
		{ID: "dear", Removes: [harmCount]float64{Danger: 9}, Price: 90, RemovesPerMoney: 0.1},
		{ID: "cheap", Removes: [harmCount]float64{Danger: 2}, Price: 1, RemovesPerMoney: 2},
	}
	rank(list)
	for i, want := range []string{"cheap", "dear", "large", "small"} {
		if list[i].ID != want {
			t.Errorf("%d is %s, want %s", i, list[i].ID, want)
		}
	}
}

// TestProposalsOfOdds: what only odds can judge is proposed where it fits, on a
// copy.
func TestProposalsOfOdds(t *testing.T) {
	s := example(t, nano)
	settings := guard.Typical()
	r := &verify.Report{Tank: s, Settings: verify.Settings{Guard: &settings}}
	s.TopOff.Ceiling.Group = s.TopOff.Watch.Group
	filled, tested, group := s.TopOff.Reservoir.FillHeightM, s.People.ProofTestDays, s.TopOff.Ceiling.Group
	seen := map[string]bool{}
	for _, p := range proposalsFor(r) {
		seen[p.ID] = true
		if _, err := tankfile.Write(p.Tank); err != nil {
			t.Errorf("%s: the tank cannot be: %v", p.ID, err)
		}
	}
	for _, id := range []string{"test-twice-as-often", "half-reservoir", "ceiling-of-another-kind", "run-timer"} {
		if !seen[id] {
			t.Errorf("%s is not proposed", id)
		}
	}
	if s.TopOff.Reservoir.FillHeightM != filled || s.People.ProofTestDays != tested || s.TopOff.Ceiling.Group != group || s.TopOff.RunTimerS != 0 {
		t.Error("the tank was changed")
	}
}

func TestPricesRefused(t *testing.T) {
	r := reportOf(t, nano)
	for _, prices := range []map[string]float64{{"a-miracle": 1}, {"test-twice-as-often": 0}, {"test-twice-as-often": math.NaN()}} {
		var refused *reliability.InputError
		if _, err := Improve(t.Context(), r, Improving{Prices: prices}); !errors.As(err, &refused) || refused.Fix == "" {
			t.Errorf("%v: %v", prices, err)
		} else if prices["a-miracle"] != 0 && !strings.Contains(refused.Fix, "test-twice-as-often") {
			t.Errorf("which changes there are is not said: %v", err)
		}
	}
}
