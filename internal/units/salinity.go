package units

import (
	"fmt"
	"math"
	"strings"

	"isohaline/internal/problem"
	"isohaline/seawater"
)

// surfaceDbar is the sea pressure of a sample in a bucket.
const surfaceDbar = 0

// derivedSalinity reads what instruments show: a specific gravity with its two
// temperatures (of the water over of the pure water it is compared with, as
// engraved on the hydrometer: 25/25, 20/4, 60/60°F) or a conductivity with the
// temperature of the water. Without those temperatures neither is a salinity:
// 1.0264 is 35.0 at 25/25 and 39.0 at 25/4.
func derivedSalinity(value float64, unit string) (float64, bool, *problem.Problem) {
	name, at, _ := strings.Cut(unit, "@")
	at = strings.TrimSpace(at)
	switch strings.TrimSpace(name) {
	case "SG", "sg":
		psu, err := salinityFromSG(value, at)
		return psu, true, err
	case "mS/cm":
		psu, err := salinityFromConductivity(value, at)
		return psu, true, err
	}
	return 0, false, nil
}

func salinityFromSG(sg float64, at string) (float64, *problem.Problem) {
	sample, reference, ok := strings.Cut(at, "/")
	scale := "°C"
	for _, f := range []string{"°F", "F"} {
		if bare, isF := strings.CutSuffix(reference, f); isF {
			reference, scale = bare, "°F"
			break
		}
	}
	reference = strings.TrimSuffix(strings.TrimSuffix(reference, "C"), "°")
	tempC, errA := Temperature.Parse(sample + scale)
	refTempC, errB := Temperature.Parse(reference + scale)
	if !ok || errA != nil || errB != nil {
		return 0, &problem.Problem{Why: "is a specific gravity without its two temperatures",
			Fix: `write those engraved on the instrument, like "1.0264 SG@25/25" or "1.0260 SG@60/60°F"`}
	}
	psu, err := seawater.PracticalSalinityFromSpecificGravity(sg, tempC, refTempC)
	if err != nil {
		return 0, &problem.Problem{Why: "is no specific gravity of seawater: " + err.Error(),
			Fix: `write a specific gravity between pure water and brine, like "1.0264 SG@25/25"`}
	}
	return psu, nil
}

func salinityFromConductivity(mSCm float64, at string) (float64, *problem.Problem) {
	tempC, err := Temperature.Parse(at)
	if err != nil {
		return 0, &problem.Problem{Why: "is a conductivity without the temperature of the water",
			Fix: `write it behind an @, like "53 mS/cm@25°C"; an instrument that compensates to 25 °C shows a conductivity at 25 °C`}
	}
	psu := seawater.PracticalSalinityFromConductivity(mSCm, tempC, surfaceDbar)
	if math.IsNaN(psu) {
		return 0, &problem.Problem{Why: fmt.Sprintf("is no conductivity of seawater at %s", Temperature.Exact(tempC)),
			Fix: `write a conductivity like "53 mS/cm@25°C"`}
	}
	return psu, nil
}
