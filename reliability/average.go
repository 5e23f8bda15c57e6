package reliability

import (
	"fmt"
	"math"
)

// Average is the mean of the top's probability over time, with each event's
// probability following the clock: the mean of a product is not the product of
// the means, and two sensors tested at the same visit are at their worst
// together, so their averages must not be multiplied.
//
// probsAt returns the events' probabilities, in the order of Tree.Events, at a
// time. It must be smooth between neighbouring edgesH: put one at every test.
// The mean is over the time from the first edge to the last, by eight-point
// Gauss-Legendre between edges. It refuses fewer than two edges, edges out of
// order and probabilities outside 0 to 1.
func (d *Diagram) Average(edgesH []float64, probsAt func(hour float64) []float64) (float64, error) {
	n := len(edgesH)
	span := 0.0
	if n > 0 {
		span = edgesH[n-1] - edgesH[0]
	}
	if !(span > 0) || math.IsInf(span, 1) {
		return 0, refuse("edgesH", "give a start and a later end, in hours", "%d edges span %v h", n, span)
	}
	rule := newGaussRule()
	sum := 0.0
	var failed error
	for i, from := range edgesH[:n-1] {
		to := edgesH[i+1]
		if !(to >= from) {
			return 0, refuse(fmt.Sprintf("edgesH[%d]", i+1), "sort the edges", "%v comes after %v", to, from)
		}
		rule.each(from, to, math.Inf(1), func(hour, weight float64) {
			q, err := d.ProbabilityWith(probsAt(hour))
			if err != nil {
				failed = err
			}
			sum += weight * q
		})
	}
	return sum / span, failed
}
