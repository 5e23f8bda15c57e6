package records

import (
	"io"
	"slices"
	"strings"
	"time"

	"isohaline/internal/channel"
)

// looked is how many rows a guess looks at.
const looked = 200

// Guess returns how a table is probably to be read, for a person to check. What it
// cannot tell is left open: an unknown column is ignored, and TimeFormat is empty
// where every day could also be a month. A read that fails leaves it open too; Read
// returns the error.
func Guess(in *io.SectionReader) Mapping {
	m := Mapping{Separator: ','}
	if _, p, err := look(in); p != nil || err != nil {
		return m
	}
	m.Separator = guessSeparator(in)
	rows := firstRows(in, m.Separator)
	if len(rows) == 0 {
		return m
	}
	m.Header = isHeader(rows[0])
	header := rows[0]
	if m.Header {
		rows = rows[1:]
	} else {
		header = make([]string, len(header))
	}
	m.DecimalComma = m.Separator != ',' && anyCell(rows, decimalComma)
	g := guess{&m, rows}
	for i, text := range header {
		m.Columns = append(m.Columns, g.column(i, text))
	}
	g.settleTimes()
	g.settleNamed()
	if formats := TimeFormats(in, &m); len(formats) == 1 {
		m.TimeFormat = formats[0]
	}
	return m
}

// TimeFormats returns the formats in which the fewest times of a table fail, and fewer
// than half; the mapping's own does not count. With more than one, only a person can
// say which is right. It returns none where the table or the columns with the time
// cannot be read.
func TimeFormats(in *io.SectionReader, m *Mapping) []TimeFormat {
	if _, p, err := look(in); p != nil || err != nil {
		return nil
	}
	t := &table{mapping: m}
	t.prepare()
	if t.time < 0 && t.date < 0 {
		return nil
	}
	failed := make([]int, len(timeFormats))
	err := t.rows(in, func(_ int, cells []string) {
		when, _ := t.when(cellsOf(cells))
		for i, format := range timeFormats {
			if _, _, reason := parseTime(when, format, time.UTC); reason != "" {
				failed[i]++
			}
		}
	})
	if err != nil {
		return nil
	}
	fewest := slices.Min(failed)
	var best []TimeFormat
	for i, format := range timeFormats {
		if failed[i] == fewest && 2*fewest < t.out.Rows {
			best = append(best, format)
		}
	}
	return best
}

type guess struct {
	*Mapping
	rows [][]string
}

// guessSeparator is the mark that splits the most rows into the same number of
// columns, two at least.
func guessSeparator(in *io.SectionReader) rune {
	best, bestScore := ',', 0
	for _, mark := range []rune{',', ';', '\t', '|'} {
		counts := map[int]int{}
		for _, row := range firstRows(in, mark) {
			counts[len(row)]++
		}
		for columns, n := range counts {
			if score := n * (columns - 1); columns > 1 && score > bestScore {
				best, bestScore = mark, score
			}
		}
	}
	return best
}

// firstRows are the first rows of a table, without what cannot be read.
func firstRows(in *io.SectionReader, separator rune) [][]string {
	r := newReader(in, separator)
	r.ReuseRecord = false
	var rows [][]string
	for range looked {
		cells, err := r.Read()
		if endsTable(err) {
			break
		}
		if err == nil {
			rows = append(rows, cells[:min(len(cells), MaxColumns)])
		}
	}
	return rows
}

// isHeader says whether a row has only words.
func isHeader(row []string) bool {
	for _, cell := range row {
		if _, err := parseNumber(cell); err == nil || looksLikeTime([]string{cell}) {
			return false
		}
	}
	return true
}

func anyCell(rows [][]string, is func(string) bool) bool {
	for _, row := range rows {
		for _, cell := range row {
			if is(strings.TrimSpace(cell)) {
				return true
			}
		}
	}
	return false
}

// cells are the cells of a column that have something in them.
func (g guess) cells(i int) []string {
	var out []string
	for _, row := range g.rows {
		if i < len(row) && strings.TrimSpace(row[i]) != "" {
			out = append(out, strings.TrimSpace(row[i]))
		}
	}
	return out
}

// headings are what columns are called that are of no channel.
var headings = map[string]Column{
	"time": {Use: Time}, "timestamp": {Use: Time}, "date time": {Use: Time}, "datetime": {Use: Time}, "date and time": {Use: Time}, "when": {Use: Time},
	"date": {Use: Date}, "day": {Use: Date}, "time of day": {Use: Clock}, "clock": {Use: Clock},
	"channel": {Use: Name}, "value": {Use: Number}, "unit": {Use: Unit},
}

// column guesses a column from what stands above it, or else whether it has
// times.
func (g guess) column(i int, heading string) Column {
	name, unit := splitUnit(heading)
	if c, known := headings[name]; known {
		return c
	}
	if of, known := channel.Headed(name); known {
		return Column{Use: Value, Channel: of, Unit: g.unitOf(i, of, unit)}
	}
	if looksLikeTime(g.cells(i)) {
		return Column{Use: Time}
	}
	return Column{Use: Ignore}
}

// splitUnit takes the unit in brackets off a heading, and writes the rest in
// small letters and blanks.
func splitUnit(heading string) (name, unit string) {
	name = strings.TrimSpace(heading)
	if i := strings.LastIndexAny(name, "(["); i >= 0 {
		name, unit = name[:i], strings.Trim(name[i:], "()[] ")
	}
	name = strings.Map(func(c rune) rune {
		if strings.ContainsRune("_-/.", c) {
			return ' '
		}
		return c
	}, strings.ToLower(name))
	return strings.Join(strings.Fields(name), " "), unit
}

// unitOf is the unit that a heading names. Else it is the channel's own, or the
// only other in which every value is one that the instrument can show; where
// there are several, the values are refused in the channel's own, which asks.
func (g guess) unitOf(i int, name, named string) string {
	all := channel.Units(name)
	if len(all) == 0 {
		return ""
	}
	var fit []string
	for _, unit := range all {
		if strings.EqualFold(unit, named) || strings.EqualFold(strings.TrimPrefix(unit, "°"), named) {
			return unit
		}
		if g.fits(i, name, unit) {
			fit = append(fit, unit)
		}
	}
	if len(fit) == 1 {
		return fit[0]
	}
	return all[0]
}

// fits says whether every cell of a column is a value of a channel in a unit.
func (g guess) fits(i int, name, unit string) bool {
	t := table{mapping: g.Mapping, within: Bounds{Readings: looked}}
	t.prepare()
	word := t.word(name, unit)
	for _, cell := range g.cells(i) {
		t.take(time.Time{}, word, cell, place{})
	}
	return t.problems.count == 0
}

// settleTimes finds out which of several columns say when.
func (g guess) settleTimes() {
	first := func(u Use) int { return slices.IndexFunc(g.Columns, func(c Column) bool { return c.Use == u }) }
	if day, at := first(Date), first(Time); day >= 0 && at >= 0 {
		if looksLikeTime(g.cells(at)) {
			g.Columns[day].Use = Ignore
		} else {
			g.Columns[at].Use = Clock
		}
	}
	when, clock, dated := max(first(Time), first(Date)), first(Clock), first(Date) >= 0
	for i := range g.Columns {
		switch g.Columns[i].Use {
		case Time, Date:
			if i != when {
				g.Columns[i].Use = Ignore
			}
		case Clock:
			if i != clock || !dated {
				g.Columns[i].Use = Ignore
			}
		}
	}
}

// settleNamed drops columns that would name readings where others have them.
func (g guess) settleNamed() {
	uses := map[Use]int{}
	for _, c := range g.Columns {
		uses[c.Use]++
	}
	named := uses[Name] > 0 && uses[Number] > 0
	for i, c := range g.Columns {
		switch c.Use {
		case Name, Number, Unit:
			if !named {
				g.Columns[i] = Column{Use: Ignore}
			}
		case Value:
			if named {
				g.Columns[i] = Column{Use: Ignore}
			}
		}
	}
}

// looksLikeTime says whether all of some cells are times, and nothing else. A
// number is one only if it is as long as one: of 45000 nobody knows.
func looksLikeTime(cells []string) bool {
	const leastDigits = 9
	for _, cell := range cells {
		if !slices.ContainsFunc(timeFormats, func(format TimeFormat) bool {
			_, _, reason := parseTime(cell, format, nil)
			isNumber := format == UnixSeconds || format == UnixMilliseconds || format == SpreadsheetDays
			return reason == "" && (!isNumber || format != SpreadsheetDays && len(cell) >= leastDigits)
		}) {
			return false
		}
	}
	return len(cells) > 0
}
