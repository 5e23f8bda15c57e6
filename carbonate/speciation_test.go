package carbonate_test

import (
	"math"
	"testing"

	"isohaline/carbonate"
)

// pair reads the two inputs of a row, named in its input_pair such as TA_DIC.
func pair(t *testing.T, r row) (a, b carbonate.Known) {
	t.Helper()
	first, second := r.number(t, "input1_value"), r.number(t, "input2_value")
	switch r["input_pair"] {
	case "TA_DIC":
		return carbonate.TA(first), carbonate.DIC(second)
	case "TA_pH":
		return carbonate.TA(first), carbonate.PH(second)
	case "TA_pCO2":
		return carbonate.TA(first), carbonate.PCO2(second)
	case "pH_pCO2":
		return carbonate.PH(first), carbonate.PCO2(second)
	}
	t.Fatalf("unknown input pair %q", r["input_pair"])
	return a, b
}

// TestSpeciationAgainstLibrary: PyCO2SYS v1.8.3.4, 158 states, confirmed by a
// second solver. Nine digits are printed, of which the tolerances leave room
// for the last.
func TestSpeciationAgainstLibrary(t *testing.T) {
	w := newWorst(t)
	for _, r := range table(t, "carbonate_speciation.csv") {
		c := constantsAt(t, r.number(t, "salinity"), r.number(t, "temperature_degC"), carbonate.Options{})
		a, b := pair(t, r)
		s := solve(t, c, a, b)
		w.absolute("pH_total", s.PHTotal, r.number(t, "pH_total"), 1e-6)
		w.relative("revelle_factor", s.RevelleFactor, r.number(t, "revelle_factor"), 1e-5)
		for column, got := range map[string]float64{
			"TA_umol_per_kg":    s.TAUmolKg,
			"DIC_umol_per_kg":   s.DICUmolKg,
			"pCO2_uatm":         s.PCO2Uatm,
			"fCO2_uatm":         s.FCO2Uatm,
			"CO2aq_umol_per_kg": s.CO2UmolKg,
			"HCO3_umol_per_kg":  s.HCO3UmolKg,
			"CO3_umol_per_kg":   s.CO3UmolKg,
			"omega_aragonite":   s.OmegaAragonite,
			"omega_calcite":     s.OmegaCalcite,
		} {
			w.relative(column, got, r.number(t, column), 1e-6)
		}
	}
}

// grid calls visit with states all over the domain.
func grid(t *testing.T, visit func(carbonate.Constants, carbonate.State)) {
	t.Helper()
	for _, fit := range []carbonate.CarbonicFit{carbonate.Lueker2000, carbonate.Waters2014} {
		for _, s := range []float64{0, 1, 10, 35, 50} {
			for _, temp := range []float64{0, 15, 25, 45} {
				c := constantsAt(t, s, temp, carbonate.Options{Carbonic: fit})
				for _, dic := range []float64{0, 1, 500, 2000, 10_000} {
					for pH := 3.0; pH <= 11; pH += 0.5 {
						state, err := c.Solve(carbonate.DIC(dic), carbonate.PH(pH))
						if err == nil {
							visit(c, state)
						}
					}
				}
			}
		}
	}
}

// TestBalances: the species of a state must add up to its totals and stand in
// the proportions that each equilibrium constant demands.
func TestBalances(t *testing.T) {
	const umol = 1e6
	w := newWorst(t)
	states := 0
	grid(t, func(c carbonate.Constants, from carbonate.State) {
		// Once more from TA and DIC, so that neither total is computed from
		// the species it is compared with.
		s := solve(t, c, carbonate.TA(from.TAUmolKg), carbonate.DIC(from.DICUmolKg))
		states++

		charge := s.HCO3UmolKg + 2*s.CO3UmolKg + s.BorateUmolKg + s.HydroxideUmolKg -
			s.HydrogenFreeUmolKg - s.BisulfateUmolKg - s.HFUmolKg
		magnitude := math.Max(math.Abs(s.TAUmolKg), s.HydrogenFreeUmolKg+s.HydroxideUmolKg)
		w.absolute("charge", (charge-s.TAUmolKg)/magnitude, 0, 1e-9)
		w.relative("carbon", s.CO2UmolKg+s.HCO3UmolKg+s.CO3UmolKg, s.DICUmolKg, 1e-9)

		free := s.HydrogenFreeUmolKg / umol
		h := free * c.TotalPerFree
		w.relative("K0", s.CO2UmolKg, c.K0*s.FCO2Uatm, 1e-9)
		w.relative("K1", s.HCO3UmolKg*h, c.K1*s.CO2UmolKg, 1e-9)
		w.relative("K2", s.CO3UmolKg*h, c.K2*s.HCO3UmolKg, 1e-9)
		w.relative("KW", s.HydroxideUmolKg/umol*h, c.KW, 1e-9)
		w.relative("KB", s.BorateUmolKg/umol*(h+c.KB), c.BorateTotal*c.KB, 1e-9)
		w.relative("KS", s.BisulfateUmolKg/umol*(free+c.KS), c.SulfateTotal*free, 1e-9)
		w.relative("KF", s.HFUmolKg/umol*(free+c.KF), c.FluorideTotal*free, 1e-9)
	})
	if states < 2000 {
		t.Errorf("only %d states were visited", states)
	}
}

// TestSlopes: the Revelle factor and buffer intensity against central
// differences of the solver itself.
func TestSlopes(t *testing.T) {
	w := newWorst(t)
	for _, dic := range []float64{50, 500, 2000, 6000} {
		for pH := 4.5; pH <= 10; pH += 0.25 {
			c := constantsAt(t, 35, 25, carbonate.Options{})
			s := solve(t, c, carbonate.DIC(dic), carbonate.PH(pH))

			const step = 1e-5
			more := solve(t, c, carbonate.TA(s.TAUmolKg), carbonate.DIC(dic*(1+step)))
			less := solve(t, c, carbonate.TA(s.TAUmolKg), carbonate.DIC(dic*(1-step)))
			revelle := math.Log(more.PCO2Uatm/less.PCO2Uatm) / math.Log((1+step)/(1-step))
			w.relative("Revelle", s.RevelleFactor, revelle, 1e-6)

			above := solve(t, c, carbonate.DIC(dic), carbonate.PH(pH+step))
			below := solve(t, c, carbonate.DIC(dic), carbonate.PH(pH-step))
			buffer := (above.TAUmolKg - below.TAUmolKg) / (2 * step)
			w.relative("buffer intensity", s.BufferIntensityUmolKg, buffer, 1e-6)
		}
	}
}

// TestCalciumMovesSaturationOnly: in proportion, and nothing else.
func TestCalciumMovesSaturationOnly(t *testing.T) {
	natural := constantsAt(t, 35, 25, carbonate.Options{})
	richer, err := natural.WithCalcium(natural.CalciumTotal * 1.25 * 1e6)
	if err != nil {
		t.Fatal(err)
	}
	a := solve(t, natural, carbonate.TA(2300), carbonate.DIC(2000))
	b := solve(t, richer, carbonate.TA(2300), carbonate.DIC(2000))
	w := newWorst(t)
	w.relative("aragonite", b.OmegaAragonite, 1.25*a.OmegaAragonite, 1e-12)
	w.relative("calcite", b.OmegaCalcite, 1.25*a.OmegaCalcite, 1e-12)
	b.OmegaAragonite, b.OmegaCalcite = a.OmegaAragonite, a.OmegaCalcite
	if a != b {
		t.Errorf("calcium changed more than saturation:\n%+v\n%+v", a, b)
	}
}
