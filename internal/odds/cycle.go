package odds

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// moment is one point of the cycle from overhaul to overhaul: how long ago the
// last proof test was done and how long ago the overhaul was, with the share of
// time it stands for.
type moment struct{ ageH, hourH, weight float64 }

const (
	// gaussPoints integrates a product of five hidden failures, each near
	// straight in time, exactly.
	gaussPoints = 3
	// skipTail is the probability of a run of skipped tests that is no longer
	// followed; what is left stands for the longest followed.
	skipTail = 1e-7
)

// cycle lays moments over a life. Tests are due every interval from the
// overhaul on, each skipped with probability skip; the overhaul is not.
func cycle(intervalH, skip float64) []moment {
	var out []moment
	at, weight := make([]float64, gaussPoints), make([]float64, gaussPoints)
	for due := 0; float64(due)*intervalH < lifeH; due++ {
		from := float64(due) * intervalH
		quad.Legendre{}.FixedLocations(at, weight, from, min(from+intervalH, lifeH))
		for k, hour := range at {
			reached := 1.0 // probability that every later test was skipped
			for last := due; ; last-- {
				age := hour - float64(last)*intervalH
				if last == 0 || reached*skip < skipTail {
					out = append(out, moment{age, hour, reached * weight[k] / lifeH})
					break
				}
				out = append(out, moment{age, hour, reached * (1 - skip) * weight[k] / lifeH})
				reached *= skip
			}
		}
	}
	return out
}

// failed is the probability that a hidden failure is there at a moment. It comes
// at one rate, and harm finds it at another, when the demand comes that it was
// there to meet: then everything is put right, so one hidden failure does not
// do harm again and again.
func failed(perHour, metPerHour float64, test wait, m moment) float64 {
	exposed := exposure(m.hourH, metPerHour)
	if test == proofTest {
		exposed = testCoverage*exposure(m.ageH, metPerHour) + (1-testCoverage)*exposed
	}
	return -math.Expm1(-perHour * exposed)
}

// exposure is the time in which a failure can have come and not been met yet:
// the integral of exp(-met*u) over the time since it was last looked for.
func exposure(sinceH, metPerHour float64) float64 {
	if metPerHour == 0 {
		return sinceH
	}
	return -math.Expm1(-metPerHour*sinceH) / metPerHour
}

// either is the probability of one or both of two independent events.
func either(p, q float64) float64 { return p + q*(1-p) }
