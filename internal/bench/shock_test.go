package bench

import (
	"math"
	"testing"

	"isohaline/internal/refcheck"
)

// TestShockAgainstReference: pure water into seawater, as a reference library for
// the marine CO2 system has it (the table's first line names it).
func TestShockAgainstReference(t *testing.T) {
	var salinity, closed, settled, alkalinity refcheck.Column
	salinity.Name, closed.Name, settled.Name, alkalinity.Name = "salinity", "aragonite, closed", "aragonite, settled", "alkalinity"
	rows := refcheck.Read(t, "testdata/mixing_dilution.csv")
	start := map[string]refcheck.Row{} // the row without addition, by its tank
	worstPH := 0.0
	for _, r := range rows {
		tank := r.Text("start_salinity") + r.Text("temperature_degC") + r.Text("start_TA_umol_per_kg") + r.Text("start_pCO2_uatm")
		if r.Float("pure_water_mass_fraction_of_mixture") == 0 {
			start[tank] = r
			continue
		}
		if r.Float("mixed_salinity") < 20 {
			continue // the probe's scale ends there
		}
		s0 := start[tank]
		w := TankWater{VolumeL: 100, TempC: r.Float("temperature_degC"), SalinityPSU: r.Float("start_salinity"),
			AlkalinityDKH: r.Float("start_alkalinity_dKH"), RoomCO2PPM: ptr(r.Float("start_pCO2_uatm"))}
		// The same calcium as the reference, by chlorinity (Riley and Tongudai
		// 1967): 0.02128/40.087 mol for each 1.80655 of salinity.
		w.CalciumMgL = ptr(0.02128 / 40.087 * w.SalinityPSU / 1.80655 * 40.078 * w.densityKgM3())
		q := TopOffShock{Water: w, TopOffL: 100 * r.Float("water_added_over_start_volume")}
		got, err := q.shock(&w)
		if err != nil {
			t.Fatal(err)
		}
		salinity.Abs(r, got.salinity, r.Float("mixed_salinity")-w.SalinityPSU, 1e-5)
		// The table's densities are EOS-80's, 1e-5 from TEOS-10's.
		alkalinity.Abs(r, -got.alkalinity, r.Float("alkalinity_drop_dKH"), 5e-5)
		closed.Abs(r, got.omegaClosed, r.Float("closed_omega_aragonite")-s0.Float("closed_omega_aragonite"), 2e-5)
		settled.Abs(r, got.omegaSettled, r.Float("reequilibrated_omega_aragonite")-s0.Float("reequilibrated_omega_aragonite"), 2e-5)
		// A probe's scale moves against the total scale as salinity falls.
		for _, p := range [][2]float64{{got.phClosed, r.Float("closed_pH_total") - s0.Float("closed_pH_total")},
			{got.phSettled, r.Float("reequilibrated_pH_total") - s0.Float("reequilibrated_pH_total")}} {
			off := math.Abs(p[0]-p[1]) / math.Abs(got.salinity)
			worstPH = max(worstPH, off)
		}
	}
	for _, c := range []*refcheck.Column{&salinity, &alkalinity, &closed, &settled} {
		c.Report(t)
	}
	t.Logf("pH: the two scales move apart by %.5f for each PSU", worstPH)
	if !(worstPH < 0.0015) {
		t.Errorf("pH is off by %v for each PSU, more than scales move apart", worstPH)
	}
}

// TestHalfADegree: a hand top-off that takes half a dKH out by dilution, against
// the reference table of exact mixing; and the rule of thumb that it is about 6 %
// of the volume at 8 dKH (common practice, no source).
func TestHalfADegree(t *testing.T) {
	column := refcheck.Column{Name: "water for a fall of alkalinity"}
	for _, r := range refcheck.Read(t, "testdata/topoff_alkalinity_drop.csv") {
		w := TankWater{VolumeL: 100, TempC: 25, SalinityPSU: 35, AlkalinityDKH: r.Float("start_alkalinity_dKH")}
		if r.Float("mixed_salinity") < 20 {
			continue
		}
		q := TopOffShock{Water: w, TopOffL: 100 * r.Float("water_added_over_start_volume")}
		got, err := q.shock(&w)
		if err != nil {
			t.Fatal(err)
		}
		column.Rel(r, -got.alkalinity, r.Float("alkalinity_drop_dKH"), 5e-5)
	}
	column.Report(t)

	w := reef()
	w.VolumeL = 40
	fall := value(t, ask(t, &TopOffShock{Water: w, TopOffL: 0.06 * 40}), "alkalinity-change")
	near(t, "6 % of a small tank at 8 dKH", fall, -0.5, 0.06)
}

// TestShockSigns: pure water raises pH at once and lowers it in the end, and
// takes saturation down both ways.
func TestShockSigns(t *testing.T) {
	a := ask(t, &TopOffShock{Water: reef(), TopOffL: 20, Minutes: 120, UseAlkalinityDKHDay: 1.2})
	for name, sign := range map[string]float64{"pH-closed": 1, "pH-settled": -1, "omega-closed": -1, "omega-settled": -1, "salinity-change": -1} {
		if !(value(t, a, name)*sign > 0) {
			t.Errorf("%s is %v", name, value(t, a, name))
		}
	}
	// Two hours: half of it in the hardest hour; 0.1 dKH are used up meanwhile.
	near(t, "hour", value(t, a, "salinity-hour"), value(t, a, "salinity-change")/2, 1e-12)
	fall := -value(t, a, "alkalinity-change")
	near(t, "share", value(t, a, "dilution-share"), 100*fall/(fall+0.1), 1e-9)
}

// TestMonthByHand: what evaporates in between is what is given, so that each
// top-off ends where the last one did.
func TestMonthByHand(t *testing.T) {
	w := reef()
	w.VolumeL = 40
	a := ask(t, &TopOffShock{Water: w, TopOffL: 2.5, EvaporationLitresDay: 0.5})
	near(t, "days", value(t, a, "hand-every-days"), 5, 1e-12)
	s := a.Series[0]
	if len(s.At) != 12 {
		t.Fatalf("%d points of six top-offs", len(s.At))
	}
	for i := 0; i < len(s.At); i += 2 {
		near(t, "after a top-off", s.Value[i], 35*40/42.5, 1e-9)
		near(t, "before the next", s.Value[i+1], 35, 1e-9)
	}
}
