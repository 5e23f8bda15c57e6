package api

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"isohaline/internal/channel"
	"isohaline/internal/problem"
	"isohaline/internal/records"
	"isohaline/internal/server/monitor"
	"isohaline/internal/wire"
)

// ImportColumn says what one column of a table means.
type ImportColumn struct {
	Column  int    `json:"column" minimum:"1" doc:"from 1"`
	Header  string `json:"header,omitempty" doc:"what stands above it"`
	Use     string `json:"use" enum:"ignore,time,date,clock,value,name,number,unit" doc:"time: when; date and clock: when, in two columns; value: readings of the channel in the unit; name, number, unit: one reading a row, with its channel's name, its value and, if there is such a column, its unit"`
	Channel string `json:"channel,omitempty" doc:"of a value"`
	Unit    string `json:"unit,omitempty" doc:"of a value, one of the channel's"`
}

// ImportMapping says how a table is read.
type ImportMapping struct {
	Separator    string         `json:"separator" enum:"comma,semicolon,tab,bar"`
	Header       bool           `json:"header" doc:"the first row is one"`
	DecimalComma bool           `json:"decimalComma" doc:"12,5 is twelve and a half"`
	TimeFormat   string         `json:"timeFormat,omitempty" enum:"year-month-day,day-month-year,month-day-year,unix-seconds,unix-milliseconds,spreadsheet-days" doc:"spreadsheet-days: days since the end of 1899, as spreadsheets count them; absent in a preview: the times can be read in several ways, and a person has to say in which"`
	Zone         string         `json:"zone" example:"Europe/Berlin" maxLength:"64" doc:"of times that do not say theirs, by its IANA name; empty: UTC"`
	Columns      []ImportColumn `json:"columns" maxItems:"200" doc:"columns that are not here are ignored"`
}

// ImportProblem is one cell or row that cannot be imported.
type ImportProblem struct {
	Row    int    `json:"row" doc:"as a spreadsheet counts, from 1, the header included"`
	Column int    `json:"column,omitempty" doc:"from 1; absent: the whole row"`
	Header string `json:"header,omitempty" doc:"what stands above the column"`
	Value  string `json:"value,omitempty" doc:"what stands there"`
	Reason string `json:"reason" example:"is above 50 °C"`
	Fix    string `json:"fix,omitempty"`
}

// ImportPreview is a table as it would be imported.
type ImportPreview struct {
	Mapping      ImportMapping   `json:"mapping" doc:"as asked for, or as guessed"`
	Rows         int             `json:"rows" doc:"without the header"`
	FirstRows    [][]string      `json:"firstRows" doc:"as they stand, the header included"`
	FirstRead    []ImportReading `json:"firstRead" doc:"the readings of the first rows, as they would be imported"`
	TimeFormats  []string        `json:"timeFormats" doc:"in which the times can all be read; with several a person has to choose"`
	ZoneMatters  bool            `json:"zoneMatters" doc:"some times do not say their zone"`
	Readings     int             `json:"readings" doc:"how many would be imported"`
	From         *time.Time      `json:"from,omitempty" doc:"the time of the first of them"`
	To           *time.Time      `json:"to,omitempty" doc:"the time of the last"`
	Problems     []ImportProblem `json:"problems" doc:"the first of them"`
	ProblemCount int             `json:"problemCount"`
	Channels     []ImportChannel `json:"channels" doc:"what columns may mean"`
}

// ImportReading is one reading as it would be imported.
type ImportReading struct {
	Row     int       `json:"row" doc:"as a spreadsheet counts"`
	At      time.Time `json:"at"`
	Channel string    `json:"channel"`
	Value   float64   `json:"value" doc:"in the unit; 1 or 0 of a contact"`
	Unit    string    `json:"unit" doc:"the channel's own; empty for a contact"`
}

// ImportChannel is a channel that a column may be.
type ImportChannel struct {
	ID      string   `json:"id" example:"level"`
	Contact bool     `json:"contact" doc:"its values are like 1 and 0, on and off, wet and dry"`
	Units   []string `json:"units" doc:"the first is its own; none for a contact"`
}

// ImportResult is what was imported, and what was not.
type ImportResult struct {
	Readings     int             `json:"readings" doc:"how many are new, and kept"`
	Repeated     int             `json:"repeated" doc:"how many the tank had already, under the same time and channel"`
	TooOld       int             `json:"tooOld" doc:"how many are from before the time that readings are kept for"`
	From         *time.Time      `json:"from,omitempty"`
	To           *time.Time      `json:"to,omitempty"`
	DeviceID     string          `json:"deviceId" doc:"the device that they are listed under"`
	Problems     []ImportProblem `json:"problems" doc:"what was left out; the first of them"`
	ProblemCount int             `json:"problemCount" doc:"how many cells or rows were left out"`
	Account      bool            `json:"account" doc:"there were new readings, and the account has worked through the tank's records again, each at its own time"`
}

type previewImportIn struct {
	TankIn
	RawBody huma.MultipartFormFiles[struct {
		File    huma.FormFile `form:"file" contentType:"text/csv,text/plain" required:"true" doc:"the table, in UTF-8, at most 10 MB"`
		Mapping string        `form:"mapping" required:"false" maxLength:"65536" doc:"an ImportMapping as JSON; absent: guess"`
	}]
}

type importIn struct {
	TankIn
	RawBody huma.MultipartFormFiles[struct {
		File    huma.FormFile `form:"file" contentType:"text/csv,text/plain" required:"true" doc:"the table, in UTF-8, at most 10 MB"`
		Mapping string        `form:"mapping" required:"true" maxLength:"65536" doc:"an ImportMapping as JSON"`
	}]
}

func (a *API) previewImport(ctx context.Context, in *previewImportIn) (*reply[ImportPreview], error) {
	form := in.RawBody.Data()
	table, err := tableOf(form.File)
	if err != nil {
		return nil, err
	}
	m := records.Guess(table)
	siteID, _ := a.monitor.SiteOfTank(in.Tank)
	zone := a.monitor.Plan(siteID).Zone
	if form.Mapping != "" {
		if m, zone, err = mappingOf(form.Mapping); err != nil {
			return nil, err
		}
	} else if m.Zone, err = time.LoadLocation(zone); err != nil {
		return nil, err
	}
	t, err := records.Read(table, &m, records.Until(a.now(), mostImported))
	if err != nil {
		return nil, err
	}
	from, to := span(&t.Readings)
	out := ImportPreview{
		Mapping: showMapping(&m, zone, t.Header), Rows: t.Rows, FirstRows: append([][]string{}, t.First...), FirstRead: firstRead(&t.Readings),
		TimeFormats: []string{}, ZoneMatters: t.ZoneMatters, Readings: t.Readings.Len(), From: from, To: to,
		Problems: showProblems(t.Problems), ProblemCount: t.ProblemCount, Channels: importChannels(),
	}
	for _, format := range records.TimeFormats(table, &m) {
		out.TimeFormats = append(out.TimeFormats, string(format))
	}
	return &reply[ImportPreview]{Body: out}, nil
}

func (a *API) importReadings(ctx context.Context, in *importIn) (*reply[ImportResult], error) {
	form := in.RawBody.Data()
	table, err := tableOf(form.File)
	if err != nil {
		return nil, err
	}
	m, _, err := mappingOf(form.Mapping)
	if err != nil {
		return nil, err
	}
	if wrong := m.Check(); len(wrong) > 0 {
		return nil, unread(wrong)
	}
	siteID, _ := a.monitor.SiteOfTank(in.Tank)
	by, err := a.devices.Records(ctx, a.edit(ctx), siteID, in.Tank)
	if err != nil {
		return nil, err
	}
	now := a.now()
	t, err := records.Read(table, &m, records.Until(now, mostImported))
	if err != nil {
		return nil, err
	}
	name := wire.DeviceID{Site: siteID, Device: by.ID}
	if t.ProblemCount > 0 {
		a.devices.Refused(wire.Refusal{At: now, Device: name, Topic: form.File.Filename, Reason: wire.Malformed,
			Message: fmt.Sprintf("%d of its cells or rows cannot be read; the first: %v", t.ProblemCount, t.Problems[0])})
	}
	list := make([]wire.Reading, 0, t.Readings.Len())
	for r := range t.Readings.All() {
		list = append(list, r.Of(name, now))
	}
	added, err := a.monitor.AddRecords(ctx, monitor.Records{TankID: in.Tank, Readings: list, Refused: t.ProblemCount})
	switch {
	case err != nil:
		return nil, err
	case len(list) == 0 && t.ProblemCount > 0:
		return nil, unread(t.Problems)
	}
	from, to := span(&t.Readings)
	out := ImportResult{Readings: added.New, Repeated: added.Repeated, TooOld: added.TooOld, From: from, To: to, DeviceID: by.ID,
		Problems: showProblems(t.Problems), ProblemCount: t.ProblemCount, Account: added.New > 0}
	return &reply[ImportResult]{Body: out}, a.edit(ctx).Note(ctx, "import readings", "tank", in.Tank, map[string]any{
		"file": problem.Shown(form.File.Filename), "readings": added.New, "repeated": added.Repeated, "tooOld": added.TooOld, "problems": t.ProblemCount})
}

// mostImported is how many readings one table may have: more than any of its size
// has, unless it is made to.
const mostImported = 500_000

// unread are problems for which nothing of a table can be imported. Where none
// of its columns is to blame, the field is the table, or its mapping.
func unread(list problem.List) error {
	list = slices.Clone(list)
	for i := range list {
		switch p := &list[i]; {
		case p.Field != "":
		case p.Row == 0:
			p.Field = "mapping"
		default:
			p.Field = "file"
		}
	}
	return list
}

// tableOf is the table that was handed in.
func tableOf(file huma.FormFile) (*io.SectionReader, error) {
	if file.Size > MaxTable {
		return nil, tooLarge(MaxTable + tableSlack)
	}
	return io.NewSectionReader(file, 0, file.Size), nil
}

// mappingOf reads a mapping.
func mappingOf(text string) (m records.Mapping, zone string, err error) {
	var in ImportMapping
	if err := json.Unmarshal([]byte(text), &in); err != nil {
		return m, "", refused(http.StatusUnprocessableEntity, "mapping", text, "is no mapping: "+err.Error(), "send the one from the preview, changed or not")
	}
	m = records.Mapping{Separator: records.Separators[in.Separator], Header: in.Header, DecimalComma: in.DecimalComma, TimeFormat: records.TimeFormat(in.TimeFormat)}
	// "Local" would be the zone of this machine, which is nobody's.
	if m.Zone, err = time.LoadLocation(in.Zone); err != nil || in.Zone == "Local" {
		return m, "", refused(http.StatusUnprocessableEntity, "mapping.zone", in.Zone, "is no time zone", "use a name like Europe/Berlin, or none for UTC")
	}
	for i, c := range in.Columns {
		if c.Column < 1 || c.Column > records.MaxColumns {
			return m, "", refused(http.StatusUnprocessableEntity, fmt.Sprintf("mapping.columns[%d].column", i), strconv.Itoa(c.Column), "is no column", fmt.Sprintf("use 1 to %d", records.MaxColumns))
		}
		for len(m.Columns) < c.Column {
			m.Columns = append(m.Columns, records.Column{Use: records.Ignore})
		}
		m.Columns[c.Column-1] = records.Column{Use: records.Use(c.Use), Channel: c.Channel, Unit: c.Unit}
	}
	return m, in.Zone, nil
}

func showMapping(m *records.Mapping, zone string, header []string) ImportMapping {
	out := ImportMapping{Header: m.Header, DecimalComma: m.DecimalComma, TimeFormat: string(m.TimeFormat), Zone: zone, Columns: []ImportColumn{}}
	for name, mark := range records.Separators {
		if mark == m.Separator {
			out.Separator = name
		}
	}
	for i, c := range m.Columns {
		column := ImportColumn{Column: i + 1, Use: string(c.Use), Channel: c.Channel, Unit: c.Unit}
		if i < len(header) {
			column.Header = header[i]
		}
		out.Columns = append(out.Columns, column)
	}
	return out
}

func showProblems(list problem.List) []ImportProblem {
	return listed(list, func(p *problem.Problem) ImportProblem {
		return ImportProblem{p.Row, p.Column, p.Field, p.Value, p.Why, p.Fix}
	})
}

// firstRead are the readings of the first rows that have any.
func firstRead(list *records.Readings) []ImportReading {
	sorted := slices.SortedFunc(list.All(), func(a, b records.Reading) int {
		return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Column, b.Column))
	})
	out := []ImportReading{}
	rows := 0
	for i, r := range sorted {
		if i == 0 || r.Row != sorted[i-1].Row {
			rows++
		}
		if rows > records.ShownRows {
			break
		}
		out = append(out, ImportReading{Row: r.Row, At: r.At, Channel: r.Channel, Value: r.Value, Unit: channel.Unit(r.Channel)})
	}
	return out
}

// span is from when to when readings are.
func span(list *records.Readings) (from, to *time.Time) {
	if list.Len() == 0 {
		return nil, nil
	}
	first, last := list.Span()
	return &first, &last
}

func importChannels() []ImportChannel {
	out := []ImportChannel{}
	for _, id := range channel.Names() {
		out = append(out, ImportChannel{ID: id, Contact: channel.IsContact(id), Units: append([]string{}, channel.Units(id)...)})
	}
	return out
}

func (a *API) exportReadings(_ context.Context, in *rangeIn) (*huma.StreamResponse, error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		ctx.SetHeader("Content-Type", "text/csv; charset=utf-8")
		ctx.SetHeader("Content-Disposition", fmt.Sprintf(`attachment; filename="%s_%s_%s.csv"`, in.Tank, in.From.UTC().Format(time.DateOnly), in.To.UTC().Format(time.DateOnly)))
		if err := a.writeReadings(ctx.Context(), ctx.BodyWriter(), in); err != nil {
			a.log.Error("an export broke off", "tank", in.Tank, "error", err)
			// The answer has begun; what is left is to break the connection off,
			// so that nobody takes half a table for all of it. This is how net/http
			// has it done.
			panic(http.ErrAbortHandler)
		}
	}}, nil
}

// writeReadings writes the readings of a tank as a table.
func (a *API) writeReadings(ctx context.Context, w io.Writer, in *rangeIn) error {
	out, err := records.NewWriter(w)
	if err != nil {
		return err
	}
	err = a.monitor.Records(ctx, in.Tank, in.From, in.To, func(r *wire.Reading) error {
		d, _ := a.devices.Device(r.Device)
		return out.Write(records.Source{ID: r.Device, Name: d.Name}, r.Channel, r.At, r.Value)
	})
	if err != nil {
		return err
	}
	return out.Flush()
}
