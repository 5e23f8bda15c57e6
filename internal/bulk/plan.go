package bulk

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"isohaline/internal/problem"
	"isohaline/seawater"
)

// Column is a quantity that can be computed.
type Column struct {
	Name  string // in the table
	Words string // in a sentence
	Unit  string // empty for a pure number
}

// Value is the value of a column.
type Value struct {
	Column
	Is float64 // NaN where the quantity is not defined
}

// Evaluate computes one state from the named inputs. Extrapolated says that it
// lies where the formulas still give values, but outside the range they were
// fitted in. The error names the input that is missing or out of range.
func Evaluate(inputs map[string]float64) (values []Value, extrapolated bool, err error) {
	var names []string
	for _, in := range knownInputs {
		if _, ok := inputs[in.name]; ok {
			names = append(names, in.name)
		}
	}
	p, err := planFor(names)
	if err != nil {
		return nil, false, err
	}
	raw := make([]float64, len(p.columns))
	extrapolated, wrong := p.compute(raw, func(in placed) (float64, string) {
		v := inputs[in.name]
		return v, strconv.FormatFloat(v, 'g', -1, 64)
	})
	if wrong != nil {
		return nil, false, fmt.Errorf("%s: %s %s", wrong.Field, wrong.Value, wrong.Why)
	}
	values = make([]Value, len(raw))
	for i, c := range p.columns {
		values[i] = Value{c, raw[i]}
	}
	return values, extrapolated, nil
}

// plan is what one header makes possible.
type plan struct {
	width            int
	inputs           []placed
	fromConductivity bool
	pair             *pair // nil: no carbonate system
	fitted           string
	groups           []*group
	columns          []Column // of all groups, in their order
}

// FittedSeawater is where the formulas of seawater were fitted, in words.
const (
	FittedSeawater  = "SP 0 to 42 or -2 to 40 °C"
	fittedCarbonate = "SP 19 to 43 or 2 to 35 °C"
)

// placed is an input and the column it stands in.
type placed struct {
	*input
	index int
}

// planFor finds out what the header gives and what follows from it.
func planFor(header []string) (*plan, error) {
	at := map[string]int{}
	for i, name := range header {
		if _, twice := at[name]; twice && name != "" {
			return nil, fmt.Errorf("column %q is there twice; rename or remove one", name)
		}
		at[name] = i
	}
	p := &plan{width: len(header)}
	has := func(name string) bool { _, ok := at[name]; return ok }
	take := func(names ...string) {
		for _, name := range names {
			if has(name) {
				p.inputs = append(p.inputs, placed{inputNamed(name), at[name]})
			}
		}
	}
	add := func(groups ...*group) {
		for _, g := range groups {
			p.groups = append(p.groups, g)
			p.columns = append(p.columns, g.columns...)
		}
	}

	pair, err := pairOf(has)
	if err != nil {
		return nil, err
	}
	p.fitted = FittedSeawater
	switch hasTemp := has("t_degC"); {
	case pair != nil:
		for i := range carbonateInputs {
			p.inputs = append(p.inputs, placed{&carbonateInputs[i], at[carbonateInputs[i].name]})
		}
		p.inputs = append(p.inputs, placed{&pair.a.input, at[pair.a.name]}, placed{&pair.b.input, at[pair.b.name]})
		add(pair.group())
		p.pair, p.fitted = pair, fittedCarbonate
	case has("SP") && hasTemp:
		take("SP", "t_degC", "p_dbar", "wavelength_nm")
		add(absolute, thermodynamic, conductivity, gravities)
	case has("SP"):
		take("SP")
		add(absolute, gravities)
	case has("C_mS_cm") && hasTemp:
		take("C_mS_cm", "t_degC", "p_dbar", "wavelength_nm")
		add(practical, absolute, thermodynamic, gravities)
		p.fromConductivity = true
	case has("C_mS_cm"):
		return nil, errors.New("C_mS_cm says nothing without the temperature of the water; add the column t_degC")
	case hasTemp:
		p.inputs = append(p.inputs, placed{&saturationTemp, at["t_degC"]})
		add(saturation)
	}
	switch missing := lacking(has, "tdb_degC", "rh_pct", "p_Pa"); len(missing) {
	case 0:
		take("tdb_degC", "rh_pct", "p_Pa")
		add(moistAir)
	case 1, 2:
		return nil, fmt.Errorf("air needs its temperature, humidity and pressure; add %s", strings.Join(missing, " and "))
	}

	if len(p.groups) == 0 {
		return nil, fmt.Errorf("no column to compute from; give SP, or SP and t_degC, those with two of TA_umol_kg, DIC_umol_kg, pH_total and pCO2_uatm, or C_mS_cm and t_degC, or t_degC, or tdb_degC, rh_pct and p_Pa, separated by commas")
	}
	for _, c := range p.columns {
		if has(c.Name) {
			return nil, fmt.Errorf("column %q would be computed and is there already; rename or remove it", c.Name)
		}
	}
	return p, nil
}

func lacking(has func(string) bool, names ...string) []string {
	var missing []string
	for _, name := range names {
		if !has(name) {
			missing = append(missing, name)
		}
	}
	return missing
}

func (p *plan) names() []string {
	names := make([]string, len(p.columns))
	for i, c := range p.columns {
		names[i] = c.Name
	}
	return names
}

// computeCells computes a row of the table.
func (p *plan) computeCells(cells []string, values []float64) (extrapolated bool, _ *problem.Problem) {
	return p.compute(values, func(in placed) (float64, string) {
		text := cells[in.index]
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil {
			v = math.NaN()
		}
		return v, text
	})
}

// compute fills values, one for each column, from what read says of each input:
// its value, NaN for none, and its text for a message.
func (p *plan) compute(values []float64, read func(placed) (float64, string)) (extrapolated bool, _ *problem.Problem) {
	s := state{wavelengthNM: seawater.SodiumDNM}
	for _, in := range p.inputs {
		v, text := read(in)
		if !(v >= in.lo && v <= in.hi) {
			why := in.refusal()
			if text == "" {
				why = `"" ` + why // an empty cell is one too
			}
			return false, &problem.Problem{Field: in.name, Value: text, Why: why}
		}
		if v < in.fittedLo || v > in.fittedHi {
			extrapolated = true
		}
		*in.field(&s) = v
	}
	if p.fromConductivity {
		s.sp = seawater.PracticalSalinityFromConductivity(s.cMSCm, s.tempC, s.pressureDbar)
		if math.IsNaN(s.sp) {
			most := seawater.ConductivityFromPracticalSalinity(maxSP, s.tempC, s.pressureDbar)
			return false, &problem.Problem{Field: "C_mS_cm", Value: written(s.cMSCm),
				Why: fmt.Sprintf("is more than seawater conducts; give 0 to %.2f at this temperature", most)}
		}
		extrapolated = extrapolated || s.sp > fittedMaxSP
	}
	if p.pair != nil {
		if wrong := p.pair.solve(&s); wrong != nil {
			return false, wrong
		}
	}
	rest := values
	for _, g := range p.groups {
		g.compute(&s, rest[:len(g.columns)])
		rest = rest[len(g.columns):]
	}
	return extrapolated, nil
}
