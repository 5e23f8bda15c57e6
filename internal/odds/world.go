package odds

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

// world is what both roads share: the faults a tank can have, how often each
// comes, and how long it stays.
type world struct {
	report *verify.Report
	trial  *verify.Trial
	tables *tables
	faults []plant.Fault
	rows   []faultRow
	stands []standing
	causes []cause
	beliefs
	skip, leftOff int // columns
	intervalH     float64
	seasonShares  []float64
	parts         []set              // by fault: those of the same part
	known         map[set]verify.Row // what the check tried, at its worst season
	rates         []Rate
}

// standing is how long a fault stays on this tank.
type standing struct {
	hidden bool // until its test, else briefH
	test   wait // proofTest or overhaul
	briefH float64
	quiet  bool // brief, and over before anybody notices
}

// shows says whether somebody comes for it.
func (s standing) shows() bool { return !s.hidden && !s.quiet }

// maxStandingH is how long at most, tests skipped aside.
func (s standing) maxStandingH(w *world) float64 {
	switch {
	case !s.hidden:
		return s.briefH
	case s.test == proofTest:
		return min(w.intervalH, lifeH)
	}
	return lifeH
}

// cause is something that comes by itself: one fault, or several that share it.
type cause struct {
	hits set
	// Its rate is its column's value times factor.
	column int
	factor float64
}

func (c *cause) rate(values []float64) float64 { return values[c.column] * c.factor }

// newWorld classifies a tank's faults and gives them their rates.
func newWorld(r *verify.Report, o Options) (*world, error) {
	s := r.Tank
	w := &world{report: r, faults: plant.FaultsOf(s), known: map[set]verify.Row{}, beliefs: beliefs{byName: map[string]int{}}}
	if err := w.check(); err != nil {
		return nil, err
	}
	var err error
	if w.tables, err = readTables(); err != nil {
		return nil, err
	}
	w.intervalH = s.People.ProofTestDays * hoursADay
	w.note(r.Singles)
	w.note(r.Pairs)
	for _, season := range s.Room.Seasons {
		w.seasonShares = append(w.seasonShares, season.Days/reliability.DaysPerYear)
	}
	own, err := given(statedRates(s, o), w.faults)
	if err != nil {
		return nil, err
	}
	if err := w.rateAll(s, own, reasons(s, o)); err != nil {
		return nil, err
	}
	if err := w.shareStated(s.CommonCauses); err != nil {
		return nil, err
	}
	if w.skip, w.leftOff, err = w.habits(w.tables, o.Habits); err != nil {
		return nil, err
	}
	w.trial, err = r.Trial()
	return w, err
}

const hoursADay = 24

// check refuses what no frequency can be had for.
func (w *world) check() error {
	r := w.report
	switch {
	case len(w.faults) > maxFaults:
		return refuse("faults", "leave some out of the catalogue", "%d, more than %d", len(w.faults), maxFaults)
	case r.AsBuilt.Class >= plant.Danger:
		return refuse("tank", "mend the design first, as the check says", "it does harm with nothing wrong, so there is no counting how often")
	case len(r.Pairs) == 0 && len(r.Singles) > 1:
		return refuse("report", "run the check with pairs", "only single faults were tried")
	case !(r.Tank.People.ProofTestDays*hoursADay >= 1):
		return refuse("people.proof test every", "give the days between two tests, 30 for monthly",
			"%v days is not an interval between proof tests", r.Tank.People.ProofTestDays)
	}
	return nil
}

func (w *world) index(id string) int {
	for i, f := range w.faults {
		if f.ID == id {
			return i
		}
	}
	return -1
}

func (w *world) setOfRow(row *verify.Row) set {
	var s set
	for _, f := range row.Faults {
		s = s.with(w.index(f.ID))
	}
	return s
}

func (w *world) note(rows []verify.Row) {
	for i := range rows {
		w.known[w.setOfRow(&rows[i])] = rows[i]
	}
}

// rateAll gives every fault its row, its standing and its cause.
func (w *world) rateAll(s *tankfile.Tank, own map[string]column, because map[string]string) error {
	columns, factors := make([]int, len(w.faults)), make([]float64, len(w.faults))
	for i, f := range w.faults {
		var part set
		for j, g := range w.faults {
			if f.Unit == g.Unit {
				part = part.with(j)
			}
		}
		w.parts = append(w.parts, part)
		row, ok := w.tables.faults[f.ID]
		if !ok {
			return refuse("faults.csv", "add it", "fault %s has no row", f.ID)
		}
		w.rows = append(w.rows, row)
		w.stands = append(w.stands, w.standingOf(i))
		r, ok := w.tables.ranges[rangeOf(s, row)]
		if !ok {
			return refuse("ranges.csv", "add it", "fault %s has no range %q", f.ID, rangeOf(s, row))
		}
		if c, isOwn := own[f.ID]; isOwn {
			columns[i], factors[i] = w.add(c), 1
			r.why = cmp.Or(because[f.ID], "given for this tank")
		} else {
			var err error
			if columns[i], err = w.of(r, 0); err != nil {
				return err
			}
			factors[i] = row.share
		}
		w.rates = append(w.rates, w.printed(i, columns[i], factors[i], own, r))
		w.causes = append(w.causes, cause{setOf(i), columns[i], factors[i]})
	}
	w.shareCauses(own)
	return nil
}

// standingOf lets the twin decide: what shows nothing, or what nobody finds,
// waits for its test.
func (w *world) standingOf(i int) standing {
	row, f := w.known[setOf(i)], w.rows[i]
	foundH := row.FoundAfter.Hours()
	if row.Unnoticed || row.FoundBy == verify.Nobody {
		if f.waits != passes {
			return standing{hidden: true, test: f.waits}
		}
		return standing{briefH: f.passesH, quiet: true}
	}
	if f.waits == passes {
		return standing{briefH: min(f.passesH, foundH)}
	}
	return standing{briefH: foundH}
}

// shareCauses takes from the members of a common cause what they share. Where
// the twin has a fault for it, that is the cause; else one is made that hits
// every member at the rate of the rarest: a cause of both cannot be more
// frequent than the failures of either.
func (w *world) shareCauses(own map[string]column) {
	for _, name := range slices.Sorted(maps.Keys(w.tables.causes)) {
		common := w.tables.causes[name]
		var members []int
		for i := range w.faults {
			if w.rows[i].cause == name {
				members = append(members, i)
			}
		}
		together := w.index(common.fault)
		if len(members) < 2 || common.fault != "" && together < 0 {
			continue
		}
		shared := w.takeShared(members, common.beta)
		if together < 0 {
			w.causes = append(w.causes, shared)
			continue
		}
		if _, isOwn := own[common.fault]; !isOwn {
			w.causes[together].column, w.causes[together].factor = shared.column, shared.factor
			rate := &w.rates[together]
			rate.MeanPerYear = perYear(shared.rate(w.means()))
			rate.LowPerYear = perYear(w.columns[shared.column].quantile(lowEnd) * shared.factor)
			rate.HighPerYear = perYear(w.columns[shared.column].quantile(highEnd) * shared.factor)
		}
	}
}

// takeShared takes a share from each of some faults, and makes of it one cause
// that brings them all, at the rate of the rarest.
func (w *world) takeShared(members []int, share float64) cause {
	rarest := members[0]
	var hits set
	for _, m := range members {
		if w.causes[m].rate(w.means()) < w.causes[rarest].rate(w.means()) {
			rarest = m
		}
		hits = hits.with(m)
	}
	shared := w.causes[rarest]
	shared.hits = hits
	shared.factor *= share
	for _, m := range members {
		w.causes[m].factor *= 1 - share
	}
	return shared
}

// shareStated makes the common causes of the tank file. Of a fault that is in
// several, each takes its share of what the others leave.
func (w *world) shareStated(causes []tankfile.CommonCause) error {
	for i := range causes {
		c := &causes[i]
		place := "common cause " + c.What
		var members []int
		for _, id := range c.FaultIDs() {
			at := w.index(id)
			switch {
			case at < 0:
				return refuse(place, "name faults that this tank can have; the check lists them", "%q is not one of them", id)
			case slices.ContainsFunc(members, func(m int) bool { return w.clash(m, at) }):
				return refuse(place, "name one fault of a part", "%q is of the same part as another of them", id)
			}
			members = append(members, at)
		}
		if len(members) < 2 {
			return refuse(place, "name what it brings together, with commas between", "%s is not two faults", strings.Join(c.FaultIDs(), ", "))
		}
		w.causes = append(w.causes, w.takeShared(members, c.ShareFrac))
	}
	return nil
}

// The ends of a band that holds 90 %.
const lowEnd, highEnd = 0.05, 0.95

func (w *world) printed(i, col int, factor float64, own map[string]column, r rangeRow) Rate {
	f, stands, c := w.faults[i], w.stands[i], w.columns[col]
	rate := Rate{Fault: f.ID, Words: f.Words, Sources: r.sources, Why: r.why,
		MeanPerYear: perYear(c.mean() * factor), LowPerYear: perYear(c.quantile(lowEnd) * factor), HighPerYear: perYear(c.quantile(highEnd) * factor),
		Hidden: stands.hidden, StandsH: stands.briefH}
	if _, isOwn := own[f.ID]; isOwn {
		rate.Given, rate.Sources = true, nil
	}
	if stands.hidden {
		rate.FoundBy = [...]string{proofTest: "proof test", overhaul: "yearly overhaul"}[stands.test]
	}
	return rate
}

// clash says whether two faults are of one part, so that they exclude each
// other.
func (w *world) clash(i, j int) bool { return w.parts[i].has(j) }

// faultsOf are the faults of a set, in the catalogue's order.
func (w *world) faultsOf(s set) []plant.Fault {
	out := make([]plant.Fault, 0, s.size())
	s.each(func(i int) { out = append(out, w.faults[i]) })
	return out
}

// allHidden says whether every fault of a set waits for a test.
func (w *world) allHidden(s set) bool {
	hidden := true
	s.each(func(i int) { hidden = hidden && w.stands[i].hidden })
	return hidden
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
