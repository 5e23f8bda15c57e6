package reliability

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// gaussPoints integrates exp over a unit length to the last digit.
const gaussPoints = 8

// gaussRule is the Gauss-Legendre rule on 0 to 1.
type gaussRule struct{ at, weight [gaussPoints]float64 }

func newGaussRule() *gaussRule {
	var r gaussRule
	quad.Legendre{}.FixedLocations(r.at[:], r.weight[:], 0, 1)
	return &r
}

// each calls f at the points of the rule between from and to, in equal pieces
// no longer than piece, with the weights that sum to the length.
func (r *gaussRule) each(from, to, piece float64, f func(x, weight float64)) {
	n := math.Max(1, math.Ceil((to-from)/piece))
	step := (to - from) / n
	for i := 0.0; i < n; i++ {
		for j := range r.at {
			f(from+(i+r.at[j])*step, r.weight[j]*step)
		}
	}
}
