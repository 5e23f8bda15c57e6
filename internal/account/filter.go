package account

import "math"

// The states of a tank. Litres, days and PSU.
const (
	// deficit is the water missing below the watch sensor's wet level, L.
	deficit = iota
	// evap and weather multiply the predicted evaporation: what is the tank's
	// own and stays, and what passes within days. The multiplier is their sum.
	evap
	weather
	// flow and band are the top-off's flow and the water between the watch
	// sensor's two levels, as shares of the drawing's.
	flow
	band
	// leak is the salt water that leaves beyond the skimmer's habit, L/day.
	leak
	// salt is all salt over the system's volume: the salinity that the tank
	// would have with nothing missing, PSU.
	salt
	// gauge is what the level gauge's zero is off, L in the chamber.
	gauge

	states
)

// Filter is what is believed of a tank: means and covariance of its states.
//
// Marks alone fix no litre: were band, flow and evaporation all half as large,
// the pump would start and stop at the same times. So the band is taken as drawn
// and is what litres are measured by; how far a litre of the filter is from one
// in a jug is learned apart, from the reservoir's fills (supply.go). Were the
// band left free, noise would shrink all three together, because nothing at all
// explains "the deficit is nothing" best.
type Filter struct {
	X [states]float64
	P [states][states]float64
}

// step is how a stretch of time moves a belief. The model is linear but for the
// salt that leaks away:
//
//	d(deficit)/dt = E (evap + weather) + leak + skim − run · flow
//	d(salt)/dt    = −(leak + skim) · salt/V
//
// and weather forgets with its time constant; everything else wanders.
type step struct {
	days float64
	// ran is the design's litres that the pump would have moved, evaporated the
	// predicted litres.
	ran, evaporated float64
	// held is what weather keeps over the step, heldDays its integral in days.
	held, heldDays float64
	skimLDay       float64
	// perL is 1/V, for a litre of the filter.
	perL   float64
	wander [states]float64
	// most is how far each state may go, either way.
	most [states]float64
}

// advance carries the belief over a step.
func (f *Filter) advance(s *step) {
	x, p := &f.X, &f.P
	out := x[leak] + s.skimLDay
	predicted := 0.0
	if s.days > 0 {
		predicted = s.evaporated / s.days
	}
	byWeather := predicted * s.heldDays
	perLeak := -x[salt] * s.perL * s.days
	keepsSalt := 1 - out*s.perL*s.days

	x[deficit] += s.evaporated*x[evap] + byWeather*x[weather] + out*s.days - s.ran*x[flow]
	x[salt] -= out * x[salt] * s.perL * s.days
	x[weather] *= s.held

	// P = F P F' by the three rows of F that are not the identity's, then the
	// same columns.
	for j := range states {
		p[deficit][j] += s.evaporated*p[evap][j] + byWeather*p[weather][j] + s.days*p[leak][j] - s.ran*p[flow][j]
		p[salt][j] = keepsSalt*p[salt][j] + perLeak*p[leak][j]
		p[weather][j] *= s.held
	}
	for i := range states {
		p[i][deficit] += s.evaporated*p[i][evap] + byWeather*p[i][weather] + s.days*p[i][leak] - s.ran*p[i][flow]
		p[i][salt] = keepsSalt*p[i][salt] + perLeak*p[i][leak]
		p[i][weather] *= s.held
		p[i][i] += s.wander[i]
	}
	f.hold(s.most)
}

// hold keeps a belief where a tank can be, whatever was read, and its covariance
// symmetric against rounding.
func (f *Filter) hold(most [states]float64) {
	for i := range states {
		f.X[i] = min(max(f.X[i], -most[i]), most[i])
		if !(f.P[i][i] >= 0 && f.P[i][i] <= square(most[i])) {
			f.settle(i)
			f.P[i][i] = square(most[i])
		}
		for j := range i {
			mean := (f.P[i][j] + f.P[j][i]) / 2
			f.P[i][j], f.P[j][i] = mean, mean
		}
	}
}

// reading is one scalar seen: Value = a X[i] + b X[j] + noise.
type reading struct {
	i, j  int
	a, b  float64
	value float64
	noise float64 // variance
	// stray is the size of what is added when something happened that no model
	// knows: a hand in the sump, a slip of the pen.
	stray float64
	// chances are the shares of sound and stray.
	chances chances
	// moves says that the stray is real and moves the state i, as water poured
	// in does; otherwise it is the reading's own error.
	moves bool
}

// strayFrac is how many readings go astray, before a tank has shown its own
// share. A judgement.
const strayFrac = 0.02

// chances are the logarithms of the two shares of a mixture, sound and stray.
type chances struct{ sound, stray float64 }

// chancesOf a stray with a probability. Cauchy's 1/pi is in it, and what the
// normal law leaves out in likelihoods.
func chancesOf(stray float64) chances {
	return chances{math.Log(1 - stray), math.Log(stray) - math.Log(math.Pi) + 0.5*math.Log(2*math.Pi)}
}

// usualChances are those of a reading that says nothing else.
var usualChances = chancesOf(strayFrac)

// likelihoods are the log-likelihoods of an innovation under a normal law of
// variance s and under Cauchy's of the stray's size, each with its share. Common
// constants are left out. Cauchy's tail keeps any single reading from deciding
// anything.
func (c chances) likelihoods(nu, s, stray float64) (sound, astray float64) {
	sound = c.sound - 0.5*(math.Log(s)+nu*nu/s)
	astray = c.stray - math.Log(stray+nu*nu/stray)
	return sound, astray
}

// either is the log-likelihood of a mixture.
func either(a, b float64) float64 { return max(a, b) + math.Log1p(math.Exp(-math.Abs(a-b))) }

// taken is what a belief makes of a reading: its log-likelihood, short of a
// constant, under the mixture of sound and stray; the innovation in its own
// standard deviations, before any stray; and whether it was one.
type taken struct {
	logLik, z float64
	stray     bool
}

// take weighs a reading into the belief.
func (f *Filter) take(r *reading) taken {
	p := &f.P
	var ph [states]float64
	for k := range states {
		ph[k] = r.a*p[k][r.i] + r.b*p[k][r.j]
	}
	nu := r.value - r.a*f.X[r.i] - r.b*f.X[r.j]
	s := max(r.a*ph[r.i]+r.b*ph[r.j], 0) + r.noise
	sound, astray := r.chances.likelihoods(nu, s, r.stray)
	out := taken{logLik: either(sound, astray), z: nu / math.Sqrt(s), stray: astray > sound}
	if out.stray {
		added := max(r.stray*r.stray, nu*nu)
		if r.moves {
			p[r.i][r.i] += added
			ph[r.i] += r.a * added
			s += r.a * r.a * added
		} else {
			s += added
		}
	}
	inverse := 1 / s
	for k := range states {
		f.X[k] += ph[k] * inverse * nu
		for l := range states {
			p[k][l] -= ph[k] * ph[l] * inverse
		}
	}
	return out
}

// off is how far a reading would lie from what is believed, in standard
// deviations.
func (f *Filter) off(r *reading) float64 {
	p := &f.P
	s := r.a*r.a*p[r.i][r.i] + 2*r.a*r.b*p[r.i][r.j] + r.b*r.b*p[r.j][r.j] + r.noise
	return (r.value - r.a*f.X[r.i] - r.b*f.X[r.j]) / math.Sqrt(max(s, r.noise))
}

// takeAbove weighs in that a X[i] + b X[j] is above a limit, as a switch that has
// not turned says: the normal law cut off there, by its first two moments. stray
// is as in a reading.
func (f *Filter) takeAbove(r *reading) (logLik float64) {
	p := &f.P
	var ph [states]float64
	for k := range states {
		ph[k] = r.a*p[k][r.i] + r.b*p[k][r.j]
	}
	s := math.Sqrt(max(r.a*ph[r.i]+r.b*ph[r.j], 0) + r.noise)
	z := (r.a*f.X[r.i] + r.b*f.X[r.j] - r.value) / s
	above := 0.5 * math.Erfc(-z/math.Sqrt2)
	if (1-strayFrac)*above < strayFrac {
		at := *r
		at.moves = true
		f.take(&at) // it is about there, and nobody knows how
		return math.Log(strayFrac)
	}
	ratio := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / above
	shift, shrink := ratio/s, ratio*(ratio+z)/(s*s)
	for k := range states {
		f.X[k] += ph[k] * shift
		for l := range states {
			p[k][l] -= ph[k] * ph[l] * shrink
		}
	}
	return math.Log((1-strayFrac)*above + strayFrac)
}

// open adds variance along a direction: what is supposed to have changed.
func (f *Filter) open(direction [states]float64) {
	for i := range states {
		for j := range states {
			f.P[i][j] += direction[i] * direction[j]
		}
	}
}

// settle takes a state for certain.
func (f *Filter) settle(i int) {
	for j := range states {
		f.P[i][j], f.P[j][i] = 0, 0
	}
}

// sd is a state's standard deviation.
func (f *Filter) sd(i int) float64 { return math.Sqrt(max(f.P[i][i], 0)) }
