package bench

import (
	"fmt"
	"math"

	"isohaline/carbonate"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/bench/salts"
	"isohaline/seawater"
)

// Correction asks for a plan: which salts, how many grams a day, how many days.
type Correction struct {
	Water TankWater `json:"water" embed:""`

	TargetAlkalinityDKH *float64 `json:"targetAlkalinityDKH,omitempty" name:"to-alkalinity" type:"dKH" minimum:"4" maximum:"15" doc:"alkalinity wanted; without it, left as it is"`
	TargetCalciumMgL    *float64 `json:"targetCalciumMgL,omitempty" name:"to-calcium" type:"mg/L" minimum:"300" maximum:"600" doc:"calcium wanted; without it, left as it is"`
	TargetMagnesiumMgL  *float64 `json:"targetMagnesiumMgL,omitempty" name:"to-magnesium" type:"mg/L" minimum:"900" maximum:"1800" doc:"magnesium wanted; without it, left as it is"`

	AlkalinityFrom string `json:"alkalinityFrom,omitempty" name:"alkalinity-from" enum:"sodium-bicarbonate,sodium-carbonate" default:"sodium-bicarbonate" doc:"the salt that gives alkalinity"`
	CalciumFrom    string `json:"calciumFrom,omitempty" name:"calcium-from" enum:"calcium-chloride-dihydrate,calcium-chloride-anhydrous" default:"calcium-chloride-dihydrate" doc:"the salt that gives calcium"`
	MagnesiumFrom  string `json:"magnesiumFrom,omitempty" name:"magnesium-from" enum:"magnesium-chloride-hexahydrate,magnesium-sulfate-heptahydrate" default:"magnesium-chloride-hexahydrate" doc:"the salt that gives magnesium"`

	UseAlkalinityDKHDay float64 `json:"useAlkalinityDKHDay,omitempty" name:"use-alkalinity" type:"dKH/day" minimum:"0" maximum:"10" doc:"what the tank uses up, given back as well"`
	UseCalciumMgLDay    float64 `json:"useCalciumMgLDay,omitempty" name:"use-calcium" type:"mg/L/day" minimum:"0" maximum:"100" doc:"what the tank uses up, given back as well"`
	UseMagnesiumMgLDay  float64 `json:"useMagnesiumMgLDay,omitempty" name:"use-magnesium" type:"mg/L/day" minimum:"0" maximum:"100" doc:"what the tank uses up, given back as well"`

	RateAlkalinityDKHDay *float64 `json:"rateAlkalinityDKHDay,omitempty" name:"rate-alkalinity" type:"dKH/day" minimum:"0.05" maximum:"3" doc:"the most that alkalinity may rise in a day; without it, 1 dKH/day"`
	RateCalciumMgLDay    *float64 `json:"rateCalciumMgLDay,omitempty" name:"rate-calcium" type:"mg/L/day" minimum:"1" maximum:"100" doc:"the most that calcium may rise in a day; without it, 20 mg/L/day"`
	RateMagnesiumMgLDay  *float64 `json:"rateMagnesiumMgLDay,omitempty" name:"rate-magnesium" type:"mg/L/day" minimum:"5" maximum:"300" doc:"the most that magnesium may rise in a day; without it, 100 mg/L/day"`
}

// Rates a day. Common practice, no source.
const (
	usualRateDKHDay          = 1.0
	usualRateCalciumMgLDay   = 20.0
	usualRateMagnesiumMgLDay = 100.0
)

// course is the way of one quantity to its target.
type course struct {
	*quantity
	salt          salts.Salt
	from, to, use float64
	days          int     // until it is there
	dailyG        float64 // until then
	keepG         float64 // after, to give back what is used up
}

// totalG is the correction itself, without what is used up meanwhile.
func (k *course) totalG() float64 { return (k.dailyG - k.keepG) * float64(k.days) }

// at is the value after some days of dosing.
func (k *course) at(day int) float64 {
	if k.days == 0 {
		return k.from
	}
	return k.from + (k.to-k.from)*float64(min(day, k.days))/float64(k.days)
}

func (q *Correction) answer(c Circumstances) (*BenchAnswer, error) {
	courses, falls := q.courses()
	if len(courses) == 0 && len(falls) == 0 {
		return nil, refusal("targetAlkalinityDKH", "to-alkalinity", "", "is not given, nor a target for calcium or magnesium", "give at least one, like 8.5 dKH")
	}
	a := &BenchAnswer{Sources: []string{sourceDKH, sourceSea, sourceCarbonate, sourceDensity, sourceRates}, Cautions: []string{cautionSlow}}
	var clauses []string
	days := 0
	for _, k := range courses {
		clauses = append(clauses, q.tell(a, k, c))
		days = max(days, k.days)
	}
	for _, k := range falls {
		clauses = append(clauses, k.fall(a, c))
	}
	for _, k := range courses {
		a.Series = append(a.Series, k.series(days))
	}
	if len(courses) > 0 {
		a.Cautions = append(a.Cautions, cautionSalts)
		a.Steps = order(courses, c)
		if err := q.effects(a, courses); err != nil {
			return nil, err
		}
	}
	a.Sentence = upper(listed(clauses)) + "."
	return a, nil
}

// courses are the ways up, in the order to add: magnesium first, alkalinity last.
// falls are those down, which no salt goes.
func (q *Correction) courses() (up, down []*course) {
	for _, k := range []struct {
		*quantity
		from, use float64
		to, rate  *float64
		usualRate float64
		salt      string
		usualSalt salts.Salt
	}{
		{&quantities[2], q.Water.magnesiumMgL(), q.UseMagnesiumMgLDay, q.TargetMagnesiumMgL, q.RateMagnesiumMgLDay, usualRateMagnesiumMgLDay, q.MagnesiumFrom, salts.MagnesiumChloride},
		{&quantities[1], q.Water.calciumMgL(), q.UseCalciumMgLDay, q.TargetCalciumMgL, q.RateCalciumMgLDay, usualRateCalciumMgLDay, q.CalciumFrom, salts.CalciumDihydrate},
		{&quantities[0], q.Water.AlkalinityDKH, q.UseAlkalinityDKHDay, q.TargetAlkalinityDKH, q.RateAlkalinityDKHDay, usualRateDKHDay, q.AlkalinityFrom, salts.SodiumBicarbonate},
	} {
		if k.to == nil {
			continue
		}
		w := &course{quantity: k.quantity, salt: k.usualSalt, from: k.from, to: *k.to, use: k.use}
		if s, ok := salts.ByID(k.salt); ok {
			w.salt = s
		}
		if w.to < w.from {
			down = append(down, w)
			continue
		}
		rate := k.usualRate
		if k.rate != nil {
			rate = *k.rate
		}
		// A rise of the rate itself takes one day, also after rounding.
		const hair = 1e-9
		w.days = int(math.Ceil((w.to-w.from)/rate - hair))
		gramsPer := w.salt.GramsPerMol / w.perMol(w.salt) * q.Water.VolumeL
		w.keepG = gramsPer * w.use
		if w.days > 0 {
			w.dailyG = w.keepG + gramsPer*(w.to-w.from)/float64(w.days)
		}
		up = append(up, w)
	}
	return up, down
}

// tell puts a course's grams into the answer.
func (q *Correction) tell(a *BenchAnswer, k *course, c Circumstances) string {
	if k.keepG > 0 {
		a.exactly(k.what+"-grams-keep", fmt.Sprintf("%s a day to give back what is used up", k.salt.Name), "g", k.keepG)
	}
	if k.days == 0 {
		return fmt.Sprintf("%s is where it should be", k.what)
	}
	// Grams follow the reading's error and the volume's.
	rel := math.Hypot(instrument.VolumeSDFrac, k.sd/(k.to-k.from))
	a.amount(k.what+"-grams", fmt.Sprintf("%s for %s in all", k.salt.Name, k.what), "g", k.totalG(), rel*k.totalG())
	a.exactly(k.what+"-grams-daily", fmt.Sprintf("%s a day for %d days, use included", k.salt.Name, k.days), "g", k.dailyG)
	a.exactly(k.what+"-days", "days to correct "+k.what, "days", float64(k.days))
	a.exactly(k.what+"-molar-mass", fmt.Sprintf("molar mass of %s (%s)", k.salt.Name, k.salt.Formula), "g/mol", k.salt.GramsPerMol)
	return fmt.Sprintf("%s of %s a day for %s bring %s from %s to %s", Shown(k.dailyG, "g", c.Units), k.salt.Name,
		count(k.days, "day"), k.what, Shown(k.from, k.unit, c.Units), Shown(k.to, k.unit, c.Units))
}

// fall is the way down: no salt takes anything out.
func (k *course) fall(a *BenchAnswer, c Circumstances) string {
	clause := fmt.Sprintf("no salt lowers %s from %s to %s", k.what, Shown(k.from, k.unit, c.Units), Shown(k.to, k.unit, c.Units))
	if k.use > leastUse {
		days := (k.from - k.to) / k.use
		a.exactly(k.what+"-days-falling", "days until the tank has used up the surplus of "+k.what, "days", days)
		return clause + fmt.Sprintf(", but the tank's use will in %s days without doses", digits(days, 2))
	}
	return clause + ": stop dosing and let the tank use it up, or change water"
}

// order are the steps of a day.
func order(courses []*course, c Circumstances) []string {
	steps := []string{"Dissolve each salt by itself in fresh water, from the day's top-off, and pour it slowly where the flow is strong."}
	for _, k := range courses {
		if k.days > 0 {
			steps = append(steps, fmt.Sprintf("%s: %s of %s a day for %s.", upper(k.what), Shown(k.dailyG, "g", c.Units), k.salt.Name, count(k.days, "day")))
		}
	}
	return append(steps,
		"Keep calcium and alkalinity apart, by hours and by place: where both are strong, calcium carbonate falls out and takes both along. Magnesium comes first because it holds that back. (Common practice, no source.)",
		"Measure again after the first day, and correct the plan to what you read.")
}

func (k *course) series(days int) BenchSeries {
	s := BenchSeries{Name: k.what, Words: k.what, Unit: k.unit, Time: "days"}
	for day := range days + 1 {
		s.At, s.Value = append(s.At, float64(day)), append(s.Value, k.at(day))
	}
	return s
}

// added are the ions that the correction adds to a kilogram of tank water, in
// mol/kg, without what is used up meanwhile.
func (q *Correction) added(courses []*course) salts.Ions {
	var ions salts.Ions
	for _, k := range courses {
		ions = ions.Plus(k.salt.Ions.Times(k.totalG() / k.salt.GramsPerMol / q.Water.massKg()))
	}
	return ions
}

// effects are salinity, ionic balance and pH.
func (q *Correction) effects(a *BenchAnswer, courses []*course) error {
	w := &q.Water
	ions := q.added(courses)
	psu := seawater.PracticalSalinity(seawater.AbsoluteSalinity(w.SalinityPSU)+ions.Grams()) - w.SalinityPSU
	a.about("salinity-rise", "salinity, by the mass of the ions", "PSU", psu, psu*instrument.VolumeSDFrac)
	sea := salts.Seawater().Times(w.SalinityPSU / seaPSU)
	a.exactly("chloride-over-sodium", "chloride over sodium, against the sea's (1 is the sea's)", "",
		(sea.Chloride+ions.Chloride)/(sea.Sodium+ions.Sodium)*sea.Sodium/sea.Chloride)
	a.exactly("sulfate-over-chloride", "sulfate over chloride, against the sea's (1 is the sea's)", "",
		(sea.Sulfate+ions.Sulfate)/(sea.Chloride+ions.Chloride)*sea.Chloride/sea.Sulfate)
	for _, k := range courses {
		if k.what == "alkalinity" && k.days > 0 {
			return q.pH(a, k)
		}
	}
	return nil
}

// pH is what the first day's dose of alkalinity does if it is given at once.
func (q *Correction) pH(a *BenchAnswer, k *course) error {
	w := &q.Water
	out, err := spread(w.errors(), func(x []float64) ([]float64, error) {
		at, _ := w.with(x)
		before, err := at.dissolved()
		if err != nil {
			return nil, err
		}
		dosed := before
		molKg := k.dailyG / k.salt.GramsPerMol / at.massKg()
		dosed.TAUmolKg += k.salt.Alkalinity() * molKg * umolPerMol
		dosed.DICUmolKg += k.salt.Carbon() * molKg * umolPerMol
		return changes(before, dosed, at.roomUatm())
	})
	if err != nil {
		return impossible(err)
	}
	a.about("pH-now", "pH now (probe)", "pH", out[0].value, math.Hypot(out[0].sd, phConstantsSD))
	a.about("pH-closed", "change of pH within minutes of a day's dose given at once", "pH", out[1].value, out[1].sd)
	a.about("pH-settled", "change of pH by tomorrow, settled with the room", "pH", out[2].value, out[2].sd)
	a.about("omega-closed", "aragonite saturation within minutes of that dose", "", out[3].value, math.Hypot(out[3].sd, omegaConstantsFrac*out[3].value))
	if carbonate.PrecipitationRiskAt(out[3].value) != carbonate.PrecipitationUnlikely {
		a.Cautions = append(a.Cautions, "Given at once, a day's dose brings the water near where calcium carbonate falls out: spread it over the day.")
		a.Sources = append(a.Sources, sourceRisk)
	}
	return nil
}

// changes are the pH before, its change closed and settled, and the saturation of
// aragonite before exchange and after it.
func changes(before, after carbonate.Water, roomUatm float64) ([]float64, error) {
	var pH, omega [3]float64
	for i, s := range []struct {
		water carbonate.Water
		room  float64
	}{{before, 0}, {after, 0}, {after, roomUatm}} {
		st, err := state(s.water, s.room)
		if err != nil {
			return nil, err
		}
		if pH[i], err = probePH(st, s.water.SalinityPSU, s.water.TempC); err != nil {
			return nil, err
		}
		omega[i] = st.OmegaAragonite
	}
	return []float64{pH[0], pH[1] - pH[0], pH[2] - pH[0], omega[1], omega[2], omega[0]}, nil
}

// count is a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// upper begins a sentence.
func upper(s string) string {
	if s != "" && s[0] >= 'a' && s[0] <= 'z' {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}
