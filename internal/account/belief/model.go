package belief

import "math"

// Model is what the process and the measurements of one tank depend on.
type Model struct {
	// SystemL is all water that takes part in the mixing; BandL the water
	// between the watch sensor's two levels, 0 without a watch sensor.
	SystemL, BandL float64
	// LitresPerMM is the chamber's water in a millimetre of level.
	LitresPerMM float64
	// FlowLDay is the top-off pump at work, SkimLDay what the skimmer usually
	// takes.
	FlowLDay, SkimLDay float64
}

// How a tank wanders, one standard deviation per square root of a day.
// Judgements, tuned on the corpus (docs/account.md).
const (
	evaporationWanderFrac = 0.012
	flowWanderFrac        = 0.004
	leakWanderFrac        = 0.00003 // of the system's water
	saltWanderPSU         = 0.02
	gaugeWanderMM         = 0.1
	deficitWanderBands    = 0.02
	// LeastFlowFrac is the least share of the drawing's flow to reckon with, and
	// the least that is not known of the flow after a change.
	LeastFlowFrac = 0.02
	// LeastEvaporation is the least multiplier that anything is a share of.
	LeastEvaporation = 0.1
)

// Input is what happened during a stretch of time.
type Input struct {
	Days float64
	// PumpedL is what the pump as drawn would have moved.
	PumpedL float64
	// PredictedLDay is the physics' evaporation, WeatherVar the variance of what
	// passes, as a share squared.
	PredictedLDay, WeatherVar float64
	// Scale is true litres for one of the filter.
	Scale float64
}

// Step is the process over a stretch of time, for a tank of which this is
// believed.
func (m *Model) Step(b *Belief, in Input) Step {
	left := math.Exp(-in.Days / weatherDays)
	own := max(b.X[Evaporation], LeastEvaporation)
	sd := math.Sqrt(in.WeatherVar) * own
	return Step{
		Days: in.Days, PumpedL: in.PumpedL, EvaporatedL: in.PredictedLDay * in.Days,
		WeatherLeft: left, WeatherDays: weatherDays * (1 - left), SkimLDay: m.SkimLDay, PerL: in.Scale / m.SystemL,
		Noise: Vector{
			Deficit:     square(deficitWanderBands*m.BandL) * in.Days,
			Evaporation: square(evaporationWanderFrac*own) * in.Days,
			Weather:     sd * sd * (1 - left*left),
			Flow:        square(flowWanderFrac) * in.Days,
			Leak:        square(leakWanderFrac*m.SystemL) * in.Days,
			Salt:        square(saltWanderPSU) * in.Days,
			Gauge:       square(gaugeWanderMM*m.LitresPerMM) * in.Days,
		},
		Most: Vector{Deficit: 20 * m.SystemL, Evaporation: 100, Weather: 100, Flow: 100, Band: 100,
			Leak: 2 * m.SystemL, Salt: 100, Gauge: 20 * m.SystemL},
	}
}

const (
	// switchBands is how well a switch repeats, in shares of its band; timingS
	// how well the pump's start and end are timed. Judgements.
	switchBands = 0.06
	timingS     = 1.0
	// outlierBands is how far the level moves for reasons of its own: a hand in
	// the sump, foam, a switch that catches in the dip after a restart.
	outlierBands  = 0.7
	secondsPerDay = 86400.0
)

// SwitchVariance returns the variance, L², of the level at which the watch sensor
// switches. Dispersion is the tank's own variance over the usual, 1 for a usual tank.
func (m *Model) SwitchVariance(dispersion float64) float64 {
	return dispersion*square(switchBands*m.BandL) + square(timingS*m.FlowLDay/secondsPerDay)
}

// Switching is the level at one of the watch sensor's switching levels: the
// deficit times a and the band times b come to nothing.
func (m *Model) Switching(a, b, dispersion, outliers float64) *Measurement {
	return &Measurement{I: Deficit, J: Band, A: a, B: b * m.BandL, Variance: m.SwitchVariance(dispersion),
		Outlier: outlierBands * m.BandL, Mixture: NewMixture(outliers), Moves: true}
}

// outlierGaugeMM is how far off a gauge's reading may be that is an outlier.
const outlierGaugeMM = 15.0

// GaugeLevel returns the measurement of a level gauge that sees missingL litres
// missing, with the error sdMM of its reading in mm.
func (m *Model) GaugeLevel(missingL, sdMM float64) *Measurement {
	return &Measurement{I: Deficit, J: Gauge, A: 1, B: 1, Value: missingL, Variance: square(sdMM * m.LitresPerMM),
		Outlier: outlierGaugeMM * m.LitresPerMM, Mixture: UsualMixture}
}

const (
	outlierPSU = 2.5
	// systemFrac is how well the system's volume is known.
	systemFrac = 0.08
	// noFillFrac is how badly the deficit is known while no fill comes.
	noFillFrac = 0.2
)

// Salinity is a reading of the tank's water with the variance of its own error.
// What is missing has left its salt behind; how much that is, is known no better
// than a litre of the filter, the system's volume and, while no fill comes, the
// deficit are.
func (m *Model) Salinity(b *Belief, psu, variance, scale, scaleVar float64, noFill bool) *Measurement {
	perL := b.X[Salt] * scale / m.SystemL
	unsure := scaleVar + square(systemFrac)
	if noFill {
		unsure += square(noFillFrac)
	}
	return &Measurement{I: Salt, J: Deficit, A: 1, B: perL, Value: psu, Variance: variance + square(perL*b.X[Deficit])*unsure,
		Outlier: outlierPSU, Mixture: UsualMixture}
}

// Levels are what a finding compares with.
type Levels struct {
	DemandLDay, DemandSD    float64
	Air, Flow, Band         float64
	LeakLDay, SaltPSU       float64
	SaltSD, PredictedLDay   float64
	FillSeconds, PauseHours float64
}

// Levels are those of a belief, in litres of the filter.
func (m *Model) Levels(b *Belief, predictedLDay float64) Levels {
	demand := m.DemandLDay(b, predictedLDay)
	l := Levels{DemandLDay: demand, DemandSD: b.DemandSD(predictedLDay), Air: b.X[Evaporation] + b.X[Weather], Flow: b.X[Flow], Band: b.X[Band],
		LeakLDay: b.X[Leak], SaltPSU: b.X[Salt], SaltSD: b.SD(Salt), PredictedLDay: predictedLDay}
	if net := m.FlowLDay*b.X[Flow] - demand; net > 0 {
		l.FillSeconds = m.BandL * b.X[Band] / net * secondsPerDay
	}
	if demand > 0 {
		l.PauseHours = m.BandL * b.X[Band] / demand * 24
	}
	return l
}

// DemandLDay returns the water that the tank takes a day, L/day of the filter, at a
// predicted evaporation in L/day.
func (m *Model) DemandLDay(b *Belief, predictedLDay float64) float64 {
	return max(predictedLDay*(b.X[Evaporation]+b.X[Weather])+b.X[Leak]+m.SkimLDay, 0)
}

// DemandSD returns one standard deviation of Model.DemandLDay, L/day, at a predicted
// evaporation in L/day.
func (b *Belief) DemandSD(predictedLDay float64) float64 {
	e, p := predictedLDay, &b.P
	v := e*e*(p[Evaporation][Evaporation]+2*p[Evaporation][Weather]+p[Weather][Weather]) + 2*e*(p[Evaporation][Leak]+p[Weather][Leak]) + p[Leak][Leak]
	return math.Sqrt(max(v, 0))
}

func square(x float64) float64 { return x * x }
