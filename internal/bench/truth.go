package bench

import (
	"fmt"
	"math"
	"time"

	"isohaline/internal/bench/instrument"
	"isohaline/internal/units"
)

// InstrumentReading is what an instrument showed.
type InstrumentReading struct {
	Instrument string     `json:"instrument" name:"instrument" required:"true" enum:"conductivity,conductivity-at-25,conductivity-meter,refractometer,brine-refractometer,refractive-index,hydrometer,density" doc:"conductivity: mS/cm as it is; conductivity-at-25: mS/cm brought to 25 °C by the meter; conductivity-meter: PSU; refractometer: PSU on a scale for seawater; brine-refractometer: g/kg on a scale for table salt; refractive-index; hydrometer: specific gravity; density: kg/m³"`
	Value      float64    `json:"value" name:"value" type:"number" required:"true" minimum:"0" maximum:"1200" doc:"what it showed, in the instrument's unit"`
	TempC      float64    `json:"tempC" name:"temperature" type:"°C" required:"true" minimum:"0" maximum:"40" doc:"temperature of the water as read"`
	SampleC    float64    `json:"sampleC,omitempty" name:"scale-sample" type:"°C" minimum:"0" maximum:"40" doc:"of a hydrometer: the first temperature engraved on it; without it, 25 °C"`
	WaterC     float64    `json:"waterC,omitempty" name:"scale-water" type:"°C" minimum:"0" maximum:"40" doc:"of a hydrometer: the second temperature; without it, 25 °C"`
	SlopePC    float64    `json:"slopePercent,omitempty" name:"slope" type:"%" minimum:"0" maximum:"5" doc:"of a meter that brings to 25 °C: what it takes off a degree; without it, 2 %"`
	SD         float64    `json:"sd,omitempty" name:"error" type:"number" minimum:"0" maximum:"10" doc:"error of the reading in its own unit, one standard deviation; without it, the usual of such an instrument"`
	Calibrated *time.Time `json:"calibrated,omitempty" name:"calibrated" type:"time" doc:"when it was last calibrated"`
}

// usualHydrometerC is what a hydrometer is taken to be made for where it does not
// say.
const usualHydrometerC = 25.0

func (r *InstrumentReading) kind() instrument.Kind { return instrument.Kind(r.Instrument) }

func (r *InstrumentReading) scale() instrument.Scale {
	s := instrument.Scale{Kind: r.kind(), SampleC: r.SampleC, WaterC: r.WaterC, SlopePerK: r.SlopePC / percent}
	if s.SampleC == 0 {
		s.SampleC = usualHydrometerC
	}
	if s.WaterC == 0 {
		s.WaterC = usualHydrometerC
	}
	return s
}

// salinity is what the reading says, with its error.
func (r *InstrumentReading) salinity(place string) (measured, error) {
	s := r.scale()
	psu, err := s.PSU(r.Value, r.TempC)
	if err != nil {
		return measured{}, refuse(place+"value", "value", r.Value, "is no reading of a tank: "+err.Error(), fmt.Sprintf("check the instrument; at 35 PSU it shows %s", Shown(s.Read(seaPSU, r.TempC), s.Kind.Unit(), units.Metric)))
	}
	return measured{psu, s.SDPSU(psu, r.TempC, r.SD)}, nil
}

// Conversion asks what a reading means, and what every other instrument would
// show in the same water.
type Conversion struct {
	Reading InstrumentReading `json:"reading" embed:""`
}

func (q *Conversion) answer(c Circumstances) (*BenchAnswer, error) {
	r := &q.Reading
	psu, err := r.salinity("reading.")
	if err != nil {
		return nil, err
	}
	a := &BenchAnswer{Sources: []string{sourceDensity, sourceRefract, sourceErrors}}
	a.about("salinity", "practical salinity", "PSU", psu.value, psu.sd)
	own := r.scale()
	for _, k := range instrument.Kinds() {
		if k == instrument.Meter || k == instrument.Refractometer {
			continue // they show the salinity itself
		}
		s := own
		s.Kind = k
		value := s.Read(psu.value, r.TempC)
		if math.IsNaN(value) {
			continue
		}
		words := k.Words()
		if k == instrument.Hydrometer {
			words = fmt.Sprintf("hydrometer made for %g/%g °C", s.SampleC, s.WaterC)
		}
		a.about(string(k), words, k.Unit(), value, s.ReadingSD(psu.value, psu.sd, r.TempC))
	}
	a.Sentence = fmt.Sprintf("%s on the %s at %s is %s, give or take %s.", Shown(r.Value, r.kind().Unit(), c.Units), r.kind().Words(),
		Shown(r.TempC, "°C", c.Units), Shown(psu.value, "PSU", c.Units), digits(ninety*psu.sd, 2))
	if r.kind() == instrument.BrineRefractometer {
		a.Notes = append(a.Notes, "A scale made for table salt reads seawater about 1.5 g/kg too high.")
	}
	r.due(a, c, string(r.kind()), r.kind().Words())
	return a, nil
}

// due adds when the instrument is to be calibrated next. Early and late are a
// quarter of the interval.
func (r *InstrumentReading) due(a *BenchAnswer, c Circumstances, name, words string) {
	if r.Calibrated == nil {
		return
	}
	const quarter = 0.25
	days := r.kind().CalibrationDays()
	after := func(share float64) time.Time {
		return r.Calibrated.Add(time.Duration(days * share * hoursPerDay * float64(time.Hour)))
	}
	a.Dates = append(a.Dates, DueDate{Name: name, Words: "next calibration: " + words, Likely: after(1), Earliest: after(1 - quarter), Latest: after(1 + quarter)})
	if c.Now.After(after(1)) {
		a.Cautions = append(a.Cautions, fmt.Sprintf("The calibration of the %s is overdue: its readings may be off by more than is said here.", words))
	}
	a.Notes = append(a.Notes, "Calibration intervals are common practice, no source: 30 days for meters and refractometers, a year for glass.")
}

// Agreement asks what several readings of the same water say together, and which
// instrument is off.
type Agreement struct {
	Readings []InstrumentReading `json:"readings" name:"readings" type:"readings" required:"true" minItems:"1" maxItems:"12" doc:"readings of the same water, taken together"`
}

func (q *Agreement) answer(c Circumstances) (*BenchAnswer, error) {
	if len(q.Readings) == 0 {
		return nil, refusal("readings", "readings", "", "are none", "give at least one")
	}
	a := &BenchAnswer{Sources: []string{sourceDensity, sourceRefract, sourceErrors, "Agreement: each instrument is right or off by a further 2 PSU, one time in ten beforehand; every set that may be off is weighed by how well it explains the readings (Bayes)."}}
	seen := make([]instrument.Seen, len(q.Readings))
	for i := range q.Readings {
		psu, err := q.Readings[i].salinity(fmt.Sprintf("readings[%d].", i))
		if err != nil {
			return nil, err
		}
		seen[i] = instrument.Seen{PSU: psu.value, SDPSU: psu.sd}
	}
	v := instrument.Agree(seen)
	a.about("salinity", "most likely salinity", "PSU", v.PSU, v.SDPSU)
	worst := 0
	for i := range q.Readings {
		r := &q.Readings[i]
		name, words := fmt.Sprintf("reading-%d", i+1), fmt.Sprintf("%s (%d)", r.kind().Words(), i+1)
		a.about(name, words, "PSU", seen[i].PSU, seen[i].SDPSU)
		a.exactly(name+"-off", "how sure it is that it is off: "+words, "%", v.Off[i]*percent)
		r.due(a, c, name, words)
		if v.Off[i] > v.Off[worst] {
			worst = i
		}
	}
	a.Sentence = fmt.Sprintf("The water is most likely at %s, give or take %s", Shown(v.PSU, "PSU", c.Units), digits(ninety*v.SDPSU, 2))
	const surelyOffProb, possiblyOffProb = 0.8, 0.4
	off := fmt.Sprintf("%s (reading %d) is off by %s", q.Readings[worst].kind().Words(), worst+1, signed(seen[worst].PSU-v.PSU, "PSU", c.Units))
	switch {
	case v.Off[worst] > surelyOffProb:
		a.Sentence += fmt.Sprintf("; the %s, with %.0f %% certainty.", off, v.Off[worst]*percent)
	case v.Off[worst] > possiblyOffProb:
		a.Sentence += fmt.Sprintf("; perhaps the %s (%.0f %%): take a third reading with another instrument.", off, v.Off[worst]*percent)
	default:
		a.Sentence += "; the instruments agree."
	}
	return a, nil
}

// CalibrationFluid asks for a fluid of table salt that reads as seawater does.
type CalibrationFluid struct {
	For       string   `json:"for" name:"for" required:"true" enum:"refractometer,conductivity" doc:"what is to be calibrated"`
	TargetPSU float64  `json:"targetPSU" name:"to" type:"PSU" required:"true" minimum:"20" maximum:"45" doc:"the salinity that it shall read as"`
	WaterL    *float64 `json:"waterL,omitempty" name:"water" type:"L" minimum:"0.01" maximum:"100" doc:"RO/DI water to dissolve the salt in; without it, 1 L"`
}

func (q *CalibrationFluid) answer(c Circumstances) (*BenchAnswer, error) {
	const tempC = instrument.BrineConductivityC
	litres := 1.0
	if q.WaterL != nil {
		litres = *q.WaterL
	}
	a := &BenchAnswer{Cautions: []string{"Table salt with iodine or anti-caking agent is no calibration salt: use pure sodium chloride, dried, and a scale good to 0.1 g."}}
	var gramsPerKg, sd float64
	var err error
	words := "bends light"
	if q.For == "conductivity" {
		words = "conducts"
		gramsPerKg, err = instrument.BrineLikeConductivity(q.TargetPSU)
		sd = gramsPerKg * instrument.BrineConductivityFrac
		a.Sources = []string{"Conductivity of sodium chloride: CRC Handbook of Chemistry and Physics, Electrical conductivity of aqueous solutions (from memory); of seawater: PSS-78."}
		a.Notes = append(a.Notes, fmt.Sprintf("Read it at %g °C: salt water and seawater follow temperature alike only near there.", tempC))
		if q.TargetPSU == seaPSU {
			a.exactly("potassium-chloride", "or potassium chloride in a kilogram of solution, at 15 °C: the definition of the practical scale", "g", instrument.PotassiumChlorideGramsPerKg)
		}
	} else {
		gramsPerKg, err = instrument.BrineLikeIndex(q.TargetPSU)
		sd = refractiveBrineSDGKg
		a.Sources = []string{sourceRefract}
		a.Notes = append(a.Notes, "It sets a refractometer whose scale was made for seawater. One made for table salt is set in pure water.")
	}
	if err != nil {
		return nil, refuse("targetPSU", "to", q.TargetPSU, err.Error(), "choose a salinity in the tables")
	}
	waterKg := litres * densityKgM3(0, tempC) / litresPerM3
	grams := instrument.InWater(gramsPerKg) * waterKg
	a.about("sodium-chloride", fmt.Sprintf("sodium chloride to dissolve in %s of water at %g °C", Shown(litres, "L", c.Units), tempC), "g", grams, sd*grams/gramsPerKg)
	a.about("sodium-chloride-mass", "that is, in a kilogram of solution", "g/kg", gramsPerKg, sd)
	a.Sentence = fmt.Sprintf("%s of sodium chloride in %s of RO/DI water %s as seawater of %s does.", Shown(grams, "g", c.Units), Shown(litres, "L", c.Units), words, Shown(q.TargetPSU, "PSU", c.Units))
	return a, nil
}

// refractiveBrineSDGKg is the table's rounding and the equation's error, as
// package seawater has it: 0.6 g/kg at most.
const refractiveBrineSDGKg = 0.3
