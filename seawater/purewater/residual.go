package purewater

import "math"

// helmholtz is a dimensionless Helmholtz energy φ(δ, τ) with its derivatives,
// each multiplied by the variables it was taken in: d is δφ_δ, dd is δ²φ_δδ,
// t is τφ_τ, tt is τ²φ_ττ, dt is δτφ_δτ. In this form a term that is a product
// of a function of δ and one of τ only multiplies factors.
type helmholtz struct{ f, d, dd, t, tt, dt float64 }

// addProduct adds a term of value f whose derivatives, in the same form, are f
// times a, aa in δ and f times b, bb in τ.
func (h *helmholtz) addProduct(f, a, aa, b, bb float64) {
	h.f += f
	h.d += f * a
	h.dd += f * aa
	h.t += f * b
	h.tt += f * bb
	h.dt += f * a * b
}

func (h *helmholtz) add(o helmholtz) {
	h.f += o.f
	h.d += o.d
	h.dd += o.dd
	h.t += o.t
	h.tt += o.tt
	h.dt += o.dt
}

// IAPWS R6-95 table 2, terms 1 to 51: n δ^d τ^t exp(-δ^c), without the
// exponential where c is 0.
var powerTerms = [...]struct{ c, d, t, n float64 }{
	{0, 1, -0.5, 0.12533547935523e-1},
	{0, 1, 0.875, 0.78957634722828e1},
	{0, 1, 1, -0.87803203303561e1},
	{0, 2, 0.5, 0.31802509345418},
	{0, 2, 0.75, -0.26145533859358},
	{0, 3, 0.375, -0.78199751687981e-2},
	{0, 4, 1, 0.88089493102134e-2},
	{1, 1, 4, -0.66856572307965},
	{1, 1, 6, 0.20433810950965},
	{1, 1, 12, -0.66212605039687e-4},
	{1, 2, 1, -0.19232721156002},
	{1, 2, 5, -0.25709043003438},
	{1, 3, 4, 0.16074868486251},
	{1, 4, 2, -0.4009282892587e-1},
	{1, 4, 13, 0.39343422603254e-6},
	{1, 5, 9, -0.75941377088144e-5},
	{1, 7, 3, 0.56250979351888e-3},
	{1, 9, 4, -0.15608652257135e-4},
	{1, 10, 11, 0.11537996422951e-8},
	{1, 11, 4, 0.36582165144204e-6},
	{1, 13, 13, -0.13251180074668e-11},
	{1, 15, 1, -0.62639586912454e-9},
	{2, 1, 7, -0.10793600908932},
	{2, 2, 1, 0.17611491008752e-1},
	{2, 2, 9, 0.22132295167546},
	{2, 2, 10, -0.40247669763528},
	{2, 3, 10, 0.58083399985759},
	{2, 4, 3, 0.49969146990806e-2},
	{2, 4, 7, -0.31358700712549e-1},
	{2, 4, 10, -0.74315929710341},
	{2, 5, 10, 0.47807329915480},
	{2, 6, 6, 0.20527940895948e-1},
	{2, 6, 10, -0.13636435110343},
	{2, 7, 10, 0.14180634400617e-1},
	{2, 9, 1, 0.83326504880713e-2},
	{2, 9, 2, -0.29052336009585e-1},
	{2, 9, 3, 0.38615085574206e-1},
	{2, 9, 4, -0.20393486513704e-1},
	{2, 9, 8, -0.16554050063734e-2},
	{2, 10, 6, 0.19955571979541e-2},
	{2, 10, 9, 0.15870308324157e-3},
	{2, 12, 8, -0.16388568342530e-4},
	{3, 3, 16, 0.43613615723811e-1},
	{3, 4, 22, 0.34994005463765e-1},
	{3, 4, 23, -0.76788197844621e-1},
	{3, 5, 23, 0.22446277332006e-1},
	{4, 14, 10, -0.62689710414685e-4},
	{6, 3, 50, -0.55711118565645e-9},
	{6, 6, 44, -0.19905718354408},
	{6, 6, 46, 0.31777497330738},
	{6, 6, 50, -0.11841182425981},
}

// Terms 52 to 54: n δ^d τ^t exp(-α(δ-ε)² - β(τ-γ)²), ε being 1.
var gaussTerms = [...]struct{ d, t, n, alpha, beta, gamma float64 }{
	{3, 0, -0.31306260323435e2, 20, 150, 1.21},
	{3, 1, 0.31546140237781e2, 20, 150, 1.21},
	{3, 4, -0.25213154341695e4, 20, 250, 1.25},
}

// Terms 55 and 56: n Δ^b δ exp(-C(δ-1)² - D(τ-1)²), which shape the critical
// point.
var criticalTerms = [...]struct{ a, b, bigB, n, bigC, bigD, bigA, beta float64 }{
	{3.5, 0.85, 0.2, -0.14874640856724, 28, 700, 0.32, 0.3},
	{3.5, 0.95, 0.2, 0.31806110878444, 32, 800, 0.32, 0.3},
}

// residual is the residual part of IAPWS-95: R6-95 eq. (6) and table 5.
func residual(delta, tau float64) helmholtz {
	var h helmholtz
	logDelta, logTau := math.Log(delta), math.Log(tau)
	for _, k := range powerTerms {
		cdc := 0.0 // c δ^c
		f := k.n * math.Exp(k.d*logDelta+k.t*logTau)
		if k.c > 0 {
			dc := math.Pow(delta, k.c)
			f *= math.Exp(-dc)
			cdc = k.c * dc
		}
		a := k.d - cdc
		h.addProduct(f, a, a*(a-1)-k.c*cdc, k.t, k.t*(k.t-1))
	}
	for _, k := range gaussTerms {
		u, v := delta-1, tau-k.gamma
		f := k.n * math.Exp(k.d*logDelta+k.t*logTau-k.alpha*u*u-k.beta*v*v)
		a := k.d - 2*k.alpha*delta*u
		b := k.t - 2*k.beta*tau*v
		h.addProduct(f, a, a*a-k.d-2*k.alpha*delta*delta, b, b*b-k.t-2*k.beta*tau*tau)
	}
	for i := range criticalTerms {
		h.add(criticalTerm(i, delta, tau))
	}
	return h
}

// criticalTerm follows R6-95 table 5, with u = δ-1 and v = τ-1. It has no
// second derivative exactly at the critical density, where it gives NaN; neither
// the liquid nor the vapour of this package comes near.
func criticalTerm(i int, delta, tau float64) helmholtz {
	k := criticalTerms[i]
	u, v := delta-1, tau-1
	u2 := u * u
	half := 1 / (2 * k.beta)

	psi := math.Exp(-k.bigC*u2 - k.bigD*v*v)
	psiD := -2 * k.bigC * u * psi
	psiDD := (2*k.bigC*u2 - 1) * 2 * k.bigC * psi
	psiT := -2 * k.bigD * v * psi
	psiTT := (2*k.bigD*v*v - 1) * 2 * k.bigD * psi
	psiDT := 4 * k.bigC * k.bigD * u * v * psi

	theta := -v + k.bigA*math.Pow(u2, half)
	big := theta*theta + k.bigB*math.Pow(u2, k.a)
	powHalf := math.Pow(u2, half-1)
	bigD := u * (k.bigA*theta*2/k.beta*powHalf + 2*k.bigB*k.a*math.Pow(u2, k.a-1))
	bigDD := bigD/u + u2*(4*k.bigB*k.a*(k.a-1)*math.Pow(u2, k.a-2)+
		2*k.bigA*k.bigA/(k.beta*k.beta)*powHalf*powHalf+
		k.bigA*theta*4/k.beta*(half-1)*math.Pow(u2, half-2))

	// Δ^b and its derivatives.
	p0, p1, p2 := math.Pow(big, k.b), math.Pow(big, k.b-1), math.Pow(big, k.b-2)
	pD := k.b * p1 * bigD
	pDD := k.b * (p1*bigDD + (k.b-1)*p2*bigD*bigD)
	pT := -2 * theta * k.b * p1
	pTT := 2*k.b*p1 + 4*theta*theta*k.b*(k.b-1)*p2
	pDT := -k.bigA*k.b*2/k.beta*p1*u*powHalf - 2*theta*k.b*(k.b-1)*p2*bigD

	return helmholtz{
		f:  k.n * p0 * delta * psi,
		d:  delta * k.n * (p0*(psi+delta*psiD) + pD*delta*psi),
		dd: delta * delta * k.n * (p0*(2*psiD+delta*psiDD) + 2*pD*(psi+delta*psiD) + pDD*delta*psi),
		t:  tau * k.n * delta * (pT*psi + p0*psiT),
		tt: tau * tau * k.n * delta * (pTT*psi + 2*pT*psiT + p0*psiTT),
		dt: delta * tau * k.n * (p0*(psiT+delta*psiDT) + delta*pD*psiT + pT*(psi+delta*psiD) + pDT*delta*psi),
	}
}
