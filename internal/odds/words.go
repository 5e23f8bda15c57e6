package odds

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"isohaline/internal/verify"
	"isohaline/reliability"
)

// Sentence says a frequency as one would say it to a client.
func (f Frequency) Sentence() string {
	what := capitalised(f.Harm.String())
	if f.Combinations == 0 {
		return what + ": no combination of faults that was tried leads there."
	}
	return fmt.Sprintf("%s: to be expected %s; 90 %% of what is believed of the rates gives %s to %s.",
		what, Once(f.PerYear), Once(f.High), Once(f.Low))
}

func capitalised(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// Once says how often something that comes so many times a year does; beyond ten
// thousand years the number would claim more than anyone knows.
func Once(perYear float64) string {
	const longest, daysAMonth = 1e4, reliability.DaysPerYear / 12.0
	switch y := Years(perYear); {
	case y > longest:
		return "less than once in 10,000 years"
	case y >= 2:
		return "once in " + twoDigits(y) + " years"
	case y >= 2.0/12:
		return "once in " + twoDigits(y*12) + " months"
	case y*12*daysAMonth >= 2:
		return "once in " + twoDigits(y*12*daysAMonth) + " days"
	default:
		return "daily"
	}
}

// twoDigits rounds to two significant digits, in plain figures.
func twoDigits(v float64) string {
	scale := math.Pow(10, math.Floor(math.Log10(v))-1)
	return strconv.FormatFloat(math.Round(v/scale)*scale, 'f', max(0, -int(math.Round(math.Log10(scale)))), 64)
}

// why says how a combination comes to happen so often.
func (w *world) why(s set, values []float64, st *state) string {
	var parts []string
	s.each(func(i int) {
		rate := perYear(w.causes[i].rate(values))
		words := w.faults[i].Words
		if !w.stands[i].hidden {
			parts = append(parts, words+", "+Once(rate))
			return
		}
		mean := 0.0
		for n, m := range st.moments {
			found := 0.0
			for _, p := range w.partsOf(i) {
				found = either(found, st.probability(n, p))
			}
			mean += m.weight * found
		}
		parts = append(parts, fmt.Sprintf("%s, unseen, %s %% of the time, until %s finds it", words, twoDigits(100*mean),
			[...]string{proofTest: "a proof test", overhaul: "the yearly overhaul"}[w.stands[i].test]))
	})
	return capitalised(strings.Join(parts, "; ")) + "."
}

func (t *Testing) sentence() string {
	if t.Curve[0].PerYear[Danger] == 0 {
		return "No combination that was tried does serious harm, whatever is tested."
	}
	words := fmt.Sprintf("Tested every %.0f days. %s is what no testing can take away. ", t.IntervalDays, capitalised(Once(t.FloorPerYear)))
	if t.FloorPerYear == 0 {
		words = fmt.Sprintf("Tested every %.0f days. Testing could take all of it away. ", t.IntervalDays)
	}
	switch t.KneeDays {
	case shortestDays:
		words += "Testing decides: even weekly tests leave more than twice that."
	case longestDays:
		words += "Most of the risk is of this kind: testing more or less often changes little."
	default:
		words += fmt.Sprintf("The knee is near %.0f days: testing more often than that buys less than half, and less and less.", t.KneeDays)
	}
	const leastNotableFactor = 1.05
	if t.SkipFactor < leastNotableFactor {
		return words + " One skipped test changes next to nothing."
	}
	return words + fmt.Sprintf(" One skipped test makes serious harm %s times as likely until the next: it costs as much as %s ordinary days.",
		twoDigits(t.SkipFactor), twoDigits(t.SkipDays))
}

// inherentlySafe says so where the source is bounded and all of it at once does
// no serious harm.
func inherentlySafe(r *verify.Report) string {
	t := &r.Tank.TopOff
	if t.Plumbed != nil || t.Reservoir == nil || t.Reservoir.Refill != nil {
		return ""
	}
	v, err := t.Reservoir.Shape.Vessel()
	if err != nil {
		return ""
	}
	full := v.VolumeM3(t.Reservoir.FillHeightM)
	if full > r.Geometry.DumpSafeM3 {
		return ""
	}
	return fmt.Sprintf("Inherently safe against overfilling: the whole reservoir, %s, may run into the tank at once without serious harm (it may take %s). No sensor, relay or test is needed for that, however likely they are to fail. What remains comes about in other ways: water that misses the tank, or none that comes.",
		r.Units.Volume(full), r.Units.Volume(r.Geometry.DumpSafeM3))
}

// notes are what a reader must know of these figures.
func (w *world) notes(o Options) []string {
	out := []string{
		"These are estimates from generic failure rates and from judgement, to compare designs and habits. They are no certificate and no promise.",
		"The published rates come from clean industry and know nothing of salt creep, snails or slime: for those parts they are lower bounds. Most human habits have no published rate at all.",
		"Only what the twin knows is counted: water on the floor, salinity, alkalinity and pH, not heat or oxygen, and no burst vessels.",
		"Mains power near water, flooded floors and animals' lives: local codes and a licensed electrician or plumber decide, not these figures.",
	}
	if len(o.Rates) > 0 {
		if perHour := w.controlLoopPerHour(); perHour < claimLimitPerHour {
			out = append(out, fmt.Sprintf("The rates given make the ordinary controls fail to stop %s. Without strong evidence nobody should claim better than %s for sensor, controller, relay and person together.",
				Once(perYear(perHour)), Once(perYear(claimLimitPerHour))))
		}
	}
	return out
}

// claimLimitPerHour is the least dangerous failure rate that may be claimed for
// a basic control system as a whole, sensor, logic, actuator and person (BS EN
// 61511, as cited in the UK Process Safety Leadership Group's final report,
// p. 96 paragraph 64).
const claimLimitPerHour = 1e-5

// controlLoop are the faults that keep the ordinary controls from stopping.
var controlLoop = []string{"watch-stuck-dry", "watch-jammed", "watch-slow", "watch-fouled-high", "relay-welded",
	"controller-hung-on", "float-valve-stuck-open"}

func (w *world) controlLoopPerHour() float64 {
	values, sum := w.means(), 0.0
	for _, id := range controlLoop {
		if i := w.index(id); i >= 0 {
			sum += w.causes[i].rate(values)
		}
	}
	return sum
}
