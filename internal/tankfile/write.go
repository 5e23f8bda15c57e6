package tankfile

import (
	"strings"
)

// Write returns a tank as a tank file in metric units, from which Read returns the
// same tank, to the last bit. Fields at their default and fields that such a tank does
// not use (the diameter of a rectangle) are left out. The error is the problem.List
// that Read would have with the file.
func Write(s *Tank) ([]byte, error) {
	w := new(writer)
	w.fields(tankFields(s))
	data := []byte(strings.Join(w.lines, "\n") + "\n")
	if _, _, err := Read("tank", data); err != nil {
		return nil, err
	}
	return data, nil
}

// writer lays out block YAML.
type writer struct {
	lines []string
	depth int
	dash  bool // the next line starts an item
}

const indent = "  "

func (w *writer) fields(fields []field) {
	for _, f := range fields {
		f.write(w)
	}
}

// raw adds a line at the current depth.
func (w *writer) raw(text string) {
	margin := strings.Repeat(indent, w.depth)
	if w.dash {
		margin = strings.Repeat(indent, w.depth-1) + "- "
	}
	w.dash = false
	w.lines = append(w.lines, margin+text)
}

func (w *writer) line(key, value string) { w.raw(key + ": " + value) }

// group adds a key and, deeper, its body. If the body adds nothing, the group is
// left out or stands there empty.
func (w *writer) group(key string, leaveOut bool, body func()) {
	start := len(w.lines)
	if w.depth == 0 {
		w.lines = append(w.lines, "")
	}
	w.raw(key + ":")
	header := len(w.lines)
	w.depth++
	body()
	w.depth--
	switch {
	case len(w.lines) > header:
	case leaveOut:
		w.lines = w.lines[:start]
	default:
		w.lines[header-1] += " {}"
	}
}

// item adds an item of a list.
func (w *writer) item(body func()) {
	w.dash = true
	w.depth++
	body()
	w.depth--
}
