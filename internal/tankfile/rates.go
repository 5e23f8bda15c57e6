package tankfile

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"isohaline/internal/units"
	"isohaline/reliability"
)

// Rate is how often one fault comes.
type Rate struct {
	// Fault is the fault's ID, as the check lists it.
	Fault string
	// Comes is a rate as reliability.ParseRange reads it.
	Comes string
	// Because says where it is from.
	Because string
}

// CommonCause is something that several parts share: a power strip, a relay
// board, a person.
type CommonCause struct {
	What string
	// Faults are the IDs of those that it brings together, with commas between.
	Faults string
	// Share of each fault's comings that are this cause's, the rarest's.
	ShareFrac float64
}

// FaultIDs returns the IDs of the faults that the cause brings together.
func (c *CommonCause) FaultIDs() []string {
	var ids []string
	for id := range strings.SplitSeq(c.Faults, ",") {
		if id = strings.TrimSpace(id); id != "" {
			ids = append(ids, id)
		}
	}
	return ids
}

const (
	maxRates  = 64
	maxCauses = 12
	// defaultShare is the share of level sensors' failures that takes several at
	// once: beta in PDS Data Handbook 2021, Table 3.12. For other parts it is
	// judgement.
	defaultShare = 0.1
)

func rateFields(r *Rate) []field {
	return []field{
		freeText("fault", &r.Fault, "its ID, as `isohaline check --list-faults` says it"),
		freeText("comes", &r.Comes, "how often, with its unit, like `0.2/yr`, or two that hold 90 % of what is believed, `0.05/yr to 0.4/yr`"),
		freeText("because", &r.Because, "where that is from").orNone(),
	}
}

func commonCauseFields(c *CommonCause) []field {
	return []field{
		freeText("what", &c.What, "what they have in common"),
		freeText("faults", &c.Faults, "the IDs of the faults that it brings together, with commas between; in quotes where the line is between braces"),
		measure("share", &c.ShareFrac, units.Fraction, 0.01, 0.9, "of the comings of the rarest of them that are this cause's").or(defaultShare),
	}
}

// rates checks what can be known without the list of faults.
func (c checker) rates() {
	var seen []string
	for i, rate := range c.s.Rates {
		at := itemPath("rates", i)
		if rate.Fault != "" && slices.Contains(seen, rate.Fault) {
			c.report(at+".fault", "has a rate already", "give it once")
		}
		seen = append(seen, rate.Fault)
		var refused *reliability.InputError
		if _, _, err := reliability.ParseRange(rate.Comes); rate.Comes != "" && errors.As(err, &refused) {
			c.report(at+".comes", "is no rate: "+refused.Problem, refused.Fix)
		}
	}
	for i := range c.s.CommonCauses {
		cause := &c.s.CommonCauses[i]
		at := itemPath("common causes", i) + ".faults"
		ids := cause.FaultIDs()
		slices.Sort(ids)
		switch {
		case cause.Faults == "":
		case len(ids) < 2:
			c.report(at, "names no two faults", "name what comes together, with commas between, or remove the cause")
		case len(slices.Compact(slices.Clone(ids))) < len(ids):
			c.report(at, "names a fault twice", "name each once")
		case len(ids) > maxTogether:
			c.report(at, fmt.Sprintf("names %d faults", len(ids)), fmt.Sprintf("name at most %d", maxTogether))
		}
	}
}

// maxTogether is more than anything brings at once.
const maxTogether = 8
