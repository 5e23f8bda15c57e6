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
	// Version is the program's, SiteFile the file that was checked.
	Version, SiteFile string
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

	SectionWide, SectionNarrow, Matrix template.HTML
}

// HTML writes the report as one page that needs nothing else: to read on a
// phone, to print on A4 or Letter, to sign.
func HTML(w io.Writer, r *verify.Report, m Meta) error {
	p := page{
		content: contentOf(r, htmlPairs), Meta: m, UnnoticedWords: unnoticedWords,
		// Our own style sheet and drawings, which escape what is not ours.
		CSS: template.CSS(chart.ColoursCSS + ":root{--sans:" + chart.SansCSS + ";--serif:" + chart.SerifCSS + "}\n" + pageCSS),
	}
	if !m.Made.IsZero() {
		p.Date = m.Made.Format("2 January 2006")
	}
	if d := r.Site.People.ProofTestDays; d > 0 {
		p.ProofTest = r.Units.Duration(d * 24 * 3600)
	}
	section := Section(r)
	for _, drawing := range []struct {
		name string
		draw func() ([]byte, error)
		into *template.HTML
	}{
		{"section", func() ([]byte, error) { return section.SVG(chart.Wide) }, &p.SectionWide},
		{"section", func() ([]byte, error) { return section.SVG(chart.Narrow) }, &p.SectionNarrow},
		{"matrix", func() ([]byte, error) { return Matrix(r).SVG(chart.Wide) }, &p.Matrix},
	} {
		if drawing.into == &p.Matrix && len(r.Pairs) == 0 {
			continue
		}
		svg, err := drawing.draw()
		if err != nil {
			return fmt.Errorf("drawing the %s: %w", drawing.name, err)
		}
		*drawing.into = template.HTML(svg)
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

// markup drops control characters: HTML has none but line breaks, and a site's
// name may have any.
func markup(r rune) rune {
	if unicode.IsControl(r) && r != '\n' {
		return -1
	}
	return r
}
