package api

import (
	"context"
	"fmt"
	"math"
	"time"

	"isohaline/internal/bench"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/channel"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
)

// TankBench are the bench's questions as far as they can be filled in for a tank.
// A question is absent where too little is known to begin it.
type TankBench struct {
	Use     bench.Consumption  `json:"use" doc:"with fewer than two readings in its log it cannot be answered yet"`
	Correct bench.Correction   `json:"correct"`
	Salt    bench.SalinityMove `json:"salt"`
	Change  bench.WaterChanges `json:"change"`
	Shock   *bench.TopOffShock `json:"shock,omitempty"`
	Hand    *bench.HandTopOff  `json:"hand,omitempty" doc:"absent where there is no controller"`
	Lime    *bench.LimeSupply  `json:"lime,omitempty"`
	Agree   *bench.Agreement   `json:"agree,omitempty"`
	Source  bench.SourceWater  `json:"source" doc:"the unit itself is not known: its numbers are 0"`
	Known   []BenchKnown       `json:"known" doc:"where the values come from"`
}

// BenchKnown says where a value comes from.
type BenchKnown struct {
	Field string `json:"field" example:"alkalinityDKH"`
	From  string `json:"from" example:"read on 2026-11-23, by titration"`
}

const (
	// benchMemory is how far back hand readings count.
	benchMemoryDays = 60
	benchMemory     = benchMemoryDays * 24 * time.Hour
	// sameWater is how far apart readings of one water may be.
	sameWater = 12 * time.Hour
	// Where nobody said. Common practice, no source: a usual alkalinity, a
	// weekend without top-off, a tenth of the water each week.
	usualDKH         = 8.0
	weekendDays      = 3.0
	usualChangeShare = 0.1
	usualChangeDays  = 7.0
	usualChanges     = 4

	secondsPerHour = 3600
)

func (a *API) tankBench(ctx context.Context, in *TankIn) (*reply[TankBench], error) {
	v, err := a.view(in.Tank)
	if err != nil {
		return nil, err
	}
	now := a.now()
	hand, err := a.store.HandReadings(ctx, in.Tank, now.Add(-benchMemory), now.Add(time.Minute))
	if err != nil {
		return nil, err
	}
	f := filling{view: &v, hand: hand, now: now}
	return &reply[TankBench]{Body: f.fill()}, nil
}

// filling puts what is known of a tank into the questions.
type filling struct {
	view  *monitor.View
	hand  []store.HandReading // oldest first
	now   time.Time
	known []BenchKnown
}

func (f *filling) from(field, format string, values ...any) {
	f.known = append(f.known, BenchKnown{Field: field, From: fmt.Sprintf(format, values...)})
}

func (f *filling) fill() TankBench {
	s := f.view.Sheet.Tank
	water := f.water()
	evaporation := f.evaporation()
	b := TankBench{
		Use:     f.log(water.VolumeL),
		Correct: bench.Correction{Water: water},
		Salt: bench.SalinityMove{VolumeL: water.VolumeL, TempC: water.TempC, SalinityPSU: water.SalinityPSU,
			TargetPSU: s.Water.SalinityPSU, EvaporationLitresDay: evaporation},
		Change: bench.WaterChanges{Water: water, EachL: usualChangeShare * water.VolumeL, Times: usualChanges, EveryDays: usualChangeDays},
		Agree:  f.instruments(water.TempC),
	}
	if s.Water.AlkalinityDKH > 0 {
		target := s.Water.AlkalinityDKH
		b.Correct.TargetAlkalinityDKH = &target
	}
	if c := s.WaterChange; c != nil && c.EveryDays > 0 {
		b.Change.EachL, b.Change.EveryDays = c.VolumeM3*litresPerM3, c.EveryDays
		fresh := c.SalinityPSU
		b.Change.NewSalinityPSU = &fresh
	}
	b.Source.LitresDay = evaporation + b.Change.EachL/b.Change.EveryDays
	b.Source.ReservoirL = f.reservoir()
	use := f.use(&b.Use)
	b.Correct.UseAlkalinityDKHDay = use
	if evaporation > 0 {
		b.Shock = &bench.TopOffShock{Water: water, TopOffL: min(weekendDays*evaporation, water.VolumeL), EvaporationLitresDay: evaporation, UseAlkalinityDKHDay: use}
		f.from("topOffL", "what evaporates over a weekend of %g days", weekendDays)
		b.Lime = f.lime(water, evaporation, use)
	}
	if s.Controller != nil {
		b.Hand = &bench.HandTopOff{EveryDays: weekendDays}
	}
	b.Known = f.known
	return b
}

// water is the tank's water as measured last, or else as the tank file has it.
func (f *filling) water() bench.TankWater {
	s, e := f.view.Sheet.Tank, &f.view.Estimate
	w := bench.TankWater{VolumeL: f.view.Sheet.Report.Geometry.SystemM3 * litresPerM3,
		TempC: s.Water.TempC, SalinityPSU: s.Water.SalinityPSU, AlkalinityDKH: s.Water.AlkalinityDKH}
	f.from("volumeL", "the tank file: display and sump as running")
	if last, ok := f.view.Lasts[channel.WaterTemp]; ok {
		w.TempC = last.Value
		f.from("tempC", "the sensor, %s", last.At.Format(time.DateTime))
	} else {
		f.from("tempC", "the tank file")
	}
	if !f.view.LastHeard.IsZero() && finite(e.SalinityPSU) > 0 {
		w.SalinityPSU = e.SalinityPSU
		f.from("salinityPSU", "the account, give or take %.2g", e.SalinitySD)
	} else {
		f.from("salinityPSU", "the tank file")
	}
	if r := f.last(channel.Alkalinity); r != nil {
		w.AlkalinityDKH = r.Value
		f.from("alkalinityDKH", "read on %s, by %s", r.At.Format(time.DateOnly), r.Instrument)
	} else if w.AlkalinityDKH > 0 {
		f.from("alkalinityDKH", "the tank file")
	} else {
		w.AlkalinityDKH = usualDKH
		f.from("alkalinityDKH", "nobody measured: a usual value")
	}
	// The usual carbon dioxide is left out, so that the bench knows it for a
	// guess.
	if ppm := s.Room.CO2PPM; ppm != tankfile.UsualRoomCO2PPM {
		w.RoomCO2PPM = &ppm
		f.from("roomCO2PPM", "the tank file")
	}
	const paPerHPa = 100
	pressure := s.Room.PressurePa / paPerHPa
	w.AirPressureHPa = &pressure
	f.from("airPressureHPa", "the tank file")
	return w
}

// last is the last hand reading of a quantity, nil if there was none.
func (f *filling) last(quantity string) *store.HandReading {
	for i := len(f.hand) - 1; i >= 0; i-- {
		if f.hand[i].Quantity == quantity {
			return &f.hand[i]
		}
	}
	return nil
}

// evaporation is what the account has seen go in without the leak, or else what
// it expects; 0 where it cannot say.
func (f *filling) evaporation() float64 {
	e := &f.view.Estimate
	if litres := finite(e.InLDay - e.LeakLDay); litres > 0 && !f.view.LastHeard.IsZero() {
		f.from("evaporationLitresDay", "the account, give or take %.2g L", math.Hypot(e.InSD, e.LeakSD))
		return litres
	}
	litres := max(0, finite(e.ExpectedLDay))
	f.from("evaporationLitresDay", "worked out from the tank file and the room's air")
	return litres
}

// log is the alkalinity's log.
func (f *filling) log(volumeL float64) bench.Consumption {
	q := bench.Consumption{VolumeL: volumeL, Log: []bench.LogEntry{}}
	for _, r := range f.hand {
		switch r.Quantity {
		case channel.Alkalinity:
			q.Log = append(q.Log, bench.LogEntry{At: r.At, What: r.Quantity, Amount: r.Value})
		case channel.WaterChange:
			q.Log = append(q.Log, bench.LogEntry{At: r.At, What: "water-change", Amount: r.Value})
		}
	}
	if len(q.Log) > 0 {
		f.from("log", "hand readings and water changes of the last %d days; doses are not kept, so add them", benchMemoryDays)
	}
	return q
}

// use is what the log says the tank uses up of alkalinity a day; 0 where it says
// nothing or less than nothing. Doses are not in the log, so it is a lower bound
// where people dose.
func (f *filling) use(q *bench.Consumption) float64 {
	answer, err := bench.Ask(q, bench.Circumstances{Now: f.now})
	if err != nil {
		return 0
	}
	use := max(0, answer.Figure("alkalinity-use").Value)
	if use > 0 {
		f.from("useAlkalinityDKHDay", "the hand readings of alkalinity, doses not counted")
	}
	return use
}

// lime is the question of lime water, with the return pump's flow past it.
func (f *filling) lime(water bench.TankWater, evaporation, use float64) *bench.LimeSupply {
	q := &bench.LimeSupply{Water: water, EvaporationLitresDay: evaporation, UseAlkalinityDKHDay: use,
		PassingLitresHour: f.view.Sheet.Report.Geometry.ReturnFlowM3S * litresPerM3 * secondsPerHour}
	if pump := f.view.Estimate.FlowLMin; pump > 0 {
		const minutesPerHour = 60
		q.DoseLitresHour = pump * minutesPerHour
		f.from("doseLitresHour", "the top-off pump as the account knows it")
	}
	q.ReservoirLitres = f.reservoir()
	return q
}

// reservoir is what a full one holds; 0 without one.
func (f *filling) reservoir() float64 {
	r := f.view.Sheet.Tank.TopOff.Reservoir
	if r == nil {
		return 0
	}
	vessel, err := r.Shape.Vessel()
	if err != nil {
		return 0
	}
	return vessel.VolumeM3(r.FillHeightM) * litresPerM3
}

// instruments are the last readings of salinity by different instruments of one
// water; nil with fewer than two.
func (f *filling) instruments(tempC float64) *bench.Agreement {
	kinds := map[string]instrument.Kind{"refractometer": instrument.Refractometer, "conductivity meter": instrument.Meter, "hydrometer": instrument.Hydrometer}
	q := &bench.Agreement{}
	last := f.last(channel.Salinity)
	for i := len(f.hand) - 1; i >= 0 && len(q.Readings) < instrument.SeenMax; i-- {
		r := &f.hand[i]
		kind, ok := kinds[r.Instrument]
		if r.Quantity != channel.Salinity || !ok || last.At.Sub(r.At) > sameWater {
			continue
		}
		delete(kinds, r.Instrument)
		scale := instrument.Scale{Kind: kind, SampleC: tempC, WaterC: tempC}
		q.Readings = append(q.Readings, bench.InstrumentReading{Instrument: string(kind), Value: scale.Read(r.Value, tempC), TempC: tempC, SampleC: tempC, WaterC: tempC})
	}
	if len(q.Readings) < 2 {
		return nil
	}
	f.from("readings", "salinity by hand on %s", last.At.Format(time.DateOnly))
	return q
}
