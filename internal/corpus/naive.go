package corpus

import (
	"math"
	"slices"
	"time"

	"isohaline/internal/account"
)

// Naive are the rules that people have today: a limit on a day's litres, an alarm
// when no water came for so long, and a glance at every salinity reading. Each is
// given what helps it: it learns what is usual for its tank from the first days,
// and its limit is the one that serves best on the tuning seeds (TuneNaive).
type Naive struct {
	// LitresTimes is the limit on a day's litres over the usual day's, PauseTimes
	// that on a pause over the longest pause while learning, SaltPSU that on a
	// reading's distance from the usual.
	LitresTimes, PauseTimes, SaltPSU float64
}

const (
	learnFor = 10 * day
	// quietFor is how long a rule is quiet after an alarm: nobody wants it twice
	// a day.
	quietFor = 3 * day
)

// litresRule, pauseRule and saltRule are the codes that the rules' alarms amount to.
const (
	litresRule = account.TankLeak
	pauseRule  = account.TopOffOverdue
	saltRule   = account.SalinityCreeping
)

// Run goes through a history as the rules would.
func (n Naive) Run(h *History) []account.Finding {
	s := naiveState{rules: n, h: h, quiet: map[account.Code]time.Time{}}
	for _, o := range inOrder(h.Observations) {
		for at := s.checked.Add(time.Hour); !s.checked.IsZero() && !at.After(o.At); at = at.Add(time.Hour) {
			s.hourly(at)
		}
		if s.checked.IsZero() {
			s.checked = o.At.Truncate(time.Hour)
		}
		s.take(&o)
	}
	return s.told
}

// inOrder spares the rules what is told late or twice.
func inOrder(told []account.Observation) []account.Observation {
	told = slices.Clone(told)
	slices.SortStableFunc(told, func(a, b account.Observation) int { return a.At.Compare(b.At) })
	return slices.Compact(told)
}

type naiveState struct {
	rules   Naive
	h       *History
	told    []account.Finding
	quiet   map[account.Code]time.Time
	checked time.Time
	runs    []naiveRun
	oldest  int
	onSince time.Time
	// learned while the first days last.
	secondsLearned, longest float64
	saltSum, saltN          float64
}

type naiveRun struct {
	at      time.Time
	seconds float64
}

func (s *naiveState) learning(at time.Time) bool { return at.Sub(s.h.Began) < learnFor }

func (s *naiveState) alarm(code account.Code, at time.Time) {
	if at.Before(s.quiet[code]) {
		return
	}
	s.quiet[code] = at.Add(quietFor)
	s.told = append(s.told, account.Finding{Code: code, Since: at, Found: at})
}

func (s *naiveState) take(o *account.Observation) {
	switch o.Kind {
	case account.PumpOn:
		s.onSince = o.At // if it was on, its end was never told
	case account.PumpOff:
		if !s.onSince.IsZero() {
			s.run(o.At, o.At.Sub(s.onSince).Seconds())
			s.onSince = time.Time{}
		}
	case account.PumpRan:
		s.run(o.At, o.Value)
	case account.Salinity:
		if s.learning(o.At) {
			s.saltSum, s.saltN = s.saltSum+o.Value, s.saltN+1
		} else if s.saltN > 0 && math.Abs(o.Value-s.saltSum/s.saltN) > s.rules.SaltPSU {
			s.alarm(saltRule, o.At)
		}
	}
}

func (s *naiveState) run(at time.Time, seconds float64) {
	if n := len(s.runs); n > 0 {
		if !at.After(s.runs[n-1].at) {
			return // told twice
		}
		if s.learning(at) {
			s.longest = max(s.longest, at.Sub(s.runs[n-1].at).Hours())
		}
	}
	if s.learning(at) {
		s.secondsLearned += seconds
	}
	s.runs = append(s.runs, naiveRun{at, seconds})
}

// hourly is when the rules look.
func (s *naiveState) hourly(at time.Time) {
	s.checked = at
	if s.learning(at) || len(s.runs) == 0 {
		return
	}
	for s.runs[s.oldest].at.Before(at.Add(-day)) && s.oldest < len(s.runs)-1 {
		s.oldest++
	}
	sum := 0.0
	for _, r := range s.runs[s.oldest:] {
		if r.at.After(at.Add(-day)) {
			sum += r.seconds
		}
	}
	if !s.onSince.IsZero() {
		sum += at.Sub(s.onSince).Seconds()
	}
	if sum > s.rules.LitresTimes*s.secondsLearned*day.Hours()/learnFor.Hours() {
		s.alarm(litresRule, at)
	}
	last := s.runs[len(s.runs)-1].at
	if s.onSince.IsZero() && at.Sub(last).Hours() > s.rules.PauseTimes*s.longest {
		s.alarm(pauseRule, at)
	}
}

// TuneNaive finds the rules' best limits on the tuning histories: the lowest
// that keep each rule's false alarms within a rate per tank-year. Lower limits
// find more and sooner, so there is no better choice at that rate.
func TuneNaive(histories []*History, falseAYear float64) Naive {
	quiet := Naive{LitresTimes: math.Inf(1), PauseTimes: math.Inf(1), SaltPSU: math.Inf(1)}
	rate := func(n Naive) float64 {
		alarms, years := 0, 0.0
		for _, h := range histories {
			v := h.Judge(n.Run(h))
			alarms, years = alarms+len(v.False), years+v.Years
		}
		return float64(alarms) / years
	}
	lowest := func(limits []float64, set func(*Naive, float64)) float64 {
		for _, limit := range limits {
			n := quiet
			set(&n, limit)
			if rate(n) <= falseAYear {
				return limit
			}
		}
		return math.Inf(1)
	}
	return Naive{
		LitresTimes: lowest([]float64{1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2, 2.1, 2.2, 2.4, 2.6, 2.8, 3, 3.5, 4, 5, 6, 8}, func(n *Naive, x float64) { n.LitresTimes = x }),
		PauseTimes:  lowest([]float64{1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 4, 5, 6, 8, 10}, func(n *Naive, x float64) { n.PauseTimes = x }),
		SaltPSU:     lowest([]float64{0.4, 0.6, 0.8, 1, 1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 4}, func(n *Naive, x float64) { n.SaltPSU = x }),
	}
}
