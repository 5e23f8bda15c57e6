package report

import (
	"fmt"
	"math"
	"strings"
	"time"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// content is everything a report says, in the reader's units and in order.
type content struct {
	Title, Place      string
	Accepted          bool
	Headline, Because string
	Problems          []string
	Short             []fact // the answer at a glance
	Changes           []verify.Change
	ChangeWords       string   // what the changes do together; empty: none are needed
	Left              []string // what they do not mend
	Settings          []verify.Setting
	Tests             []test
	Levels            []level
	Chamber           string // what they are heights in
	Flows             []fact
	Water             []seasonLine
	WaterWords        string
	AsBuilt           line
	Singles           []line
	Unnoticed         []string // faults alone that change nothing anybody would notice
	Counts, Pairs     [classes]int
	WorstPairs        []line
	Likely            *Likely // nil: not asked for
	Expected          string  // how often serious harm is; empty: not known
	Cautions          []string
	Method, Limits    []string
	Sources           []string
}

const classes = int(plant.Loss) + 1

// fact is a number, its name, and why it matters.
type fact struct{ Name, Value, Why string }

// level is a height in the return chamber, or a volume between two.
type level struct {
	Name, Value string
	// Between two heights: a volume.
	Between bool
}

// test is one thing to try before the tank is left alone.
type test struct{ Do, Expect string }

// seasonLine is one season's loss.
type seasonLine struct {
	Name, Days, Air, Low, Mid, High, Share string
	Condensing                             bool
}

// line is one row of faults.
type line struct {
	ID         string
	Class      int
	ClassWords string
	Sentence   string
	Season     string
	Where      string
	HarmAfter  string
	StoppedBy  string
	// If nobody came.
	AloneClass int
	AloneAfter string
	// Near is how far a milder row is on its way to class 3, if it is far.
	Near string
}

// unnoticedWords begin the list of such faults.
const unnoticedWords = "Nothing changes that anybody would notice with: "

func contentOf(r *verify.Report, o *Odds, pairRows int) *content {
	s, u := r.Tank, r.Units
	c := &content{
		Title: s.Name, Place: s.Place, Accepted: r.Verdict.Accepted, Because: r.Verdict.Because,
		Problems: r.Geometry.Problems, Changes: r.Changes, Left: r.Left, Settings: r.Settings.Items,
		Tests: tests(r), Levels: levels(r), Chamber: chamberName(s), Flows: flows(r), AsBuilt: lineOf(r, &r.AsBuilt),
		Cautions: cautions(s), Method: method(r), Limits: limits(s, u), Sources: sources(s),
		Likely: LikelyOf(r, o), Expected: expected(o),
	}
	if o != nil && o.Answer != nil {
		c.Method = append(c.Method, oddsMethod)
		c.Sources = append(c.Sources, oddsSources)
	}
	c.Headline = "Not accepted"
	if c.Accepted {
		c.Headline = "Accepted"
	}
	for i := range r.Singles {
		row := &r.Singles[i]
		c.Counts[row.Class]++
		if row.Unnoticed {
			c.Unnoticed = append(c.Unnoticed, shortName(row.ID()))
		} else {
			c.Singles = append(c.Singles, lineOf(r, row))
		}
	}
	for i := range r.Pairs {
		if i < pairRows {
			c.WorstPairs = append(c.WorstPairs, lineOf(r, &r.Pairs[i]))
		}
		c.Pairs[r.Pairs[i].Class]++
	}
	c.water(r)
	c.Short = short(r)
	if c.Expected != "" {
		c.Short = append(c.Short, fact{Name: expectedName, Value: c.Expected})
	}
	c.ChangeWords = changeWords(r)
	return c
}

// changeWords introduce the changes.
func changeWords(r *verify.Report) string {
	switch {
	case r.Verdict.Accepted:
		return ""
	case len(r.Changes) == 0:
		return "No change was found that would mend this. It needs another design."
	case len(r.Left) > 0:
		return "These changes help, but they do not make the design acceptable. Each was checked like the tank itself, in this order."
	}
	return "The fewest changes that were found to make the design acceptable. Each was checked like the tank itself, in this order."
}

// short is the answer at a glance: what to set, what it can bear.
func short(r *verify.Report) []fact {
	var out []fact
	for _, item := range r.Settings.Items {
		switch item.ID {
		case "watch", "ceiling", "fill", "run-hard-cap", "daily-budget":
			out = append(out, fact{Name: item.Name, Value: item.Value})
		}
	}
	for _, f := range sectionFacts(r) {
		out = append(out, fact{Name: f.Name, Value: f.Value})
	}
	out = append(out, fact{Name: "Single faults at class 3 or worse", Value: fmt.Sprintf("%d of %d", r.Verdict.Failing, len(r.Singles))})
	if len(r.Pairs) > 0 {
		out = append(out, fact{Name: "Pairs at class 3 or worse", Value: fmt.Sprintf("%d of %d", r.Verdict.PairsFailing, len(r.Pairs))})
	}
	return out
}

func (c *content) water(r *verify.Report) {
	u := r.Units
	daily := func(litresPerDay float64) string { return u.DailyVolume(litresPerDay * litre) }
	low, high := math.Inf(1), 0.0
	for _, w := range r.Water {
		low, high = min(low, w.Total.LowLitresPerDay), max(high, w.Total.HighLitresPerDay)
		c.Water = append(c.Water, seasonLine{
			Name: w.Season.Name, Days: fmt.Sprintf("%.0f", w.Season.Days),
			Air: u.Temp(w.Season.AirC) + ", " + u.Percent(w.Season.RHFrac),
			Low: daily(w.Total.LowLitresPerDay), Mid: daily(w.Total.LitresPerDay), High: daily(w.Total.HighLitresPerDay),
			Share: u.Percent(w.FracDay), Condensing: w.Total.Condensing,
		})
	}
	c.WaterWords = fmt.Sprintf("Between %s and %s, by season. ", daily(low), daily(high))
	if r.Tank.Room.MeasuredLitresPerDay > 0 {
		c.WaterWords += fmt.Sprintf("The band is narrow because this tank’s own record, %s, calibrates it.", daily(r.Tank.Room.MeasuredLitresPerDay))
	} else {
		c.WaterWords += "The band is as wide as such formulas err on a real tank; a few weeks of this tank’s own top-off record narrow it."
	}
}

// litre in m3, exact: SI Brochure, 9th edition, table 8.
const litre = 1e-3

func lineOf(r *verify.Report, row *verify.Row) line {
	u := r.Units
	l := line{
		ID: row.ID(), Class: int(row.Class), ClassWords: row.Class.String(), Sentence: row.Sentence, Season: row.Season,
		Where: where(r, &row.Outcome), StoppedBy: string(row.StoppedBy), AloneClass: int(row.Unattended),
	}
	if row.Class > plant.NoHarm {
		l.HarmAfter = after(u, row.HarmAfter)
	}
	if row.Unattended > plant.NoHarm {
		l.AloneAfter = after(u, row.AloneAfter)
	}
	if row.Class < plant.Danger && row.OfDanger >= nearDangerShare {
		l.Near = fmt.Sprintf("%.0f %% of the way to class 3", 100*row.OfDanger)
	}
	return l
}

// nearDangerShare is the share of the way to class 3 from which a row says so.
const nearDangerShare = 0.5

// after words a time since the fault began.
func after(u units.System, d time.Duration) string {
	switch {
	case d == plant.NotReached:
		return "never"
	case d < time.Second:
		return "at once"
	}
	return "after " + u.Duration(d.Seconds())
}

// Least amounts worth naming a place for: a cupful on the floor, a pump dry for
// a minute.
const (
	noticedM3  = 0.05e-3
	noticedDry = time.Minute
)

// nowhere is the place of a fault that no place feels.
const nowhere = "nowhere"

// where names the places a fault is felt.
func where(r *verify.Report, o *plant.Outcome) string {
	var places []string
	for from, m3 := range o.FloorM3 {
		if m3 >= noticedM3 {
			places = append(places, fmt.Sprintf("floor, from the %s: %s", plant.Origin(from), r.Units.Volume(m3)))
		}
	}
	target, l := r.Tank.Water.SalinityPSU, &r.Tank.Limits
	salty := o.LowPSU <= target-l.SalinityOffPSU[0] || o.HighPSU >= target+l.SalinityOffPSU[0] || o.HourPSU >= l.SalinityHourPSU[0]
	if salty || burns(r.Tank, o) {
		places = append(places, "tank water")
	}
	if o.ReturnDry >= noticedDry {
		places = append(places, "return pump")
	}
	if o.PumpDry >= noticedDry {
		places = append(places, "top-off pump")
	}
	if len(places) == 0 {
		return nowhere
	}
	return strings.Join(places, "; ")
}

// burns says whether alkalinity or pH come to class 1 or further.
func burns(s *tankfile.Tank, o *plant.Outcome) bool {
	const first = plant.Nuisance - 1
	target := s.Water.AlkalinityDKH
	return max(target-o.LowDKH, o.HighDKH-target) >= plant.AlkalinityOffDKH[first] || o.DayDKH >= plant.AlkalinityDayDKH[first] ||
		o.HighPH >= plant.HighPH[first] || o.LowPH <= plant.LowPH[first]
}

// levels are the heights where the sensors are, from the rim down.
func levels(r *verify.Report) []level {
	g, u, s := &r.Geometry, r.Units, r.Tank
	var out []level
	height := func(name string, m float64) {
		if !math.IsNaN(m) {
			out = append(out, level{Name: name, Value: u.Length(m)})
		}
	}
	volume := func(name string, m3, m float64) {
		if !math.IsNaN(m3 + m) {
			out = append(out, level{Name: name, Value: u.Volume(m3) + ", " + u.Length(m), Between: true})
		}
	}
	height("rim", g.RimM)
	if g.MarginM3 < 0 {
		out = append(out, level{Name: "spills", Value: u.Volume(-g.MarginM3), Between: true})
	} else {
		volume("margin", g.MarginM3, g.MarginM)
	}
	if s.HasSump() {
		height("after drain-down", g.RestM)
		volume("drain-down", g.DrainDownM3(), g.RestM-g.HighestM)
	}
	height("highest fill", g.HighestM)
	height("ceiling level", g.CeilingM)
	if s.TopOff.Watch != nil {
		height("watch level", g.WatchM)
	}
	if f := s.TopOff.FloatValve; f != nil {
		height("float valve shuts", f.ShutElevationM)
	}
	if s.HasSump() {
		height("dip at a restart", g.WatchM-g.DipM)
		height("pump draws air", g.IntakeM)
	}
	return append(out, level{Name: "floor of the " + chamberName(s), Value: "0"})
}

func chamberName(s *tankfile.Tank) string {
	if s.HasSump() {
		return "return chamber"
	}
	return "tank"
}

// flows is the proof of where the water goes, in numbers.
func flows(r *verify.Report) []fact {
	g, u, s := &r.Geometry, r.Units, r.Tank
	var out []fact
	add := func(name, value, why string) {
		if !strings.Contains(value, units.Unknown) {
			out = append(out, fact{name, value, why})
		}
	}
	add("Water in the system", u.Volume(g.SystemM3), "display and sump, running")
	if s.HasSump() {
		add("Return flow", u.Flow(g.ReturnFlowM3S), "the pump’s curve against its line and lift")
		add("Head over the crest", u.Length(g.EdgeHeadM), "how much higher than the crest the display runs at that flow")
		add("Drains over the crest", u.Volume(g.OverEdgeM3), "when the return pump stops")
		add("Siphons back", u.Volume(g.SiphonM3), "through the return line until it takes air")
		add("Empties from the line", u.Volume(g.LineM3), "the return line’s own water")
		add("Drain-down", u.Volume(g.DrainDownM3()), "all that comes down when the return pump stops")
	}
	if g.MarginM3 < 0 {
		add("Spills", u.Volume(-g.MarginM3), "over the rim, from the highest level the top-off can leave")
	} else {
		add("Margin after that", u.Volume(g.MarginM3)+", "+u.Length(g.MarginM), "left below the rim, from the highest level the top-off can leave")
	}
	if s.HasSump() {
		add("Dip at a restart", u.Length(g.DipM), "until the display has refilled; "+u.Length(g.IntakeClearM)+" then stand above the pump’s intake")
		add("Reserve in the chamber", u.Volume(g.ChamberReserveM3), "from its usual level down to where the return pump draws air")
	}
	add("Room in the display", u.Volume(g.DisplaySpareM3), "between its running level and its rim, should its drain clog")
	add("Fits before it spills", u.Volume(g.DumpSpillsM3), "fresh water at once on top of the usual level, drain-down included")
	add("Bearable dilution", u.Volume(g.DumpSalinityM3), "fresh water at once that moves salinity to the edge of class 3")
	smaller := "the smaller of these two"
	if s.TopOff.Reservoir.LimeStrength() > 0 {
		add("Bearable lime water", u.Volume(g.DumpLimeM3), "at once that moves alkalinity or pH to the edge of class 3")
		smaller = "the smallest of these three"
	}
	add("May safely enter at once", u.Volume(g.DumpSafeM3), smaller+": the largest inherently safe reservoir")
	if o := &r.AsBuilt.Outcome; o.HighDKH > 0 {
		add("Alkalinity as built", fmt.Sprintf("%.2f to %.2f dKH", o.LowDKH, o.HighDKH), fmt.Sprintf("with nothing wrong; it moves by %s within a day", u.Alkalinity(o.DayDKH)))
		add("pH as built", fmt.Sprintf("%.2f to %.2f", o.LowPH, o.HighPH), fmt.Sprintf("total scale, at %.0f ppm of carbon dioxide in the room; light moves it by some tenths between day and night", s.Room.CO2PPM))
	}
	return out
}
