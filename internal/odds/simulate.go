package odds

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"sync"

	"isohaline/internal/verify"
)

// Simulation says how to live through tank-years.
type Simulation struct {
	Options
	// Years to have lived in all, rounded up to whole blocks of BlockYears.
	Years int
	// Bias makes the faults that matter arrive oftener, by about this many
	// arrivals a year in all, and weighs what happens down again: rare harm in
	// less time. 0: not at all.
	Bias float64
	// From goes on where a run with the same tank, options and bias stopped.
	From Tally
	// Progress, if set, is told how many of how many years are done, and Keep is
	// handed what is counted so far, to go on From; neither from two goroutines at
	// once. An error of Keep stops the simulation.
	Progress func(done, total int)
	Keep     func(Tally) error
}

const (
	// DefaultBias suits harm that is to be expected once in ten to ten thousand
	// years.
	DefaultBias = 2.0
	// BlockYears are lived on one stream of random numbers.
	BlockYears = 250
	// maxYears and maxBias keep a slip from running for days, or from weights
	// that spread over more than a million to one.
	maxYears = 100_000_000
	maxBias  = 10.0
)

// Tally is the state of a simulation: hand it back to go on. However many
// cores and however many stops, the same seed gives the same tally.
type Tally struct {
	Blocks int
	// Sum and Square add up each year's weighted harms and their squares.
	Sum, Square [harmCount]float64
	// Unforeseen is the part of Sum by faults that contain no combination the
	// tree knows; Averted is what the tree counts as harm and the twin, with
	// everything that stood at the time, does not.
	Unforeseen, Averted [harmCount]float64
	// Unsettled is the part of the Danger in Sum by meetings that the twin could
	// not finish: they count as harm.
	Unsettled float64
}

// Years lived.
func (t *Tally) Years() int { return t.Blocks * BlockYears }

func (t *Tally) add(u *Tally) {
	t.Blocks += u.Blocks
	t.Unsettled += u.Unsettled
	for k := range harmCount {
		t.Sum[k] += u.Sum[k]
		t.Square[k] += u.Square[k]
		t.Unforeseen[k] += u.Unforeseen[k]
		t.Averted[k] += u.Averted[k]
	}
}

// PerYear is the simulated frequency and its standard error.
func (t *Tally) PerYear(kind Harm) (mean, standardError float64) {
	n := float64(t.Years())
	if n == 0 {
		return 0, math.Inf(1)
	}
	mean = t.Sum[kind] / n
	return mean, math.Sqrt(max(0, t.Square[kind]/n-mean*mean) / n)
}

// EffectiveYears is how many tank-years without bias would give the same
// standard error; 0 where no harm came.
func (t *Tally) EffectiveYears(kind Harm) float64 {
	mean, e := t.PerYear(kind)
	if e == 0 {
		return 0
	}
	return mean / (e * e)
}

// Simulate lives through tank-years with the twin and the real controller. Each
// year goes from an overhaul to the next; faults arrive at the same rates as in
// Estimate, at their means, and stay until they pass, until somebody comes, or
// until a test that is done finds them. When one arrives, the twin says what it
// does together with all that stands. After harm everything is put right.
//
// A context that ends stops it between blocks: the tally so far is returned
// with the error.
func Simulate(ctx context.Context, r *verify.Report, o Simulation) (Tally, error) {
	if o.Years < 1 || o.Years > maxYears {
		return o.From, refuse("Years", fmt.Sprintf("ask for 1 to %d", maxYears), "%d tank-years", o.Years)
	}
	if !(o.Bias >= 0 && o.Bias <= maxBias) {
		return o.From, refuse("Bias", fmt.Sprintf("give 0 to %v arrivals a year", maxBias), "%v is out of range", o.Bias)
	}
	f, err := plantForest(ctx, r, o.Options)
	if err != nil {
		return o.From, err
	}
	return newSimulation(f, o.Bias).run(ctx, o)
}

// simulation is what every life shares.
type simulation struct {
	w      *world
	memory *memory
	// The causes' biased rates: their sum, how it divides, and the true rate
	// over the biased.
	totalPerHour, excessPerHour float64
	cumulative, ratios          []float64
	skip                        float64
	barriers                    set // what a test may leave off
	ownOff, togetherOff, anyOff float64
	minimal                     [harmCount][][]*combination // by season
}

func newSimulation(f *forest, bias float64) *simulation {
	w := f.w
	values := w.means()
	s := &simulation{w: w, memory: newMemory(w), skip: values[w.skip],
		ownOff: values[w.leftOff] * (1 - leftOffTogether), togetherOff: values[w.leftOff] * leftOffTogether}
	var matter set
	for kind := range harmCount {
		for season := range w.seasonShares {
			combos := minimal(f.combos, season, kind)
			s.minimal[kind] = append(s.minimal[kind], combos)
			for _, c := range combos {
				matter |= c.set
			}
		}
	}
	least := bias / float64(max(1, matter.size())) / lifeH
	for i := range w.causes {
		rate := w.causes[i].rate(values)
		biased := rate
		if rate > 0 && !matter.disjoint(w.causes[i].hits) {
			biased = max(rate, least)
		}
		s.totalPerHour += biased
		s.excessPerHour += biased - rate
		s.cumulative = append(s.cumulative, s.totalPerHour)
		s.ratios = append(s.ratios, rate/biased)
	}
	for i, row := range w.rows {
		if row.leftOff && w.stands[i].hidden {
			s.barriers = s.barriers.with(i)
		}
	}
	if s.barriers != 0 {
		s.anyOff = either(s.togetherOff, 1-math.Pow(1-s.ownOff, float64(s.barriers.size())))
	}
	return s
}

// pick draws which cause arrives.
func (s *simulation) pick(random *rand.Rand) int {
	u := random.Float64() * s.totalPerHour
	return min(sort.Search(len(s.cumulative), func(i int) bool { return s.cumulative[i] > u }), len(s.cumulative)-1)
}

// forecast is what the tree says of faults that have just met.
type forecast struct {
	any   bool // they contain a combination that it knows ...
	found bool // ... which the new ones complete upon hidden failures
}

func (s *simulation) foreseen(season int, kind Harm, all, fresh set) forecast {
	var out forecast
	for _, c := range s.minimal[kind][season] {
		if all.contains(c.set) {
			out.any = true
			if !c.set.disjoint(fresh) && s.w.allHidden(c.set&^fresh) {
				out.found = true
			}
		}
	}
	return out
}

// run lives block by block, on every core, and adds the blocks up in order: what
// is done without a gap counts, also when it is stopped.
func (s *simulation) run(ctx context.Context, o Simulation) (Tally, error) {
	total, first := o.From, o.From.Blocks
	blocks := (o.Years + BlockYears - 1) / BlockYears
	todo := blocks - first
	if todo <= 0 {
		return total, nil
	}
	var mu sync.Mutex
	done, lived := map[int]*Tally{}, first
	err := runParallel(ctx, todo, func(i int) error {
		t, err := s.block(o.Seed, first+i)
		if err != nil {
			return err
		}
		mu.Lock()
		defer mu.Unlock()
		lived++
		if o.Progress != nil {
			o.Progress(lived*BlockYears, blocks*BlockYears)
		}
		done[first+i] = t
		before := total.Blocks
		for next := done[total.Blocks]; next != nil; next = done[total.Blocks] {
			delete(done, total.Blocks)
			total.add(next)
		}
		if o.Keep != nil && total.Blocks > before {
			return o.Keep(total)
		}
		return nil
	})
	return total, err
}

func (s *simulation) block(seed uint64, number int) (*Tally, error) {
	t := &Tally{Blocks: 1}
	l := &life{sim: s, tally: t, random: rand.New(rand.NewPCG(seed, uint64(number)))}
	for range BlockYears {
		if err := l.live(); err != nil {
			return nil, err
		}
		for k, y := range l.year {
			t.Sum[k] += y
			t.Square[k] += y * y
		}
	}
	return t, nil
}

// Agreement is the two roads side by side.
type Agreement struct {
	Harm                         Harm
	Tree, Simulated, StandardErr float64
	// Sigmas is how far apart they are, in standard errors.
	Sigmas float64
	Agrees bool
	// Unforeseen and Averted, a year: see Tally.
	Unforeseen, Averted float64
	Sentence            string
}

// agreeSigmas: two roads to one number are further apart than this once in 370
// comparisons, by chance.
const agreeSigmas = 3

// Compare sets a simulation beside the answer of the same tank and options.
func Compare(a *Answer, t Tally) [harmCount]Agreement {
	var out [harmCount]Agreement
	years := float64(max(1, t.Years()))
	for kind := range harmCount {
		g := Agreement{Harm: kind, Tree: a.Harms[kind].PerYear, Unforeseen: t.Unforeseen[kind] / years, Averted: t.Averted[kind] / years}
		g.Simulated, g.StandardErr = t.PerYear(kind)
		if d := math.Abs(g.Tree - g.Simulated); d > 0 {
			g.Sigmas = d / g.StandardErr
		}
		// Where no harm came, the tree must expect none, or too little to see.
		const unseen = 5.9 // expected harms that fail to come once in 370 times
		g.Agrees = g.Sigmas <= agreeSigmas || t.Sum[kind] == 0 && g.Tree*years < unseen
		g.Sentence = g.sentence()
		out[kind] = g
	}
	return out
}

func (g *Agreement) sentence() string {
	numbers := fmt.Sprintf("%s: the tree says %.3g a year, %.3g ± %.2g were lived", capitalised(g.Harm.String()), g.Tree, g.Simulated, g.StandardErr)
	if g.Agrees {
		return numbers + "; they agree."
	}
	return fmt.Sprintf("%s; they do not agree. By combinations that the tree does not know: %.2g a year; counted by the tree and averted by what else stood: %.2g a year; the rest is faults that meet in another order or for another time than the tree takes them to.",
		numbers, g.Unforeseen, g.Averted)
}
