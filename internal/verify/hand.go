package verify

import (
	"fmt"
	"time"

	"isohaline/internal/plant"
	"isohaline/reliability"
)

// Course is how a tank fares over a stretch of time: the whole outcome, and
// every step of it for drawing.
type Course struct {
	Outcome plant.Outcome
	Samples []plant.Sample
}

// mostHandTopOff is the longest stretch that HandTopOff follows.
const mostHandTopOff = reliability.DaysPerYear * day

// HandTopOff runs the tank with nothing wrong, in one season by its place among
// the tank's, for a length of time up to a year: once topped off by a person
// who so often pours in all at once what is missing, and once automatically.
// The water is the same. Volumes are no use for judging the first by hand:
// between two such days the display itself may fall.
func (t *Trial) HandTopOff(season int, every, length time.Duration) (byHand, automatic Course, err error) {
	switch {
	case season < 0 || season >= len(t.b.onsets):
		return byHand, automatic, fmt.Errorf("season %d: the tank has %d; count from 0", season, len(t.b.onsets))
	case every <= 0:
		return byHand, automatic, fmt.Errorf("topping off by hand every %v: give a time above nothing", every)
	case length <= 0 || length > mostHandTopOff:
		return byHand, automatic, fmt.Errorf("following it for %v: give a time up to a year", length)
	}
	follow := func(c plant.Conditions) (course Course) {
		course.Outcome = t.b.onsets[season].Run(plant.Scenario{Conditions: c, Length: length,
			Trace: func(s plant.Sample) { course.Samples = append(course.Samples, s) }}).Alone
		return course
	}
	hand := plant.Healthy()
	hand.HandEvery = every
	byHand, automatic = follow(hand), follow(plant.Healthy())
	if byHand.Outcome.Unfinished || automatic.Outcome.Unfinished {
		return Course{}, Course{}, ErrUnfinished
	}
	return byHand, automatic, nil
}
