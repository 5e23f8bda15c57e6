package bench

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"isohaline/carbonate"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// HandTopOff asks what a month is like for a tank as built, topped off by a
// person every so many days and by its own controller. Both months run on the
// check's twin, with nothing wrong.
type HandTopOff struct {
	EveryDays float64 `json:"everyDays" name:"every" type:"days" required:"true" minimum:"0.25" maximum:"29" doc:"time between two top-offs by hand"`
	Season    string  `json:"season,omitempty" name:"season" placeholder:"NAME" maxLength:"120" doc:"the season of the tank file; without it, the one in which salinity swings most"`

	// Tank is what the question is about; it comes by another way than the numbers.
	Tank *tankfile.Tank `json:"-" kong:"-"`
}

// month is a month topped off in one way.
type month struct {
	name, words string
	verify.Course
	lowPH, highPH float64 // as a probe reads it; NaN where there is no saying
}

func (q *HandTopOff) answer(c Circumstances) (*BenchAnswer, error) {
	if q.Tank == nil || q.Tank.Controller == nil {
		return nil, refusal("", "", "", "the tank has no controller: there is no automatic top-off to set beside a person's", "ask of a tank with a controller")
	}
	hand, automatic, season, err := q.months()
	if err != nil {
		return nil, err
	}
	for _, m := range []*month{hand, automatic} {
		m.readPH(q.Tank, season)
	}
	a := &BenchAnswer{Sources: []string{sourceTwin, sourceMixing, sourceCarbonate, sourceDensity, sourceDKH, sourceRates}}
	a.Sentence = fmt.Sprintf("Topped off by hand every %s days, %s over a month; by the controller, %s.",
		digits(q.EveryDays, 2), hand.swings(), automatic.swings())
	hand.tell(a, math.Hypot(evaporationSDFrac, instrument.VolumeSDFrac))
	automatic.tell(a, 0)
	a.exactly("evaporation", "evaporation", "L/day", automatic.Outcome.EvaporatedM3*litresPerM3/monthDays)
	for _, of := range []struct {
		what, unit string
		value      func(*plant.Sample) float64
	}{{"salinity", "PSU", func(s *plant.Sample) float64 { return s.SalinityPSU }}, {"alkalinity", "dKH", func(s *plant.Sample) float64 { return s.AlkalinityDKH }}} {
		for _, m := range []*month{hand, automatic} {
			s := BenchSeries{Name: of.what + "-" + m.name, Words: of.what + ", topped off " + m.words, Unit: of.unit, Time: "days"}
			s.At, s.Value = extremes(m.Samples, of.value)
			a.Series = append(a.Series, s)
		}
	}
	q.warn(a, hand, c)
	a.Notes = append(a.Notes,
		fmt.Sprintf("The season is %q. Nothing else differs between the two months: the room, the skimmer and the water changes are the tank file's, and nothing breaks.", season.Name),
		"By hand all that is missing is poured in at once, and no more. The swing is from the lowest of the month to the highest, so that salt which leaves with skimming is in both.")
	if at := automatic.Outcome.LatchedAt; at != plant.NotReached {
		a.Notes = append(a.Notes, fmt.Sprintf("The controller latched after %s days of it, and then gave nothing: the check says why.", digits(daysOf(at), 2)))
	}
	return a, nil
}

// months runs both, in the season asked for or else in that which swings most.
func (q *HandTopOff) months() (hand, automatic *month, season *tankfile.Season, err error) {
	trial, err := (&verify.Report{Tank: q.Tank}).Trial()
	if err != nil {
		return nil, nil, nil, err
	}
	var names []string
	widest := math.Inf(-1)
	for i := range q.Tank.Room.Seasons {
		s := &q.Tank.Room.Seasons[i]
		names = append(names, strconv.Quote(s.Name))
		if q.Season != "" && q.Season != s.Name {
			continue
		}
		byHand, byItself, err := trial.HandTopOff(i, time.Duration(q.EveryDays*float64(day)), monthDays*day)
		if err != nil {
			return nil, nil, nil, err
		}
		if swing := byHand.Outcome.HighPSU - byHand.Outcome.LowPSU; swing > widest {
			widest, season = swing, s
			hand = &month{name: "hand", words: "by hand", Course: byHand}
			automatic = &month{name: "automatic", words: "by the controller", Course: byItself}
		}
	}
	if season == nil {
		return nil, nil, nil, refusal("season", "season", q.Season, "is no season of the tank file", "give one of "+strings.Join(names, ", ")+", or leave it out")
	}
	return hand, automatic, season, nil
}

const day = hoursPerDay * time.Hour

func daysOf(t time.Duration) float64 { return t.Hours() / hoursPerDay }

// readPH finds the range of pH over the month as a probe reads it: between what
// the water would be met by no air for a day, and in balance with the room's.
func (m *month) readPH(s *tankfile.Tank, season *tankfile.Season) {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range m.Samples {
		for _, pH := range []float64{m.Samples[i].PHClosed, m.Samples[i].PHSettled} {
			if !math.IsNaN(pH) {
				low, high = min(low, pH), max(high, pH)
			}
		}
	}
	tempC := season.WaterTempC
	if math.IsNaN(tempC) {
		tempC = s.Water.TempC
	}
	probe := func(pH float64) float64 {
		read, err := convertPH(pH, carbonate.Total, carbonate.NBS, s.Water.SalinityPSU, tempC)
		if err != nil || math.IsInf(pH, 0) {
			return math.NaN()
		}
		return read
	}
	m.lowPH, m.highPH = probe(low), probe(high)
}

// swings says in a clause how far the month goes up and down, in two digits: what
// the hand's are good for.
func (m *month) swings() string {
	const good = 2
	o := &m.Outcome
	clauses := []string{"salinity swings by " + digits(o.HighPSU-o.LowPSU, good) + " PSU", "alkalinity by " + digits(o.HighDKH-o.LowDKH, good) + " dKH"}
	if swing := m.highPH - m.lowPH; !math.IsNaN(swing) {
		clauses = append(clauses, "pH by "+digits(swing, good))
	}
	return listed(clauses)
}

// tell puts the month's figures into the answer, each with an error of that share
// of it.
func (m *month) tell(a *BenchAnswer, sdFrac float64) {
	o := &m.Outcome
	add := func(name, words, unit string, value float64) {
		a.about(name+"-"+m.name, words+", "+m.words, unit, value, sdFrac*value)
	}
	add("salinity-swing", "swing of salinity over the month", "PSU", o.HighPSU-o.LowPSU)
	add("salinity-hour", "largest change of salinity within an hour", "PSU", o.HourPSU)
	add("alkalinity-swing", "swing of alkalinity over the month", "dKH", o.HighDKH-o.LowDKH)
	add("alkalinity-day", "largest change of alkalinity within a day", "dKH", o.DayDKH)
	if swing := m.highPH - m.lowPH; !math.IsNaN(swing) {
		add("pH-swing", "swing of pH over the month", "pH", swing)
		a.exactly("pH-low-"+m.name, "lowest pH, "+m.words, "pH", m.lowPH)
		a.exactly("pH-high-"+m.name, "highest pH, "+m.words, "pH", m.highPH)
	}
}

// warn gives the cautions that belong to topping this tank off by hand.
func (q *HandTopOff) warn(a *BenchAnswer, hand *month, c Circumstances) {
	o := &hand.Outcome
	if o.HourPSU > usualRatePSUDay || o.DayDKH > usualRateDKHDay {
		a.Cautions = append(a.Cautions, cautionSlow)
	}
	if dry := o.ReturnDry; dry > 0 {
		a.exactly("return-dry-hand", "return pump without water over the month, by hand", "days", daysOf(dry))
		a.Cautions = append(a.Cautions, fmt.Sprintf("By hand every %s days the return chamber does not hold what evaporates: the return pump runs dry for %s of the month. That ruins pumps, and the tank has no flow meanwhile.",
			digits(q.EveryDays, 2), Shown(daysOf(dry), "days", c.Units)))
	}
	if q.Tank.TopOff.Reservoir.LimeStrength() > 0 {
		a.Cautions = append(a.Cautions, carbonate.LimeWaterCaution, "The reservoir holds lime water, and so does the bucket in this month: never pour lime water in at once.")
		a.Sources = append(a.Sources, sourceLime)
	}
}

// stretches is how many parts of a month are drawn, by two points each at most.
const stretches = 240

// extremes thins a quantity of the samples against days, keeping the lowest and
// the highest of each stretch in their order.
func extremes(samples []plant.Sample, of func(*plant.Sample) float64) (at, value []float64) {
	const long = monthDays * day / stretches
	keep := func(s *plant.Sample) {
		at, value = append(at, daysOf(s.SinceOnset)), append(value, of(s))
	}
	for first := 0; first < len(samples); {
		low, high, next := first, first, first+1
		for ; next < len(samples) && samples[next].SinceOnset/long == samples[first].SinceOnset/long; next++ {
			if of(&samples[next]) < of(&samples[low]) {
				low = next
			}
			if of(&samples[next]) > of(&samples[high]) {
				high = next
			}
		}
		keep(&samples[min(low, high)])
		if low != high {
			keep(&samples[max(low, high)])
		}
		first = next
	}
	return at, value
}
