package chart

import "strings"

// Colour is one colour of the charts, on light paper and on dark.
type Colour struct {
	Name, Light, Dark string
}

// Colours are all there are. The test holds every pair that meets in a drawing
// to WCAG 2.2: text at 4.5:1, lines that carry meaning at 3:1.
var Colours = []Colour{
	{"paper", "#f8f3e7", "#0e1826"},  // the sheet
	{"panel", "#fdfaf2", "#132032"},  // a sheet laid on it: insets, the title
	{"ink", "#16274a", "#e6e1d3"},    // lines and text
	{"soft", "#4d5a78", "#a3aec2"},   // lesser text, leaders
	{"rule", "#c9c0a9", "#34445c"},   // fine rules that carry no meaning
	{"glass", "#dfe5e6", "#2b3b52"},  // walls
	{"land", "#ead9ae", "#4a4330"},   // rock and sand
	{"hatch", "#8a7440", "#b3a26a"},  // lines on it
	{"water1", "#dcecf3", "#16314a"}, // depth tints, the surface first
	{"water2", "#c8e0ec", "#183753"},
	{"water3", "#b3d3e5", "#1b3f5f"},
	{"water4", "#9dc5de", "#1e476b"},
	{"shore", "#2b6c96", "#6fb4dd"},  // water's edge, lines of level
	{"person", "#a8005c", "#ff86c0"}, // what needs a person
	{"onperson", "#ffffff", "#2a0418"},
	{"pink", "#f6d9e6", "#43203a"}, // its tint
}

// ColoursCSS declares the colours as custom properties, --iso-paper and so on,
// for a light screen, a dark one and a printer. A page that embeds charts can
// use them for itself.
var ColoursCSS = coloursCSS()

func coloursCSS() string {
	var light, dark strings.Builder
	for _, c := range Colours {
		light.WriteString("--iso-" + c.Name + ":" + c.Light + ";")
		dark.WriteString("--iso-" + c.Name + ":" + c.Dark + ";")
	}
	return ":root{color-scheme:light dark;" + light.String() + "}" +
		"@media screen and (prefers-color-scheme:dark){:root{" + dark.String() + "}}" +
		"@media print{:root{--iso-paper:#fff;--iso-panel:#fff}}" // the paper is the printer's
}

// SansCSS and SerifCSS are the faces, all of them on the reader's own system:
// a humanist sans and a book serif. None is wider than the last named one, whose
// widths measure uses.
const (
	SansCSS  = `Seravek,"Gill Sans Nova",Candara,Calibri,"Noto Sans",Ubuntu,"DejaVu Sans",sans-serif`
	SerifCSS = `"Iowan Old Style","Palatino Linotype",Palatino,"Book Antiqua","Noto Serif","DejaVu Serif",serif`
)

// drawingRules are the classes that drawings use: types, lines (l), fills,
// pipes, dashes. A fill comes after the lines, so that both can be asked for.
// $name is the colour's property with its light value as fallback.
const drawingRules = `
.iso{background:$paper;font-family:` + SansCSS + `}
.iso text{fill:$ink;font-variant-numeric:tabular-nums lining-nums}
.iso .serif{font-family:` + SerifCSS + `}
.iso .italic{font-family:` + SerifCSS + `;font-style:italic}
.iso .bold{font-weight:700}
.iso .halo{paint-order:stroke;stroke:$paper;stroke-width:4px;stroke-linejoin:round}
.iso .t-soft{fill:$soft}
.iso .t-person{fill:$person}
.iso .t-onperson{fill:$onperson}
.iso .t-paper{fill:$paper}
.iso .l{fill:none;stroke:$ink;stroke-width:1}
.iso .l-bold{fill:none;stroke:$ink;stroke-width:1.8}
.iso .l-fine{fill:none;stroke:$soft;stroke-width:.7}
.iso .l-rule{fill:none;stroke:$rule;stroke-width:.8}
.iso .l-hatch{fill:none;stroke:$hatch;stroke-width:.7}
.iso .l-shore{fill:none;stroke:$shore;stroke-width:1.2}
.iso .l-person{fill:none;stroke:$person;stroke-width:1.4}
.iso .l-person-fine{fill:none;stroke:$person;stroke-width:.8}
.iso .l-dot{fill:none;stroke:$soft;stroke-width:1.8;stroke-linecap:round}
.iso .l-deep{fill:none;stroke:$shore;stroke-width:1.6}
.iso .paper{fill:$paper}
.iso .panel{fill:$panel}
.iso .glass{fill:$glass;stroke:$ink;stroke-width:.9}
.iso .land{fill:$land;stroke:$hatch;stroke-width:.9}
.iso .w1{fill:$water1}
.iso .w2{fill:$water2}
.iso .w3{fill:$water3}
.iso .w4{fill:$water4}
.iso .ink{fill:$ink}
.iso .person{fill:$person}
.iso .pink{fill:$pink}
.iso .pipe{fill:none;stroke:$ink;stroke-linejoin:round}
.iso .bore{fill:none;stroke:$panel;stroke-linejoin:round}
.iso .wet{fill:none;stroke:$water3;stroke-linejoin:round}
.iso .dash{stroke-dasharray:7 4}
.iso .dots{stroke-dasharray:1.5 3.5;stroke-linecap:round}
.iso .dashdot{stroke-dasharray:9 3 1.5 3}
`

// styleCSS is what stands in every drawing.
var styleCSS = ColoursCSS + resolve(drawingRules)

// resolve writes the colours' properties for their names. Longer names first:
// $onperson must not be read as $on.
func resolve(css string) string {
	var pairs []string
	for _, c := range Colours {
		pairs = append(pairs, "$"+c.Name+";", "var(--iso-"+c.Name+","+c.Light+");",
			"$"+c.Name+"}", "var(--iso-"+c.Name+","+c.Light+")}")
	}
	return strings.ReplaceAll(strings.NewReplacer(pairs...).Replace(css), "\n", "")
}
