package bench

import (
	"fmt"
	"math"

	"isohaline/carbonate"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/bench/salts"
)

// LimeSupply asks what lime water in the top-off reservoir gives the tank, and
// what it must not do.
type LimeSupply struct {
	Water TankWater `json:"water" embed:""`

	EvaporationLitresDay float64  `json:"evaporationLitresDay" name:"evaporation" type:"L/day" required:"true" minimum:"0.001" maximum:"100000" doc:"what this tank loses to the air, all of it given back as lime water"`
	ReservoirTempC       *float64 `json:"reservoirTempC,omitempty" name:"reservoir-temperature" type:"°C" minimum:"2" maximum:"40" doc:"of the lime water; without it, 22 °C. The colder, the stronger"`
	LimeGramsPerL        *float64 `json:"limeGramsPerL,omitempty" name:"lime" type:"g/L" minimum:"0" maximum:"20" doc:"calcium hydroxide stirred in; without it, more than dissolves"`
	UseAlkalinityDKHDay  float64  `json:"useAlkalinityDKHDay,omitempty" name:"use-alkalinity" type:"dKH/day" minimum:"0" maximum:"10" doc:"what the tank uses up"`
	UseCalciumMgLDay     float64  `json:"useCalciumMgLDay,omitempty" name:"use-calcium" type:"mg/L/day" minimum:"0" maximum:"100" doc:"what the tank uses up; without it, what alkalinity explains"`

	DoseLitresHour    float64  `json:"doseLitresHour,omitempty" name:"dose" type:"L/h" minimum:"0" maximum:"10000" doc:"flow of lime water while it is given; without it, evenly over the day"`
	PassingLitresHour float64  `json:"passingLitresHour,omitempty" name:"passing" type:"L/h" minimum:"0" maximum:"1000000" doc:"water that flows past the dosing point; without it, the pH there is left out"`
	RecoveryHours     *float64 `json:"recoveryHours,omitempty" name:"recovery" type:"h" minimum:"0.1" maximum:"1000" doc:"how long the tank's pH takes to come back by two thirds after a disturbance; without it, 12 h"`
	ReservoirLitres   float64  `json:"reservoirLitres,omitempty" name:"reservoir" type:"L" minimum:"0" maximum:"100000" doc:"lime water in a full reservoir, for what happens if all of it runs in at once"`
}

const (
	// Usual values. Common practice, no source.
	usualReservoirC    = 22.0
	usualRecoveryHours = 12.0
	// recoveryFactor is how far off that may be, each way.
	recoveryFactor = 2.0
	// limeSDFrac is what the published solubilities differ by (package carbonate).
	limeSDFrac = 0.04
	// caPerTA: corals and pipes take two of alkalinity with each calcium.
	caPerTA = 0.5
)

// lime is what the question comes down to.
type lime struct {
	solution  carbonate.LimeWater
	densityKL float64 // kg per litre of lime water
	// A day's supply, in the tank's litres.
	dKHDay, calciumMgLDay float64
	supply                carbonate.LimeSupply // µmol/kg a day
}

func (q *LimeSupply) lime() (*lime, error) {
	tempC := usualReservoirC
	if q.ReservoirTempC != nil {
		tempC = *q.ReservoirTempC
	}
	l := &lime{densityKL: densityKgM3(0, tempC) / litresPerM3}
	var err error
	if q.LimeGramsPerL != nil {
		l.solution, err = carbonate.NewLimeWater(tempC, *q.LimeGramsPerL/l.densityKL)
	} else {
		l.solution, err = carbonate.SaturatedLimeWater(tempC)
	}
	if err != nil {
		return nil, err
	}
	l.supply = l.solution.DailySupply(q.EvaporationLitresDay*l.densityKL, q.Water.massKg())
	density := q.Water.densityKgM3()
	l.dKHDay = carbonate.DKHFromUmolKg(l.supply.AlkalinityUmolKg, density)
	l.calciumMgLDay = carbonate.CalciumMgL(l.supply.CalciumUmolKg, density)
	return l, nil
}

func (q *LimeSupply) answer(c Circumstances) (*BenchAnswer, error) {
	l, err := q.lime()
	if err != nil {
		return nil, impossible(err)
	}
	a := &BenchAnswer{Sources: []string{sourceLime, sourceCarbonate, sourceMixing, sourceGas, sourceRisk, sourceDKH, sourceRates},
		Cautions: []string{carbonate.LimeWaterCaution, "First aid: rinse eyes with plenty of water at once and see a doctor. Every overfill is a chemical accident as well: see what the whole reservoir would do."}}
	supplySD := math.Hypot(limeSDFrac, math.Hypot(evaporationSDFrac, instrument.VolumeSDFrac))
	a.about("lime-strength", "lime dissolved", "g/L", l.solution.GramsPerL(l.densityKL*litresPerM3), l.solution.GramsPerL(l.densityKL*litresPerM3)*limeSDFrac)
	a.about("lime-pH", "pH of the lime water (probe)", "pH", l.solution.PHNBS, instrument.PHSD)
	a.about("alkalinity-supply", "alkalinity given", "dKH/day", l.dKHDay, l.dKHDay*supplySD)
	a.about("calcium-supply", "calcium given", "mg/L/day", l.calciumMgLDay, l.calciumMgLDay*supplySD)
	a.Sentence = fmt.Sprintf("Lime water for all of %s of evaporation gives %s and %s of calcium", Shown(q.EvaporationLitresDay, "L/day", c.Units),
		Shown(l.dKHDay, "dKH/day", c.Units), Shown(l.calciumMgLDay, "mg/L/day", c.Units)) + q.against(a, l, supplySD, c) + "."
	if err := q.tank(a, l); err != nil {
		return nil, impossible(err)
	}
	if err := q.point(a, l); err != nil {
		return nil, impossible(err)
	}
	if err := q.accident(a, l, c); err != nil {
		return nil, impossible(err)
	}
	return a, nil
}

// against holds the supply against what the tank uses up.
func (q *LimeSupply) against(a *BenchAnswer, l *lime, supplySD float64, c Circumstances) string {
	use := q.UseAlkalinityDKHDay
	if use < leastUse {
		return ""
	}
	share := l.dKHDay / use
	a.about("share-met", "share of the use of alkalinity that it meets", "%", share*percent, share*percent*supplySD)
	s := BenchSeries{Name: "alkalinity", Words: "alkalinity with lime water alone", Unit: "dKH", Time: "days"}
	for day := range aheadDays + 1 {
		s.At, s.Value = append(s.At, float64(day)), append(s.Value, max(0, q.Water.AlkalinityDKH+float64(day)*(l.dKHDay-use)))
	}
	a.Series = append(a.Series, s)
	if share > 1 {
		a.exactly("lime-enough", "lime that is enough", "g/L", l.solution.GramsPerL(l.densityKL*litresPerM3)/share)
		return fmt.Sprintf(": more than the %s the tank uses, so alkalinity would rise; stir in less lime", Shown(use, "dKH/day", c.Units))
	}
	useCalcium := q.UseCalciumMgLDay
	if useCalcium == 0 {
		useCalcium = use * salts.MeqPerLPerDKH * caPerTA / meqPerEq * salts.CalciumMgPerMol
	}
	restDKH, restCalcium := use-l.dKHDay, max(0, useCalcium-l.calciumMgLDay)
	bicarbonate := q.bicarbonateG(restDKH)
	chloride := q.chlorideG(restCalcium)
	// What is left over errs as the supply does.
	rest := func(name, words, unit string, value, supplied float64) {
		a.amount(name, words, unit, value, supplySD*supplied)
	}
	rest("rest-alkalinity", "alkalinity that a reactor or doses must add", "dKH/day", restDKH, l.dKHDay)
	rest("rest-calcium", "calcium that a reactor or doses must add", "mg/L/day", restCalcium, l.calciumMgLDay)
	rest("rest-bicarbonate", "that is sodium bicarbonate a day", "g", bicarbonate, q.bicarbonateG(l.dKHDay))
	rest("rest-calcium-chloride", "and calcium chloride dihydrate a day", "g", chloride, q.chlorideG(l.calciumMgLDay))
	return fmt.Sprintf(": %s of what the tank uses; the rest is %s", Shown(share*percent, "%", c.Units), Shown(restDKH, "dKH/day", c.Units))
}

// bicarbonateG and chlorideG are the salts that give the tank as much.
func (q *LimeSupply) bicarbonateG(dKH float64) float64 {
	return dKH * salts.MeqPerLPerDKH / meqPerEq * salts.SodiumBicarbonate.GramsPerMol * q.Water.VolumeL
}

func (q *LimeSupply) chlorideG(calciumMgL float64) float64 {
	return calciumMgL / salts.CalciumMgPerMol * salts.CalciumDihydrate.GramsPerMol * q.Water.VolumeL
}

// tank is how high pH goes in the well-mixed tank.
func (q *LimeSupply) tank(a *BenchAnswer, l *lime) error {
	before, err := q.Water.dissolved()
	if err != nil {
		return err
	}
	dosed := before
	dosed.TAUmolKg += l.supply.AlkalinityUmolKg
	dosed.CalciumUmolKg += l.supply.CalciumUmolKg
	worst, err := changes(before, dosed, q.Water.roomUatm())
	if err != nil {
		return err
	}
	a.about("pH-now", "pH now (probe)", "pH", worst[0], phConstantsSD)
	a.about("pH-day-at-once", "pH if a day's lime were given at once, before any CO2 comes in", "pH", worst[0]+worst[1], phConstantsSD)
	hours := usualRecoveryHours
	if q.RecoveryHours != nil {
		hours = *q.RecoveryHours
	}
	low, err := q.breathing(before, l, hours/recoveryFactor)
	if err != nil {
		return err
	}
	likely, err := q.breathing(before, l, hours)
	if err != nil {
		return err
	}
	high, err := q.breathing(before, l, hours*recoveryFactor)
	if err != nil {
		return err
	}
	a.between("pH-tank", "pH the tank settles at, given evenly and breathing the room's CO2", "pH", likely[0], min(low[0], likely[0]), max(high[0], likely[0]))
	a.between("omega-tank", "aragonite saturation of the tank then", "", likely[1], min(low[1], likely[1]), max(high[1], likely[1]))
	risk(a, likely[1], "in the tank")
	if q.RecoveryHours == nil {
		a.Notes = append(a.Notes, fmt.Sprintf("The tank's pH is taken to recover in %g h, give or take a factor of two. Overflow, skimmer and open windows decide: watch how fast yours comes back, and say it.", usualRecoveryHours))
	}
	if likely[0] > phHigh {
		a.Cautions = append(a.Cautions, fmt.Sprintf("The tank's pH would settle above %g: give less lime, or more fresh air.", phHigh))
	}
	return nil
}

// phHigh is the upper end of the usual range. Common practice, no source.
const phHigh = 8.5

// breathing is the steady state of lime water given evenly to a tank that
// calcifies as much: each two of alkalinity take one carbon with them, and the
// room has to bring it:
//
//	0 = κ (CO2 in balance with the room - CO2) - supply/2,
//
// κ from the recovery time τ and the carbon that must move for each CO2 that
// does: κ = (dDIC/dCO2)/τ. Where the room cannot bring it, no CO2 is left and the
// pH is that of the smallest pCO2 solved for.
func (q *LimeSupply) breathing(w carbonate.Water, l *lime, recoveryHours float64) ([2]float64, error) {
	c, err := w.Constants(carbonate.Options{})
	if err != nil {
		return [2]float64{}, err
	}
	settled, err := c.Solve(carbonate.TA(w.TAUmolKg), carbonate.PCO2(q.Water.roomUatm()))
	if err != nil {
		return [2]float64{}, err
	}
	perDay := settled.DICUmolKg / (settled.RevelleFactor * settled.CO2UmolKg) * hoursPerDay / recoveryHours
	left := 1 - caPerTA*l.supply.AlkalinityUmolKg/perDay/settled.CO2UmolKg
	const leastShare = 0.02
	steady, err := c.Solve(carbonate.TA(w.TAUmolKg), carbonate.PCO2(q.Water.roomUatm()*max(left, leastShare)))
	if err != nil {
		return [2]float64{}, err
	}
	pH, err := probePH(steady, w.SalinityPSU, w.TempC)
	return [2]float64{pH, steady.OmegaAragonite}, err
}

// point is the water that flows past while lime is given.
func (q *LimeSupply) point(a *BenchAnswer, l *lime) error {
	if q.PassingLitresHour == 0 {
		return nil
	}
	dose := q.DoseLitresHour
	if dose == 0 {
		dose = q.EvaporationLitresDay / hoursPerDay
		a.Notes = append(a.Notes, "The lime water is taken to drip evenly over the day. A pump that gives it in bursts makes the dosing point worse: say its flow.")
	}
	passing, err := q.Water.dissolved()
	if err != nil {
		return err
	}
	passing.MassKg = q.PassingLitresHour * q.Water.densityKgM3() / litresPerM3
	mixed, err := carbonate.Mix(passing, l.solution.Water(dose*l.densityKL))
	if err != nil {
		return err
	}
	s, err := state(mixed, 0)
	if err != nil {
		return err
	}
	pH, err := probePH(s, mixed.SalinityPSU, mixed.TempC)
	if err != nil {
		return err
	}
	a.about("pH-point", "pH of the water past the dosing point, at most", "pH", pH, phConstantsSD)
	a.about("omega-point", "aragonite saturation there", "", s.OmegaAragonite, omegaConstantsFrac*s.OmegaAragonite)
	risk(a, s.OmegaAragonite, "at the dosing point")
	return nil
}

// accident is the whole reservoir at once.
func (q *LimeSupply) accident(a *BenchAnswer, l *lime, c Circumstances) error {
	if q.ReservoirLitres == 0 {
		return nil
	}
	before, err := q.Water.dissolved()
	if err != nil {
		return err
	}
	mixed, err := carbonate.Mix(before, l.solution.Water(q.ReservoirLitres*l.densityKL))
	if err != nil {
		return err
	}
	out, err := changes(before, mixed, q.Water.roomUatm())
	if err != nil {
		return err
	}
	a.about("pH-accident", "pH if the whole reservoir ran in at once", "pH", out[0]+out[1], phConstantsSD)
	a.exactly("alkalinity-accident", "alkalinity then, while nothing falls out", "dKH", dKH(mixed))
	a.Cautions = append(a.Cautions, fmt.Sprintf("If all %s ran in at once, pH would reach %s.", Shown(q.ReservoirLitres, "L", c.Units), digits(out[0]+out[1], 3)))
	return nil
}

// risk says how likely calcium carbonate is to fall out.
func risk(a *BenchAnswer, omega float64, where string) {
	switch carbonate.PrecipitationRiskAt(omega) {
	case carbonate.PrecipitationPossible:
		a.Cautions = append(a.Cautions, fmt.Sprintf("Calcium carbonate may fall out %s (saturation %s): dose slower, into stronger flow.", where, digits(omega, 2)))
	case carbonate.PrecipitationLikely:
		a.Cautions = append(a.Cautions, fmt.Sprintf("Calcium carbonate is likely to fall out %s (saturation %s) and to take alkalinity along: dose slower, into stronger flow, or less.", where, digits(omega, 2)))
	}
}
