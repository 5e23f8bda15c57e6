package main

import (
	"errors"
	"fmt"
	"slices"
	"text/tabwriter"

	"github.com/agnivade/levenshtein"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
)

// listFaults prints what can be tried and by which ID it is asked for.
func listFaults(c *console, faults []plant.Fault) error {
	w := tabwriter.NewWriter(c.Out, 0, 0, 2, ' ', 0)
	for _, f := range faults {
		fmt.Fprintf(w, "%s\t%s\n", f.ID, f.Words)
	}
	return w.Flush()
}

// faults are those that --fault asks for, one or two that can happen together
// on this tank; none without --fault.
func (ch *checkCommand) faults(s *tankfile.Tank) ([]plant.Fault, error) {
	switch {
	case len(ch.Fault) == 0 && ch.Trace != "":
		return nil, errors.New("--trace: no fault to follow; give --fault ID, of isohaline check --list-faults")
	case len(ch.Fault) == 0 && ch.Season != "":
		return nil, errors.New("--season: no fault to follow; give --fault ID and --trace PREFIX")
	case len(ch.Fault) > 0 && ch.Trace == "":
		return nil, errors.New("--fault: nowhere to write what it does; give --trace PREFIX")
	case len(ch.Fault) > 2:
		return nil, fmt.Errorf("--fault: %d faults at once are not tried; give one or two", len(ch.Fault))
	}
	var faults []plant.Fault
	for _, id := range ch.Fault {
		f, err := faultOf(s, "--fault", id)
		if err != nil {
			return nil, err
		}
		faults = append(faults, f)
	}
	if len(faults) == 2 && faults[0].Unit == faults[1].Unit {
		return nil, fmt.Errorf("--fault: %s and %s are both of the %s and exclude each other; give two of different parts",
			faults[0].ID, faults[1].ID, faults[0].Unit)
	}
	return faults, nil
}

// faultOf finds a fault that a flag names and the tank can have.
func faultOf(s *tankfile.Tank, flag, id string) (plant.Fault, error) {
	named := func(f plant.Fault) bool { return f.ID == id }
	of := plant.FaultsOf(s)
	if i := slices.IndexFunc(of, named); i >= 0 {
		return of[i], nil
	}
	if slices.ContainsFunc(plant.Faults, named) {
		return plant.Fault{}, fmt.Errorf("%s: %q cannot happen on this tank, which lacks the part; see isohaline check --list-faults with the file", flag, id)
	}
	nearest := slices.MinFunc(of, func(a, b plant.Fault) int {
		return levenshtein.ComputeDistance(a.ID, id) - levenshtein.ComputeDistance(b.ID, id)
	})
	return plant.Fault{}, fmt.Errorf("%s: %q is no fault; did you mean %q? See isohaline check --list-faults", flag, id, nearest.ID)
}
