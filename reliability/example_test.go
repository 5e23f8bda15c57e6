package reliability_test

import (
	"fmt"
	"log"
	"strings"

	"isohaline/reliability"
)

// A top-off pump keeps running if its relay welds, or if the level sensor
// sticks and the run-time limit does not end the fill. Both stops act through
// one relay, so that one part leads whatever the sensors cost.
func Example() {
	models, err := reliability.Read(strings.NewReader(`{"models": {"overfill": {
		"top": "Overfill",
		"gates": {
			"Overfill": "RelayWelded | NothingStops",
			"NothingStops": "SensorStuck & TimerDead"
		},
		"p": {"RelayWelded": 1e-3, "SensorStuck": 1e-2, "TimerDead": 2e-2}
	}}}`))
	if err != nil {
		log.Fatal(err)
	}
	tree, err := reliability.NewTree(models[0])
	if err != nil {
		log.Fatal(err)
	}
	diagram, err := tree.Compile(reliability.DefaultLimit)
	if err != nil {
		log.Fatal(err)
	}
	sets, err := diagram.MinimalCutSets(100)
	if err != nil {
		log.Fatal(err)
	}
	importance, err := diagram.Importance()
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("on demand %.3g\n", diagram.Probability())
	for _, s := range sets.Dominant(2) {
		fmt.Printf("%.1g by %s\n", s.Prob, strings.Join(s.Events, " and "))
	}
	for _, i := range importance {
		fmt.Printf("%s takes part in %.0f %%\n", i.Event, 100*i.FussellVesely)
	}
	// Output:
	// on demand 0.0012
	// 0.001 by RelayWelded
	// 0.0002 by SensorStuck and TimerDead
	// RelayWelded takes part in 83 %
	// SensorStuck takes part in 17 %
	// TimerDead takes part in 17 %
}

// What testing two like sensors buys, and what it costs to skip every third
// test or to put the pump's plug back only 99 times in 100.
func ExampleInPractice() {
	pair := reliability.Group{
		Vote:    reliability.KooN{K: 1, N: 2},
		Channel: reliability.Channel{Dangerous: 1.1e-6}, // per hour
		Common:  reliability.CommonCause{Beta: 0.1},
		Test:    reliability.ProofTest{Coverage: 1},
	}
	for _, row := range []struct {
		name      string
		intervalH float64
		practice  reliability.Practice
	}{
		{"monthly", 730, reliability.Practice{}},
		{"yearly", 8760, reliability.Practice{}},
		{"monthly, a third skipped", 730, reliability.Practice{SkipProb: 1.0 / 3}},
		{"monthly, plug forgotten", 730, reliability.Practice{LeftOffProb: 0.01, LeftOffTogether: 1}},
	} {
		pair.Test.IntervalH = row.intervalH
		got, err := reliability.InPractice(pair, row.practice)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%-24s %.1e\n", row.name, got.PFDavg)
	}
	// Output:
	// monthly                  4.0e-05
	// yearly                   5.1e-04
	// monthly, a third skipped 8.1e-05
	// monthly, plug forgotten  1.0e-02
}
