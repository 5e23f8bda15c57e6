package bench

import (
	"fmt"
	"math"

	"isohaline/carbonate"
	"isohaline/internal/units"
)

// TopOffShock asks what giving fresh water does to a tank at once, against what
// the animals were used to an hour before, and what a month of it is like by hand
// and automatically.
type TopOffShock struct {
	Water TankWater `json:"water" embed:""`

	TopOffL              float64  `json:"topOffL" name:"top-off" type:"L" required:"true" minimum:"0.001" maximum:"100000" doc:"fresh water given at once"`
	Minutes              float64  `json:"minutes,omitempty" name:"over" type:"min" minimum:"0" maximum:"100000" doc:"how long the giving takes; 0: at once"`
	EvaporationLitresDay float64  `json:"evaporationLitresDay,omitempty" name:"evaporation" type:"L/day" minimum:"0" maximum:"100000" doc:"what this tank loses to the air; without it, no month is drawn"`
	UseAlkalinityDKHDay  float64  `json:"useAlkalinityDKHDay,omitempty" name:"use-alkalinity" type:"dKH/day" minimum:"0" maximum:"10" doc:"what the tank uses up meanwhile"`
	FreshTempC           *float64 `json:"freshTempC,omitempty" name:"fresh-temperature" type:"°C" minimum:"2" maximum:"40" doc:"of the fresh water; without it, the tank's"`
}

// shock is what one top-off does.
type shock struct {
	salinity, alkalinity, temp float64 // changes
	phClosed, phSettled        float64
	omegaClosed, omegaSettled  float64
}

// shock gives fresh water, in kilograms, to a tank and says what changed: within
// minutes, before gas moves, and by tomorrow, settled with the room.
func (q *TopOffShock) shock(w *TankWater) (shock, error) {
	before, err := w.dissolved()
	if err != nil {
		return shock{}, err
	}
	fresh := carbonate.Water{TempC: before.TempC}
	if q.FreshTempC != nil {
		fresh.TempC = *q.FreshTempC
	}
	fresh.MassKg = q.TopOffL * densityKgM3(0, fresh.TempC) / litresPerM3
	after, err := carbonate.Mix(before, fresh)
	if err != nil {
		return shock{}, err
	}
	pH, err := changes(before, after, w.roomUatm())
	if err != nil {
		return shock{}, err
	}
	return shock{salinity: after.SalinityPSU - before.SalinityPSU, alkalinity: dKH(after) - dKH(before), temp: after.TempC - before.TempC,
		phClosed: pH[1], phSettled: pH[2], omegaClosed: pH[3] - pH[5], omegaSettled: pH[4] - pH[5]}, nil
}

func (q *TopOffShock) answer(c Circumstances) (*BenchAnswer, error) {
	w := &q.Water
	if q.TopOffL > w.VolumeL {
		return nil, refuse("topOffL", "top-off", q.TopOffL, "is more than the tank holds", "check the units of both")
	}
	out, err := spread(w.errors(), func(x []float64) ([]float64, error) {
		at, _ := w.with(x)
		s, err := q.shock(&at)
		return []float64{s.salinity, s.alkalinity, s.phClosed, s.phSettled, s.omegaClosed, s.omegaSettled, s.temp}, err
	})
	if err != nil {
		return nil, impossible(err)
	}
	a := &BenchAnswer{Sources: []string{sourceMixing, sourceCarbonate, sourceDensity, sourceDKH, sourceRates}}
	salinity, alkalinity := out[0], out[1]
	a.about("salinity-change", "change of salinity", "PSU", salinity.value, salinity.sd)
	a.about("alkalinity-change", "change of alkalinity", "dKH", alkalinity.value, alkalinity.sd)
	a.about("pH-closed", "change of pH within minutes", "pH", out[2].value, out[2].sd)
	a.about("pH-settled", "change of pH by tomorrow, settled with the room", "pH", out[3].value, out[3].sd)
	a.about("omega-closed", "change of aragonite saturation within minutes", "", out[4].value, out[4].sd)
	a.about("omega-settled", "change of aragonite saturation by tomorrow", "", out[5].value, out[5].sd)
	a.about("temperature-change", "change of temperature", "°C difference", out[6].value, out[6].sd)
	a.exactly("dilution-share", "share of the fall of alkalinity that is dilution; the rest was used up meanwhile", "%",
		percent*dilutionShare(-alkalinity.value, q.UseAlkalinityDKHDay*q.Minutes/minutesPerDay))
	hour := hardestHour(q.Minutes)
	a.about("salinity-hour", "change of salinity against an hour before", "PSU", salinity.value*hour, salinity.sd*hour)
	a.about("alkalinity-hour", "change of alkalinity against an hour before", "dKH", alkalinity.value*hour, alkalinity.sd*hour)
	a.Sentence = fmt.Sprintf("%s of fresh water (%s of the tank) move salinity by %s and alkalinity by %s within minutes; pH moves by %s at once and by %s until tomorrow.",
		Shown(q.TopOffL, "L", c.Units), Shown(q.TopOffL/w.VolumeL*percent, "%", units.Metric), signed(salinity.value, "PSU", c.Units),
		signed(alkalinity.value, "dKH", c.Units), signed(out[2].value, "pH", c.Units), signed(out[3].value, "pH", c.Units))
	if math.Abs(salinity.value) > usualRatePSUDay || math.Abs(alkalinity.value) > usualRateDKHDay {
		a.Cautions = append(a.Cautions, cautionSlow)
	}
	a.Notes = append(a.Notes, "The fall is dilution of water that evaporation had concentrated, not the fresh water's own pH: that has no alkalinity to set against the tank's.")
	q.month(a, c)
	return a, nil
}

// dilutionShare is the part of a fall that is dilution and not use.
func dilutionShare(dilutedDKH, usedDKH float64) float64 {
	if usedDKH == 0 {
		return 1
	}
	diluted := max(0, dilutedDKH)
	return diluted / (diluted + usedDKH)
}

// hardestHour is the most of a change that falls into one hour.
func hardestHour(minutes float64) float64 {
	const hour = 60
	if minutes <= hour {
		return 1
	}
	return hour / minutes
}

// monthDays is what a month by hand is compared over.
const monthDays = 30

// month compares topping off by hand, as much each time as asked, with topping
// off as it evaporates.
func (q *TopOffShock) month(a *BenchAnswer, c Circumstances) {
	if q.EvaporationLitresDay < leastLitresDay {
		return
	}
	every := q.TopOffL / q.EvaporationLitresDay
	low := q.Water.VolumeL // what is left just before: the water as measured
	full := low + q.TopOffL
	fullPSU, fullDKH := q.Water.SalinityPSU*low/full, q.Water.AlkalinityDKH*low/full
	hand := [2]BenchSeries{{Name: "salinity-hand", Words: "salinity, topped off by hand", Unit: "PSU", Time: "days"},
		{Name: "alkalinity-hand", Words: "alkalinity, topped off by hand", Unit: "dKH", Time: "days"}}
	even := [2]BenchSeries{{Name: "salinity-automatic", Words: "salinity, topped off as it evaporates", Unit: "PSU", Time: "days", At: []float64{0, monthDays}, Value: []float64{fullPSU, fullPSU}},
		{Name: "alkalinity-automatic", Words: "alkalinity, topped off as it evaporates", Unit: "dKH", Time: "days", At: []float64{0, monthDays}, Value: []float64{fullDKH, fullDKH}}}
	add := func(day, missing float64) {
		hand[0].At, hand[0].Value = append(hand[0].At, day), append(hand[0].Value, fullPSU*full/(full-missing))
		hand[1].At, hand[1].Value = append(hand[1].At, day), append(hand[1].Value, fullDKH*full/(full-missing))
	}
	const hair = 1e-6 // of a day: rounding makes no further top-off
	times := 0
	for day := 0.0; day < monthDays-hair && times < maxMonthTopOffs; day += every {
		add(day, 0)
		end := min(day+every, monthDays)
		add(end, (end-day)*q.EvaporationLitresDay)
		times++
	}
	a.Series = append(a.Series, hand[0], even[0], hand[1], even[1])
	a.exactly("hand-every-days", "days between two top-offs by hand", "days", every)
	a.exactly("hand-swing-salinity", "swing of salinity by hand, every time", "PSU", q.Water.SalinityPSU-fullPSU)
	a.exactly("hand-swing-alkalinity", "swing of alkalinity by hand, every time", "dKH", q.Water.AlkalinityDKH-fullDKH)
	a.Notes = append(a.Notes, fmt.Sprintf("By hand every %s days salinity swings by %s each time; topped off as it evaporates it stays within what one fill is. What the tank uses up is left out of the month: it is the same both ways.",
		digits(every, 2), Shown(q.Water.SalinityPSU-fullPSU, "PSU", c.Units)))
}

// maxMonthTopOffs bounds the month of somebody who tops off by the drop.
const maxMonthTopOffs = 500
