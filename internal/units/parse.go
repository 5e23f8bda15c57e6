package units

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"

	"isohaline/internal/problem"
)

const (
	// maxTextLen is the longest text worth reading: no quantity is longer.
	maxTextLen = 100
	// maxExponentDigits keeps exact arithmetic cheap: a float64 ends at 10 to
	// the 308.
	maxExponentDigits = 3
	// maxSignificantDigits always suffices to name one float64 (17 do when
	// printed in its own unit; a factor in between costs no more than one).
	maxSignificantDigits = 20
	// maxLeadingZeros is how small a number may be before it is written with an
	// exponent.
	maxLeadingZeros = 9
)

// spaces are the blanks that a text processor puts between number and unit.
var spaces = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u2212", "-", "\u00ba", "°")

// Parse reads a number with its unit and returns it in the kind's base unit.
// The space between them is free. The error is a *problem.Problem. Whether the value is
// a sensible one is for the caller to say: Parse takes any finite number.
func (k *Kind) Parse(text string) (float64, error) {
	value, err := k.parse(text)
	if err != nil {
		err.Value = problem.Shown(text)
		return 0, err
	}
	return value, nil
}

func (k *Kind) parse(text string) (float64, *problem.Problem) {
	if len(text) > maxTextLen {
		return 0, k.refuse("is too long")
	}
	s := strings.TrimSpace(spaces.Replace(text))
	numeral, name := split(s)
	if numeral == "" {
		return 0, k.refuse("is not " + k.name)
	}
	if strings.HasPrefix(name, ",") {
		return 0, &problem.Problem{Why: "has a comma in its number",
			Fix: fmt.Sprintf("write a point for decimals and nothing for thousands, like %q", k.example)}
	}
	number, ok := exact(numeral)
	if !ok {
		return 0, k.refuse("is not a number of a sensible size")
	}
	if u := k.find(name); u != nil {
		value := u.toBase(number)
		if math.IsInf(value, 0) {
			return 0, k.refuse("is not a number of a sensible size")
		}
		return value, nil
	}
	if name == "" {
		return 0, &problem.Problem{Why: "has no unit", Fix: fmt.Sprintf("write %s with its unit (%s), like %q",
			k.name, oneOf(k.Units()), numeral+" "+k.units[0].names[0])}
	}
	if k.derived != nil {
		v, _ := number.Float64()
		if value, ok, err := k.derived(v, name); ok || err != nil {
			return value, err
		}
	}
	return 0, k.refuse(fmt.Sprintf("has the unit %q, which is not one for %s", problem.Shown(name), k.name))
}

// refuse is an error whose fix names the units of the kind.
func (k *Kind) refuse(reason string) *problem.Problem {
	if k == Number {
		return &problem.Problem{Why: reason, Fix: fmt.Sprintf("write a number and nothing else, like %q", k.example)}
	}
	return &problem.Problem{Why: reason, Fix: fmt.Sprintf("write a number and %s, like %q", oneOf(k.Units()), k.example)}
}

func (k *Kind) find(name string) *unit {
	for i := range k.units {
		if slices.Contains(k.units[i].names, name) {
			return &k.units[i]
		}
	}
	return nil
}

// toBase forms the exact product and rounds it once.
func (u *unit) toBase(value *big.Rat) float64 {
	v := new(big.Rat).Set(value)
	if u.offset != nil {
		v.Add(v, u.offset)
	}
	f, _ := v.Mul(v, u.factor).Float64()
	return f
}

// Exact writes a base value in metric units with the fewest digits that Parse
// reads back as exactly the same float64. NaN and infinities, which no text
// stands for, come out as "NaN" and "Inf".
func (k *Kind) Exact(base float64) string {
	if math.IsNaN(base) || math.IsInf(base, 0) {
		return fmt.Sprint(base)
	}
	best := ""
	for i := range k.units {
		u := &k.units[i]
		if !u.written {
			continue
		}
		if text, ok := u.exactNumeral(base); ok && (best == "" || len(text) < strings.IndexByte(best, ' ')) {
			best = text + " " + u.names[0]
		}
	}
	return strings.TrimSuffix(best, " ")
}

// exactNumeral is the shortest decimal numeral that toBase rounds to base; it
// says false where this unit has none, far below any measurable quantity.
func (u *unit) exactNumeral(base float64) (string, bool) {
	value := new(big.Rat).SetFloat64(base)
	value.Quo(value, u.factor)
	if u.offset != nil {
		value.Sub(value, u.offset)
	}
	approx, _ := value.Float64()
	whole := 1 // digits before the point
	if approx != 0 {
		whole = int(math.Floor(math.Log10(math.Abs(approx)))) + 1
	}
	suffix := ""
	if whole < -maxLeadingZeros {
		suffix = fmt.Sprintf("e%d", whole-1)
		power, _ := new(big.Rat).SetString(fmt.Sprintf("1e%d", 1-whole))
		value.Mul(value, power)
		whole = 1
	}
	for digits := 1; digits <= maxSignificantDigits; digits++ {
		text := value.FloatString(max(0, digits-whole)) + suffix
		if back, ok := new(big.Rat).SetString(text); ok && u.toBase(back) == base {
			return text, true
		}
	}
	return "", false
}

// split cuts a text after its leading numeral: an optional sign, digits with at
// most one point, and an exponent if one follows at once.
func split(s string) (numeral, rest string) {
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	digits, point := 0, false
	for ; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
			continue
		case c == '.' && !point:
			point = true
			continue
		}
		break
	}
	if digits == 0 {
		return "", s
	}
	if j := exponent(s[i:]); j > 0 {
		i += j
	}
	return s[:i], strings.TrimSpace(s[i:])
}

// exponent is the length of an exponent at the start of s, 0 if there is none.
func exponent(s string) int {
	if s == "" || s[0] != 'e' && s[0] != 'E' {
		return 0
	}
	i := 1
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	start := i
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == start {
		return 0
	}
	return i
}

// exact is the numeral as a rational. It says false for an exponent whose
// power would cost more than any quantity is worth.
func exact(numeral string) (*big.Rat, bool) {
	if i := strings.IndexAny(numeral, "eE"); i >= 0 {
		if len(strings.TrimLeft(numeral[i+1:], "+-0")) > maxExponentDigits {
			return nil, false
		}
	}
	return new(big.Rat).SetString(strings.TrimPrefix(numeral, "+"))
}
