package bench

import (
	"strings"
	"testing"

	"isohaline/carbonate"
	"isohaline/internal/refcheck"
)

// TestLimeStrength: against the measured solubilities, within what they differ by
// among themselves (the table's first line says).
func TestLimeStrength(t *testing.T) {
	strength := refcheck.Column{Name: "lime dissolved"}
	for _, r := range refcheck.Read(t, "testdata/caoh2_solubility.csv") {
		if r.Text("row_kind") != "published_measured" {
			continue
		}
		tolerance := 0.07
		if r.Float("temperature_degC") == 25 {
			tolerance = 0.03
		}
		q := LimeSupply{Water: reef(), EvaporationLitresDay: 4, ReservoirTempC: ptr(r.Float("temperature_degC"))}
		a := ask(t, &q)
		strength.Rel(r, value(t, a, "lime-strength"), r.Float("CaOH2_g_per_L"), tolerance)
		// 4 L of it in 400 L: a hundredth of its alkalinity.
		near(t, "alkalinity given", value(t, a, "alkalinity-supply"), r.Float("alkalinity_dKH")/100, tolerance*r.Float("alkalinity_dKH")/100)
	}
	strength.Report(t)
}

// TestLimeAccident: a reservoir of lime water at once, against the reference
// table's doses before gas exchange. Its lime water has 0.0203 mol/L, which is
// stirred in here as grams to the litre.
func TestLimeAccident(t *testing.T) {
	pH := refcheck.Column{Name: "pH, closed"}
	for _, r := range refcheck.Read(t, "testdata/limewater_dosing.csv") {
		dose := r.Float("dose_mL_saturated_limewater_per_L_tank")
		if dose == 0 {
			continue
		}
		w := TankWater{VolumeL: 1000, TempC: r.Float("temperature_degC"), SalinityPSU: r.Float("start_salinity"), RoomCO2PPM: ptr(r.Float("start_pCO2_uatm"))}
		w.AlkalinityDKH = carbonate.DKHFromUmolKg(r.Float("start_TA_umol_per_kg"), w.densityKgM3())
		q := LimeSupply{Water: w, EvaporationLitresDay: 1, ReservoirTempC: ptr(25), LimeGramsPerL: ptr(1.504), ReservoirLitres: dose}
		c, err := carbonate.At(w.SalinityPSU, w.TempC, carbonate.Options{})
		if err != nil {
			t.Fatal(err)
		}
		want, err := c.ConvertPH(r.Float("closed_pH_total"), carbonate.Total, carbonate.NBS)
		if err != nil {
			t.Fatal(err)
		}
		// Lime water of another density, and 0.002 for the scale at the start's
		// salinity in place of the mixture's.
		pH.Abs(r, value(t, ask(t, &q), "pH-accident"), want, 0.004)
	}
	pH.Report(t)
}

// TestLimeBreathes: the faster a tank breathes the lower its pH; one that breathes
// at once stands at the room's; what lime cannot meet is left for doses.
func TestLimeBreathes(t *testing.T) {
	q := LimeSupply{Water: reef(), EvaporationLitresDay: 4, UseAlkalinityDKHDay: 2}
	last := 0.0
	for _, hours := range []float64{0.1, 1, 6, 24} {
		q.RecoveryHours = &hours
		pH := value(t, ask(t, &q), "pH-tank")
		if pH <= last {
			t.Errorf("recovering in %v h settles at %v, faster at %v", hours, pH, last)
		}
		last = pH
	}
	hours := 0.1
	q.RecoveryHours = &hours
	a := ask(t, &q)
	near(t, "in the room's balance", value(t, a, "pH-tank"), value(t, a, "pH-now"), 0.005)
	near(t, "all of it", value(t, a, "rest-alkalinity")+value(t, a, "alkalinity-supply"), 2, 1e-9)
	q.UseAlkalinityDKHDay = 0.5
	if a = ask(t, &q); !strings.Contains(a.Sentence, "less lime") || a.Figure("rest-alkalinity").Name != "" {
		t.Errorf("too much lime: %q", a.Sentence)
	}
	q.LimeGramsPerL = ptr(value(t, a, "lime-enough"))
	near(t, "enough", value(t, ask(t, &q), "share-met"), 100, 0.1)
}

// TestLimeGraded: a burst into a trickle is graded at the dosing point.
func TestLimeGraded(t *testing.T) {
	q := LimeSupply{Water: reef(), EvaporationLitresDay: 4, DoseLitresHour: 10, PassingLitresHour: 100}
	if a := ask(t, &q); !strings.Contains(strings.Join(a.Cautions, " "), "likely to fall out at the dosing point") {
		t.Errorf("%q", a.Cautions)
	}
	q.PassingLitresHour = 20000
	if a := ask(t, &q); strings.Contains(strings.Join(a.Cautions, " "), "dosing point") {
		t.Errorf("%q", a.Cautions)
	}
}
