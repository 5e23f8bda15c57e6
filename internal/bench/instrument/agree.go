package instrument

import "math"

// Seen is one reading of the same water, as a salinity.
type Seen struct{ PSU, SDPSU float64 }

// How often an instrument is off, and how far then, before anything was read.
// Common practice, no source.
const (
	priorOffProb = 0.1
	offSDPSU     = 2.0
)

// SeenMax bounds Agree: it tries every set of instruments.
const SeenMax = 12

// Verdict is what several readings of one water say together.
type Verdict struct {
	PSU, SDPSU float64
	// Off is how sure it is that each reading is off, 0 to 1.
	Off []float64
}

// Agree weighs readings of one water against each other. Each is right, with its
// own error, or off by a further normal error of 2 PSU, one time in ten; every
// set of instruments that might be off is weighed by how well it explains the
// readings, and the salinity is the mean over all sets. With two readings that
// disagree it cannot tell which is off and says even odds for equal errors.
//
// It takes 1 to SeenMax readings with positive errors; outside, the verdict is
// NaN.
func Agree(readings []Seen) Verdict {
	n := len(readings)
	if n == 0 || n > SeenMax {
		return Verdict{PSU: math.NaN(), SDPSU: math.NaN()}
	}
	type set struct{ logWeight, mean, variance float64 }
	sets := make([]set, 1<<n)
	most := math.Inf(-1)
	for mask := range sets {
		var weights, weighted, logWeight float64
		for i, r := range readings {
			variance, chance := r.SDPSU*r.SDPSU, 1-priorOffProb
			if mask>>i&1 == 1 {
				variance, chance = variance+offSDPSU*offSDPSU, priorOffProb
			}
			weights += 1 / variance
			weighted += r.PSU / variance
			logWeight += math.Log(chance) - math.Log(variance)/2
		}
		mean := weighted / weights
		for i, r := range readings {
			variance := r.SDPSU * r.SDPSU
			if mask>>i&1 == 1 {
				variance += offSDPSU * offSDPSU
			}
			logWeight -= (r.PSU - mean) * (r.PSU - mean) / (2 * variance)
		}
		// The salinity may be anything beforehand: it is integrated out.
		logWeight -= math.Log(weights) / 2
		sets[mask] = set{logWeight, mean, 1 / weights}
		most = max(most, logWeight)
	}
	v := Verdict{Off: make([]float64, n)}
	total, square := 0.0, 0.0
	for mask, s := range sets {
		weight := math.Exp(s.logWeight - most)
		total += weight
		v.PSU += weight * s.mean
		square += weight * (s.variance + s.mean*s.mean)
		for i := range n {
			if mask>>i&1 == 1 {
				v.Off[i] += weight
			}
		}
	}
	v.PSU /= total
	v.SDPSU = math.Sqrt(max(0, square/total-v.PSU*v.PSU))
	for i := range v.Off {
		v.Off[i] /= total
	}
	return v
}
