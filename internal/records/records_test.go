package records_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/channel"
	"isohaline/internal/records"
)

// now is later than every time in the tables.
var now = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)

var bounds = records.Until(now, 1000)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// of reads a table of one reading, a level in metres, at a time.
func of(t *testing.T, when string, format records.TimeFormat, z *time.Location) *records.Table {
	m := &records.Mapping{Separator: ';', TimeFormat: format, Zone: z,
		Columns: []records.Column{{Use: records.Time}, {Use: records.Value, Channel: channel.Level}}}
	return read(t, when+";0.2\n", m, bounds)
}

// TestTimes: each form, each way to say a zone. The expected times are ISO 8601
// in UTC. Offsets of places are those of the IANA time zone database: Berlin put
// its clocks forward on 29 March 2026 at 01:00 UTC and back on 25 October at 01:00
// UTC (directive 2000/84/EC: last Sundays of March and October). The days of
// spreadsheets are from memory: 45292 is 1 January 2024; ECMA-376 has 1 for
// 1 January 1900.
func TestTimes(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	for _, row := range []struct {
		when   string
		format records.TimeFormat
		zone   *time.Location
		want   string
	}{
		{"2026-03-04T05:06:07Z", records.YearMonthDay, berlin, "2026-03-04T05:06:07Z"},
		{"2026-03-04 05:06", records.YearMonthDay, nil, "2026-03-04T05:06:00Z"},
		{"2026-03-04 05:06", records.YearMonthDay, berlin, "2026-03-04T04:06:00Z"},
		{"2026-07-04 05:06", records.YearMonthDay, berlin, "2026-07-04T03:06:00Z"},
		{"2026-03-04 05:06:07.123456 UTC", records.YearMonthDay, berlin, "2026-03-04T05:06:07.123456Z"},
		{"2026-03-04T05:06:07+05:30", records.YearMonthDay, berlin, "2026-03-03T23:36:07Z"},
		{"2026-03-04T05:06:07-0330", records.YearMonthDay, berlin, "2026-03-04T08:36:07Z"},
		{"2026/3/4 5:06 PM", records.YearMonthDay, nil, "2026-03-04T17:06:00Z"},
		{"3/4/2026 12:06 am", records.MonthDayYear, nil, "2026-03-04T00:06:00Z"},
		{"3/4/2026 12:06 pm", records.DayMonthYear, nil, "2026-04-03T12:06:00Z"},
		{"04.03.2026 05:06:07,5", records.DayMonthYear, nil, "2026-03-04T05:06:07.5Z"},
		{"04.03.2026", records.DayMonthYear, berlin, "2026-03-03T23:00:00Z"},
		{"1772600767", records.UnixSeconds, berlin, "2026-03-04T05:06:07Z"},
		{"1772600767.25", records.UnixSeconds, nil, "2026-03-04T05:06:07.25Z"},
		{"1772600767250", records.UnixMilliseconds, nil, "2026-03-04T05:06:07.25Z"},
		{"45292", records.SpreadsheetDays, nil, "2024-01-01T00:00:00Z"},
		{"45292,75", records.SpreadsheetDays, nil, "2024-01-01T18:00:00Z"},
		{"45292.0416666667", records.SpreadsheetDays, berlin, "2024-01-01T00:00:00Z"},
		{"2026-10-25 01:59", records.YearMonthDay, berlin, "2026-10-24T23:59:00Z"},
		{"2026-10-25 03:00", records.YearMonthDay, berlin, "2026-10-25T02:00:00Z"},
		{"2026-10-25T02:30+01:00", records.YearMonthDay, berlin, "2026-10-25T01:30:00Z"},

		{"2026-10-25 02:30", records.YearMonthDay, berlin, "is two times there"},
		{"2026-03-29 02:30", records.YearMonthDay, berlin, "does not exist there"},
		{"2026-02-29", records.YearMonthDay, nil, "does not exist there"},
		{"29/02/2026", records.MonthDayYear, nil, "does not exist there"},
		{"1969-12-31", records.YearMonthDay, nil, "no year of a record"},
		{"26-03-04", records.YearMonthDay, nil, "no time of the form"},
		{"04/03/2026", records.YearMonthDay, nil, "no time of the form"},
		{"2026-03-04 25:00", records.YearMonthDay, nil, "no time of day"},
		{"2026-03-04 13:00 pm", records.YearMonthDay, nil, "no time of day"},
		{"0x69A7B93F", records.UnixSeconds, nil, "no number of seconds"},
		{"NaN", records.UnixSeconds, nil, "no number of seconds"},
		{"1", records.SpreadsheetDays, nil, "no year of a record"},
		{"", records.YearMonthDay, nil, "no time of the form"},
		{"2031-01-01", records.YearMonthDay, nil, "has not come yet"},
	} {
		got := of(t, row.when, row.format, row.zone)
		if at, err := time.Parse(time.RFC3339Nano, row.want); err == nil {
			if got.Readings.Len() != 1 || !one(&got.Readings).At.Equal(at) {
				t.Errorf("%q as %s in %v: got %v, want %v", row.when, row.format, row.zone, got.Readings, row.want)
			}
			continue
		}
		if len(got.Problems) != 1 || !strings.Contains(got.Problems[0].Why, row.want) || got.Problems[0].Fix == "" || got.Problems[0].Row != 1 || got.Problems[0].Column != 1 {
			t.Errorf("%q as %s in %v: got %v %+v, want a problem with %q", row.when, row.format, row.zone, got.Readings, got.Problems, row.want)
		}
	}
}

// TestGuess: what loggers and spreadsheets write is recognised, and read.
func TestGuess(t *testing.T) {
	type reading struct {
		At, Channel string
		Value       float64
	}
	for _, row := range []struct {
		name, table string
		want        []reading
		format      records.TimeFormat
	}{
		{"commas, a unit in brackets",
			"Time,Water level (mm),Temp [°F]\n2026-03-04T05:00Z,312,77\n",
			[]reading{{"2026-03-04T05:00:00Z", "level", 0.312}, {"2026-03-04T05:00:00Z", "temperature", 25}}, records.YearMonthDay},
		{"semicolons, decimal commas, a byte order mark",
			"\ufeffDatum;Zeit;Salinity\n", nil, ""},
		{"semicolons, decimal commas, day first",
			"\ufeffDate;Time;Salinity;Note\n31.03.2026;05:00;35,1;calibrated\n01.04.2026;05:10;35,2;\n",
			[]reading{{"2026-03-31T05:00:00Z", "salinity", 35.1}, {"2026-04-01T05:10:00Z", "salinity", 35.2}}, records.DayMonthYear},
		{"tabs, month first, twelve hours",
			"timestamp\twater temp\n3/31/2026 5:00 PM\t25.5\n",
			[]reading{{"2026-03-31T17:00:00Z", "temperature", 25.5}}, records.MonthDayYear},
		{"quoted fields",
			"\"time\",\"level\",\"note\"\n\"2026-03-04 05:00\",\"0.25\",\"a, \"\"b\"\"\nc\"\n",
			[]reading{{"2026-03-04T05:00:00Z", "level", 0.25}}, records.YearMonthDay},
		{"one reading a row",
			"time,channel,value,unit\n2026-03-04T05:00Z,watch,1,\n2026-03-04T05:01Z,level,31,cm\n",
			[]reading{{"2026-03-04T05:00:00Z", "watch", 1}, {"2026-03-04T05:01:00Z", "level", 0.31}}, records.YearMonthDay},
		{"a column of seconds since 1970, no more",
			"when,pump\n1772600767,on\n", []reading{{"2026-03-04T05:06:07Z", "pump", 1}}, records.UnixSeconds},
		{"days of a spreadsheet", "Date,level\n45292.5,0.2\n",
			[]reading{{"2024-01-01T12:00:00Z", "level", 0.2}}, records.SpreadsheetDays},
		{"a day that could be a month", "time,level\n04/05/2026 10:00,0.2\n", nil, ""},
	} {
		m := records.Guess(in(row.table))
		if m.TimeFormat != row.format {
			t.Errorf("%s: the times are guessed as %q, want %q", row.name, m.TimeFormat, row.format)
		}
		var got []reading
		for r := range read(t, row.table, &m, bounds).Readings.All() {
			got = append(got, reading{r.At.Format(time.RFC3339Nano), r.Channel, r.Value})
		}
		if d := cmp.Diff(row.want, got); d != "" {
			t.Errorf("%s: guessed %+v (-want +got):\n%s", row.name, m, d)
		}
	}
}

// TestAmbiguousTimesAreAsked: both orders are offered, and neither is taken.
func TestAmbiguousTimesAreAsked(t *testing.T) {
	table := []byte("time,level\n04/05/2026 10:00,0.2\n05/05/2026 10:00,0.2\n")
	m := records.Guess(in(table))
	if got := records.TimeFormats(in(table), &m); !cmp.Equal(got, []records.TimeFormat{records.DayMonthYear, records.MonthDayYear}) {
		t.Errorf("the forms to choose from are %v", got)
	}
	got := read(t, table, &m, bounds)
	if got.Readings.Len() != 0 || len(got.Problems) != 1 || !strings.Contains(got.Problems[0].Error(), "order day, month and year") || len(got.First) != 3 {
		t.Errorf("it was not asked: %+v", got)
	}
	// One day late in the table settles it, also beyond the first rows.
	long := string(table) + strings.Repeat("05/05/2026 11:00,0.2\n", 500) + "31/05/2026 10:00,0.2\n"
	if m := records.Guess(in(long)); m.TimeFormat != records.DayMonthYear {
		t.Errorf("the 31st settles nothing: %q", m.TimeFormat)
	}
}

// TestUnitsAreNotGuessedWildly: with several units that all fit, the values are
// refused in the channel's own, so that somebody looks.
func TestUnitsAreNotGuessedWildly(t *testing.T) {
	table := []byte("time,level,temp\n2026-03-04T05:00Z,312,78\n")
	m := records.Guess(in(table))
	got := read(t, table, &m, bounds)
	if got.Readings.Len() != 1 || one(&got.Readings).Channel != channel.WaterTemp || len(got.Problems) != 1 || got.Problems[0].Column != 2 {
		t.Errorf("read %v, problems %v", got.Readings, got.Problems)
	}
}

// TestProblemsSayWhere: a bad cell is named with its row, column, value and fix,
// and the good ones beside it are read.
func TestProblemsSayWhere(t *testing.T) {
	table := "time,level (mm),watch,note\n" + // row 1
		"2026-03-04T05:00Z,200,wet,fine\n" +
		"2026-03-04T05:01Z,lots,1,\n" + // row 3
		"2026-03-04T05:02Z,99999,1,\n" +
		"yesterday,200,1,\n" + // row 5
		"2026-03-04T05:04Z,\"20,5\",2,\n" +
		"\n" +
		"2026-03-04T05:05Z,2\"0,1,\n" + // row 8
		"2026-03-04T05:00Z,201,1,twice\n" +
		"2026-03-04T05:06Z,,0\n" + // shorter, and without a level
		"2026-03-04T05:07Z,+3,0,=1+1\n"
	m := records.Guess(in(table))
	got := read(t, table, &m, bounds)
	want := []string{
		`row 3: column 2 (level (mm)): "lots" is no number; send digits with a point, like 24.8`,
		`row 4: column 2 (level (mm)): "99999" cannot be: this channel has -1 to 10 m; check the sensor, or correct the channel's range`,
		`row 5: column 1 (time): "yesterday" is no time of the form year-month-day; see whether the order of day and month, and the time zone, are right, or correct it`,
		`row 6: column 2 (level (mm)): "20,5" is no number; say that the table has decimal commas`,
		`row 6: column 3 (watch): "2" is no state of a switch; send 1 or 0, on or off, true or false, wet or dry`,
		`row 8: has a quotation mark where none can be; put the cell in quotation marks, and double those within it`,
		`row 9: column 2 (level (mm)): "0.201" is another value for the same time as in row 2; remove one of them`,
	}
	var said []string
	for _, p := range got.Problems {
		said = append(said, p.Error())
	}
	if d := cmp.Diff(want, said); d != "" {
		t.Errorf("problems (-want +got):\n%s", d)
	}
	if got.ProblemCount != len(want) || got.Readings.Len() != 7 || got.Rows != 9 {
		t.Errorf("%d problems, %d readings, %d rows: %v", got.ProblemCount, got.Readings.Len(), got.Rows, got.Readings)
	}
}

// TestMappingsAreChecked: a mapping that cannot be read by says why.
func TestMappingsAreChecked(t *testing.T) {
	when, level := records.Column{Use: records.Time}, records.Column{Use: records.Value, Channel: channel.Level}
	for _, row := range []struct {
		change func(*records.Mapping)
		want   string
	}{
		{func(m *records.Mapping) {}, ""},
		{func(m *records.Mapping) { m.Separator = '"' }, "no separator"},
		{func(m *records.Mapping) { m.TimeFormat = "" }, "in which order"},
		{func(m *records.Mapping) { m.TimeFormat = "stardate" }, "no format of times"},
		{func(m *records.Mapping) { m.Columns = m.Columns[:1] }, "no column has readings"},
		{func(m *records.Mapping) { m.Columns = m.Columns[1:] }, "no column says when"},
		{func(m *records.Mapping) { m.Columns = append(m.Columns, when) }, "is there twice"},
		{func(m *records.Mapping) { m.Columns = append(m.Columns, level) }, "is column 2 already"},
		{func(m *records.Mapping) { m.Columns[1].Unit = "kg" }, "use m, cm, in, mm"},
		{func(m *records.Mapping) { m.Columns[1].Channel = "mood" }, "the channels are alkalinity"},
		{func(m *records.Mapping) { m.Columns[1].Use = "magic" }, "is no use"},
		{func(m *records.Mapping) { m.Columns = append(m.Columns, records.Column{Use: records.Date}) }, "two columns say when"},
		{func(m *records.Mapping) { m.Columns[0].Use = records.Clock }, "has no day"},
		{func(m *records.Mapping) { m.Columns = append(m.Columns, records.Column{Use: records.Name}) }, "the one or the other"},
		{func(m *records.Mapping) { m.Columns[1].Use = records.Number }, "channel and value is missing"},
		{func(m *records.Mapping) { m.Columns = make([]records.Column, 201) }, "too many"},
	} {
		m := records.Mapping{Separator: ',', TimeFormat: records.YearMonthDay, Columns: []records.Column{when, level}}
		row.change(&m)
		table := read(t, []byte("2026-03-04,0.2\n"), &m, bounds)
		if row.want == "" {
			if table.Readings.Len() != 1 || table.ProblemCount != 0 {
				t.Errorf("a good mapping gives %+v", table)
			}
			continue
		}
		text := ""
		for _, p := range table.Problems {
			text += p.Error() + "\n"
		}
		if !strings.Contains(text, row.want) || table.Readings.Len() != 0 {
			t.Errorf("want %q, got %q and %d readings", row.want, text, table.Readings.Len())
		}
	}
}

// TestNoTable: what is no table at all is one problem.
func TestNoTable(t *testing.T) {
	m := records.Mapping{Separator: ',', TimeFormat: records.YearMonthDay, Columns: []records.Column{{Use: records.Time}, {Use: records.Value, Channel: channel.Level}}}
	for what, data := range map[string]string{"nothing": "", "a mark alone": "\ufeff \n", "Latin-1": "time;temp \xb0C\n", "an archive": "PK\x03\x04\x00\x00"} {
		if got := read(t, data, &m, bounds); got.ProblemCount != 1 || got.Problems[0].Fix == "" || got.Readings.Len() != 0 {
			t.Errorf("%s: %+v", what, got)
		}
		records.Guess(in(data)) // must end
	}
}

// TestBounds: beyond the number asked for nothing is taken, and it is said once.
func TestBounds(t *testing.T) {
	m := records.Mapping{Separator: ',', TimeFormat: records.UnixSeconds, Columns: []records.Column{{Use: records.Time}, {Use: records.Value, Channel: channel.Level}}}
	var table strings.Builder
	for i := range 20 {
		fmt.Fprintf(&table, "%d,0.2\n", 1_772_600_000+i)
	}
	got := read(t, table.String(), &m, records.Until(now, 5))
	if got.Readings.Len() != 5 || got.ProblemCount != 1 || got.Problems[0].Row != 6 {
		t.Errorf("%d readings, problems %v", got.Readings.Len(), got.Problems)
	}
}

// TestLines: what a device sends, kept line by line. The first is RFC 8428's own
// form of base values.
func TestLines(t *testing.T) {
	text := `[{"bn":"lobby/sump-1/","bt":1772600767,"n":"level","u":"mm","v":312},{"n":"temperature","t":60,"u":"Cel","v":25.1}]
{"n":"watch","t":1772600700,"vb":true}

[{"n":"level","u":"V","v":3,"t":1772600767}]
[{"n":"level","u":"m","v":0.2}]
{"n":"level","u":"m","v":0.2,"t":7772600767}
nonsense
{"n":"level","u":"m","v":0.2,"t":1772600767}
`
	if !records.IsLines(in(text)) || records.IsLines(in("time,level\n")) {
		t.Error("lines and tables are taken for each other")
	}
	got := readLines(t, text, bounds)
	var channels []string
	for r := range got.Readings.All() {
		channels = append(channels, r.Channel)
	}
	if d := cmp.Diff([]string{"watch", "level", "temperature"}, channels); d != "" {
		t.Errorf("readings (-want +got):\n%s", d)
	}
	want := []string{"wrong unit of row 4", "no time in row 5", "a time that cannot be in row 6", "no SenML in row 7", "another value in row 8"}
	if len(got.Problems) != len(want) {
		t.Fatalf("%d problems, want %v: %v", len(got.Problems), want, got.Problems)
	}
	for i, p := range got.Problems {
		if p.Row != i+4 || p.Why == "" || p.Fix == "" {
			t.Errorf("want %s, got %v", want[i], p)
		}
	}
}
