package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"isohaline/internal/plant"
	"isohaline/internal/verify"
)

// TextOptions say how a terminal report looks.
type TextOptions struct {
	// Width is the terminal's; it is brought into 60 to 140 columns.
	Width int
	// Colour marks headings, levels and what needs a person with ANSI codes.
	// Everything is also said in words or numbers.
	Colour bool
	// PairRows is how many of the worst pairs are listed.
	PairRows int
}

// Widths a report is made for. Beyond the widest, lines are too long to read.
const (
	narrowest = 60
	widest    = 140
)

// Text writes the report for a terminal; likely may be nil.
func Text(w io.Writer, r *verify.Report, likely *Odds, o TextOptions) error {
	buffered := bufio.NewWriter(w)
	t := &terminal{w: buffered, width: min(max(o.Width, narrowest), widest), colour: o.Colour}
	c := contentOf(r, likely, max(o.PairRows, 0))
	t.verdict(c)
	t.changes(c)
	t.levels(c)
	t.settings(c)
	t.water(c)
	t.singles(c)
	t.pairs(c)
	t.likely(c.Likely)
	t.closing(c)
	if err := buffered.Flush(); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	return nil
}

func (t *terminal) verdict(c *content) {
	t.line(styled{strong, c.Title})
	if c.Place != "" {
		t.line(plainly(c.Place))
	}
	t.blank()
	mark := styled{strong, strings.ToUpper(c.Headline) + "  "}
	if !c.Accepted {
		mark.style = person
	}
	t.hanging(mark, c.Because)
	for _, p := range c.Problems {
		if p == c.Because {
			continue
		}
		t.hanging(styled{person, "  !  "}, p)
	}
	if c.Expected != "" {
		t.blank()
		t.indented(0, expectedName+": "+c.Expected+". An estimate, no promise: see “How likely”.")
	}
	if c.Likely != nil && c.Likely.Safe != "" {
		t.indented(0, safeWords)
	}
}

func (t *terminal) changes(c *content) {
	if c.ChangeWords == "" {
		return
	}
	t.heading("What to change")
	t.indented(0, c.ChangeWords)
	for i, change := range c.Changes {
		t.hanging(styled{strong, fmt.Sprintf("%2d  ", i+1)}, capitalise(change.Words)+".")
		if len(change.Buys) > 0 {
			t.indented(4, "Mends: "+strings.Join(change.Buys, "; ")+".")
		}
	}
	if len(c.Left) > 0 {
		t.hanging(styled{person, "  !  "}, "Not mended: "+strings.Join(c.Left, "; ")+".")
	}
}

// levels draws the return chamber as a staff: heights on the left, what they
// are on the right, volumes between.
func (t *terminal) levels(c *content) {
	t.heading("Heights at the sensors, above the " + c.Chamber + "’s floor")
	values := 0
	for _, l := range c.Levels {
		if !l.Between {
			values = max(values, cells(l.Value))
		}
	}
	for i, l := range c.Levels {
		joint := "┼"
		switch i {
		case 0:
			joint = "┬"
		case len(c.Levels) - 1:
			joint = "┴"
		}
		switch {
		case l.Name == "spills":
			t.line(plainly(strings.Repeat(" ", values+4)), styled{person, "↑ " + l.Name + ": " + l.Value})
		case l.Between:
			t.line(plainly(strings.Repeat(" ", values+3)), styled{water, "│"}, plainly("   "+l.Name+": "+l.Value))
		default:
			t.line(plainly("  "+right(l.Value, values)+" "), styled{water, joint + "─"}, plainly(" "+l.Name))
		}
	}
	t.blank()
	rows := make([][]string, 0, len(c.Flows))
	for _, f := range c.Flows {
		rows = append(rows, []string{f.Name, f.Value, f.Why})
	}
	t.table(rows)
}

func (t *terminal) settings(c *content) {
	if len(c.Settings) == 0 {
		return
	}
	t.heading("Settings, and why")
	rows := make([][]string, 0, len(c.Settings))
	for _, s := range c.Settings {
		reason := s.Reason
		if s.Given {
			reason = "(from the tank file) " + reason
		}
		rows = append(rows, []string{s.Name, s.Value, reason})
	}
	t.table(rows)
}

func (t *terminal) water(c *content) {
	t.heading("Water lost to the air")
	t.indented(0, c.WaterWords)
	for _, w := range c.Water {
		words := fmt.Sprintf("%s (%s days, air %s): %s, from %s to %s; %s of the water a day.", w.Name, w.Days, w.Air, w.Mid, w.Low, w.High, w.Share)
		if w.Condensing {
			words += " Here the air is so humid that some water condenses into the tank."
		}
		t.hanging(plainly("  "), words)
	}
}

// singles lists what a person would notice; the rest shares a paragraph.
func (t *terminal) singles(c *content) {
	t.heading(fmt.Sprintf("Every fault alone, the worst first (%d)", len(c.Singles)+len(c.Unnoticed)))
	t.line(plainly(counts(c.Counts)))
	t.blank()
	t.row(c.AsBuilt)
	for _, l := range c.Singles {
		t.row(l)
	}
	if len(c.Unnoticed) > 0 {
		t.hanging(plainly("    "), unnoticedWords+strings.Join(c.Unnoticed, ", ")+".")
	}
}

// row is one row of faults: the class, the sentence, and a line of evidence.
func (t *terminal) row(l line) {
	t.hanging(t.classMark(l.Class), l.Sentence)
	if l.Class == int(plant.NoHarm) && l.AloneClass == int(plant.NoHarm) {
		return
	}
	parts := []string{l.ClassWords}
	if l.HarmAfter != "" {
		parts[0] += " " + l.HarmAfter
	}
	if l.Near != "" {
		parts = append(parts, l.Near)
	}
	if l.Where != nowhere {
		parts = append(parts, l.Where)
	}
	alone := fmt.Sprintf("if nobody came: class %d", l.AloneClass)
	if l.AloneAfter != "" {
		alone += " " + l.AloneAfter
	}
	parts = append(parts, alone)
	t.indentedSoft(4, strings.Join(parts, " · "))
}

func (t *terminal) classMark(class int) styled {
	s := styled{strong, fmt.Sprintf(" %d  ", class)}
	if class >= int(plant.Danger) {
		s.style = person
	}
	return s
}

func counts(n [classes]int) string {
	var parts []string
	for class := classes - 1; class >= 0; class-- {
		parts = append(parts, fmt.Sprintf("class %d: %d", class, n[class]))
	}
	return strings.Join(parts, ", ")
}

func (t *terminal) pairs(c *content) {
	total := 0
	for _, n := range c.Pairs {
		total += n
	}
	if total == 0 {
		return
	}
	t.heading(fmt.Sprintf("Faults in pairs (%d)", total))
	t.line(plainly(counts(c.Pairs)))
	if len(c.WorstPairs) == 0 {
		return
	}
	t.blank()
	for _, l := range c.WorstPairs {
		t.row(l)
	}
	if rest := total - len(c.WorstPairs); rest > 0 {
		t.indentedSoft(4, fmt.Sprintf("and %d more, none worse", rest))
	}
}

// likely is the section on odds.
func (t *terminal) likely(l *Likely) {
	if l == nil {
		return
	}
	t.heading("How likely")
	if l.Refused != "" {
		t.indented(0, l.Refused)
		return
	}
	for _, words := range l.Lead {
		t.indented(0, words)
	}
	if l.Safe != "" {
		t.blank()
		t.indented(0, l.Safe)
	}
	t.blank()
	var rows [][]string
	for _, h := range l.Harms {
		why := h.Ways
		if h.Band != "" {
			why = "90 % band: " + h.Band + "; " + h.Ways
		}
		rows = append(rows, []string{h.Name, h.Expected, why})
	}
	t.table(rows)
	t.indentedSoft(2, seriousWords)
	if len(l.Dominating) > 0 {
		t.blank()
		t.indented(0, "What leads to serious harm most often, and why:")
		for i, d := range l.Dominating {
			t.hanging(styled{strong, fmt.Sprintf("%2d  ", i+1)}, d.Share+" of it. "+d.Harm)
			t.indentedSoft(4, d.Why)
		}
	}
	t.testing(l)
	t.changesTried(l.Changes)
	if len(l.Lived) > 0 {
		t.blank()
		t.indented(0, "The same by living through tank-years:")
		for _, words := range l.Lived {
			t.hanging(plainly("  –  "), words)
		}
	}
	t.blank()
	for _, words := range l.Notes {
		t.hanging(plainly("  –  "), words)
	}
	t.hanging(plainly("  –  "), fmt.Sprintf("The %d rates behind it, each with its range and what it rests on, are on the page (--html) and in --json.", len(l.Rates)))
}

// testing draws the frequency against the test interval as bars, where there is
// room for them.
func (t *terminal) testing(l *Likely) {
	t.blank()
	t.indented(0, "What the proof test buys: "+l.Testing)
	t.indentedSoft(2, "Serious harm, expected and with its 90 % band:")
	names, values, bands := 0, 0, 0
	for _, i := range l.Intervals {
		names, values, bands = max(names, cells(i.Name)), max(values, cells(i.Expected)), max(bands, cells(i.Band))
	}
	const gap, longest, shortest = 2, 30, 4
	room := min(longest, t.width-names-values-bands-4*gap)
	for _, i := range l.Intervals {
		row := []styled{plainly("  " + left(i.Name, names+gap)), {strong, left(i.Expected, values+gap)}, {soft, i.Band}}
		if room >= shortest {
			row[len(row)-1].text = left(i.Band, bands+gap)
			row = append(row, styled{water, strings.Repeat("█", max(1, int(math.Round(i.Frac*float64(room)))))})
		}
		t.line(row...)
	}
}

func (t *terminal) changesTried(c *ChangesInWords) {
	if c == nil {
		return
	}
	t.blank()
	t.indented(0, "What each change would take away: "+c.Words)
	for i, change := range c.List {
		t.hanging(styled{strong, fmt.Sprintf("%2d  ", i+1)}, strings.TrimSpace(change.Words+" "+change.Verdict))
		t.indentedSoft(4, "name: "+change.ID)
	}
	if len(c.Idle) > 0 {
		t.hanging(plainly("    "), "Priced, but takes away less than a hundredth: "+strings.Join(c.Idle, ", ")+".")
	}
}

func (t *terminal) closing(c *content) {
	t.heading("Cautions")
	for _, words := range c.Cautions {
		t.hanging(styled{person, "  !  "}, words)
	}
	t.heading("How this was found, and how far to trust it")
	for _, words := range append(c.Method, c.Limits...) {
		t.hanging(plainly("  –  "), words)
	}
}
