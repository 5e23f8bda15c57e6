package bench

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/mat"

	"isohaline/internal/bench/instrument"
	"isohaline/internal/bench/salts"
)

// Consumption asks what a tank uses up a day, from a log of readings, water
// changes and doses.
type Consumption struct {
	VolumeL float64    `json:"volumeL" name:"volume" type:"L" required:"true" minimum:"0.1" maximum:"1000000" doc:"water in the whole system"`
	Log     []LogEntry `json:"log" name:"log" type:"log" required:"true" minItems:"2" maxItems:"10000" doc:"readings, water changes and doses, in any order"`
}

// LogEntry is one line of the log.
type LogEntry struct {
	At     time.Time `json:"at"`
	What   string    `json:"what" required:"true" enum:"alkalinity,calcium,magnesium,water-change,sodium-bicarbonate,sodium-carbonate,calcium-chloride-dihydrate,calcium-chloride-anhydrous,magnesium-chloride-hexahydrate,magnesium-sulfate-heptahydrate" doc:"a reading, a water change or a dose"`
	Amount float64   `json:"amount" required:"true" minimum:"0" maximum:"100000" doc:"of a reading: dKH, or mg/L; of a water change: L; of a dose: g"`
	SD     float64   `json:"sd,omitempty" minimum:"0" maximum:"1000" doc:"error of a reading, one standard deviation; without it, a usual kit's"`
	// The new water of a water change; 0: not known.
	AlkalinityDKH float64 `json:"alkalinityDKH,omitempty" minimum:"0" maximum:"25" doc:"of the new water"`
	CalciumMgL    float64 `json:"calciumMgL,omitempty" minimum:"0" maximum:"1500" doc:"of the new water"`
	MagnesiumMgL  float64 `json:"magnesiumMgL,omitempty" minimum:"0" maximum:"5000" doc:"of the new water"`
}

// quantity is one of the three that tanks use up.
type quantity struct {
	what, unit, perDay string
	sd                 float64 // of a usual reading
	// limits of use: common practice, no source (docs/bench.md).
	low, high float64
	newWater  func(*LogEntry) float64
	// perMol is what a mole in a litre of tank adds, in unit.
	perMol func(salts.Salt) float64
}

var quantities = [...]quantity{
	{"alkalinity", "dKH", "dKH/day", instrument.AlkalinitySDDKH, 7, 9.5,
		func(e *LogEntry) float64 { return e.AlkalinityDKH },
		func(s salts.Salt) float64 { return s.Alkalinity() * meqPerEq / salts.MeqPerLPerDKH }},
	{"calcium", "mg/L", "mg/L/day", instrument.CalciumSDMgL, 400, 450,
		func(e *LogEntry) float64 { return e.CalciumMgL },
		func(s salts.Salt) float64 { return s.Calcium * salts.CalciumMgPerMol }},
	{"magnesium", "mg/L", "mg/L/day", instrument.MagnesiumSDMgL, 1250, 1400,
		func(e *LogEntry) float64 { return e.MagnesiumMgL },
		func(s salts.Salt) float64 { return s.Magnesium * salts.MagnesiumMgPerMol }},
}

const (
	meqPerEq = 1000
	// aheadDays is how far the days to come are shown.
	aheadDays = 14
	// leastUse a day is none: in dKH or mg/L.
	leastUse = 0.001
	// leastSD is better than any reading, and keeps the weights finite.
	leastSD = 1e-6
	// shortestLogDays is the least time between first and last reading.
	shortestLogDays = 1.0 / hoursPerDay
)

func (q *Consumption) answer(c Circumstances) (*BenchAnswer, error) {
	log := slices.Clone(q.Log)
	slices.SortStableFunc(log, func(a, b LogEntry) int { return a.At.Compare(b.At) })
	a := &BenchAnswer{Sources: []string{sourceFit, sourceDKH, sourceErrors, sourceRates}}
	var clauses []string
	for i := range quantities {
		k := &quantities[i]
		if !slices.ContainsFunc(log, func(e LogEntry) bool { return e.What == k.what }) {
			continue
		}
		t, err := q.trend(k, log)
		if err != nil {
			return nil, err
		}
		clauses = append(clauses, t.tell(a, c))
	}
	if len(clauses) == 0 {
		return nil, refusal("log", "log", "", "holds no reading of alkalinity, calcium or magnesium", "add at least two of one of them")
	}
	a.Sentence = "The tank uses up " + listed(clauses) + "."
	q.compare(a)
	a.Notes = append(a.Notes, "Read at one salinity and one level: just after a top-off. Dilution by the water changes and the doses in the log are not counted as use.")
	return a, nil
}

// compare holds calcium against what alkalinity explains: calcification takes
// two of alkalinity for each calcium.
func (q *Consumption) compare(a *BenchAnswer) {
	alk := a.Figure("alkalinity-use")
	if alk.Low == nil {
		return
	}
	const perDKH = salts.MeqPerLPerDKH / 2 / meqPerEq * salts.CalciumMgPerMol
	a.between("calcium-explained", "calcium that the use of alkalinity explains", "mg/L/day", alk.Value*perDKH, *alk.Low*perDKH, *alk.High*perDKH)
}

// trend is a quantity against time: value at the first reading less use times
// days, with what was changed and dosed in between.
type trend struct {
	*quantity
	readings int
	span     float64 // days from first to last reading
	last     measured
	use      measured
	// lastUse is the covariance of those two.
	lastUse float64
	unknown int // changes whose new water nobody measured
	scatter float64
}

// line is one reading as the model has it: gain·start - days·use + given.
type line struct{ gain, days, given, value, sd float64 }

// trend fits a quantity. The volume's error enters through the doses.
func (q *Consumption) trend(k *quantity, log []LogEntry) (*trend, error) {
	t, err := fit(k, log, q.VolumeL)
	if err != nil {
		return nil, err
	}
	larger, err := fit(k, log, q.VolumeL*(1+instrument.VolumeSDFrac))
	if err != nil {
		return nil, err
	}
	t.use.sd = math.Hypot(t.use.sd, larger.use.value-t.use.value)
	return t, nil
}

// fit is weighted least squares on the balance of a well-mixed tank. Between
// entries the quantity falls by use; a change of a share f leaves 1-f of
// everything and brings f of the new water; a dose adds. All of that is linear in
// the start and the use.
func fit(k *quantity, log []LogEntry, volumeL float64) (*trend, error) {
	lines, t := balance(k, log, volumeL)
	if len(lines) < 2 || t.span < shortestLogDays {
		return nil, refusal("log", "log", "", fmt.Sprintf("has %d readings of %s over %.2g days", len(lines), k.what, t.span), "give at least two, some days apart")
	}
	design, values := mat.NewDense(len(lines), 2, nil), mat.NewVecDense(len(lines), nil)
	for i, l := range lines {
		design.SetRow(i, []float64{l.gain / l.sd, -l.days / l.sd})
		values.SetVec(i, (l.value-l.given)/l.sd)
	}
	var solution mat.VecDense
	if err := solution.SolveVec(design, values); err != nil {
		return nil, refusal("log", "log", "", "says nothing of the use of "+k.what, "add readings on other days, or between the water changes")
	}
	var normal mat.SymDense
	normal.SymOuterK(1, design.T())
	var cholesky mat.Cholesky
	var covariance mat.SymDense
	if !cholesky.Factorize(&normal) || cholesky.InverseTo(&covariance) != nil {
		return nil, refusal("log", "log", "", "says nothing of the use of "+k.what, "add readings on other days, or between the water changes")
	}
	t.scatter = scatter(design, &solution, values)
	start, use := solution.AtVec(0), solution.AtVec(1)
	inflate := max(1, t.scatter)
	varStart, varUse, both := covariance.At(0, 0)*inflate, covariance.At(1, 1)*inflate, covariance.At(0, 1)*inflate
	l := lines[len(lines)-1]
	t.use = measured{use, math.Sqrt(varUse)}
	t.last = measured{l.gain*start - l.days*use + l.given, math.Sqrt(l.gain*l.gain*varStart - 2*l.gain*l.days*both + l.days*l.days*varUse)}
	t.lastUse = l.gain*both - l.days*varUse
	return t, nil
}

// scatter is chi squared over the degrees of freedom: how much wider the readings
// lie than their errors say. Above 1 the errors were understated, and the fit's
// grow with its root (Birge 1932, Phys. Rev. 40, 207).
func scatter(design *mat.Dense, solution, values *mat.VecDense) float64 {
	n, _ := design.Dims()
	if n <= 2 {
		return 1
	}
	var off mat.VecDense
	off.MulVec(design, solution)
	off.SubVec(&off, values)
	return mat.Dot(&off, &off) / float64(n-2)
}

// balance walks through the log and writes each reading as a line of the model.
func balance(k *quantity, log []LogEntry, volumeL float64) ([]line, *trend) {
	t := &trend{quantity: k}
	var lines []line
	now := line{gain: 1}
	var first, at time.Time
	usual := usualReading(k, log)
	for i := range log {
		e := &log[i]
		if at.IsZero() {
			if e.What != k.what {
				continue // what came before the first reading is in it
			}
			first = e.At
		} else {
			now.days += e.At.Sub(at).Hours() / hoursPerDay
		}
		at = e.At
		switch salt, isSalt := salts.ByID(e.What); {
		case e.What == k.what:
			now.value, now.sd = e.Amount, max(e.SD, leastSD)
			if e.SD == 0 {
				now.sd = k.sd
			}
			lines = append(lines, now)
			t.span = e.At.Sub(first).Hours() / hoursPerDay
		case e.What == "water-change":
			f, fresh := min(e.Amount/volumeL, 1), k.newWater(e)
			if fresh == 0 {
				fresh = usual
				t.unknown++
			}
			now.gain, now.days, now.given = (1-f)*now.gain, (1-f)*now.days, (1-f)*now.given+f*fresh
		case isSalt:
			now.given += k.perMol(salt) * e.Amount / salt.GramsPerMol / volumeL
		}
	}
	t.readings = len(lines)
	return lines, t
}

// usualReading is the mean reading: what new water is taken to hold where nobody
// measured.
func usualReading(k *quantity, log []LogEntry) float64 {
	sum, n := 0.0, 0.0
	for _, e := range log {
		if e.What == k.what {
			sum, n = sum+e.Amount, n+1
		}
	}
	return sum / n
}

// tell puts a trend into the answer and returns its clause.
func (t *trend) tell(a *BenchAnswer, c Circumstances) string {
	a.about(t.what+"-use", "use of "+t.what, t.perDay, t.use.value, t.use.sd)
	a.about(t.what+"-now", t.what+" at the last reading", t.unit, t.last.value, t.last.sd)
	s := BenchSeries{Name: t.what, Words: t.what + " if nothing is added", Unit: t.unit, Time: "days"}
	for day := range aheadDays + 1 {
		d := float64(day)
		variance := t.last.sd*t.last.sd - 2*d*t.lastUse + d*d*t.use.sd*t.use.sd
		value, half := t.last.value-d*t.use.value, ninety*math.Sqrt(max(0, variance))
		s.At, s.Value = append(s.At, d), append(s.Value, max(0, value))
		s.Low, s.High = append(s.Low, max(0, value-half)), append(s.High, max(0, value+half))
	}
	a.Series = append(a.Series, s)
	if t.use.value > leastUse && t.last.value > t.low {
		a.exactly(t.what+"-days-left", fmt.Sprintf("days until %s is below %s", t.what, Shown(t.low, t.unit, c.Units)), "days", (t.last.value-t.low)/t.use.value)
	}
	if t.use.value < 0 {
		a.Notes = append(a.Notes, upper(t.what)+" rises by itself in this log: a dose, a reactor or lime water is missing from it.")
	}
	if t.unknown > 0 {
		a.Notes = append(a.Notes, fmt.Sprintf("%s did not say the %s of the new water: the mean reading was taken.", upper(count(t.unknown, "water change")), t.what))
	}
	if t.readings > 2 && t.scatter > 4 {
		a.Notes = append(a.Notes, fmt.Sprintf("The readings of %s lie %s times wider than their errors say; the band was widened for it.", t.what, digits(math.Sqrt(t.scatter), 2)))
	}
	return fmt.Sprintf("%s of %s (%s to %s; %d readings over %s days)", Shown(t.use.value, t.perDay, c.Units), t.what,
		digits(t.use.value-ninety*t.use.sd, 3), digits(t.use.value+ninety*t.use.sd, 3), t.readings, digits(t.span, 2))
}

// listed joins clauses into a sentence.
func listed(clauses []string) string {
	if n := len(clauses); n > 1 {
		return strings.Join(clauses[:n-1], ", ") + " and " + clauses[n-1]
	}
	return strings.Join(clauses, "")
}
