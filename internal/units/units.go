// Package units reads quantities as people write them ("340 mm", "0.9 L/min",
// "1.0264 SG@25/25") and writes them as people read them.
//
// A quantity is a number and its unit. A number alone is refused, because
// nobody can tell whether it was measured in inches; a decimal comma is
// refused, because "1,500" means two things. Every factor is exact by
// definition unless its row says otherwise, and a conversion is rounded once:
// the product of numeral and factor is formed exactly and then rounded to the
// nearest float64.
package units

import (
	"math/big"
	"strings"

	"isohaline/internal/problem"
)

// Kind is a kind of quantity: what can be measured in the same units. Its base
// unit is the one that Parse returns and Exact takes.
type Kind struct {
	name    string // with its article, as an error says it: "a length"
	example string // a value in the right form
	units   []unit
	// derived converts a unit that is no fixed multiple of the base: a
	// specific gravity at its temperatures, a conductivity at its temperature.
	// It says false if the unit is none of those. Nil for most kinds.
	derived func(value float64, unit string) (float64, bool, *problem.Problem)
	// derivedForms are those units as an error lists them.
	derivedForms []string
}

// unit is one unit of a kind: base = (value + offset) × factor.
type unit struct {
	names  []string // the first is the usual one, the rest are spellings of it
	factor *big.Rat
	offset *big.Rat // nil: 0
	// written marks the units that Exact writes in.
	written bool
}

// Name is the kind as a sentence says it, with its article: "a length".
func (k *Kind) Name() string { return k.name }

// Example is a value in the form that Parse reads.
func (k *Kind) Example() string { return k.example }

// Units lists the usual name of every unit of the kind.
func (k *Kind) Units() []string {
	names := make([]string, 0, len(k.units)+len(k.derivedForms))
	for _, u := range k.units {
		names = append(names, u.names[0])
	}
	return append(names, k.derivedForms...)
}

// by builds a row whose unit is mul/per of the base; both are decimal numerals,
// so that the table shows the published digits and the factor is exact.
func by(mul, per string, names ...string) unit {
	m, okM := new(big.Rat).SetString(mul)
	p, okP := new(big.Rat).SetString(per)
	if !okM || !okP || p.Sign() == 0 {
		// Reached only by a typing error in the tables of this package, at
		// start, never by input.
		panic("units: bad factor for " + names[0])
	}
	return unit{names: names, factor: m.Quo(m, p)}
}

// write marks a unit as one that Exact writes in.
func write(u unit) unit { u.written = true; return u }

// from sets the offset of a unit whose zero is not the base's zero.
func from(u unit, offset string) unit {
	u.offset, _ = new(big.Rat).SetString(offset)
	return u
}

// oneOf joins names for a sentence: "mm, cm or m".
func oneOf(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}
