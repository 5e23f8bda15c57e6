package bench

import (
	"fmt"
	"math"
	"time"

	"isohaline/membrane"
)

// SourceWater asks what an RO/DI unit gives and when its parts are due.
type SourceWater struct {
	RatedLitresDay   float64  `json:"ratedLitresDay" name:"rated" type:"L/day" required:"true" minimum:"0.1" maximum:"100000" doc:"product on the membrane's label, at 25 °C"`
	RatedBar         *float64 `json:"ratedBar,omitempty" name:"rated-pressure" type:"bar" minimum:"0.5" maximum:"80" doc:"pressure on the label; without it, 4.1 bar"`
	PressureBar      float64  `json:"pressureBar" name:"pressure" type:"bar" required:"true" minimum:"0" maximum:"80" doc:"at the membrane"`
	TempC            float64  `json:"tempC" name:"temperature" type:"°C" required:"true" minimum:"1" maximum:"45" doc:"of the tap water"`
	TDSMgL           float64  `json:"tdsMgL" name:"tds" type:"mg/L" required:"true" minimum:"0" maximum:"5000" doc:"dissolved solids of the tap water"`
	AgeYears         float64  `json:"ageYears,omitempty" name:"age" type:"number" minimum:"0" maximum:"30" doc:"of the membrane, in years"`
	RejectRatio      *float64 `json:"rejectRatio,omitempty" name:"reject" type:"number" minimum:"0" maximum:"50" doc:"litres to the drain for each of product; without it, 3"`
	RejectionPercent *float64 `json:"rejectionPercent,omitempty" name:"rejection" type:"%" minimum:"50" maximum:"99.9" doc:"share of solids the membrane holds back; without it, 96 %"`

	LitresDay   float64 `json:"litresDay" name:"need" type:"L/day" required:"true" minimum:"0.01" maximum:"100000" doc:"product needed: top-off and water changes"`
	ReservoirL  float64 `json:"reservoirL,omitempty" name:"reservoir" type:"L" minimum:"0" maximum:"100000" doc:"to refill"`
	ResinL      float64 `json:"resinL,omitempty" name:"resin" type:"L" minimum:"0" maximum:"1000" doc:"mixed-bed resin; 0: none"`
	ResinUsedL  float64 `json:"resinUsedL,omitempty" name:"resin-used" type:"L" minimum:"0" maximum:"1000000" doc:"product it has made since it was new"`
	FilterL     float64 `json:"filterL,omitempty" name:"filter" type:"L" minimum:"0" maximum:"10000000" doc:"water the prefilters are good for, by their label; 0: not said"`
	FilterUsedL float64 `json:"filterUsedL,omitempty" name:"filter-used" type:"L" minimum:"0" maximum:"10000000" doc:"water that has gone through them"`
}

// Usual values. Common practice, no source.
const (
	usualRatedBar    = 4.1 // 60 psi
	usualRejectRatio = 3.0
	usualRejection   = 96.0
	usualYearlyLoss  = 0.07
	// Resin ends at breakthrough, and carbon dioxide loads it unseen: what is
	// left of its capacity, as a share, at worst, likely and at best.
	resinWorst, resinLikely, resinBest = 0.4, 0.7, 1.0
	// A filter's label is good for as much.
	filterWorst, filterBest = 0.6, 1.2
	// outputSDFrac is how well output follows the label.
	outputSDFrac = 0.15
	// leastTDSMgL is what a membrane lets through at least, for the resin.
	leastTDSMgL = 0.1
)

func (q *SourceWater) output() (membrane.Output, float64, error) {
	given := func(p *float64, usual float64) float64 {
		if p != nil {
			return *p
		}
		return usual
	}
	ratio := given(q.RejectRatio, usualRejectRatio)
	e := membrane.Element{RatedLitresPerDay: q.RatedLitresDay, RatedNetBar: given(q.RatedBar, usualRatedBar), Response: membrane.ThinFilm(),
		RejectionFrac: given(q.RejectionPercent, usualRejection) / percent, YearlyLossFrac: usualYearlyLoss}
	out, err := e.Produce(membrane.Feed{PressureBar: q.PressureBar, TempC: q.TempC, TDSMgL: q.TDSMgL}, q.AgeYears, ratio)
	return out, ratio, err
}

func (q *SourceWater) answer(c Circumstances) (*BenchAnswer, error) {
	out, ratio, err := q.output()
	if err != nil {
		return nil, impossible(err)
	}
	if out.ProductLitresPerDay == 0 {
		return nil, refuse("pressureBar", "pressure", q.PressureBar, "cannot overcome the osmotic pressure of this water", fmt.Sprintf("give more than %.2g bar", membrane.OsmoticBarPerMgL*q.TDSMgL))
	}
	a := &BenchAnswer{Sources: []string{sourceOsmosis, sourceRates}, Cautions: []string{cautionMains}}
	a.about("product", "product", "L/day", out.ProductLitresPerDay, out.ProductLitresPerDay*outputSDFrac)
	a.exactly("waste-per-litre", "litres to the drain for each litre made", "L", ratio)
	a.about("waste", "to the drain, for what is needed", "L/day", q.LitresDay*ratio, q.LitresDay*ratio*outputSDFrac)
	hours := q.LitresDay / out.ProductLitresPerDay * hoursPerDay
	a.about("hours-a-day", "running time a day for what is needed", "h", hours, hours*outputSDFrac)
	a.about("product-tds", "solids left in the product before the resin", "mg/L", out.ProductTDSMgL, out.ProductTDSMgL*outputSDFrac)
	a.Sentence = fmt.Sprintf("The unit makes %s at %s and %s and sends %s a day to the drain for the %s that are needed", Shown(out.ProductLitresPerDay, "L/day", c.Units),
		Shown(q.TempC, "°C", c.Units), Shown(q.PressureBar, "bar", c.Units), Shown(q.LitresDay*ratio, "L", c.Units), Shown(q.LitresDay, "L", c.Units))
	if q.ReservoirL > 0 {
		refill := out.RefillHours(q.ReservoirL)
		a.about("refill-hours", "to refill the reservoir", "h", refill, refill*outputSDFrac)
		a.Sentence += fmt.Sprintf("; a reservoir of %s takes %s h to refill", Shown(q.ReservoirL, "L", c.Units), digits(refill, 2))
	}
	a.Sentence += "."
	if out.ProductLitresPerDay < q.LitresDay {
		a.Cautions = append(a.Cautions, "The unit makes less than is needed.")
	}
	if err := q.resin(a, out, c); err != nil {
		return nil, err
	}
	if err := q.filter(a, ratio, c); err != nil {
		return nil, err
	}
	a.Notes = append(a.Notes, "After standing idle the first litres carry salt that crept through the membrane: short, frequent runs spend resin many times faster than this. Fill seldom and fully, or flush the first minutes to the drain (common practice, no source).")
	return a, nil
}

// need is a consumable's use a day, each way as much as evaporation changes.
func need(litresDay float64) membrane.Band {
	return membrane.Band{Low: litresDay * (1 - evaporationSDFrac), Likely: litresDay, High: litresDay * (1 + evaporationSDFrac)}
}

func (q *SourceWater) resin(a *BenchAnswer, out membrane.Output, c Circumstances) error {
	if q.ResinL == 0 {
		return nil
	}
	full, err := membrane.ResinLitres(membrane.MixedBedNewGrainsFt3, q.ResinL, max(out.ProductTDSMgL, leastTDSMgL))
	if err != nil {
		return impossible(err)
	}
	life := membrane.Band{Low: full * resinWorst, Likely: full * resinLikely, High: full * resinBest}
	left, err := membrane.DaysLeft(life, q.ResinUsedL, need(q.LitresDay))
	if err != nil {
		return impossible(err)
	}
	a.between("resin-life", "water the resin is good for when new", "L", life.Likely, life.Low, life.High)
	a.between("resin-days", "days until the resin is spent", "days", left.Likely, left.Low, left.High)
	a.due(c, "resin", "change the resin", left)
	s := BenchSeries{Name: "resin", Words: "resin left", Unit: "%", Time: "days"}
	const points = 30
	horizon := max(left.High, 1)
	for i := range points + 1 {
		at := horizon * float64(i) / points
		share := func(life, perDay float64) float64 {
			return percent * math.Max(0, 1-(q.ResinUsedL+at*perDay)/life)
		}
		n := need(q.LitresDay)
		s.At, s.Value = append(s.At, at), append(s.Value, share(life.Likely, n.Likely))
		s.Low, s.High = append(s.Low, share(life.Low, n.High)), append(s.High, share(life.High, n.Low))
	}
	a.Series = append(a.Series, s)
	return nil
}

func (q *SourceWater) filter(a *BenchAnswer, ratio float64, c Circumstances) error {
	if q.FilterL == 0 {
		return nil
	}
	// Prefilters see all that is drawn, waste too.
	left, err := membrane.DaysLeft(membrane.Band{Low: q.FilterL * filterWorst, Likely: q.FilterL, High: q.FilterL * filterBest}, q.FilterUsedL, need(q.LitresDay*(1+ratio)))
	if err != nil {
		return impossible(err)
	}
	a.between("filter-days", "days until the prefilters are due", "days", left.Likely, left.Low, left.High)
	a.due(c, "filter", "change the prefilters", left)
	return nil
}

// longestDays keeps a date within what a calendar can write.
const longestDays = 36500

func (a *BenchAnswer) due(c Circumstances, name, words string, days membrane.Band) {
	at := func(d float64) time.Time {
		return c.Now.Add(time.Duration(min(d, longestDays) * hoursPerDay * float64(time.Hour)))
	}
	a.Dates = append(a.Dates, DueDate{Name: name, Words: words, Likely: at(days.Likely), Earliest: at(days.Low), Latest: at(days.High)})
}
