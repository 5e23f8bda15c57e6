package bulk

import (
	"fmt"
	"strings"
)

// Help says in plain text what a table may hold and what comes out, for a
// program's help. Tables are indented.
func Help() string {
	var b strings.Builder
	b.WriteString("Reads CSV with a header on standard input and writes it with the computed columns. What is computed follows from the columns that are there:\n\n")
	for _, way := range [][2]string{
		{"SP", "salinities and specific gravities"},
		{"SP, t_degC", "those, and density, heat, light and vapour"},
		{"SP, t_degC and a pair", "the carbonate system, in place of those: a pair is two of"},
		{"", "TA_umol_kg, DIC_umol_kg, pH_total and pCO2_uatm"},
		{"C_mS_cm, t_degC", "the salinity first, then the same"},
		{"t_degC", "pure water and its vapour at saturation"},
		{"tdb_degC, rh_pct, p_Pa", "moist air"},
	} {
		fmt.Fprintf(&b, "  %-24s%s\n", way[0], way[1])
	}
	b.WriteString("\nColumns to compute from:\n\n")
	for _, in := range knownInputs {
		fmt.Fprintf(&b, "  %-24s%g to %g: %s\n", in.name, in.lo, in.hi, in.words)
	}
	for i := range quantities {
		q := &quantities[i]
		fmt.Fprintf(&b, "  %-24s%g to %g: %s\n", q.name, q.lo, q.hi, q.words)
	}
	fmt.Fprintf(&b, "\nWith a pair, SP may be %g to %g and t_degC %g to %g; the constants were fitted for SP %g to %g and %g to %g °C; saturations are for the sea's calcium.\n",
		carbonateInputs[0].lo, carbonateInputs[0].hi, carbonateInputs[1].lo, carbonateInputs[1].hi,
		carbonateInputs[0].fittedLo, carbonateInputs[0].fittedHi, carbonateInputs[1].fittedLo, carbonateInputs[1].fittedHi)
	fmt.Fprintf(&b, "Alone, t_degC may be %g to %g. ", saturationTemp.lo, saturationTemp.hi)
	b.WriteString("Other columns and the comment lines (#) before the header pass through. Columns that are computed:\n\n")
	for _, g := range []*group{practical, absolute, thermodynamic, conductivity, gravities, saturation, moistAir} {
		for _, c := range g.columns {
			describe(&b, c)
		}
	}
	for _, c := range carbonateColumns {
		describe(&b, c.Column)
	}
	b.WriteString("\nA row that cannot be computed is reported with its line and comes out with its computed cells empty; the exit code is then 1.")
	return b.String()
}

// describe is a column's line in the help.
func describe(b *strings.Builder, c Column) {
	unit := ""
	if c.Unit != "" {
		unit = ", " + c.Unit
	}
	fmt.Fprintf(b, "  %-24s%s%s\n", c.Name, c.Words, unit)
}
