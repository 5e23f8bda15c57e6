package carbonate

import (
	"errors"
	"fmt"
	"math"
)

const uatmPerAtm = 1e6

// Ranges of the four quantities, given or found. They are wider than any
// aquarium: pH 2 to 14 holds acid spills and lime water, and pCO2 ends at pure
// CO2 gas.
const (
	TAMinUmolKg, TAMaxUmolKg   = -5_000.0, 50_000.0
	DICMinUmolKg, DICMaxUmolKg = 0.0, 50_000.0
	PHMin, PHMax               = 2.0, 14.0
	PCO2MinUatm, PCO2MaxUatm   = 0.0, 1e6
)

// Known is a known quantity: one of the two that Solve needs. Make one with
// TA, DIC, PH or PCO2.
type Known struct {
	quantity quantity
	value    float64
}

type quantity uint8

const (
	unknown quantity = iota
	totalAlkalinity
	totalCarbon
	phTotal
	partialPressure
)

// TA is a total alkalinity, -5000 to 50 000 µmol/kg.
func TA(umolKg float64) Known { return Known{totalAlkalinity, umolKg} }

// DIC is dissolved inorganic carbon, 0 to 50 000 µmol/kg.
func DIC(umolKg float64) Known { return Known{totalCarbon, umolKg} }

// PH is a pH on the total scale, 2 to 14. Convert other scales with ConvertPH.
func PH(total float64) Known { return Known{phTotal, total} }

// PCO2 is a partial pressure of CO2, 0 to 1 000 000 µatm.
func PCO2(uatm float64) Known { return Known{partialPressure, uatm} }

// String is the quantity with its value and unit.
func (k Known) String() string {
	f := k.quantity.field()
	return fmt.Sprintf("%s %.6g%s", f.name, k.value, unit(f.unit))
}

var errUnset = errors.New("a known quantity is not set: make it with TA, DIC, PH or PCO2")

func (k Known) check() error {
	if k.quantity == unknown {
		return errUnset
	}
	f := k.quantity.field()
	return checkRange(f.name, k.value, f.min, f.max, f.unit)
}

// field describes a quantity to people.
type field struct {
	name, unit string
	min, max   float64
}

func (q quantity) field() field {
	switch q {
	case totalAlkalinity:
		return field{"TA", "µmol/kg", TAMinUmolKg, TAMaxUmolKg}
	case totalCarbon:
		return field{"DIC", "µmol/kg", DICMinUmolKg, DICMaxUmolKg}
	case phTotal:
		return field{"pH", "", PHMin, PHMax}
	case partialPressure:
		return field{"pCO2", "µatm", PCO2MinUatm, PCO2MaxUatm}
	}
	return field{name: "unset quantity"}
}

// Solve finds the complete state from any two of TA, DIC, pH and pCO2, in either
// order.
//
// It returns a *RangeError if a value is outside its range (or NaN), and a
// *PairError if no water with these constants has both values, or if one of
// the other two quantities would leave its own range. It does not allocate
// unless it refuses.
func (c *Constants) Solve(a, b Known) (State, error) {
	if err := a.check(); err != nil {
		return State{}, err
	}
	if err := b.check(); err != nil {
		return State{}, err
	}
	if a.quantity > b.quantity {
		a, b = b, a
	}
	if a.quantity == b.quantity {
		return State{}, &PairError{a, b, "two values of one quantity; give a second quantity"}
	}

	var h, dic float64 // mol/kg
	switch {
	case a.quantity == totalAlkalinity && b.quantity == totalCarbon:
		dic = b.value / umolPerMol
		h = c.hydrogen(carbon{molKg: dic}, a.value/umolPerMol)
	case a.quantity == totalAlkalinity && b.quantity == phTotal:
		h = antilog(b.value)
		without := c.speciesAt(carbon{}, h).alkalinity
		dic = (a.value/umolPerMol - without) / c.chargePerCarbon(h)
	case a.quantity == totalAlkalinity:
		co2 := c.dissolvedCO2(b.value)
		h = c.hydrogen(carbon{open: true, molKg: co2}, a.value/umolPerMol)
		dic = c.carbonOver(co2, h)
	case a.quantity == totalCarbon && b.quantity == phTotal:
		dic, h = a.value/umolPerMol, antilog(b.value)
	case a.quantity == totalCarbon:
		dic = a.value / umolPerMol
		co2 := c.dissolvedCO2(b.value)
		if co2 >= dic {
			return State{}, &PairError{a, b, fmt.Sprintf("that pCO2 alone dissolves %.6g µmol/kg of CO2, and DIC must be more%s", co2*umolPerMol, checkReadings)}
		}
		h = c.hydrogenFromCarbon(dic, co2)
	default:
		h = antilog(a.value)
		dic = c.carbonOver(c.dissolvedCO2(b.value), h)
	}

	state := c.stateAt(h, dic)
	// The given numbers are returned as given, not as rounded on the way.
	for _, known := range [...]Known{a, b} {
		switch known.quantity {
		case totalAlkalinity:
			state.TAUmolKg = known.value
		case totalCarbon:
			state.DICUmolKg = known.value
		case phTotal:
			state.PHTotal = known.value
		case partialPressure:
			state.PCO2Uatm = known.value
		}
	}
	for _, found := range [...]Known{
		PH(state.PHTotal), DIC(state.DICUmolKg), TA(state.TAUmolKg), PCO2(state.PCO2Uatm),
	} {
		if found.check() != nil {
			return State{}, &PairError{a, b, found.outside()}
		}
	}
	return state, nil
}

const checkReadings = "; check both readings, and that they are of the same water"

// outside says that a quantity two others call for leaves its range.
func (k Known) outside() string {
	f := k.quantity.field()
	needed := f.name
	if !math.IsNaN(k.value) && !math.IsInf(k.value, 0) {
		needed = fmt.Sprintf("%s %.4g,", f.name, k.value)
	}
	return fmt.Sprintf("together they need %s outside %g to %g%s%s", needed, f.min, f.max, unit(f.unit), checkReadings)
}

// dissolvedCO2 is the CO2 in equilibrium with a partial pressure, mol/kg.
func (c *Constants) dissolvedCO2(pCO2Uatm float64) float64 {
	return pCO2Uatm / uatmPerAtm * c.FugacityFactor * c.K0
}

// carbonOver is the DIC of water at [H⁺] h that holds co2, mol/kg.
func (c *Constants) carbonOver(co2, h float64) float64 {
	return co2 * (1 + c.K1/h*(1+c.K2/h))
}

// chargePerCarbon is the mean negative charge on a carbon atom at [H⁺] h: 0 as
// CO2, 1 as bicarbonate, 2 as carbonate.
func (c *Constants) chargePerCarbon(h float64) float64 {
	k12 := c.K1 * c.K2
	return (c.K1*h + 2*k12) / (h*h + c.K1*h + k12)
}

// hydrogenFromCarbon is the [H⁺] at which co2 of dic is CO2: the positive root
// of (dic-co2)h² - co2·K1·h - co2·K1·K2 = 0, for dic above co2.
func (c *Constants) hydrogenFromCarbon(dic, co2 float64) float64 {
	rest, b := dic-co2, co2*c.K1
	return (b + math.Sqrt(b*b+4*rest*b*c.K2)) / (2 * rest)
}

// hydrogen is the [H⁺] at which water has the alkalinity ta, both mol/kg; NaN if
// that lies beyond pH 2 to 14.
//
// Alkalinity falls strictly as [H⁺] rises, so there is exactly one root and a
// bracket holds it: Munhoven (2013), Geosci. Model Dev. 6, 1367. Newton's
// method in ln[H⁺] takes five or six steps for a tank's water. Between the flat
// stretches of a titration curve it can swing for ever, though: a step that
// leaves the bracket, or is not half the one before, becomes a bisection.
// After newtonSteps every step does, so the loop ends whatever the input.
func (c *Constants) hydrogen(fixed carbon, ta float64) float64 {
	const (
		start       = 1e-8 // pH 8
		newtonSteps = 40
		steps       = newtonSteps + 64 // 2⁻⁶⁴ of the bracket is below rounding
		// Convergence is quadratic: an error of this size is gone after the
		// step that it was measured in.
		small = 1e-8
	)
	lo, hi := math.Pow10(-PHMax), math.Pow10(-PHMin)
	if !(c.speciesAt(fixed, lo).alkalinity >= ta && c.speciesAt(fixed, hi).alkalinity <= ta) {
		return math.NaN()
	}
	h, previous := start, math.Inf(1)
	for i := range steps {
		s := c.speciesAt(fixed, h)
		step := (ta - s.alkalinity) / s.slope
		next := h * math.Exp(step)
		if math.Abs(step) < small {
			return next
		}
		if s.alkalinity > ta {
			lo = h
		} else {
			hi = h
		}
		if !(next > lo && next < hi) || math.Abs(step) > previous/2 || i >= newtonSteps {
			next = math.Sqrt(lo * hi)
			step = math.Log(hi/lo) / 2
		}
		h, previous = next, math.Abs(step)
	}
	return h
}
