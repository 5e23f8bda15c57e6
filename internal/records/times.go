package records

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// TimeFormat is the order in which a table writes times.
type TimeFormat string

const (
	// ISO 8601, with T or a blank between day and time.
	YearMonthDay TimeFormat = "year-month-day"
	DayMonthYear TimeFormat = "day-month-year"
	MonthDayYear TimeFormat = "month-day-year"
	// Since 1970-01-01T00:00Z.
	UnixSeconds      TimeFormat = "unix-seconds"
	UnixMilliseconds TimeFormat = "unix-milliseconds"
	// Days and parts of days as spreadsheets count them, so that 1 is the first
	// of January 1900: ECMA-376 part 1, section 18.17.4.1, the 1900 date base.
	SpreadsheetDays TimeFormat = "spreadsheet-days"
)

var timeFormats = []TimeFormat{YearMonthDay, DayMonthYear, MonthDayYear, UnixSeconds, UnixMilliseconds, SpreadsheetDays}

// The years that are believed: nobody has records of such a tank from before,
// and a wrong format shows by them.
const firstYear, lastYear = 2000, 2199

// moment is a time as it stands in a table, before anybody says where.
type moment struct {
	year, month, day     int
	hour, minute, second int
	nanosecond           int
	offsetKnown          bool
	offset               time.Duration
}

// parseTime reads a time. The reason is empty if it can be read. zoned says that
// the text itself says of which zone it is.
func parseTime(text string, format TimeFormat, zone *time.Location) (t time.Time, zoned bool, reason string) {
	if zone == nil {
		zone = time.UTC
	}
	var m moment
	switch format {
	case UnixSeconds, UnixMilliseconds:
		t, reason = parseUnix(text, format)
		return t, true, reason
	case SpreadsheetDays:
		if reason = m.readDays(text); reason != "" {
			return t, false, reason
		}
	default:
		text = strings.TrimSpace(text)
		day, rest := text, ""
		if i := strings.IndexAny(text, "T "); i >= 0 {
			day, rest = text[:i], text[i+1:]
		}
		if !m.readDay(day, format) {
			return t, false, "is no time of the form " + string(format)
		}
		if rest = strings.TrimSpace(rest); rest != "" && !m.readClock(rest) {
			return t, false, "has no time of day that can be read"
		}
	}
	if m.offsetKnown {
		zone = time.FixedZone("", int(m.offset/time.Second))
	}
	t, reason = m.in(zone)
	return t, m.offsetKnown, reason
}

// in is the time that a moment is in a zone.
func (m *moment) in(zone *time.Location) (t time.Time, reason string) {
	if m.year < firstYear || m.year > lastYear {
		return t, "is no year of a record"
	}
	t = time.Date(m.year, time.Month(m.month), m.day, m.hour, m.minute, m.second, m.nanosecond, zone)
	if !m.shows(t) || t.Day() != m.day || t.Month() != time.Month(m.month) {
		return t, "does not exist there: the day is not in the calendar, or clocks were put forward over it"
	}
	// Clocks are put back by an hour at most places, by half of one at others.
	for _, back := range []time.Duration{time.Hour, -time.Hour, time.Hour / 2, -time.Hour / 2} {
		if m.shows(t.Add(back)) {
			return t, "is two times there: clocks were put back over it"
		}
	}
	return t.UTC().Round(time.Microsecond), ""
}

// shows says whether clocks show the moment's time of day at a time.
func (m *moment) shows(t time.Time) bool { return t.Hour() == m.hour && t.Minute() == m.minute }

// readDays reads the days of a spreadsheet.
func (m *moment) readDays(text string) (reason string) {
	x, err := parseNumber(text)
	if err != nil {
		return "is no number of days"
	}
	// Within these, days count from 30 December 1899: the leap day that
	// spreadsheets give 1900 lies before.
	const first, last = 36_526, 109_574 // of firstYear, of lastYear
	if !(x >= first && x < last+1) {
		return "is no year of a record"
	}
	const dayMilliseconds = 86_400_000
	t := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(x)).
		Add(time.Duration(math.Round((x-math.Floor(x))*dayMilliseconds)) * time.Millisecond)
	m.year, m.month, m.day = t.Year(), int(t.Month()), t.Day()
	m.hour, m.minute, m.second, m.nanosecond = t.Hour(), t.Minute(), t.Second(), t.Nanosecond()
	return ""
}

func parseUnix(text string, format TimeFormat) (t time.Time, reason string) {
	x, err := parseNumber(text)
	if err != nil {
		return t, "is no number of seconds since 1970"
	}
	if format == UnixMilliseconds {
		x /= 1000
	}
	first, last := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(lastYear+1, 1, 1, 0, 0, 0, 0, time.UTC)
	if !(x >= float64(first.Unix()) && x < float64(last.Unix())) {
		return t, "is no year of a record"
	}
	return time.UnixMicro(int64(math.Round(x * 1e6))).UTC(), ""
}

// parseNumber reads a plain decimal number, with a point or a comma.
func parseNumber(text string) (float64, error) {
	text = strings.Replace(strings.TrimSpace(text), ",", ".", 1)
	if strings.Trim(text, "0123456789.-") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(text, 64)
}

// readDay reads three numbers with the same mark between them.
func (m *moment) readDay(text string, format TimeFormat) bool {
	i := strings.IndexAny(text, "-./")
	if i < 0 {
		return false
	}
	parts := strings.Split(strings.TrimSuffix(text, "."), text[i:i+1])
	if len(parts) != 3 {
		return false
	}
	order := map[TimeFormat][3]*int{
		YearMonthDay: {&m.year, &m.month, &m.day}, DayMonthYear: {&m.day, &m.month, &m.year}, MonthDayYear: {&m.month, &m.day, &m.year},
	}[format]
	for i, part := range parts {
		const year = 4
		n, ok := digits(part, 1, year)
		if !ok || order[i] == nil || (order[i] == &m.year) != (len(part) == year) {
			return false
		}
		*order[i] = n
	}
	return true
}

// readClock reads hh:mm, hh:mm:ss or hh:mm:ss.fraction, perhaps with AM or PM,
// perhaps with Z, UTC or an offset.
func (m *moment) readClock(text string) bool {
	text = strings.ToUpper(text)
	if rest, ok := strings.CutSuffix(text, "UTC"); ok {
		text, m.offsetKnown = strings.TrimSpace(rest), true
	} else if rest, ok := strings.CutSuffix(text, "Z"); ok {
		text, m.offsetKnown = strings.TrimSpace(rest), true
	} else if i := strings.LastIndexAny(text, "+-"); i > 0 {
		if !m.readOffset(text[i:]) {
			return false
		}
		text = strings.TrimSpace(text[:i])
	}
	half := -1 // of the day, 0 or 1
	for i, word := range []string{"AM", "PM"} {
		if rest, ok := strings.CutSuffix(text, word); ok {
			text, half = strings.TrimSpace(rest), i
		}
	}
	text, fraction, hasFraction := strings.Cut(text, ".")
	if !hasFraction {
		text, fraction, hasFraction = strings.Cut(text, ",")
	}
	parts := strings.Split(text, ":")
	if len(parts) < 2 || len(parts) > 3 || hasFraction && len(parts) != 3 {
		return false
	}
	for i, to := range []*int{&m.hour, &m.minute, &m.second}[:len(parts)] {
		n, ok := digits(parts[i], 1, 2)
		if !ok || n > []int{23, 59, 59}[i] {
			return false
		}
		*to = n
	}
	if half >= 0 {
		const noon = 12
		if m.hour < 1 || m.hour > noon {
			return false
		}
		m.hour = m.hour%noon + half*noon
	}
	if hasFraction {
		const nano = 9
		n, ok := digits((fraction + "000000000")[:nano], nano, nano)
		if !ok || len(fraction) > nano || fraction == "" {
			return false
		}
		m.nanosecond = n
	}
	return true
}

// readOffset reads +hh:mm, +hhmm or +hh.
func (m *moment) readOffset(text string) bool {
	sign := time.Duration(1)
	if text[0] == '-' {
		sign = -1
	}
	text = strings.Replace(text[1:], ":", "", 1)
	if len(text) == 2 {
		text += "00"
	}
	n, ok := digits(text, 4, 4)
	const mostHours = 15
	if !ok || n%100 > 59 || n/100 > mostHours {
		return false
	}
	m.offsetKnown = true
	m.offset = sign * (time.Duration(n/100)*time.Hour + time.Duration(n%100)*time.Minute)
	return true
}

// digits reads a number of so many digits and nothing else.
func digits(text string, least, most int) (int, bool) {
	if len(text) < least || len(text) > most {
		return 0, false
	}
	n := 0
	for _, c := range []byte(text) {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + int(c-'0')
	}
	return n, true
}
