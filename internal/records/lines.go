package records

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"isohaline/internal/channel"
	"isohaline/internal/problem"
	"isohaline/internal/wire"
)

// IsLines reports whether a recording is lines of SenML: its first character, but for
// blanks, is [ or {.
func IsLines(in *io.SectionReader) bool {
	text := read(in)
	for {
		c, err := text.ReadByte()
		if err != nil || !strings.ContainsRune(" \t\r\n", rune(c)) {
			return err == nil && (c == '[' || c == '{')
		}
	}
}

// ReadLines reads lines of SenML in JSON (RFC 8428) as a device sends them: each line
// is a pack or one record, with its time. It takes any bytes: what is wrong with a
// line is among the Problems, and the rest is read. One line is in memory at a time.
// The error is one of reading in or of the scratch file.
func ReadLines(in *io.SectionReader, within Bounds) (*Table, error) {
	t := newTable(&Mapping{}, within)
	lines := read(in)
	for line, ended := 1, false; !ended; line++ {
		text, err := lines.ReadBytes('\n')
		if ended = err == io.EOF; err != nil && !ended {
			return nil, fmt.Errorf("reading lines of SenML: %w", err)
		}
		if text = bytes.TrimSpace(text); len(text) > 0 {
			t.out.Rows++
			t.line(line, text)
		}
	}
	return t.done()
}

// recorder is whose lines they are, by the name of the first record,
// <site>/<device>/<channel>; of nobody where it is the channel's alone.
func recorder(text []byte) wire.DeviceID {
	var pack []struct{ BN, N string }
	if json.Unmarshal(text, &pack) != nil || len(pack) == 0 {
		return wire.DeviceID{} // what is wrong with it is said later
	}
	const levels = 3
	if name := strings.Split(pack[0].BN+pack[0].N, "/"); len(name) == levels {
		return wire.DeviceID{Site: name[0], Device: name[1]}
	}
	return wire.DeviceID{}
}

// line reads one line.
func (t *table) line(line int, text []byte) {
	if text[0] == '{' {
		text = append(append([]byte{'['}, text...), ']')
	}
	readings, err := wire.ReadBody(recorder(text), channel.Profile(), text, t.within.Latest.Add(-wire.MaxAhead))
	if err != nil {
		p := problem.Problem{Row: line, Why: err.Error()}
		var w *wire.Problem
		if errors.As(err, &w) {
			p.Why, p.Fix = strings.TrimSuffix(err.Error(), "; "+w.Fix), w.Fix
		}
		t.problems.add(p)
		return
	}
	for _, r := range readings {
		switch {
		case r.Clock != wire.ByDevice:
			t.problems.add(problem.Problem{Row: line, Value: r.Channel, Why: "does not say when, or says a time that cannot be", Fix: "give the time in seconds since 1970, as t or bt"})
		case t.room(place{row: line}):
			t.out.Readings.add(Reading{At: r.At, Channel: r.Channel, Value: r.Value, Row: line})
		}
	}
}
