package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"
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

type previewImportOut struct{ Body ImportPreview }

type importOut struct{ Body ImportResult }

func (a *API) previewImport(ctx context.Context, in *previewImportIn) (*previewImportOut, error) {
	return nil, later()
}

func (a *API) importReadings(ctx context.Context, in *importIn) (*importOut, error) {
	return nil, later()
}

func (a *API) exportReadings(ctx context.Context, in *rangeIn) (*huma.StreamResponse, error) {
	return nil, later()
}
