package account

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
var roomy = func() (most [states]float64) {
	for i := range most {
		most[i] = 1e9
	}
	return most
}()

// plain is a reading of one state, with no strays to speak of.
func plain(i int, value, noise float64) *reading {
	return &reading{i: i, j: i, a: 1, value: value, noise: noise, stray: 1, chances: chancesOf(1e-300)}
}

// TestKnownConstant: n readings of a constant. The posterior of a normal mean
// with a normal prior (Bayes's rule; any textbook, e.g. Gelman et al. 2013,
// Bayesian Data Analysis, equation 2.12).
func TestKnownConstant(t *testing.T) {
	const prior, noise = 4.0, 0.25
	f := Filter{}
	f.X[salt], f.P[salt][salt] = 35, prior
	sum := 0.0
	for n := 1; n <= 50; n++ {
		value := 34 + math.Sin(float64(n))
		sum += value
		f.take(plain(salt, value, noise))
		precision := 1/prior + float64(n)/noise
		near(t, "variance", f.P[salt][salt], 1/precision, 1e-12)
		near(t, "mean", f.X[salt], (35/prior+sum/noise)/precision, 1e-12)
	}
}

// TestSteadyWalk: the variance of a random walk read with noise settles where
// Kalman (1960, Trans. ASME 82D) has it: before a reading, p = q/2 +
// sqrt(q²/4 + q r), the positive root of p² - q p - q r = 0.
func TestSteadyWalk(t *testing.T) {
	const q, r = 0.04, 0.5
	f := Filter{}
	f.P[band][band] = 10
	s := step{days: 1, held: 1, most: roomy}
	s.wander[band] = q
	for range 400 {
		f.advance(&s)
		f.take(plain(band, 1, r))
	}
	f.advance(&s)
	near(t, "variance", f.P[band][band], q/2+math.Sqrt(q*q/4+q*r), 1e-12)
}

// TestWeatherForgets: a first-order process keeps exp(-t/T) and its variance
// settles at its own (Uhlenbeck and Ornstein 1930, Phys. Rev. 36).
func TestWeatherForgets(t *testing.T) {
	const sd = 0.2
	f := Filter{}
	f.X[weather], f.P[weather][weather] = 1, 0
	held := math.Exp(-0.5 / weatherDays)
	s := step{days: 0.5, held: held, most: roomy}
	s.wander[weather] = sd * sd * (1 - held*held)
	for range 6 {
		f.advance(&s)
	}
	near(t, "what is left after three days", f.X[weather], math.Exp(-3/weatherDays), 1e-12)
	for range 400 {
		f.advance(&s)
	}
	near(t, "variance", f.P[weather][weather], sd*sd, 1e-12)
}

// TestWaterAndSalt: over a day in hours, the deficit is evaporation and leak less
// the pump's litres, and the salt that leaves is the closed solution of
// dS/dt = -out S/V to the step's own error, half the square of the exponent.
func TestWaterAndSalt(t *testing.T) {
	const systemL, evaporatedLDay, leakLDay, skimLDay, hours = 400.0, 5.0, 8.0, 0.25, 24
	f := Filter{}
	f.X[evap], f.X[flow], f.X[leak], f.X[salt] = 1.2, 0.9, leakLDay, 35
	s := step{days: 1.0 / hours, held: 1, heldDays: 1.0 / hours, evaporated: evaporatedLDay / hours, ran: 3.0 / hours,
		skimLDay: skimLDay, perL: 1 / systemL, most: roomy}
	for range hours {
		f.advance(&s)
	}
	near(t, "deficit", f.X[deficit], 1.2*evaporatedLDay+leakLDay+skimLDay-3*0.9, 1e-12)
	exponent := (leakLDay + skimLDay) / systemL
	near(t, "salt", f.X[salt], 35*math.Exp(-exponent), 1.01*exponent*exponent/2/hours)
}

// dense is the filter by plain matrix algebra: the textbook's equations (Kalman
// 1960) on gonum's matrices, written without regard to what is zero.
type dense struct {
	x *mat.VecDense
	p *mat.Dense
}

func denseOf(f *Filter) dense {
	d := dense{mat.NewVecDense(states, nil), mat.NewDense(states, states, nil)}
	for i := range states {
		d.x.SetVec(i, f.X[i])
		for j := range states {
			d.p.Set(i, j, f.P[i][j])
		}
	}
	return d
}

func (d dense) same(t reporter, f *Filter, tolerance float64) {
	t.Helper()
	for i := range states {
		near(t, "mean", f.X[i], d.x.AtVec(i), tolerance)
		for j := range states {
			near(t, "covariance", f.P[i][j], d.p.At(i, j), tolerance)
		}
	}
}

// anyFilter has a covariance that some factor squares to.
func anyFilter(t *rapid.T) Filter {
	var f Filter
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	var factor [states][states]float64
	for i := range states {
		f.X[i] = r.NormFloat64()
		for j := range states {
			factor[i][j] = r.NormFloat64()
		}
	}
	f.X[salt] += 35
	for i := range states {
		for j := range states {
			for k := range states {
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
		s := step{days: u("days", 0.001, 0.2), evaporated: u("evaporated", 0, 2), ran: u("ran", 0, 3), held: u("held", 0.5, 1),
			heldDays: u("held days", 0, 0.2), skimLDay: u("skim", 0, 1), perL: 1 / u("system", 30, 2000), most: roomy}
		for i := range states {
			s.wander[i] = u("wander", 0, 0.1)
		}
		F := mat.NewDense(states, states, nil)
		for i := range states {
			F.Set(i, i, 1)
		}
		out := f.X[leak] + s.skimLDay
		F.Set(deficit, evap, s.evaporated)
		F.Set(deficit, weather, s.evaporated/s.days*s.heldDays)
		F.Set(deficit, leak, s.days)
		F.Set(deficit, flow, -s.ran)
		F.Set(weather, weather, s.held)
		F.Set(salt, salt, 1-out*s.perL*s.days)
		F.Set(salt, leak, -f.X[salt]*s.perL*s.days)
		// Means: linear but for the salt, whose product is taken at the start.
		moved := mat.NewVecDense(states, nil)
		moved.MulVec(F, d.x)
		moved.SetVec(deficit, moved.AtVec(deficit)+s.skimLDay*s.days)
		moved.SetVec(salt, f.X[salt]*(1-out*s.perL*s.days))
		var fp, fpf mat.Dense
		fp.Mul(F, d.p)
		fpf.Mul(&fp, F.T())
		for i := range states {
			fpf.Set(i, i, fpf.At(i, i)+s.wander[i])
		}
		d.x, d.p = moved, &fpf
		f.advance(&s)
		d.same(t, &f, 1e-9)

		i, j := rapid.IntRange(0, states-1).Draw(t, "i"), rapid.IntRange(0, states-1).Draw(t, "j")
		if i == j {
			return
		}
		r := &reading{i: i, j: j, a: u("a", -2, 2), b: u("b", -2, 2), value: u("value", -3, 3), noise: u("noise", 0.1, 2),
			stray: 1, chances: chancesOf(1e-300)}
		h := mat.NewVecDense(states, nil)
		h.SetVec(i, r.a)
		h.SetVec(j, r.b)
		var ph mat.VecDense
		ph.MulVec(d.p, h)
		variance := mat.Dot(h, &ph) + r.noise
		nu := r.value - mat.Dot(h, d.x)
		d.x.AddScaledVec(d.x, nu/variance, &ph)
		var lost mat.Dense
		lost.Outer(1/variance, &ph, &ph)
		d.p.Sub(d.p, &lost)
		got := f.take(r)
		d.same(t, &f, 1e-8)
		near(t, "innovation", got.z, nu/math.Sqrt(variance), 1e-9)
	})
}

// TestStaysPositive: whatever is read, in whatever order, no combination of
// states gets a negative variance beyond rounding.
func TestStaysPositive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFilter(t)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "direction"), 2))
		for range 60 {
			s := step{days: 0.05, evaporated: 0.3, ran: 0.1 * r.Float64(), held: 0.97, heldDays: 0.049, perL: 0.002, most: roomy}
			for i := range states {
				s.wander[i] = 1e-3 * r.Float64()
			}
			f.advance(&s)
			read := &reading{i: r.IntN(states), j: r.IntN(states), a: r.NormFloat64(), value: 5 * r.NormFloat64(), noise: 0.01,
				stray: 0.5, chances: usualChances, moves: r.IntN(2) == 0}
			if r.IntN(3) == 0 {
				f.takeAbove(read)
			} else {
				f.take(read)
			}
		}
		variance, scale := 0.0, 0.0
		var d [states]float64
		for i := range d {
			d[i] = r.NormFloat64()
		}
		for i := range states {
			for j := range states {
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
		f := Filter{}
		f.X[deficit], f.P[deficit][deficit] = mean, sd*sd
		logLik := f.takeAbove(&reading{i: deficit, j: band, a: 1, value: limit, noise: noise * noise, stray: 1, chances: usualChances})
		// The switch's own level is noisy: above it with probability Phi.
		n := distuv.Normal{Mu: mean, Sigma: sd}
		moment := func(k int) float64 {
			return quad.Fixed(func(x float64) float64 {
				return math.Pow(x, float64(k)) * n.Prob(x) * distuv.UnitNormal.CDF((x-limit)/noise)
			}, mean-9*sd, mean+9*sd, 4000, nil, 0)
		}
		m0, m1, m2 := moment(0), moment(1), moment(2)
		near(t, "probability", math.Exp(logLik), (1-strayFrac)*m0+strayFrac, 1e-9)
		near(t, "mean", f.X[deficit], m1/m0, 1e-9)
		near(t, "variance", f.P[deficit][deficit], m2/m0-square(m1/m0), 1e-9)
	}
}

// TestNoSingleReadingDecides: however far a reading lies off, it cannot count
// for more than a stray does, and the belief does not follow it.
func TestNoSingleReadingDecides(t *testing.T) {
	belief := Filter{}
	belief.X[salt], belief.P[salt][salt] = 35, 0.04
	wide := belief
	wide.open([states]float64{salt: openSaltPSU})
	for _, off := range []float64{3, 10, 25} {
		f, g := belief, wide
		r := &reading{i: salt, j: deficit, a: 1, value: 35 + off, noise: 0.09, stray: straySalinityPSU, chances: usualChances}
		said := f.take(r)
		if gain := g.take(r).logLik - said.logLik; gain > 8 {
			t.Errorf("one reading %g PSU off is evidence of %.1f", off, gain)
		}
		if !said.stray || math.Abs(f.X[salt]-35) > 0.05 {
			t.Errorf("one reading %g PSU off moved the belief to %.3f", off, f.X[salt])
		}
	}
}
