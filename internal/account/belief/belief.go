// Package belief is a Kalman filter for the water and the salt of one tank: its
// state and covariance, how they change with time (the process model), and what
// readings say about them (the measurement models). Litres are the drawing's:
// they are measured by the water between the watch sensor's two levels.
package belief

import "math"

// The components of the state. Litres, days and PSU.
const (
	// Deficit is the water missing below the watch sensor's upper level, L.
	Deficit = iota
	// Evaporation and Weather multiply the predicted evaporation: what is the
	// tank's own and stays, and what passes within days. The multiplier is their
	// sum.
	Evaporation
	Weather
	// Flow and Band are the top-off's flow and the water between the watch
	// sensor's two levels, as shares of the drawing's.
	Flow
	Band
	// Leak is the salt water that leaves beyond the skimmer's usual, L/day.
	Leak
	// Salt is all salt over the system's volume: the salinity that the tank
	// would have with nothing missing, PSU.
	Salt
	// Gauge is the error of the level gauge's zero, L in the chamber.
	Gauge

	// Size is how many components there are.
	Size
)

// Vector has one number for each component, by its index.
type Vector [Size]float64

// Belief is the estimate of a tank's state: its mean X and covariance P.
//
// The turns of the watch sensor alone fix no litre: were band, flow and
// evaporation all half as large, the pump would start and stop at the same
// times. So the band is taken as drawn and is what litres are measured by; how
// far such a litre is from a true one is learned apart, from the reservoir's fills
// (package reservoir). Were the band left free, noise would shrink all three
// together, because nothing at all explains a deficit of nothing best.
type Belief struct {
	X Vector
	P [Size]Vector
}

// Step is a stretch of time. The model is linear but for the salt that leaks
// away:
//
//	d(deficit)/dt = E (evaporation + weather) + leak + skim − run · flow
//	d(salt)/dt    = −(leak + skim) · salt/V
//
// and weather decays with its time constant; everything else wanders.
type Step struct {
	Days float64
	// PumpedL is what the pump as drawn would have moved, EvaporatedL the
	// predicted evaporation.
	PumpedL, EvaporatedL float64
	// WeatherLeft is the share of Weather left after the step, WeatherDays its
	// integral over the step in days.
	WeatherLeft, WeatherDays float64
	SkimLDay                 float64
	// PerL is 1/V, for a litre of the filter.
	PerL float64
	// Noise is the variance that the step adds, Most how far each component may
	// go, either way.
	Noise, Most Vector
}

// Predict moves the belief over a step of time.
func (b *Belief) Predict(s *Step) {
	x, p := &b.X, &b.P
	out := x[Leak] + s.SkimLDay
	predicted := 0.0
	if s.Days > 0 {
		predicted = s.EvaporatedL / s.Days
	}
	byWeather := predicted * s.WeatherDays
	perLeak := -x[Salt] * s.PerL * s.Days
	keepsSalt := 1 - out*s.PerL*s.Days

	x[Deficit] += s.EvaporatedL*x[Evaporation] + byWeather*x[Weather] + out*s.Days - s.PumpedL*x[Flow]
	x[Salt] -= out * x[Salt] * s.PerL * s.Days
	x[Weather] *= s.WeatherLeft

	// P = F P F' by the three rows of F that are not the identity's, then the
	// same columns.
	for j := range Size {
		p[Deficit][j] += s.EvaporatedL*p[Evaporation][j] + byWeather*p[Weather][j] + s.Days*p[Leak][j] - s.PumpedL*p[Flow][j]
		p[Salt][j] = keepsSalt*p[Salt][j] + perLeak*p[Leak][j]
		p[Weather][j] *= s.WeatherLeft
	}
	for i := range Size {
		p[i][Deficit] += s.EvaporatedL*p[i][Evaporation] + byWeather*p[i][Weather] + s.Days*p[i][Leak] - s.PumpedL*p[i][Flow]
		p[i][Salt] = keepsSalt*p[i][Salt] + perLeak*p[i][Leak]
		p[i][Weather] *= s.WeatherLeft
		p[i][i] += s.Noise[i]
	}
	b.bound(s.Most)
}

// bound keeps a belief where a tank can be, whatever was read, and its covariance
// symmetric in spite of rounding.
func (b *Belief) bound(most Vector) {
	for i := range Size {
		b.X[i] = min(max(b.X[i], -most[i]), most[i])
		if !(b.P[i][i] >= 0 && b.P[i][i] <= square(most[i])) {
			b.Fix(i)
			b.P[i][i] = square(most[i])
		}
		for j := range i {
			mean := (b.P[i][j] + b.P[j][i]) / 2
			b.P[i][j], b.P[j][i] = mean, mean
		}
	}
}

// Measurement is one scalar reading: Value = A X[I] + B X[J] + noise.
type Measurement struct {
	I, J     int
	A, B     float64
	Value    float64
	Variance float64 // of the noise
	// Outlier is the size of what is added when something happened that no model
	// knows: a hand in the sump, a slip of the pen.
	Outlier float64
	Mixture Mixture
	// Moves says that an outlier is real and moves component I, as water poured
	// in does; otherwise it is the reading's own error.
	Moves bool
}

// OutlierFrac is how many readings are outliers, before a tank has shown its own
// share. A judgement.
const OutlierFrac = 0.02

// Mixture is the logarithms of the shares of sound readings and outliers.
type Mixture struct{ sound, outlier float64 }

// NewMixture has a share of outliers. Cauchy's 1/pi is in it, and what the normal
// law leaves out in LogLikelihoods.
func NewMixture(outliers float64) Mixture {
	return Mixture{math.Log(1 - outliers), math.Log(outliers) - math.Log(math.Pi) + 0.5*math.Log(2*math.Pi)}
}

// UsualMixture is that of a reading of which nothing else is known.
var UsualMixture = NewMixture(OutlierFrac)

// LogLikelihoods are those of an innovation nu under a normal law of a variance,
// and under Cauchy's law of the outliers' size, each with its share. Common
// constants are left out. Cauchy's tail keeps any single reading from deciding
// anything.
func (m Mixture) LogLikelihoods(nu, variance, size float64) (sound, outlier float64) {
	sound = m.sound - 0.5*(math.Log(variance)+nu*nu/variance)
	outlier = m.outlier - math.Log(size+nu*nu/size)
	return sound, outlier
}

// LogSum returns log(exp(a) + exp(b)), without overflow: the log-likelihood of a
// mixture.
func LogSum(a, b float64) float64 { return max(a, b) + math.Log1p(math.Exp(-math.Abs(a-b))) }

// Innovation is what a belief makes of a reading: its log-likelihood, short of a
// constant, under the mixture; the innovation in its own standard deviations,
// before any outlier; and whether it was one.
type Innovation struct {
	LogLik, Z float64
	Outlier   bool
}

// Update corrects the belief by a reading.
func (b *Belief) Update(m *Measurement) Innovation {
	p := &b.P
	ph := b.covariances(m)
	nu := m.Value - m.A*b.X[m.I] - m.B*b.X[m.J]
	s := max(m.A*ph[m.I]+m.B*ph[m.J], 0) + m.Variance
	sound, outlier := m.Mixture.LogLikelihoods(nu, s, m.Outlier)
	out := Innovation{LogLik: LogSum(sound, outlier), Z: nu / math.Sqrt(s), Outlier: outlier > sound}
	if out.Outlier {
		added := max(m.Outlier*m.Outlier, nu*nu)
		if m.Moves {
			p[m.I][m.I] += added
			ph[m.I] += m.A * added
			s += m.A * m.A * added
		} else {
			s += added
		}
	}
	inverse := 1 / s
	for k := range Size {
		b.X[k] += ph[k] * inverse * nu
		for l := range Size {
			p[k][l] -= ph[k] * ph[l] * inverse
		}
	}
	return out
}

// covariances are those of the reading with every component.
func (b *Belief) covariances(m *Measurement) (ph Vector) {
	for k := range Size {
		ph[k] = m.A*b.P[k][m.I] + m.B*b.P[k][m.J]
	}
	return ph
}

// Residual is a reading less what is believed, and the variance of that.
func (b *Belief) Residual(m *Measurement) (nu, variance float64) {
	p := &b.P
	variance = m.A*m.A*p[m.I][m.I] + 2*m.A*m.B*p[m.I][m.J] + m.B*m.B*p[m.J][m.J] + m.Variance
	return m.Value - m.A*b.X[m.I] - m.B*b.X[m.J], variance
}

// Z returns the residual in its own standard deviations.
func (b *Belief) Z(m *Measurement) float64 {
	nu, variance := b.Residual(m)
	return nu / math.Sqrt(max(variance, m.Variance))
}

// UpdateAbove corrects the belief by a bound: A X[I] + B X[J] is above Value, as a
// switch that has not turned says. It is the normal law truncated there, by its
// first two moments.
func (b *Belief) UpdateAbove(m *Measurement) (logLik float64) {
	p := &b.P
	ph := b.covariances(m)
	s := math.Sqrt(max(m.A*ph[m.I]+m.B*ph[m.J], 0) + m.Variance)
	z := (m.A*b.X[m.I] + m.B*b.X[m.J] - m.Value) / s
	above := 0.5 * math.Erfc(-z/math.Sqrt2)
	if (1-OutlierFrac)*above < OutlierFrac {
		at := *m
		at.Moves = true
		b.Update(&at) // it is about there, and nobody knows how
		return math.Log(OutlierFrac)
	}
	ratio := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / above
	shift, shrink := ratio/s, ratio*(ratio+z)/(s*s)
	for k := range Size {
		b.X[k] += ph[k] * shift
		for l := range Size {
			p[k][l] -= ph[k] * ph[l] * shrink
		}
	}
	return math.Log((1-OutlierFrac)*above + OutlierFrac)
}

// Widen adds the outer product of direction with itself to the covariance: what a
// hypothesis supposes to have changed.
func (b *Belief) Widen(direction Vector) {
	for i := range Size {
		for j := range Size {
			b.P[i][j] += direction[i] * direction[j]
		}
	}
}

// Fix makes component i certain: its variance and covariances become 0.
func (b *Belief) Fix(i int) {
	for j := range Size {
		b.P[i][j], b.P[j][i] = 0, 0
	}
}

// SD returns the standard deviation of component i, in its unit.
func (b *Belief) SD(i int) float64 { return math.Sqrt(max(b.P[i][i], 0)) }
