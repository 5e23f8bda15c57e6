package belief

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// reporter is what tests of both kinds report to.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
}

// near compares to a tolerance relative to want, absolute below 1.
func near(t reporter, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(math.Abs(want), 1)) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

// roomy bounds nothing that a test does.
var roomy = func() (most Vector) {
	for i := range most {
		most[i] = 1e9
	}
	return most
}()

// plain is a reading of one state, with no strays to speak of.
func plain(i int, value, noise float64) *Measurement {
	return &Measurement{I: i, J: i, A: 1, Value: value, Variance: noise, Outlier: 1, Mixture: NewMixture(1e-300)}
}

// TestKnownConstant: n readings of a constant. The posterior of a normal mean
// with a normal prior (Bayes's rule; any textbook, e.g. Gelman et al. 2013,
// Bayesian Data Analysis, equation 2.12).
func TestKnownConstant(t *testing.T) {
	const prior, noise = 4.0, 0.25
	f := Belief{}
	f.X[Salt], f.P[Salt][Salt] = 35, prior
	sum := 0.0
	for n := 1; n <= 50; n++ {
		value := 34 + math.Sin(float64(n))
		sum += value
		f.Update(plain(Salt, value, noise))
		precision := 1/prior + float64(n)/noise
		near(t, "variance", f.P[Salt][Salt], 1/precision, 1e-12)
		near(t, "mean", f.X[Salt], (35/prior+sum/noise)/precision, 1e-12)
	}
}

// TestSteadyWalk: the variance of a random walk read with noise settles where
// Kalman (1960, Trans. ASME 82D) has it: before a reading, p = q/2 +
// sqrt(q²/4 + q r), the positive root of p² - q p - q r = 0.
func TestSteadyWalk(t *testing.T) {
	const q, r = 0.04, 0.5
	f := Belief{}
	f.P[Band][Band] = 10
	s := Step{Days: 1, WeatherLeft: 1, Most: roomy}
	s.Noise[Band] = q
	for range 400 {
		f.Predict(&s)
		f.Update(plain(Band, 1, r))
	}
	f.Predict(&s)
	near(t, "variance", f.P[Band][Band], q/2+math.Sqrt(q*q/4+q*r), 1e-12)
}

// TestWeatherForgets: a first-order process keeps exp(-t/T) and its variance
// settles at its own (Uhlenbeck and Ornstein 1930, Phys. Rev. 36).
func TestWeatherForgets(t *testing.T) {
	const sd = 0.2
	f := Belief{}
	f.X[Weather], f.P[Weather][Weather] = 1, 0
	held := math.Exp(-0.5 / weatherDays)
	s := Step{Days: 0.5, WeatherLeft: held, Most: roomy}
	s.Noise[Weather] = sd * sd * (1 - held*held)
	for range 6 {
		f.Predict(&s)
	}
	near(t, "what is left after three days", f.X[Weather], math.Exp(-3/weatherDays), 1e-12)
	for range 400 {
		f.Predict(&s)
	}
	near(t, "variance", f.P[Weather][Weather], sd*sd, 1e-12)
}

// TestWaterAndSalt: over a day in hours, the deficit is evaporation and leak less
// the pump's litres, and the salt that leaves is the closed solution of
// dS/dt = -out S/V to the step's own error, half the square of the exponent.
func TestWaterAndSalt(t *testing.T) {
	const systemL, evaporatedLDay, leakLDay, skimLDay, hours = 400.0, 5.0, 8.0, 0.25, 24
	f := Belief{}
	f.X[Evaporation], f.X[Flow], f.X[Leak], f.X[Salt] = 1.2, 0.9, leakLDay, 35
	s := Step{Days: 1.0 / hours, WeatherLeft: 1, WeatherDays: 1.0 / hours, EvaporatedL: evaporatedLDay / hours, PumpedL: 3.0 / hours,
		SkimLDay: skimLDay, PerL: 1 / systemL, Most: roomy}
	for range hours {
		f.Predict(&s)
	}
	near(t, "deficit", f.X[Deficit], 1.2*evaporatedLDay+leakLDay+skimLDay-3*0.9, 1e-12)
	exponent := (leakLDay + skimLDay) / systemL
	near(t, "salt", f.X[Salt], 35*math.Exp(-exponent), 1.01*exponent*exponent/2/hours)
}

// dense is the filter by plain matrix algebra: the textbook's equations (Kalman
// 1960) on gonum's matrices, written without regard to what is zero.
type dense struct {
	x *mat.VecDense
	p *mat.Dense
}

func denseOf(f *Belief) dense {
	d := dense{mat.NewVecDense(Size, nil), mat.NewDense(Size, Size, nil)}
	for i := range Size {
		d.x.SetVec(i, f.X[i])
		for j := range Size {
			d.p.Set(i, j, f.P[i][j])
		}
	}
	return d
}

func (d dense) same(t reporter, f *Belief, tolerance float64) {
	t.Helper()
	for i := range Size {
		near(t, "mean", f.X[i], d.x.AtVec(i), tolerance)
		for j := range Size {
			near(t, "covariance", f.P[i][j], d.p.At(i, j), tolerance)
		}
	}
}

// anyFilter has a covariance that some factor squares to.
func anyFilter(t *rapid.T) Belief {
	var f Belief
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	var factor [Size]Vector
	for i := range Size {
		f.X[i] = r.NormFloat64()
		for j := range Size {
			factor[i][j] = r.NormFloat64()
		}
	}
	f.X[Salt] += 35
	for i := range Size {
		for j := range Size {
			for k := range Size {
				f.P[i][j] += factor[i][k] * factor[j][k]
			}
		}
	}
	return f
}

// TestAgainstDense: two ways to the same equations.
func TestAgainstDense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFilter(t)
		d := denseOf(&f)
		u := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		s := Step{Days: u("days", 0.001, 0.2), EvaporatedL: u("evaporated", 0, 2), PumpedL: u("ran", 0, 3), WeatherLeft: u("held", 0.5, 1),
			WeatherDays: u("held days", 0, 0.2), SkimLDay: u("skim", 0, 1), PerL: 1 / u("system", 30, 2000), Most: roomy}
		for i := range Size {
			s.Noise[i] = u("wander", 0, 0.1)
		}
		F := mat.NewDense(Size, Size, nil)
		for i := range Size {
			F.Set(i, i, 1)
		}
		out := f.X[Leak] + s.SkimLDay
		F.Set(Deficit, Evaporation, s.EvaporatedL)
		F.Set(Deficit, Weather, s.EvaporatedL/s.Days*s.WeatherDays)
		F.Set(Deficit, Leak, s.Days)
		F.Set(Deficit, Flow, -s.PumpedL)
		F.Set(Weather, Weather, s.WeatherLeft)
		F.Set(Salt, Salt, 1-out*s.PerL*s.Days)
		F.Set(Salt, Leak, -f.X[Salt]*s.PerL*s.Days)
		// Means: linear but for the salt, whose product is taken at the start.
		moved := mat.NewVecDense(Size, nil)
		moved.MulVec(F, d.x)
		moved.SetVec(Deficit, moved.AtVec(Deficit)+s.SkimLDay*s.Days)
		moved.SetVec(Salt, f.X[Salt]*(1-out*s.PerL*s.Days))
		var fp, fpf mat.Dense
		fp.Mul(F, d.p)
		fpf.Mul(&fp, F.T())
		for i := range Size {
			fpf.Set(i, i, fpf.At(i, i)+s.Noise[i])
		}
		d.x, d.p = moved, &fpf
		f.Predict(&s)
		d.same(t, &f, 1e-9)

		i, j := rapid.IntRange(0, Size-1).Draw(t, "i"), rapid.IntRange(0, Size-1).Draw(t, "j")
		if i == j {
			return
		}
		r := &Measurement{I: i, J: j, A: u("a", -2, 2), B: u("b", -2, 2), Value: u("value", -3, 3), Variance: u("noise", 0.1, 2),
			Outlier: 1, Mixture: NewMixture(1e-300)}
		h := mat.NewVecDense(Size, nil)
		h.SetVec(i, r.A)
		h.SetVec(j, r.B)
		var ph mat.VecDense
		ph.MulVec(d.p, h)
		variance := mat.Dot(h, &ph) + r.Variance
		nu := r.Value - mat.Dot(h, d.x)
		d.x.AddScaledVec(d.x, nu/variance, &ph)
		var lost mat.Dense
		lost.Outer(1/variance, &ph, &ph)
		d.p.Sub(d.p, &lost)
		got := f.Update(r)
		d.same(t, &f, 1e-8)
		near(t, "innovation", got.Z, nu/math.Sqrt(variance), 1e-9)
	})
}

// TestStaysPositive: whatever is read, in whatever order, no combination of
// Size gets a negative variance beyond rounding.
func TestStaysPositive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFilter(t)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "direction"), 2))
		for range 60 {
			s := Step{Days: 0.05, EvaporatedL: 0.3, PumpedL: 0.1 * r.Float64(), WeatherLeft: 0.97, WeatherDays: 0.049, PerL: 0.002, Most: roomy}
			for i := range Size {
				s.Noise[i] = 1e-3 * r.Float64()
			}
			f.Predict(&s)
			read := &Measurement{I: r.IntN(Size), J: r.IntN(Size), A: r.NormFloat64(), Value: 5 * r.NormFloat64(), Variance: 0.01,
				Outlier: 0.5, Mixture: UsualMixture, Moves: r.IntN(2) == 0}
			if r.IntN(3) == 0 {
				f.UpdateAbove(read)
			} else {
				f.Update(read)
			}
		}
		variance, scale := 0.0, 0.0
		var d Vector
		for i := range d {
			d[i] = r.NormFloat64()
		}
		for i := range Size {
			for j := range Size {
				variance += d[i] * d[j] * f.P[i][j]
				scale += math.Abs(d[i] * d[j] * f.P[i][j])
			}
		}
		if variance < -1e-9*scale {
			t.Fatalf("variance %g of a scale of %g", variance, scale)
		}
	})
}

// TestBound: a bound leaves the moments of a normal law cut off (Johnson, Kotz
// and Balakrishnan 1994, Continuous Univariate Distributions 1, section 13.10),
// here by numerical integration.
func TestBound(t *testing.T) {
	for _, limit := range []float64{-2, -0.5, 0, 0.7, 1.5} {
		const mean, sd, noise = 0.4, 1.3, 0.6
		f := Belief{}
		f.X[Deficit], f.P[Deficit][Deficit] = mean, sd*sd
		logLik := f.UpdateAbove(&Measurement{I: Deficit, J: Band, A: 1, Value: limit, Variance: noise * noise, Outlier: 1, Mixture: UsualMixture})
		// The switch's own level is noisy: above it with probability Phi.
		n := distuv.Normal{Mu: mean, Sigma: sd}
		moment := func(k int) float64 {
			return quad.Fixed(func(x float64) float64 {
				return math.Pow(x, float64(k)) * n.Prob(x) * distuv.UnitNormal.CDF((x-limit)/noise)
			}, mean-9*sd, mean+9*sd, 4000, nil, 0)
		}
		m0, m1, m2 := moment(0), moment(1), moment(2)
		near(t, "probability", math.Exp(logLik), (1-OutlierFrac)*m0+OutlierFrac, 1e-9)
		near(t, "mean", f.X[Deficit], m1/m0, 1e-9)
		near(t, "variance", f.P[Deficit][Deficit], m2/m0-square(m1/m0), 1e-9)
	}
}

// TestNoSingleReadingDecides: however far a reading lies off, it cannot count
// for more than a stray does, and the belief does not follow it.
func TestNoSingleReadingDecides(t *testing.T) {
	belief := Belief{}
	belief.X[Salt], belief.P[Salt][Salt] = 35, 0.04
	wide := belief
	wide.Widen(Vector{Salt: 1.5}) // as a step in salinity is supposed
	for _, off := range []float64{3, 10, 25} {
		f, g := belief, wide
		r := &Measurement{I: Salt, J: Deficit, A: 1, Value: 35 + off, Variance: 0.09, Outlier: outlierPSU, Mixture: UsualMixture}
		said := f.Update(r)
		if gain := g.Update(r).LogLik - said.LogLik; gain > 8 {
			t.Errorf("one reading %g PSU off is evidence of %.1f", off, gain)
		}
		if !said.Outlier || math.Abs(f.X[Salt]-35) > 0.05 {
			t.Errorf("one reading %g PSU off moved the belief to %.3f", off, f.X[Salt])
		}
	}
}
