package report

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"isohaline/internal/chart"
	"isohaline/internal/odds"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

var update = flag.Bool("update", false, "write the golden files")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")); diff != "" {
		t.Errorf("%s is not as it was (look at it, then run the test with -update):\n%s", path, diff)
	}
}

// fixtures are reports made of values; checked are the examples, really
// checked. The smallest of them has its pairs, the others their single faults.
func fixtures() map[string]told {
	r := accepted()
	return map[string]told{"accepted": {r, asked(r)}, "refused": {refused(), &Odds{Refused: "No odds for this design: it does harm with nothing wrong; mend it first."}}}
}

// told is what a report is made of.
type told struct {
	*verify.Report
	odds *Odds // of the examples, those that have their pairs
}

var checked = sync.OnceValues(func() (map[string]told, error) {
	files, err := filepath.Glob("../../examples/*.yaml")
	if err != nil || len(files) < 4 {
		return nil, fmt.Errorf("%d examples, %w", len(files), err)
	}
	out := map[string]told{}
	for i, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		s, _, err := tankfile.Read(file, data)
		if err != nil {
			return nil, err
		}
		o := verify.Options{SinglesOnly: s.Controller != nil, Units: []units.System{units.Metric, units.US}[i%2]}
		var r told
		if r.Report, err = verify.Check(context.Background(), s, o); err != nil {
			return nil, err
		}
		if !o.SinglesOnly {
			answer, err := odds.Estimate(context.Background(), r.Report, odds.Options{Samples: 20})
			if err != nil {
				return nil, err
			}
			r.odds = &Odds{Answer: answer}
		}
		out[filepath.Base(file)] = r
	}
	return out, nil
})

// every is all reports there are to try.
func every(t *testing.T) map[string]told {
	all, err := checked()
	if err != nil {
		t.Fatal(err)
	}
	out := fixtures()
	for name, r := range all {
		out[name] = r
	}
	return out
}

func text(t *testing.T, r told, o TextOptions) string {
	t.Helper()
	var b bytes.Buffer
	if err := Text(&b, r.Report, r.odds, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTextGolden(t *testing.T) {
	for name, r := range fixtures() {
		for _, width := range []int{60, 80, 120} {
			golden(t, fmt.Sprintf("%s-%d.txt", name, width), []byte(text(t, r, TextOptions{Width: width, PairRows: 5})))
		}
	}
}

// TestTextWidth: no line is wider than asked for, and colour changes nothing
// but colour.
func TestTextWidth(t *testing.T) {
	codes := regexp.MustCompile("\x1b\\[[0-9;]*m")
	for name, r := range every(t) {
		for _, width := range []int{0, 60, 73, 80, 100, 140, 500} {
			plain := text(t, r, TextOptions{Width: width, PairRows: 20})
			for _, l := range strings.Split(plain, "\n") {
				if w := cells(l); w > min(max(width, narrowest), widest) {
					t.Errorf("%s at %d: %d cells: %s", name, width, w, l)
				}
			}
			if strings.Contains(plain, "\x1b") {
				t.Errorf("%s: colour codes in plain text", name)
			}
			coloured := text(t, r, TextOptions{Width: width, PairRows: 20, Colour: true})
			if !strings.Contains(coloured, ansi[strong]) {
				t.Errorf("%s: no colour", name)
			}
			if diff := cmp.Diff(plain, codes.ReplaceAllString(coloured, "")); diff != "" {
				t.Errorf("%s at %d: colour changes the text:\n%s", name, width, diff)
			}
		}
	}
}

// TestHostileNames: a tank's name cannot steer a terminal or a browser.
func TestHostileNames(t *testing.T) {
	r := fixtures()["accepted"]
	r.Tank.Name = "\x1b]0;owned\a<script>alert(1)</script>\u202e\r\n" + strings.Repeat("水", 200)
	r.Tank.Place = `"><img src=x onerror=alert(1)>`
	out := text(t, r, TextOptions{Width: 80})
	if strings.ContainsAny(out, "\x1b\a\r\u202e") {
		t.Error("control characters reach the terminal")
	}
	for _, l := range strings.Split(out, "\n") {
		if cells(l) > 80 {
			t.Errorf("%d cells: %s", cells(l), l)
		}
	}
	page := html(t, r, Meta{TankFile: `<b>"'`})
	if err := sound(page); err != nil {
		t.Error(err)
	}
	if bytes.Contains(page, []byte("<script")) || bytes.Contains(page, []byte("<img")) {
		t.Error("markup from the tank's name is in the page")
	}
}

func html(t *testing.T, r told, m Meta) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r.Report, r.odds, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var made = time.Date(2026, time.March, 4, 15, 0, 0, 0, time.UTC)

func TestHTMLGolden(t *testing.T) {
	golden(t, "accepted.html", html(t, fixtures()["accepted"], Meta{Version: "1.2.3", TankFile: "reading-room.yaml", Made: made}))
}

func TestHTMLIsSound(t *testing.T) {
	for name, r := range every(t) {
		page := html(t, r, Meta{})
		if err := sound(page); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, bad := range []string{"NaN", "Inf", units.Unknown, "%!", "ZgotmplZ"} {
			if i := bytes.Index(page, []byte(bad)); i >= 0 {
				t.Errorf("%s: %q in the page: …%s…", name, bad, page[max(0, i-60):i+20])
			}
		}
		// The verdict in words comes before anything else.
		because := bytes.Index(page, []byte(xmlEscaped(r.Verdict.Because)))
		if first := bytes.Index(page, []byte("<svg")); because < 0 || because > first {
			t.Errorf("%s: the verdict's words are not before the drawing", name)
		}
		for _, want := range []string{"RCD", "licensed electrician", "neighbours", "not a certificate", "class=\"box\"", "Signature"} {
			if !bytes.Contains(page, []byte(want)) {
				t.Errorf("%s: the page lacks %q", name, want)
			}
		}
	}
}

// xmlEscaped is a text as html/template writes it.
func xmlEscaped(text string) string {
	return strings.NewReplacer("'", "&#39;", `"`, "&#34;", "&", "&amp;", "<", "&lt;", ">", "&gt;", "+", "&#43;").Replace(text)
}

// sound is what holds for every page: it is balanced, loads nothing, and a
// screen reader finds its way.
func sound(page []byte) error {
	d := xml.NewDecoder(bytes.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	ids, links := map[string]bool{}, []string{}
	var open []string
	headings, tables, heads := []int{}, 0, 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		switch e := token.(type) {
		case xml.StartElement:
			open = append(open, e.Name.Local)
			switch name := e.Name.Local; name {
			case "script", "img", "link", "iframe", "object":
				return fmt.Errorf("there is a <%s>", name)
			case "h1", "h2", "h3":
				headings = append(headings, int(name[1]-'0'))
			case "table":
				tables++
			case "thead":
				heads++
			}
			for _, a := range e.Attr {
				switch a.Name.Local {
				case "id":
					if ids[a.Value] {
						return fmt.Errorf("two elements have the id %q", a.Value)
					}
					ids[a.Value] = true
				case "href", "aria-labelledby":
					links = append(links, strings.TrimPrefix(a.Value, "#"))
				case "src", "onclick":
					return fmt.Errorf("there is a %s", a.Name.Local)
				}
			}
		case xml.EndElement:
			if len(open) == 0 || open[len(open)-1] != e.Name.Local {
				return fmt.Errorf("</%s> closes %v", e.Name.Local, open)
			}
			open = open[:len(open)-1]
		}
	}
	for _, l := range links {
		if !ids[l] {
			return fmt.Errorf("a link to %q, which is not there", l)
		}
	}
	if len(open) > 0 {
		return fmt.Errorf("%v are not closed", open)
	}
	if tables == 0 || tables != heads {
		return fmt.Errorf("%d tables have %d heads", tables, heads)
	}
	for i, h := range headings {
		if i == 0 && h != 1 || i > 0 && (h == 1 || h > headings[i-1]+1) {
			return fmt.Errorf("headings skip a step: %v", headings)
		}
	}
	if bytes.Contains(page, []byte("url(")) || bytes.Contains(page, []byte("@import")) {
		return errors.New("the style loads something")
	}
	return nil
}

func TestJSONGolden(t *testing.T) {
	for name, r := range fixtures() {
		var b bytes.Buffer
		if err := JSON(&b, r.Report, r.odds); err != nil {
			t.Fatal(err)
		}
		golden(t, name+".json", b.Bytes())
	}
}

// TestJSONSchema: the output of every report is what the documented schema says
// (JSON Schema 2020-12, by a validator of others), and what it does not say is
// refused.
func TestJSONSchema(t *testing.T) {
	schema, err := jsonschema.NewCompiler().Compile("../../docs/check.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	for name, r := range every(t) {
		var b bytes.Buffer
		if err := JSON(&b, r.Report, r.odds); err != nil {
			t.Fatal(err)
		}
		value, err := jsonschema.UnmarshalJSON(&b)
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(value); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		object := value.(map[string]any)
		if got, want := len(object["singles"].([]any)), len(r.Singles); got != want {
			t.Errorf("%s: %d singles, want %d", name, got, want)
		}
		for _, spoil := range []func(){
			func() { object["surprise"] = 1 },
			func() { delete(object, "surprise"); object["schema"] = "isohaline-check/0" },
			func() { object["schema"] = Schema; delete(object["geometry"].(map[string]any), "rim_m") },
		} {
			spoil()
			if schema.Validate(value) == nil {
				t.Errorf("%s: the schema lets a spoilt report pass", name)
			}
		}
	}
}

// TestJSONNumbers: a number reads back as itself, and what is no number is null.
func TestJSONNumbers(t *testing.T) {
	r := fixtures()["refused"]
	var b bytes.Buffer
	if err := JSON(&b, r.Report, r.odds); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Geometry map[string]any
		Singles  []struct {
			Harm  *float64 `json:"harm_after_s"`
			Alone map[string]any
		}
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if v := got.Geometry["return_flow_m3_per_s"]; v != r.Geometry.ReturnFlowM3S {
		t.Errorf("return flow: %v, want %v", v, r.Geometry.ReturnFlowM3S)
	}
	if v, there := got.Geometry["watch_m"]; !there || v != nil {
		t.Errorf("watch level: %v, want null", v)
	}
	if len(got.Singles) == 0 || got.Singles[0].Harm == nil || *got.Singles[0].Harm != (16*time.Hour).Seconds() {
		t.Errorf("harm after: %+v, want 57600 s", got.Singles)
	} else if v, there := got.Singles[0].Alone["high_chamber_m"]; !there || v != nil {
		t.Errorf("an infinite level: %v, want null", v)
	}
}

func TestTraceCSV(t *testing.T) {
	samples := []plant.Sample{
		{SinceOnset: 0, ChamberM: 0.2, DisplayM: 0.5685, ReservoirM3: 0.0278, SalinityPSU: 35, ChamberPSU: 35.01, AlkalinityDKH: 8, PHClosed: 7.95, PHSettled: 7.91, WatchWet: true, ReturnRunning: true},
		{SinceOnset: 1500 * time.Millisecond, ChamberM: nan, AlkalinityDKH: 7.5, PHClosed: nan, PHSettled: nan, TopOffM3S: 1.5e-5, CeilingWet: true, Phase: 2, Reason: 3},
	}
	var b bytes.Buffer
	if err := TraceCSV(&b, samples); err != nil {
		t.Fatal(err)
	}
	want := "since_onset_s,chamber_m,display_m,reservoir_m3,salinity_psu,chamber_psu,floor_m3,top_off_m3_s,watch_wet,ceiling_wet,return_running,phase,reason,alkalinity_dkh,ph_closed,ph_settled\n" +
		"0,0.2,0.5685,0.0278,35,35.01,0,0,true,false,true,resting,no reason,8,7.95,7.91\n" +
		"1.5,,0,0,0,0,0,1.5e-05,false,true,false,filling,filling to the watch level,7.5,,\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Error(diff)
	}
}

// failing is a writer that takes so many bytes and no more.
type failing struct{ left int }

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, errors.New("disk full")
	}
	return len(p), nil
}

func TestWritersReportErrors(t *testing.T) {
	r := fixtures()["accepted"]
	for name, write := range map[string]func(io.Writer) error{
		"text": func(w io.Writer) error { return Text(w, r.Report, r.odds, TextOptions{}) },
		"html": func(w io.Writer) error { return HTML(w, r.Report, r.odds, Meta{}) },
		"json": func(w io.Writer) error { return JSON(w, r.Report, r.odds) },
		"csv":  func(w io.Writer) error { return TraceCSV(w, make([]plant.Sample, 2)) },
	} {
		if err := write(&failing{}); err == nil || !strings.Contains(err.Error(), "disk full") {
			t.Errorf("%s: got %v, want the writer's error", name, err)
		}
	}
}

// TestDrawings: the section of every example is drawn, in both formats.
func TestDrawings(t *testing.T) {
	for name, r := range every(t) {
		for _, f := range []chart.Format{chart.Wide, chart.Narrow} {
			if _, err := Section(r.Report).SVG(f); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if _, err := Matrix(r.Report).SVG(f); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}
