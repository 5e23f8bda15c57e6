package account_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"isohaline/internal/account"
)

// A story in testdata/stories is what the devices and people at a tank told, in
// columns, and what the account must say, in lines that begin with ">".
//
//	from   to    every  what        value  second  sd   instrument
//	0d     12d   90m    fill        18s
//	12d    16d   31m    fill        19s
//	1d     16d   3d     salinity    35     0       0.2
//	12d+2h .     .      ceiling     1
//
//	> demand-changed     12d+8h .. 13d  until 15d .. 16d
//	> tank-leak          15d .. 16d     "a leak, not evaporation"
//
// "." repeats nothing: the row is one event. fill is the watch sensor turning
// dry, the pump starting ten seconds later and running so long, and the watch
// turning wet with it; run is the same without a watch sensor. A value "35~-0.7"
// changes by its second number every day from the row's first time. "set" gives a
// setting, "site" the example. Every finding must be in the story, and in no
// other order; "until" is when it ended, if it did.

type story struct {
	site     string
	settings account.Settings
	all      []account.Observation
	want     []wanted
	end      time.Duration
}

type wanted struct {
	line           int
	code           account.Code
	from, to       time.Duration
	ends           bool
	endFrom, endTo time.Duration
	says           string
}

func TestStories(t *testing.T) {
	files, err := filepath.Glob("testdata/stories/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	told := map[account.Code]bool{}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			st, err := readStory(file)
			if err != nil {
				t.Fatal(err)
			}
			st.play(t, told)
		})
	}
	for _, code := range account.Codes() {
		if !told[code] {
			t.Errorf("no story tells of %s", code)
		}
	}
}

func (st *story) play(t *testing.T, told map[account.Code]bool) {
	a := newAccount(t, st.site, st.settings)
	s := a.Begin(start)
	var began, ended []account.Finding
	keep := func(found []account.Finding) {
		for _, f := range found {
			told[f.Code] = true
			checkFinding(t, &f)
			if f.Ended.IsZero() {
				began = append(began, f)
			} else {
				ended = append(ended, f)
			}
		}
	}
	for _, o := range st.all {
		found, err := a.Observe(&s, o)
		if err != nil {
			t.Fatal(err)
		}
		keep(found)
	}
	keep(a.Advance(&s, start.Add(st.end+account.ReorderWindow)))
	for _, f := range a.Findings(&s) {
		checkFinding(t, &f)
	}
	if text, err := json.Marshal(s); err != nil {
		t.Errorf("the state cannot be saved: %v", err)
	} else if len(text) > 40_000 {
		t.Errorf("the state takes %d bytes", len(text))
	}
	for i, f := range began {
		at := f.Found.Sub(start)
		if i >= len(st.want) {
			t.Errorf("also said, at %v since %v: %s: %s", at, f.Since.Sub(start), f.Code, f.Sentence)
			continue
		}
		w := st.want[i]
		if f.Code != w.code || at < w.from || at > w.to || !strings.Contains(f.Sentence, w.says) {
			t.Errorf("line %d: said at %v since %v: %s: %s", w.line, at, f.Since.Sub(start), f.Code, f.Sentence)
		}
		end := slices.IndexFunc(ended, func(e account.Finding) bool { return e.Code == f.Code && e.Found.Equal(f.Found) })
		switch {
		case w.ends != (end >= 0):
			t.Errorf("line %d: %s ended: %v", w.line, w.code, end >= 0)
		case w.ends:
			if at := ended[end].Ended.Sub(start); at < w.endFrom || at > w.endTo {
				t.Errorf("line %d: %s ended at %v", w.line, w.code, at)
			}
		}
	}
	for _, w := range st.want[min(len(began), len(st.want)):] {
		t.Errorf("line %d: %s was not said", w.line, w.code)
	}
}

// checkFinding is what must hold for every finding.
func checkFinding(t *testing.T, f *account.Finding) {
	t.Helper()
	bad := func(format string, args ...any) { t.Errorf("%s: "+format, append([]any{f.Code}, args...)...) }
	if !(f.Confidence > 0.5 && f.Confidence <= 1) {
		bad("confidence %v", f.Confidence)
	}
	if f.Class < 0 || f.Class > 4 || f.HarmIn >= 0 != (f.Class >= 3) {
		bad("class %d and harm in %v", f.Class, f.HarmIn)
	}
	if f.Since.After(f.Found) || !f.Ended.IsZero() && f.Ended.Before(f.Found) {
		bad("since %v, found %v, ended %v", f.Since, f.Found, f.Ended)
	}
	checkSentence(bad, f)
	for _, x := range []float64{f.Amount, f.AmountSD} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			bad("amount %v with spread %v", f.Amount, f.AmountSD)
		}
	}
	for _, e := range f.Evidence {
		if e.Name == "" || e.Unit == "" || math.IsNaN(e.Value+e.Expected+e.SD) {
			bad("evidence %+v", e)
		}
	}
	for _, r := range f.RuledOut {
		if r.Code == f.Code || r.Why == "" {
			bad("ruled out %+v", r)
		}
	}
}

// checkSentence: one sentence that says since when, how sure and how long until
// harm.
func checkSentence(bad func(string, ...any), f *account.Finding) {
	if !strings.HasSuffix(f.Sentence, ".") || strings.Contains(f.Sentence, ". ") || strings.Contains(f.Sentence, string(f.Code)+".") {
		bad("not one sentence: %q", f.Sentence)
	}
	says := []string{f.Since.Format("Mon 2 Jan 15:04")}
	switch f.Code {
	case account.CeilingWet, account.DeviceSilent: // contacts and clocks are not estimated
	case account.ReservoirEmptyBy: // nor is an empty reservoir
		if f.Ended.IsZero() && !strings.Contains(f.Sentence, "has an empty reservoir") {
			says = append(says, " % sure")
		}
	default:
		says = append(says, " % sure")
	}
	switch {
	case !f.Ended.IsZero():
		says = append(says, "over since "+f.Ended.Format("Mon 2 Jan 15:04"))
	case f.HarmIn == 0:
		says = append(says, "harm is due")
	case f.HarmIn > 0:
		says = append(says, "harm in ")
	}
	for _, words := range says {
		if !strings.Contains(f.Sentence, words) {
			bad("no %q in %q", words, f.Sentence)
		}
	}
}

func readStory(file string) (*story, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	st := &story{site: "reading-room"}
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		if err := st.read(n, strings.TrimSpace(lines.Text())); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", file, n, err)
		}
	}
	slices.SortStableFunc(st.all, func(a, b account.Observation) int { return a.At.Compare(b.At) })
	return st, lines.Err()
}

func (st *story) read(n int, line string) error {
	cells := strings.Fields(line)
	switch {
	case line == "" || line[0] == '#' || cells[0] == "from":
		return nil
	case cells[0] == "site":
		st.site = cells[1]
		return nil
	case cells[0] == "set":
		return st.set(cells[1], cells[2])
	case cells[0] == ">":
		return st.expect(n, line[1:])
	}
	return st.row(cells)
}

func (st *story) set(name, value string) error {
	fields := map[string]*time.Duration{"Heartbeat": &st.settings.Heartbeat, "RunLimit": &st.settings.RunLimit,
		"DailyBudget": &st.settings.DailyBudget, "RestartSettle": &st.settings.RestartSettle}
	if fields[name] == nil {
		return fmt.Errorf("no setting %q", name)
	}
	var err error
	*fields[name], err = readTime(value)
	return err
}

// row reads one line of events.
func (st *story) row(cells []string) error {
	if len(cells) < 4 {
		return fmt.Errorf("%d cells", len(cells))
	}
	from, err := readTime(cells[0])
	if err != nil {
		return err
	}
	to, every := from, 24*time.Hour
	if cells[1] != "." {
		if to, err = readTime(cells[1]); err != nil {
			return err
		}
		if every, err = readTime(cells[2]); err != nil {
			return err
		}
	}
	st.end = max(st.end, to)
	for at := from; at <= to; at += every {
		if err := st.event(at, (at-from).Hours()/24, cells[3], cells[4:]); err != nil {
			return err
		}
	}
	return nil
}

func (st *story) event(at time.Duration, days float64, what string, cells []string) error {
	add := func(at time.Duration, o account.Observation) {
		o.At = start.Add(at)
		st.all = append(st.all, o)
	}
	number := func(i int) (x float64) {
		if i < len(cells) {
			x, _ = strconv.ParseFloat(cells[i], 64)
		}
		return x
	}
	switch what {
	case "fill", "run":
		ran, err := readTime(cells[0])
		if err != nil {
			return err
		}
		if what == "run" {
			add(at+ran, account.Observation{Kind: account.PumpRan, Value: ran.Seconds()})
			return nil
		}
		add(at, account.Observation{Kind: account.Watch, Value: 0})
		add(at+10*time.Second, account.Observation{Kind: account.PumpOn})
		add(at+10*time.Second+ran, account.Observation{Kind: account.Watch, Value: 1})
		add(at+10*time.Second+ran, account.Observation{Kind: account.PumpOff})
		return nil
	}
	var kind account.Kind
	if err := kind.UnmarshalText([]byte(what)); err != nil {
		return err
	}
	o := account.Observation{Kind: kind}
	if len(cells) > 0 {
		value, slope, _ := strings.Cut(cells[0], "~")
		var err error
		if o.Value, err = strconv.ParseFloat(value, 64); err != nil {
			return err
		}
		if slope != "" {
			perDay, err := strconv.ParseFloat(slope, 64)
			if err != nil {
				return err
			}
			o.Value += perDay * days
		}
	}
	o.Second, o.SD = number(1), number(2)
	if len(cells) > 3 {
		o.Instrument = cells[3]
	}
	add(at, o)
	return nil
}

// expect reads "code  from .. to  until from .. to  "words"".
func (st *story) expect(n int, line string) error {
	w := wanted{line: n}
	if i := strings.Index(line, `"`); i >= 0 {
		w.says = strings.Trim(strings.TrimSpace(line[i:]), `"`)
		line = line[:i]
	}
	line, until, ends := strings.Cut(line, "until")
	cells := strings.Fields(line)
	if len(cells) != 4 || cells[2] != ".." {
		return fmt.Errorf("want a code and from .. to, got %q", line)
	}
	w.code = account.Code(cells[0])
	var err error
	if w.from, w.to, err = readSpan(cells[1:]); err != nil {
		return err
	}
	if w.ends = ends; ends {
		if w.endFrom, w.endTo, err = readSpan(strings.Fields(until)); err != nil {
			return err
		}
	}
	st.want = append(st.want, w)
	return nil
}

func readSpan(cells []string) (from, to time.Duration, err error) {
	if len(cells) != 3 || cells[1] != ".." {
		return 0, 0, fmt.Errorf("want from .. to, got %q", cells)
	}
	if from, err = readTime(cells[0]); err == nil {
		to, err = readTime(cells[2])
	}
	return from, to, err
}

// readTime reads sums of durations, days too, as in 3d+2h.
func readTime(text string) (time.Duration, error) {
	var sum time.Duration
	for _, part := range strings.Split(text, "+") {
		if n, ok := strings.CutSuffix(part, "d"); ok {
			d, err := strconv.ParseFloat(n, 64)
			if err != nil {
				return 0, err
			}
			sum += time.Duration(d * 24 * float64(time.Hour))
			continue
		}
		d, err := time.ParseDuration(part)
		if err != nil {
			return 0, err
		}
		sum += d
	}
	return sum, nil
}
