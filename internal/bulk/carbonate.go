package bulk

import (
	"errors"
	"fmt"
	"strings"

	"isohaline/carbonate"
	"isohaline/internal/problem"
)

// The carbonate system of a water from any two of four quantities.

// carbonateInputs take the place of SP and t_degC where two of the four are
// there: package carbonate's limits, and the range in which its K1 and K2 were
// fitted (Lueker et al. 2000).
var carbonateInputs = []input{
	{"SP", "practical salinity", carbonate.SalinityMinPSU, carbonate.SalinityMaxPSU, 19, 43, func(s *state) *float64 { return &s.sp }},
	{"t_degC", "temperature of the water, °C", carbonate.TempMinC, carbonate.TempMaxC, 2, 35, func(s *state) *float64 { return &s.tempC }},
}

// quantity is one of the four.
type quantity struct {
	input
	known func(float64) carbonate.Known
	// column is the one it is computed into, where it is not given.
	column string
}

var quantities = []quantity{
	{given("TA_umol_kg", "total alkalinity, µmol/kg", carbonate.TAMinUmolKg, carbonate.TAMaxUmolKg, func(s *state) *float64 { return &s.taUmolKg }), carbonate.TA, "TA_umol_per_kg"},
	{given("DIC_umol_kg", "dissolved inorganic carbon, µmol/kg", carbonate.DICMinUmolKg, carbonate.DICMaxUmolKg, func(s *state) *float64 { return &s.dicUmolKg }), carbonate.DIC, "DIC_umol_per_kg"},
	{given("pH_total", "pH, total scale", carbonate.PHMin, carbonate.PHMax, func(s *state) *float64 { return &s.pHTotal }), carbonate.PH, "pH_total"},
	{given("pCO2_uatm", "partial pressure of CO2, µatm", carbonate.PCO2MinUatm, carbonate.PCO2MaxUatm, func(s *state) *float64 { return &s.pCO2Uatm }), carbonate.PCO2, "pCO2_uatm"},
}

func given(name, words string, lo, hi float64, field func(*state) *float64) input {
	return input{name: name, words: words, lo: lo, hi: hi, fittedLo: lo, fittedHi: hi, field: field}
}

// carbonateColumns are all that can be computed, with where to find each.
var carbonateColumns = []struct {
	Column
	of func(*carbonate.State) float64
}{
	{Column{"TA_umol_per_kg", "total alkalinity", "µmol/kg"}, func(s *carbonate.State) float64 { return s.TAUmolKg }},
	{Column{"DIC_umol_per_kg", "dissolved inorganic carbon", "µmol/kg"}, func(s *carbonate.State) float64 { return s.DICUmolKg }},
	{Column{"pH_total", "pH, total scale", ""}, func(s *carbonate.State) float64 { return s.PHTotal }},
	{Column{"pCO2_uatm", "partial pressure of CO2", "µatm"}, func(s *carbonate.State) float64 { return s.PCO2Uatm }},
	{Column{"fCO2_uatm", "fugacity of CO2", "µatm"}, func(s *carbonate.State) float64 { return s.FCO2Uatm }},
	{Column{"CO2aq_umol_per_kg", "dissolved CO2 with carbonic acid", "µmol/kg"}, func(s *carbonate.State) float64 { return s.CO2UmolKg }},
	{Column{"HCO3_umol_per_kg", "bicarbonate", "µmol/kg"}, func(s *carbonate.State) float64 { return s.HCO3UmolKg }},
	{Column{"CO3_umol_per_kg", "carbonate", "µmol/kg"}, func(s *carbonate.State) float64 { return s.CO3UmolKg }},
	{Column{"omega_aragonite", "saturation of aragonite", ""}, func(s *carbonate.State) float64 { return s.OmegaAragonite }},
	{Column{"omega_calcite", "saturation of calcite", ""}, func(s *carbonate.State) float64 { return s.OmegaCalcite }},
	{Column{"revelle_factor", "Revelle factor", ""}, func(s *carbonate.State) float64 { return s.RevelleFactor }},
}

// pair is the two quantities that a table gives.
type pair struct {
	a, b *quantity
	// constants are those of the row before, which often serve the next.
	constants carbonate.Constants
	any       bool
}

// pairOf finds the pair in a header; nil if there is none of the four. One alone
// says nothing, three would contradict each other.
func pairOf(has func(string) bool) (*pair, error) {
	var found []*quantity
	var names []string
	for i := range quantities {
		if q := &quantities[i]; has(q.name) {
			found, names = append(found, q), append(names, q.name)
		}
	}
	switch {
	case len(found) == 0:
		return nil, nil
	case len(found) != 2:
		return nil, fmt.Errorf("the carbonate system needs two of TA_umol_kg, DIC_umol_kg, pH_total and pCO2_uatm, not %s; give two and rename the others", strings.Join(names, ", "))
	case !has("SP") || !has("t_degC"):
		return nil, fmt.Errorf("the carbonate system needs the water's salinity and temperature; add %s", strings.Join(lacking(has, "SP", "t_degC"), " and "))
	}
	return &pair{a: found[0], b: found[1]}, nil
}

// group computes the columns that the pair does not give.
func (p *pair) group() *group {
	g := &group{}
	var of []func(*carbonate.State) float64
	for _, c := range carbonateColumns {
		if c.Name != p.a.column && c.Name != p.b.column {
			g.columns, of = append(g.columns, c.Column), append(of, c.of)
		}
	}
	g.compute = func(s *state, v []float64) {
		for i, get := range of {
			v[i] = get(&s.solved)
		}
	}
	return g
}

// solve finds a row's state.
func (p *pair) solve(s *state) *problem.Problem {
	if !p.any || p.constants.SalinityPSU != s.sp || p.constants.TempC != s.tempC {
		c, err := carbonate.At(s.sp, s.tempC, carbonate.Options{})
		if err != nil { // not within the limits of the inputs
			return &problem.Problem{Why: err.Error()}
		}
		p.constants, p.any = c, true
	}
	first, second := *p.a.field(s), *p.b.field(s)
	solved, err := p.constants.Solve(p.a.known(first), p.b.known(second))
	if err == nil {
		s.solved = solved
		return nil
	}
	reason := err.Error()
	if together := (*carbonate.PairError)(nil); errors.As(err, &together) {
		reason = together.Reason
	}
	return &problem.Problem{Field: p.b.name, Value: written(second), Why: fmt.Sprintf("does not go with %s %s: %s", p.a.name, written(first), reason)}
}
