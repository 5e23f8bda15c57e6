package records_test

import (
	"io"
	"slices"
	"strings"

	"isohaline/internal/records"
)

// in is a text to be read.
func in[T string | []byte](text T) *io.SectionReader {
	return io.NewSectionReader(strings.NewReader(string(text)), 0, int64(len(text)))
}

type failer interface {
	Helper()
	Fatal(...any)
}

func read[T string | []byte](t failer, text T, m *records.Mapping, within records.Bounds) *records.Table {
	t.Helper()
	table, err := records.Read(in(text), m, within)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

func readLines[T string | []byte](t failer, text T, within records.Bounds) *records.Table {
	t.Helper()
	table, err := records.ReadLines(in(text), within)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// one is the first reading.
func one(list *records.Readings) records.Reading { return slices.Collect(list.All())[0] }
