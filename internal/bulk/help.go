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
	fmt.Fprintf(&b, "\nAlone, t_degC may be %g to %g. ", saturationTemp.lo, saturationTemp.hi)
	b.WriteString("Other columns and the comment lines (#) before the header pass through. Columns that are computed:\n\n")
	for _, g := range []*group{practical, absolute, thermodynamic, conductivity, gravities, saturation, moistAir} {
		for _, c := range g.columns {
			unit := ""
			if c.Unit != "" {
				unit = ", " + c.Unit
			}
			fmt.Fprintf(&b, "  %-24s%s%s\n", c.Name, c.Words, unit)
		}
	}
	b.WriteString("\nA row that cannot be computed is reported with its line and comes out with its computed cells empty; the exit code is then 1.")
	return b.String()
}
