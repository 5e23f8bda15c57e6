// Package chart draws: a tank and its sump cut through to scale, what every
// pair of faults does, one fault against time, and how often harm is to be
// expected against the time between tests. Plain data goes in, a
// complete SVG document comes out; the package knows nothing of tanks, guards
// or plants.
//
//	svg, err := section.SVG(chart.Wide)
//
// # The look
//
// The drawings are an engineer's nautical charts. Paper and navy ink, fine
// rules, blues that deepen with the water, a graduated staff beside every
// height, a serif for headings. Magenta is what a chart keeps for cautions, and
// is kept here for what needs a person. Nothing is said by colour alone: every
// level has its name, every harm class its number, every caution its letter.
//
// # What holds for every drawing
//
//   - It is self-contained: style, light and dark colours and a title and a
//     description for readers who do not see it are inside. It has no script,
//     no id and no outside resource, so several can share a page.
//   - Its colours are custom properties (see ColoursCSS) with the light colour
//     as fallback. A page may set its own.
//   - Text is placed by measured widths (see measure) of the widest face that
//     the style asks for, so labels keep clear of each other on any system.
//   - Wide is for 900 px and more, Narrow for 360 px and more; at these widths
//     no text is smaller than 9 px.
//   - Input that cannot be drawn, a vessel without width, is an error; a level
//     that is NaN is not there and is left out.
package chart

// Format is the room a drawing has.
type Format uint8

const (
	Wide   Format = iota // from 900 px, and paper
	Narrow               // a phone
)
