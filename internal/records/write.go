package records

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode"

	"isohaline/internal/channel"
)

// written is the header of a table that Write makes. Guess knows it.
var written = []string{"time", "channel", "value", "unit", "device", "device name"}

// Source is the device that recorded a reading.
type Source struct{ ID, Name string }

// Writer writes readings as a table, one a row: when, of which channel, the
// value with all its digits in the channel's unit, and by which device. Read
// takes it in again without loss.
type Writer struct{ csv *csv.Writer }

// NewWriter writes the header of a table to w. The error is that of w.
func NewWriter(w io.Writer) (*Writer, error) {
	out := &Writer{csv.NewWriter(w)}
	return out, out.csv.Write(written)
}

// Write adds a row: value in the unit of the channel called name. An error may come as
// late as Flush.
func (w *Writer) Write(by Source, name string, at time.Time, value float64) error {
	return w.csv.Write([]string{
		at.UTC().Format(time.RFC3339Nano), name, strconv.FormatFloat(value, 'g', -1, 64), channel.Unit(name),
		harmless(by.ID), harmless(by.Name),
	})
}

// Flush writes what is buffered, and returns the first error of the writer.
func (w *Writer) Flush() error {
	w.csv.Flush()
	return w.csv.Error()
}

// harmless keeps a spreadsheet from taking text that somebody typed for a
// formula, which could send what stands in other cells elsewhere: an apostrophe
// before it makes it text (OWASP, "CSV Injection"). Control characters become
// blanks.
func harmless(text string) string {
	text = strings.Map(func(c rune) rune {
		if unicode.IsControl(c) {
			return ' '
		}
		return c
	}, strings.ToValidUTF8(text, "?"))
	if first := strings.TrimLeftFunc(text, unicode.IsSpace); first != "" && strings.ContainsRune("=+-@", rune(first[0])) {
		return "'" + text
	}
	return text
}
