package bench

import "math"

// measured is a number with its error, one standard deviation; 0: exact.
type measured struct{ value, sd float64 }

// spread carries the errors of inputs, which are independent, through f: a
// half standard deviation to each side of every input, squares added up. It
// returns a value and a standard deviation for each of f's results, and f's
// errors.
func spread(inputs []measured, f func(x []float64) ([]float64, error)) ([]measured, error) {
	x := make([]float64, len(inputs))
	for i, in := range inputs {
		x[i] = in.value
	}
	middle, err := f(x)
	if err != nil {
		return nil, err
	}
	out := make([]measured, len(middle))
	for i, v := range middle {
		out[i].value = v
	}
	for i, in := range inputs {
		if in.sd == 0 {
			continue
		}
		x[i] = in.value + in.sd/2
		above, err := f(x)
		if err != nil {
			return nil, err
		}
		x[i] = in.value - in.sd/2
		below, err := f(x)
		if err != nil {
			return nil, err
		}
		x[i] = in.value
		for j := range out {
			out[j].sd = math.Hypot(out[j].sd, above[j]-below[j])
		}
	}
	return out, nil
}
