package corpus

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

const (
	// TuningSeeds is the last seed that anything was tuned on.
	TuningSeeds = 200
	// ReportSeeds is the last seed that is not reported on.
	ReportSeeds = 10_000
)

// stream is a source of chance for one purpose of one seed.
func stream(seed uint64, purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// copyBits is where the number of a copy stands in the key of a seed's streams.
const copyBits = 40

func uniform(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// Design is a tank on paper, with what its check proposes.
type Design struct {
	Site     *tankfile.Tank
	Settings verify.Settings
	SystemM3 float64
	// reservoirDays is how long a full reservoir lasts and litresADay what
	// evaporates, by the prediction; topOffM3S is the drawn pump's flow.
	reservoirDays, litresADay, topOffM3S float64
}

// Designs makes tanks on paper from a few examples. It remembers them: a check
// takes a tenth of a second, and many histories share a tank.
type Designs struct {
	examples []*tankfile.Tank
	mu       sync.Mutex
	made     map[uint64]*Design
}

// NewDesigns takes validated sites that have a controller and a reservoir.
func NewDesigns(examples []*tankfile.Tank) (*Designs, error) {
	for _, s := range examples {
		if s.Controller == nil || s.TopOff.Reservoir == nil || s.TopOff.Pump == nil {
			return nil, fmt.Errorf("corpus: %s has no controller, pump and reservoir: nobody could count its litres", s.Name)
		}
	}
	if len(examples) == 0 {
		return nil, fmt.Errorf("corpus: no examples: give at least one site")
	}
	return &Designs{examples: examples, made: map[uint64]*Design{}}, nil
}

// needs is what a fault asks of a tank.
type needs struct {
	sump      bool
	noCeiling bool // and a controller that does not know of the return pump
	raised    bool // a reservoir above the tank, whose air hole matters
	measured  bool // a keeper who measures what goes into the reservoir
}

const (
	// tanksPerSet is how many tanks the tuning and the report draw from, each.
	tanksPerSet = 18
	// visitShare: a reservoir lasts so many times as long as between visits.
	visitShare = 1.8
)

// of is the design for a seed and copy.
func (d *Designs) of(seed, copy uint64, n needs) (*Design, error) {
	tank := seed % tanksPerSet
	if seed > ReportSeeds {
		tank += tanksPerSet
	}
	tank += 2 * tanksPerSet * copy
	key := tank << 4
	for i, need := range []bool{n.sump, n.noCeiling, n.raised} { // the rest changes no design
		if need {
			key |= 1 << i
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if made := d.made[key]; made != nil {
		return made, nil
	}
	made, err := d.draw(tank, n)
	if err != nil {
		return nil, err
	}
	d.made[key] = made
	return made, nil
}

// draw varies an example. What the check proposes for it is what it runs with.
func (d *Designs) draw(tank uint64, n needs) (*Design, error) {
	r := stream(tank, "design")
	example := d.examples[tank%uint64(len(d.examples))]
	for i := uint64(1); n.sump && !example.HasSump() && i <= uint64(len(d.examples)); i++ {
		example = d.examples[(tank+i)%uint64(len(d.examples))]
	}
	if n.sump && !example.HasSump() {
		return nil, fmt.Errorf("corpus: none of the examples has a sump")
	}
	s := clone(example)
	s.Name = fmt.Sprintf("%s %d", s.Name, tank+1)
	season := s.Room.Seasons[r.IntN(len(s.Room.Seasons))]
	season.Name, season.Days = "all year", 365
	season.AirC += uniform(r, -1, 1)
	season.RHFrac += uniform(r, -0.05, 0.05)
	s.Room.Seasons = []tankfile.Season{season}
	s.Display.LidFrac = min(max(s.Display.LidFrac+uniform(r, -0.2, 0.2), 0), 0.8)
	for i := range s.TopOff.Pump.Curve {
		s.TopOff.Pump.Curve[i].FlowM3S *= uniform(r, 0.7, 1.2)
	}
	s.TopOff.Watch.HysteresisM *= uniform(r, 0.8, 1.6)
	// A pump that needs longer than this for a fill leaves no room to its limit.
	if least := bandM3(s) / longestFillS; s.TopOff.Pump.Curve[0].FlowM3S < least {
		s.TopOff.Pump.Curve[0].FlowM3S = least
	}
	if s.Skimmer != nil {
		s.Skimmer.SkimmateM3Day *= uniform(r, 0.4, 1.1)
		if w := s.WaterChange; w != nil {
			// Between the skimmer, that takes salt, and water changes, that bring
			// it back, a tank settles this far below its target.
			settles := s.Water.SalinityPSU * s.Skimmer.SkimmateM3Day * w.EveryDays / w.VolumeM3
			s.Skimmer.SkimmateM3Day *= min(1, keptWithinPSU/settles)
		}
	}
	if n.noCeiling {
		s.TopOff.Ceiling, s.TopOff.ReturnSensed = nil, false
		s.Controller.ConfirmDryS = 3
		s.Overflow.PrimingHeadM = 0.008
	}
	if n.raised {
		s.TopOff.Reservoir.FloorElevationM = s.TopOff.TubeEndElevationM + 0.6
		s.TopOff.TubeHighElevationM = s.TopOff.Reservoir.FloorElevationM + s.TopOff.Reservoir.Shape.HeightM
		s.TopOff.Tube.LengthM = max(s.TopOff.Tube.LengthM, 3)
		s.TopOff.ShutoffValve = false
	}
	report, err := verify.Settle(s, units.Metric)
	if err != nil {
		return nil, fmt.Errorf("corpus: settling %s: %w", s.Name, err)
	}
	reservoir := s.TopOff.Reservoir
	v, err := reservoir.Shape.Vessel()
	if err != nil {
		return nil, fmt.Errorf("corpus: %s: %w", s.Name, err)
	}
	usableL := (v.VolumeM3(reservoir.FillHeightM) - v.VolumeM3(reservoir.PumpIntakeHeightM)) * litresPerM3
	litres := report.Water[0].Total.LitresPerDay
	return &Design{Site: s, Settings: report.Settings, SystemM3: report.Geometry.SystemM3,
		reservoirDays: usableL / litres, litresADay: litres, topOffM3S: s.TopOff.Pump.Curve[0].FlowM3S}, nil
}

const (
	litresPerM3  = 1000.0
	longestFillS = 240.0
	// keptWithinPSU is how far keepers let salinity settle from the target.
	keptWithinPSU = 0.8
)

// bandM3 is the water between the watch sensor's two levels.
func bandM3(s *tankfile.Tank) float64 {
	areaM2 := s.Display.Shape.PlanAreaM2(0) * (1 - s.Display.Shape.DisplacedFrac)
	if s.HasSump() {
		areaM2 = s.Sump.ReturnAreaM2()
	}
	return areaM2 * s.TopOff.Watch.HysteresisM
}

// clone copies what is varied here; the rest is shared and only read.
func clone(s *tankfile.Tank) *tankfile.Tank {
	c := *s
	pump, watch, reservoir, controller := *s.TopOff.Pump, *s.TopOff.Watch, *s.TopOff.Reservoir, *s.Controller
	pump.Curve = append([]tankfile.PumpPoint(nil), pump.Curve...)
	c.TopOff.Pump, c.TopOff.Watch, c.TopOff.Reservoir, c.Controller = &pump, &watch, &reservoir, &controller
	if s.Skimmer != nil {
		skimmer := *s.Skimmer
		c.Skimmer = &skimmer
	}
	if s.Overflow != nil {
		overflow := *s.Overflow
		c.Overflow = &overflow
	}
	return &c
}

// built is the tank as it stands, which no drawing gets quite right.
type built struct {
	site      *tankfile.Tank
	twin      *plant.Twin
	onset     *plant.Onset
	guard     *guard.Settings
	pumpFrac  float64 // of the drawn flow
	airFactor float64 // of the predicted evaporation
	jitterM   float64 // of the watch sensor's level
}

func (d *Design) build(seed uint64) (*built, error) {
	r := stream(seed, "as built")
	s := clone(d.Site)
	s.TopOff.Watch.HysteresisM *= uniform(r, 0.85, 1.15)
	s.Display.Shape.DisplacedFrac = min(max(s.Display.Shape.DisplacedFrac+uniform(r, -0.04, 0.04), 0), 0.5)
	b := &built{site: s, pumpFrac: uniform(r, 0.88, 1.1), airFactor: math.Exp(airFactorFrac * r.NormFloat64())}
	// People come often enough for the tank that they have.
	s.People.DaysBetweenVisits = max(math.Floor(d.reservoirDays/b.airFactor/visitShare), 1)
	g := *d.Settings.Guard
	// Nor do they leave a daily budget that healthy days spend.
	used := budgetOverUse * b.airFactor * d.litresADay / litresPerM3 / (d.topOffM3S * b.pumpFrac)
	g.DailyBudget = max(g.DailyBudget, time.Duration(used*float64(time.Second)))
	b.guard = &g
	b.jitterM = s.TopOff.Watch.HysteresisM * uniform(r, 0.02, 0.06)
	var err error
	b.twin, err = plant.Build(plant.Setup{Tank: s, Levels: d.Settings.Levels, Guard: &g, EvaporationFactor: 1})
	if err != nil {
		return nil, fmt.Errorf("corpus: building %s: %w", s.Name, err)
	}
	b.onset = b.twin.SpinUp()
	return b, nil
}

// budgetOverUse is the daily budget over a healthy day's use.
const budgetOverUse = 1.8

// airFactorFrac is how far a tank's evaporation lies from the prediction.
const airFactorFrac = 0.2

const day = 24 * time.Hour
