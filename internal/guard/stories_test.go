package guard_test

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"isohaline/internal/guard"
)

// A story in testdata/stories is a table a practitioner can read: what the
// inputs say at a time, and what the guard must answer. Lines before the table
// name what is fitted beside the watch sensor and the settings that are not
// typical. In the table
//
//	.     is as in the row above
//	~3h   is a clock that jumps to 3h: the guard was not stepped in between
//	power in the column "asked" is a power cut that ends at that time
//	give:20s is a Give of 20 s, and afar: before a request that it came from afar
//	x7    after the time repeats the step seven times
//
// An empty alarms column means none.

// row is one line of a story's table.
type row struct {
	line    int
	at      time.Duration
	jump    bool
	repeat  int
	power   bool
	in      guard.Inputs
	phase   string
	pump    string
	reason  string
	alarms  string
	written string
}

// story is one file.
type story struct {
	settings guard.Settings
	rows     []row
}

// TestStories plays each story twice: stepping at rows and deadlines only, as
// the design check does, and stepping all the time, as a device does.
func TestStories(t *testing.T) {
	files, err := filepath.Glob("testdata/stories/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	rows := 0
	for _, file := range files {
		st := readStory(t, file)
		rows += len(st.rows)
		for _, way := range []struct {
			name string
			step time.Duration
		}{{"by deadlines", 0}, {"all the time", 500 * time.Millisecond}} {
			t.Run(strings.TrimSuffix(filepath.Base(file), ".txt")+" "+way.name, func(t *testing.T) {
				st.play(t, way.step)
			})
		}
	}
	t.Logf("%d rows in %d stories", rows, len(files))
}

// play runs the guard through the story, stepping every step between rows, or
// at deadlines only if step is 0.
func (st *story) play(t *testing.T, step time.Duration) {
	s := &st.settings
	state := guard.Boot(s, guard.State{}, st.rows[0].at)
	var out guard.Outputs
	var in guard.Inputs
	for i, r := range st.rows {
		for i > 0 && !r.jump && !r.power {
			next := guard.Deadline(s, state, in)
			if step > 0 {
				next = state.Last + step
			}
			if next >= r.at {
				break
			}
			state, _ = guard.Step(s, state, in, next)
		}
		if r.power {
			state = guard.Boot(s, state, r.at)
		}
		in = r.in
		for range r.repeat {
			state, out = guard.Step(s, state, in, r.at)
		}
		in.Request = guard.NoRequest

		pump := map[bool]string{true: "on", false: "off"}[out.Pump]
		alarms := out.Alarms.String()
		if state.Phase.String() != r.phase || pump != r.pump || out.Reason.String() != r.reason || alarms != r.alarms {
			t.Fatalf("line %d: %s\n\tgot  %v %v | %v | %v", r.line, r.written, state.Phase, pump, out.Reason, alarms)
		}
	}
}

// readStory reads one file and fails the test on the first line it does not
// understand.
func readStory(t *testing.T, file string) *story {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	st := &story{settings: guard.Typical()}
	var columns []string
	in := guard.Inputs{}
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		words := strings.Fields(line)
		var err error
		switch {
		case line == "" || line[0] == '#':
		case words[0] == "fitted":
			for _, name := range words[1:] {
				err = st.set(fittedFields[name], "true")
			}
		case words[0] == "set":
			err = st.set(words[1], words[2])
		case words[0] == "time":
			columns = strings.Fields(strings.Split(line, "|")[0])
		default:
			var r row
			r, err = readRow(line, columns, &in)
			r.line = n
			st.rows = append(st.rows, r)
		}
		if err != nil {
			t.Fatalf("%s:%d: %v", file, n, err)
		}
	}
	if err := st.settings.Validate(); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return st
}

var fittedFields = map[string]string{
	"ceiling": "CeilingFitted", "floor": "FloorFitted", "reservoir": "ReservoirLowFitted",
	"return": "ReturnFitted", "level": "LevelFitted",
}

// set gives a setting its value by name.
func (st *story) set(name, value string) error {
	field := reflect.ValueOf(&st.settings).Elem().FieldByName(name)
	switch {
	case !field.IsValid():
		return fmt.Errorf("no setting %q", name)
	case field.Kind() == reflect.Bool:
		field.SetBool(value == "true")
	case field.Kind() == reflect.Float64:
		x, err := strconv.ParseFloat(value, 64)
		field.SetFloat(x)
		return err
	case field.Kind() == reflect.Int:
		n, err := strconv.Atoi(value)
		field.SetInt(int64(n))
		return err
	default:
		d, err := readTime(value)
		field.SetInt(int64(d))
		return err
	}
	return nil
}

// readRow reads a line of the table; in holds the inputs of the row above, and
// of this row afterwards.
func readRow(line string, columns []string, in *guard.Inputs) (row, error) {
	r := row{written: line, repeat: 1}
	parts := strings.Split(line, "|")
	for len(parts) < 4 {
		parts = append(parts, "")
	}
	cells := strings.Fields(parts[0])
	if len(cells) == len(columns)+1 && cells[1][0] == 'x' {
		n, err := strconv.Atoi(cells[1][1:])
		if err != nil {
			return r, err
		}
		r.repeat = n
		cells = append(cells[:1], cells[2:]...)
	}
	if len(cells) != len(columns) {
		return r, fmt.Errorf("%d cells for the columns %v", len(cells), columns)
	}
	in.Request = guard.NoRequest
	for i, cell := range cells {
		if err := r.read(columns[i], cell, in); err != nil {
			return r, err
		}
	}
	r.in = *in
	answer := strings.Fields(parts[1])
	if len(answer) != 2 {
		return r, fmt.Errorf("want a phase and a pump, got %q", parts[1])
	}
	r.phase, r.pump = answer[0], answer[1]
	r.reason, r.alarms = strings.TrimSpace(parts[2]), strings.TrimSpace(parts[3])
	if r.alarms == "" {
		r.alarms = "none"
	}
	return r, nil
}

// read reads one cell.
func (r *row) read(column, cell string, in *guard.Inputs) (err error) {
	contacts := map[string]*guard.Contact{
		"watch": &in.Watch, "ceiling": &in.Ceiling, "floor": &in.Floor,
		"reservoir": &in.ReservoirLow, "return": &in.ReturnPump,
	}
	switch {
	case column == "time":
		r.jump = cell[0] == '~'
		r.at, err = readTime(strings.TrimPrefix(cell, "~"))
	case cell == ".":
	case column == "level":
		in.LevelMM, err = strconv.ParseFloat(cell, 64)
	case column == "asked" && cell == "power":
		r.power = true
	case column == "asked":
		in.Remote = strings.HasPrefix(cell, "afar:")
		cell = strings.TrimPrefix(cell, "afar:")
		if measure, ok := strings.CutPrefix(cell, "give:"); ok {
			in.Request = guard.Give
			in.GiveFor, err = readTime(measure)
			return err
		}
		in.Request, err = named[guard.Request](cell)
	case contacts[column] != nil:
		*contacts[column], err = named[guard.Contact](cell)
	default:
		err = fmt.Errorf("no column %q", column)
	}
	return err
}

// named finds the value whose String is word.
func named[N interface {
	~uint8
	fmt.Stringer
}](word string) (N, error) {
	for n := N(0); n < 10; n++ {
		if n.String() == word {
			return n, nil
		}
	}
	return 0, fmt.Errorf("unknown word %q", word)
}

// readTime reads sums and differences of durations, as in 10m+20s-1ms.
func readTime(text string) (time.Duration, error) {
	var sum time.Duration
	for text != "" {
		end := len(text)
		if i := strings.IndexAny(text[1:], "+-"); i >= 0 {
			end = i + 1
		}
		d, err := time.ParseDuration(text[:end])
		if err != nil {
			return 0, err
		}
		sum += d
		text = text[end:]
	}
	return sum, nil
}
