package bench

import (
	"fmt"
	"math"

	"isohaline/carbonate"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/units"
)

// WaterChanges asks what a series of water changes does, against one large change
// of the same water.
type WaterChanges struct {
	Water TankWater `json:"water" embed:""`

	EachL     float64 `json:"eachL" name:"each" type:"L" required:"true" minimum:"0.01" maximum:"1000000" doc:"water exchanged each time"`
	Times     int     `json:"times" name:"times" required:"true" minimum:"1" maximum:"1000" doc:"how many changes"`
	EveryDays float64 `json:"everyDays" name:"every" type:"days" required:"true" minimum:"0.01" maximum:"365" doc:"days between two changes"`

	NewTempC         *float64 `json:"newTempC,omitempty" name:"new-temperature" type:"°C" minimum:"5" maximum:"40" doc:"of the new water; without it, the tank's"`
	NewSalinityPSU   *float64 `json:"newSalinityPSU,omitempty" name:"new-salinity" type:"PSU" minimum:"20" maximum:"45" doc:"of the new water; without it, the tank's"`
	NewAlkalinityDKH *float64 `json:"newAlkalinityDKH,omitempty" name:"new-alkalinity" type:"dKH" minimum:"0.5" maximum:"25" doc:"of the new water; without it, the tank's"`

	Ion        string  `json:"ion,omitempty" name:"ion" enum:"nitrate,phosphate,other" default:"nitrate" doc:"what is to be washed out"`
	IonMgL     float64 `json:"ionMgL,omitempty" name:"ion-now" type:"mg/L" minimum:"0" maximum:"10000" doc:"in the tank now"`
	IonNewMgL  float64 `json:"ionNewMgL,omitempty" name:"ion-new" type:"mg/L" minimum:"0" maximum:"10000" doc:"in the new water"`
	IonMgLDay  float64 `json:"ionMgLDay,omitempty" name:"ion-made" type:"mg/L/day" minimum:"0" maximum:"1000" doc:"what the tank makes of it in a day"`
	IonErrorPC float64 `json:"ionErrorPercent,omitempty" name:"ion-error" type:"%" minimum:"0" maximum:"100" doc:"error of that reading, one standard deviation; without it 10 %"`
}

// usualIonErrorPC is a nitrate kit's error. Common practice, no source.
const usualIonErrorPC = 10.0

// washed is an ion through a series of changes of a share, with steady
// production: before each change it has risen by what was made, and a share is
// replaced.
type washed struct{ now, fresh, madePerDay, share, everyDays float64 }

// after is the concentration just after n changes, the first of which is due
// after everyDays.
func (w washed) after(n int) float64 {
	c := w.now
	for range n {
		c = (1-w.share)*(c+w.madePerDay*w.everyDays) + w.share*w.fresh
	}
	return c
}

// peak is where it settles just before a change, for ever after.
func (w washed) peak() float64 { return w.fresh + w.madePerDay*w.everyDays/w.share }

func (q *WaterChanges) answer(c Circumstances) (*BenchAnswer, error) {
	if q.EachL > q.Water.VolumeL {
		return nil, refuse("eachL", "each", q.EachL, "is more than the tank holds", fmt.Sprintf("give %g L at most", q.Water.VolumeL))
	}
	a := &BenchAnswer{Sources: []string{sourceMixing, sourceDensity, sourceCarbonate, sourceRates}, Cautions: []string{cautionSlow}}
	if err := q.match(a); err != nil {
		return nil, err
	}
	q.wash(a, c)
	return a, nil
}

// mixed is the tank before and after one change.
func (q *WaterChanges) mixed(w *TankWater) (before, after carbonate.Water, err error) {
	before, err = w.dissolved()
	if err != nil {
		return before, after, err
	}
	given := func(p *float64, usual float64) float64 {
		if p != nil {
			return *p
		}
		return usual
	}
	mix := TankWater{VolumeL: q.EachL, TempC: given(q.NewTempC, w.TempC), SalinityPSU: given(q.NewSalinityPSU, w.SalinityPSU),
		AlkalinityDKH: given(q.NewAlkalinityDKH, w.AlkalinityDKH), CalciumMgL: w.CalciumMgL, MagnesiumMgL: w.MagnesiumMgL, RoomCO2PPM: w.RoomCO2PPM, AirPressureHPa: w.AirPressureHPa}
	fresh, err := mix.dissolved() // new water has stood and been stirred: in balance with the room
	if err != nil {
		return before, after, err
	}
	rest := before
	rest.MassKg -= min(q.EachL*w.densityKgM3()/litresPerM3, before.MassKg)
	after, err = carbonate.Mix(rest, fresh)
	return before, after, err
}

// match says what one change does to the water that animals live in.
func (q *WaterChanges) match(a *BenchAnswer) error {
	out, err := spread(q.Water.errors(), func(x []float64) ([]float64, error) {
		at, _ := q.Water.with(x)
		before, after, err := q.mixed(&at)
		if err != nil {
			return nil, err
		}
		pH, err := changes(before, after, at.roomUatm())
		if err != nil {
			return nil, err
		}
		return []float64{after.TempC - before.TempC, after.SalinityPSU - before.SalinityPSU, dKH(after) - dKH(before), pH[1]}, nil
	})
	if err != nil {
		return impossible(err)
	}
	temp, salinity, alkalinity := out[0], out[1], out[2]
	a.about("temperature-change", "change of temperature by one change", "°C difference", temp.value, temp.sd)
	a.about("salinity-change", "change of salinity by one change", "PSU", salinity.value, salinity.sd)
	a.about("alkalinity-change", "change of alkalinity by one change", "dKH", alkalinity.value, alkalinity.sd)
	a.about("pH-change", "change of pH within minutes of one change", "pH", out[3].value, out[3].sd)
	for _, m := range []struct {
		by, limit float64
		say       string
	}{
		{temp.value, 1, "Bring the new water to the tank's temperature: this change moves it by more than 1 °C at once."},
		{salinity.value, usualRatePSUDay, "Mix the new water to the tank's salinity: this change moves it by more than 1 PSU at once."},
		{alkalinity.value, usualRateDKHDay, "Bring the new water's alkalinity closer to the tank's: this change moves it by more than 1 dKH at once."},
	} {
		if math.Abs(m.by) > m.limit {
			a.Cautions = append(a.Cautions, m.say)
		}
	}
	return nil
}

// wash is what becomes of the unwanted ion.
func (q *WaterChanges) wash(a *BenchAnswer, c Circumstances) {
	share := q.EachL / q.Water.VolumeL
	small := washed{q.IonMgL, q.IonNewMgL, q.IonMgLDay, share, q.EveryDays}
	n := float64(q.Times)
	large := washed{q.IonMgL, q.IonNewMgL, q.IonMgLDay, min(1, share*n), q.EveryDays * n}
	gone := 1 - math.Pow(1-share, n)
	a.exactly("water-new", "share of the water that is new after the series", "%", gone*percent)
	a.exactly("water-new-once", "share that one change of the same water makes new", "%", large.share*percent)
	name := q.Ion
	if name == "" || name == "other" {
		name = "the ion"
	}
	errorPC := q.IonErrorPC
	if errorPC == 0 {
		errorPC = usualIonErrorPC
	}
	left := measured{small.after(q.Times), small.now * errorPC / percent * (1 - gone)}
	once := measured{large.after(1), small.now * errorPC / percent * (1 - large.share)}
	a.about("ion-after", name+" after the series", "mg/L", left.value, left.sd)
	a.about("ion-after-once", name+" after one large change on the last day", "mg/L", once.value, once.sd)
	a.exactly("ion-peak", name+" just before a change, for ever after", "mg/L", small.peak())
	a.exactly("ion-trough", name+" just after one", "mg/L", small.peak()-q.IonMgLDay*q.EveryDays)
	a.Series = append(a.Series, small.series("ion", name+" with the series", q.Times), large.series("ion-once", name+" with one large change", 1))
	a.Sentence = fmt.Sprintf("%s of %s make %s of the water new and leave %s at %s; one change of the same water on the last day would make %s new and leave %s.",
		upper(count(q.Times, "change")), Shown(q.EachL, "L", c.Units), Shown(gone*percent, "%", units.Metric), name, Shown(left.value, "mg/L", c.Units),
		Shown(large.share*percent, "%", units.Metric), Shown(once.value, "mg/L", c.Units))
	a.Notes = append(a.Notes, fmt.Sprintf("The volume is taken as known; if it is off by %g %%, so is the share of each change.", instrument.VolumeSDFrac*percent))
}

// series has the value before and after each change.
func (w washed) series(name, words string, n int) BenchSeries {
	s := BenchSeries{Name: name, Words: words, Unit: "mg/L", Time: "days", At: []float64{0}, Value: []float64{w.now}}
	for i := range n {
		at := float64(i+1) * w.everyDays
		s.At = append(s.At, at, at)
		s.Value = append(s.Value, w.after(i)+w.madePerDay*w.everyDays, w.after(i+1))
	}
	return s
}
