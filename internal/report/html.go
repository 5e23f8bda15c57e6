package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"
	"unicode"

	"isohaline/internal/chart"
	"isohaline/internal/plant"
	"isohaline/internal/verify"
)

// Meta is what a page says about itself. All of it may be left out.
type Meta struct {
	// Version is the program's, TankFile the file that was checked.
	Version, TankFile string
	// Made is the date to print.
	Made time.Time
}

// htmlPairs is how many of the worst pairs a page lists; the matrix has all.
const htmlPairs = 20

//go:embed page.gohtml
var pageText string

//go:embed page.css
var pageCSS string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"capital": capitalise,
	"join":    strings.Join,
	"class":   func(class int) classCount { return classCount{Class: class, Words: plant.Class(class).String()} },
	"tally":   tally,
}).Parse(pageText))

// classCount is a class, its words and how many rows are in it.
type classCount struct {
	Class, N int
	Words    string
}

// tally lists the classes, the worst first.
func tally(n [classes]int) []classCount {
	var out []classCount
	for class := classes - 1; class >= 0; class-- {
		out = append(out, classCount{Class: class, N: n[class], Words: plant.Class(class).String()})
	}
	return out
}

// page is the content with its drawings.
type page struct {
	*content
	Meta           Meta
	Date           string
	ProofTest      string
	UnnoticedWords string
	CSS            template.CSS

	SafeWords, SeriousWords string

	SectionWide, SectionNarrow, Matrix, TestingWide, TestingNarrow template.HTML
}

// HTML writes the report as one page that needs nothing else: to read on a
// phone, to print on A4 or Letter, to sign. likely may be nil.
func HTML(w io.Writer, r *verify.Report, likely *Odds, m Meta) error {
	p := page{
		content: contentOf(r, likely, htmlPairs), Meta: m, UnnoticedWords: unnoticedWords,
		SafeWords: safeWords, SeriousWords: seriousWords,
		// Our own style sheet and drawings, which escape what is not ours.
		CSS: template.CSS(chart.ColoursCSS + ":root{--sans:" + chart.SansCSS + ";--serif:" + chart.SerifCSS + "}\n" + pageCSS),
	}
	if !m.Made.IsZero() {
		p.Date = m.Made.Format("2 January 2006")
	}
	if d := r.Tank.People.ProofTestDays; d > 0 {
		p.ProofTest = r.Units.Duration(d * 24 * 3600)
	}
	if err := p.draw(r, likely); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, p); err != nil {
		return fmt.Errorf("making the page: %w", err)
	}
	if _, err := w.Write(bytes.Map(markup, b.Bytes())); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return nil
}

// drawn is a drawing with its place on the page.
type drawn struct {
	name string
	svg  func(chart.Format) ([]byte, error)
	as   chart.Format
	into *template.HTML
}

// draw makes the drawings that there is something to draw for.
func (p *page) draw(r *verify.Report, likely *Odds) error {
	section := Section(r)
	drawings := []drawn{
		{"section", section.SVG, chart.Wide, &p.SectionWide},
		{"section", section.SVG, chart.Narrow, &p.SectionNarrow},
	}
	if len(r.Pairs) > 0 {
		drawings = append(drawings, drawn{"matrix", Matrix(r).SVG, chart.Wide, &p.Matrix})
	}
	if likely != nil && likely.Answer != nil {
		if testing := Testing(likely.Answer); testing != nil {
			drawings = append(drawings, drawn{"curve of tests", testing.SVG, chart.Wide, &p.TestingWide},
				drawn{"curve of tests", testing.SVG, chart.Narrow, &p.TestingNarrow})
		}
	}
	for _, d := range drawings {
		svg, err := d.svg(d.as)
		if err != nil {
			return fmt.Errorf("drawing the %s: %w", d.name, err)
		}
		*d.into = template.HTML(svg)
	}
	return nil
}

// markup drops control characters: HTML has none but line breaks, and a tank's
// name may have any.
func markup(r rune) rune {
	if unicode.IsControl(r) && r != '\n' {
		return -1
	}
	return r
}
