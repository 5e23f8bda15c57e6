package bench

import (
	"fmt"
	"math"

	"isohaline/internal/bench/instrument"
	"isohaline/internal/units"
	"isohaline/seawater"
)

// SalinityMove asks how to bring a tank to another salinity.
type SalinityMove struct {
	VolumeL     float64 `json:"volumeL" name:"volume" type:"L" required:"true" minimum:"0.1" maximum:"1000000" doc:"water in the whole system"`
	TempC       float64 `json:"tempC" name:"temperature" type:"°C" required:"true" minimum:"10" maximum:"35" doc:"temperature of the water"`
	SalinityPSU float64 `json:"salinityPSU" name:"salinity" type:"PSU" required:"true" minimum:"1" maximum:"45" doc:"practical salinity now"`
	TargetPSU   float64 `json:"targetPSU" name:"to" type:"PSU" required:"true" minimum:"1" maximum:"45" doc:"practical salinity wanted"`

	Way                  string   `json:"way,omitempty" name:"way" enum:"exchange,top-off" default:"exchange" doc:"exchange: take water out and give other water back; top-off: give salt water in place of fresh water until it is salty enough"`
	SupplyPSU            *float64 `json:"supplyPSU,omitempty" name:"supply" type:"PSU" minimum:"0" maximum:"100" doc:"salinity of the water that goes in; without it, fresh water to go down and 35 to top off with"`
	EvaporationLitresDay float64  `json:"evaporationLitresDay,omitempty" name:"evaporation" type:"L/day" minimum:"0" maximum:"100000" doc:"what this tank loses to the air"`
	RatePSUDay           *float64 `json:"ratePSUDay,omitempty" name:"rate" type:"PSU" minimum:"0.05" maximum:"5" doc:"the most that salinity may move in a day; without it, 1 PSU"`
}

// usualRatePSUDay is common practice, no source.
const usualRatePSUDay = 1.0

// salinityPlan is how a tank gets there, a step a day.
type salinityPlan struct {
	massKg float64
	// from, to and supply are salinities by which salt is counted.
	from, to, supply float64
	days             float64 // at the rate, as short as it may be
	steps            int
	// dailyKg is what goes in on each day.
	dailyKg []float64
}

func (q *SalinityMove) rate() float64 {
	if q.RatePSUDay != nil {
		return *q.RatePSUDay
	}
	return usualRatePSUDay
}

func (q *SalinityMove) answer(c Circumstances) (*BenchAnswer, error) {
	if q.SalinityPSU == q.TargetPSU {
		return &BenchAnswer{Sentence: "Salinity is where it should be."}, nil
	}
	a := &BenchAnswer{Sources: []string{sourceMixing, sourceDensity, sourceRates}, Cautions: []string{cautionSlow}}
	var err error
	if q.Way == "top-off" {
		err = q.byTopOff(a, c)
	} else {
		err = q.byExchange(a, c)
	}
	if err != nil {
		return nil, err
	}
	q.otherWays(a)
	return a, nil
}

// supply is the salinity that goes in. It must lie beyond the target.
func (q *SalinityMove) supply() (float64, error) {
	up := q.TargetPSU > q.SalinityPSU
	switch {
	case q.SupplyPSU == nil && !up:
		return 0, nil
	case q.SupplyPSU == nil && q.Way == "top-off":
		return seaPSU, nil
	case q.SupplyPSU == nil:
		return 0, refusal("supplyPSU", "supply", "", "is not given", "say how salty the water is that goes in, like 40 PSU")
	case up && q.Way != "top-off" && *q.SupplyPSU <= q.TargetPSU:
		return 0, refuse("supplyPSU", "supply", *q.SupplyPSU, "cannot bring the tank up to the target", fmt.Sprintf("give water saltier than %g PSU", q.TargetPSU))
	case !up && *q.SupplyPSU >= q.TargetPSU:
		return 0, refuse("supplyPSU", "supply", *q.SupplyPSU, "cannot bring the tank down to the target", fmt.Sprintf("give water fresher than %g PSU", q.TargetPSU))
	}
	return *q.SupplyPSU, nil
}

// plan by exchange: a day takes out as much as it gives, so mass stays, and
//
//	M (S' - S) = m (S_in - S)
//
// gives each day's mass m for a step of salinity.
func (q *SalinityMove) plan() (*salinityPlan, error) {
	supply, err := q.supply()
	if err != nil {
		return nil, err
	}
	p := &salinityPlan{massKg: q.VolumeL * densityKgM3(q.SalinityPSU, q.TempC) / litresPerM3,
		from: q.SalinityPSU, to: q.TargetPSU, supply: supply}
	p.days = math.Abs(p.to-p.from) / q.rate()
	const hair = 1e-9 // a move of the rate itself takes one day, also after rounding
	p.steps = max(1, int(math.Ceil(p.days-hair)))
	for i := range p.steps {
		s := p.salinity(i)
		p.dailyKg = append(p.dailyKg, p.massKg*(p.salinity(i+1)-s)/(supply-s))
	}
	return p, nil
}

// salinity is what it is after some days.
func (p *salinityPlan) salinity(day int) float64 {
	return p.from + (p.to-p.from)*float64(min(day, p.steps))/float64(p.steps)
}

func (p *salinityPlan) totalKg() float64 {
	sum := 0.0
	for _, kg := range p.dailyKg {
		sum += kg
	}
	return sum
}

func (p *salinityPlan) series(days float64) BenchSeries {
	s := BenchSeries{Name: "salinity", Words: "salinity", Unit: "PSU", Time: "days"}
	for i := range p.steps + 1 {
		s.At, s.Value = append(s.At, days*float64(i)/float64(p.steps)), append(s.Value, p.salinity(i))
	}
	return s
}

func (q *SalinityMove) byExchange(a *BenchAnswer, c Circumstances) error {
	p, err := q.plan()
	if err != nil {
		return err
	}
	litres := p.totalKg() / densityKgM3(p.supply, q.TempC) * litresPerM3
	sd := litres * q.relativeError()
	a.amount("exchange-litres", fmt.Sprintf("water at %s to give in all", Shown(p.supply, "PSU", c.Units)), "L", litres, sd)
	a.exactly("first-day-litres", "of that on the first day", "L", p.dailyKg[0]/densityKgM3(p.supply, q.TempC)*litresPerM3)
	a.exactly("days", "days, one exchange a day", "days", float64(p.steps))
	a.exactly("hours-at-rate", "hours if it runs without a break at the rate", "h", p.days*hoursPerDay)
	a.Series = append(a.Series, p.series(float64(p.steps)))
	a.Sentence = fmt.Sprintf("Exchange %s for water at %s over %s, as much out as in, and salinity goes from %s to %s.",
		Shown(litres, "L", c.Units), Shown(p.supply, "PSU", c.Units), count(p.steps, "day"), Shown(p.from, "PSU", c.Units), Shown(p.to, "PSU", c.Units))
	a.Steps = []string{"Take the day's water out first, then give as much back, at the tank's temperature.", "Measure in the evening, and stop when the target is read, whatever the plan says."}
	return nil
}

// relativeError is how well litres and grams are known: the volume's error, and
// the reading's against the move.
func (q *SalinityMove) relativeError() float64 {
	return math.Hypot(instrument.VolumeSDFrac, instrument.HandSDPSU("")/(q.TargetPSU-q.SalinityPSU))
}

// byTopOff lets evaporation do it: what evaporates is given back as salt water.
// Each kilogram brings its salt, so M dS = m S_in.
func (q *SalinityMove) byTopOff(a *BenchAnswer, c Circumstances) error {
	if q.TargetPSU < q.SalinityPSU {
		return refusal("way", "way", "top-off", "cannot bring salinity down: evaporation takes no salt away", "choose exchange")
	}
	if q.EvaporationLitresDay < leastLitresDay {
		return refusal("evaporationLitresDay", "evaporation", "", "is not given", "say what this tank loses in a day, like 4 L/day")
	}
	supply, err := q.supply()
	if err != nil {
		return err
	}
	if supply == 0 {
		return refuse("supplyPSU", "supply", supply, "brings no salt", "give salt water, like 35 PSU")
	}
	massKg := q.VolumeL * densityKgM3(q.SalinityPSU, q.TempC) / litresPerM3
	totalKg := massKg * (q.TargetPSU - q.SalinityPSU) / supply
	evaporationKg := q.EvaporationLitresDay * densityKgM3(0, q.TempC) / litresPerM3
	share := min(1, massKg*q.rate()/supply/evaporationKg)
	days := totalKg / (share * evaporationKg)
	if !(days <= longestMoveDays) {
		return refuse("evaporationLitresDay", "evaporation", q.EvaporationLitresDay, fmt.Sprintf("brings too little salt: it would take %.3g days", days), "choose exchange, or saltier water")
	}
	litres := totalKg / densityKgM3(supply, q.TempC) * litresPerM3
	a.amount("top-off-litres", fmt.Sprintf("salt water at %s in place of fresh water", Shown(supply, "PSU", c.Units)), "L", litres, litres*q.relativeError())
	a.amount("top-off-days", "days", "days", days, days*math.Hypot(q.relativeError(), evaporationSDFrac))
	a.exactly("top-off-share", "share of the top-off that is salt water", "%", share*percent)
	p := &salinityPlan{from: q.SalinityPSU, to: q.TargetPSU, steps: max(1, int(math.Ceil(days)))}
	a.Series = append(a.Series, p.series(days))
	a.Sentence = fmt.Sprintf("Top off with %s of salt water at %s (%s of each day's top-off) for %s days, and salinity goes from %s to %s.",
		Shown(litres, "L", c.Units), Shown(supply, "PSU", c.Units), Shown(share*percent, "%", units.Metric), digits(days, 2), Shown(q.SalinityPSU, "PSU", c.Units), Shown(q.TargetPSU, "PSU", c.Units))
	a.Steps = []string{"Change back to fresh water in good time: a reservoir of salt water that is forgotten makes the tank saltier every day.", "Measure daily."}
	return nil
}

const (
	percent = 100
	// leastLitresDay is no evaporation, for a tank.
	leastLitresDay = 0.001
	// longestMoveDays is longer than anybody waits for a salinity.
	longestMoveDays = 365.0
	// evaporationSDFrac is how much a tank's evaporation changes from week to
	// week. Common practice, no source.
	evaporationSDFrac = 0.15
)

// otherWays are figures that serve to choose another way: dry salt, or waiting.
func (q *SalinityMove) otherWays(a *BenchAnswer) {
	if q.TargetPSU < q.SalinityPSU {
		return
	}
	massKg := q.VolumeL * densityKgM3(q.SalinityPSU, q.TempC) / litresPerM3
	from, to := seawater.AbsoluteSalinity(q.SalinityPSU), seawater.AbsoluteSalinity(q.TargetPSU)
	// What is added counts to the mass too.
	grams := massKg * (to - from) / (1 - to/gramsPerKg)
	a.amount("dry-salt-grams", "or dry sea salt, dissolved first (mixes hold some water: a little more)", "g", grams, grams*q.relativeError())
	if q.EvaporationLitresDay >= leastLitresDay {
		lostKg := massKg * (1 - q.SalinityPSU/q.TargetPSU)
		lost := lostKg / densityKgM3(0, q.TempC) * litresPerM3
		days := lost / q.EvaporationLitresDay
		a.amount("wait-days", "or no top-off at all for", "days", days, days*math.Hypot(evaporationSDFrac, q.relativeError()))
		a.amount("wait-litres", "by which the level falls, in water", "L", lost, lost*q.relativeError())
		a.Cautions = append(a.Cautions, cautionDryPump)
	}
}
