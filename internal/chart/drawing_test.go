package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files")

// sheet is a finished drawing with what the tests want to know of it.
type sheet struct {
	svg   []byte
	texts []placed
	w, h  float64
}

func sheetOf(c *canvas, title, description string) sheet {
	return sheet{c.document(title, description), c.texts, c.w, c.h}
}

func sectionSheet(s *Section, f Format) (sheet, error) {
	d, err := s.draw(f)
	if err != nil {
		return sheet{}, err
	}
	return sheetOf(d.canvas, s.Title, s.describe()), nil
}

func traceSheet(t *Trace, f Format) (sheet, error) {
	d, err := t.draw(f)
	if err != nil {
		return sheet{}, err
	}
	return sheetOf(d.canvas, t.Title, t.describe()), nil
}

func matrixSheet(m *Matrix, f Format) (sheet, error) {
	t, err := m.draw(f)
	if err != nil {
		return sheet{}, err
	}
	return sheetOf(t.canvas, m.Title, m.describe()), nil
}

func testingSheet(t *Testing, f Format) (sheet, error) {
	d, err := t.draw(f)
	if err != nil {
		return sheet{}, err
	}
	return sheetOf(d.canvas, t.Title, t.describe()), nil
}

// leastPixels is the smallest text at the least width of a format.
const leastPixels = 9

// leastWidth is the room in pixels that each format is for, less the edges of
// the page around it.
var leastWidth = map[Format]float64{Wide: 900, Narrow: 360}

// examine is what holds for every drawing.
func examine(s sheet, f Format) error {
	if err := wellFormed(s.svg); err != nil {
		return err
	}
	for _, bad := range []string{"NaN", "Inf", "<script", "href", "url(", ` id="`} {
		if bytes.Contains(s.svg, []byte(bad)) {
			return fmt.Errorf("the drawing has %q in it", bad)
		}
	}
	// A tenth of a unit is the rounding of coordinates.
	const slack = 0.1
	for i, a := range s.texts {
		if a.x0 < -slack || a.y0 < -slack || a.x1 > s.w+slack || a.y1 > s.h+slack {
			return fmt.Errorf("%q at %.1f is not inside the sheet of %.1f × %.1f", a.text, a.box, s.w, s.h)
		}
		if px := a.size * leastWidth[f] / s.w; px < leastPixels && s.w <= wideW {
			return fmt.Errorf("%q is %.1f px high where the sheet is %.0f px wide, want %d", a.text, px, leastWidth[f], leastPixels)
		}
		for _, b := range s.texts[:i] {
			if a.inset(slack).overlaps(b.inset(slack)) {
				return fmt.Errorf("%q at %.1f covers %q at %.1f", a.text, a.box, b.text, b.box)
			}
		}
	}
	return nil
}

func wellFormed(svg []byte) error {
	d := xml.NewDecoder(bytes.NewReader(svg))
	var names []string
	for {
		t, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("not well formed: %w", err)
		}
		if e, ok := t.(xml.StartElement); ok {
			names = append(names, e.Name.Local)
		}
	}
	if len(names) < 4 || names[0] != "svg" || names[1] != "title" || names[2] != "desc" {
		return fmt.Errorf("begins with %v, want svg, title, desc", names[:min(4, len(names))])
	}
	return nil
}

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

var formats = map[string]Format{"wide": Wide, "narrow": Narrow}

func TestSections(t *testing.T) {
	for name, s := range map[string]*Section{
		"reading-room": readingRoom(), "window-sill": windowSill(), "lobby": lobby(), "pump-house": plumbed(),
	} {
		for as, f := range formats {
			got, err := sectionSheet(s, f)
			if err != nil {
				t.Fatal(err)
			}
			if err := examine(got, f); err != nil {
				t.Errorf("%s, %s: %v", name, as, err)
			}
			golden(t, "section-"+name+"-"+as+".svg", got.svg)
		}
	}
}

func TestMatrices(t *testing.T) {
	for as, f := range formats {
		got, err := matrixSheet(someMatrix(), f)
		if err != nil {
			t.Fatal(err)
		}
		if err := examine(got, f); err != nil {
			t.Errorf("%s: %v", as, err)
		}
		golden(t, "matrix-"+as+".svg", got.svg)
	}
}

func TestTraces(t *testing.T) {
	for name, trace := range map[string]*Trace{"trace-": stuckWatch(), "trace-lime-": limeSpike()} {
		for as, f := range formats {
			got, err := traceSheet(trace, f)
			if err != nil {
				t.Fatal(err)
			}
			if err := examine(got, f); err != nil {
				t.Errorf("%s%s: %v", name, as, err)
			}
			golden(t, name+as+".svg", got.svg)
		}
	}
}

func TestTestings(t *testing.T) {
	for as, f := range formats {
		got, err := testingSheet(monthly(), f)
		if err != nil {
			t.Fatal(err)
		}
		if err := examine(got, f); err != nil {
			t.Errorf("%s: %v", as, err)
		}
		// What the curve shows, its description says.
		for _, want := range []string{"every 30 days, once in 59 years", "the knee, near 55 days", "no testing can take away: once in 93 years"} {
			if !strings.Contains(string(got.svg), want) {
				t.Errorf("%s: the drawing lacks %q", as, want)
			}
		}
		golden(t, "testing-"+as+".svg", got.svg)
	}
}

// TestExamineSees: a drawing with each defect is refused, so that the tests
// above can fail.
func TestExamineSees(t *testing.T) {
	plain := style{size: 12}
	for name, spoil := range map[string]func(*canvas){
		"a text outside": func(c *canvas) { c.text(point{380, 50}, plain, "beyond the edge") },
		"text over text": func(c *canvas) { c.text(point{10, 50}, plain, "one"); c.text(point{12, 52}, plain, "two") },
		"small type":     func(c *canvas) { c.text(point{10, 50}, style{size: 6}, "small") },
		"no number":      func(c *canvas) { c.line("l", point{nan, 1}, point{2, 3}) },
		"broken markup":  func(c *canvas) { c.body.WriteString("<g>") },
	} {
		c := &canvas{w: narrowW, h: 100}
		spoil(c)
		if err := examine(sheetOf(c, "t", "d"), Narrow); err == nil {
			t.Errorf("%s: passed", name)
		} else {
			t.Logf("%s: %v", name, err)
		}
	}
}

// TestMarginInWords: what the drawing shows, its description says.
func TestMarginInWords(t *testing.T) {
	for _, c := range []struct {
		s    *Section
		want []string
	}{
		{readingRoom(), []string{"watch level: 183 mm", "Margin to the rim after drain-down: 37.3 L", "Caution: If the display’s drain is blocked"}},
		{lobby(), []string{"After drain-down 42.1 L spill over the rim"}},
		{windowSill(), []string{"17.7 in", "ceiling level: 12.8 in"}},
	} {
		svg, err := c.s.SVG(Wide)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range c.want {
			if !strings.Contains(string(svg), want) {
				t.Errorf("%s: the description lacks %q", c.s.Title, want)
			}
		}
	}
}
