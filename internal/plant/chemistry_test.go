package plant

import (
	"math"
	"testing"
	"time"

	"isohaline/carbonate"
	"isohaline/internal/refcheck"
)

// tankOf is the chemistry of a tank as the reference tables have it: natural
// calcium, in a room at sea level, in balance with it at the start.
func tankOf(tempC, roomUatm float64, start water) chemistry {
	return chemistry{fluid: newFluid(tempC), tempC: tempC, roomUatm: roomUatm, target: start}
}

// dkhOf is an alkalinity per mass as the twin counts it, per volume.
func (c *chemistry) dkhOf(taUmolKg, psu float64) float64 {
	return carbonate.DKHFromUmolKg(taUmolKg, c.fluid.densityKgM3(psu))
}

// TestDilutionPH: pH right after fresh water and once in balance with the room
// again. Table: PyCO2SYS 1.8.3.4, constants of Lueker et al. (2000), Dickson
// (1990), Lee et al. (2010).
func TestDilutionPH(t *testing.T) {
	closedPH, settledPH := refcheck.Column{Name: "closed pH"}, refcheck.Column{Name: "settled pH"}
	for _, row := range refcheck.Read(t, "testdata/mixing_dilution.csv") {
		psu := row.Float("start_salinity")
		c := tankOf(row.Float("temperature_degC"), row.Float("start_pCO2_uatm"), water{psu: psu})
		before := water{psu, c.dkhOf(row.Float("start_TA_umol_per_kg"), psu)}
		c.target = before
		mixed := row.Float("mixed_salinity")
		closed, settled, ok := c.states(water{mixed, c.dkhOf(row.Float("mixed_TA_umol_per_kg"), mixed)}, before)
		if !ok {
			t.Errorf("%v: no answer", row)
		}
		closedPH.Abs(row, closed.PHTotal, row.Float("closed_pH_total"), 1e-6)
		settledPH.Abs(row, settled.PHTotal, row.Float("reequilibrated_pH_total"), 1e-6)
	}
	closedPH.Report(t)
	settledPH.Report(t)
}

// TestLimeWaterPH: the same for lime water poured in at once, with the calcium
// it brings. Table: PyCO2SYS 1.8.3.4 as above; solubility after Bates, Bower and
// Smith (1956).
func TestLimeWaterPH(t *testing.T) {
	closedPH, settledPH, omega := refcheck.Column{Name: "closed pH"}, refcheck.Column{Name: "settled pH"}, refcheck.Column{Name: "closed omega"}
	for _, row := range refcheck.Read(t, "testdata/limewater_dosing.csv") {
		psu := row.Float("start_salinity")
		c := tankOf(row.Float("temperature_degC"), row.Float("start_pCO2_uatm"), water{psu: psu})
		before := water{psu, c.dkhOf(row.Float("start_TA_umol_per_kg"), psu)}
		c.target = before
		mixed := row.Float("mixed_salinity")
		closed, settled, ok := c.states(water{mixed, c.dkhOf(row.Float("mixed_TA_umol_per_kg"), mixed)}, before)
		if !ok {
			t.Errorf("%v: no answer", row)
		}
		closedPH.Abs(row, closed.PHTotal, row.Float("closed_pH_total"), 1e-5)
		settledPH.Abs(row, settled.PHTotal, row.Float("reequilibrated_pH_total"), 1e-5)
		omega.Rel(row, closed.OmegaAragonite, row.Float("closed_omega_aragonite"), 1e-4)
	}
	closedPH.Report(t)
	settledPH.Report(t)
	omega.Report(t)
}

// TestHalfADegree: fresh water of 6.67 % of the system's volume, poured into a
// tank at 8 dKH by a fault, lowers alkalinity by half a degree. Common practice,
// no source, has it as "about 6 %"; the table of dilutions beside (conservative
// mixing, EOS-80) as 0.0667 of the volume.
func TestHalfADegree(t *testing.T) {
	s := *exampleTwin(t, "window-nano", 0).tank
	s.Water.AlkalinityDKH = 8
	tw := buildTwin(t, &s, 0)
	c := Healthy()
	c.BucketM3 = 0.0667 * tw.SystemM3()
	o := tw.SpinUp().Run(Scenario{Conditions: c, Length: time.Hour}).Alone
	if fell := o.HighDKH - o.LowDKH; math.Abs(fell-0.5) > 0.01 {
		t.Errorf("alkalinity fell by %.3f dKH, want 0.5", fell)
	}
	if o.DayDKH < 0.49 {
		t.Errorf("%.3f dKH within a day", o.DayDKH)
	}
	if fell := o.HighPSU - o.LowPSU; math.Abs(fell-35*(1-1/1.0667)) > 0.1 {
		t.Errorf("salinity fell by %.3f", fell)
	}
}

// TestLimeWaterHoldsAlkalinity: what lime water brings as built is what is used
// up, so a month later alkalinity stands where it stood; without its top-off it
// falls as fast as the lime water brought it, and no lower than aragonite can
// still be built from.
func TestLimeWaterHoldsAlkalinity(t *testing.T) {
	tw := limeTwin(t, "reading-room", 0)
	onset := tw.SpinUp()
	if o := onset.Run(Scenario{Conditions: Healthy(), Length: 30 * day}).Alone; o.HighDKH-o.LowDKH > 0.2 {
		t.Errorf("as built alkalinity goes from %.3f to %.3f dKH", o.LowDKH, o.HighDKH)
	}
	stopped := onset.Run(Scenario{Conditions: conditions(t, tw, "tube-blocked"), Length: day}).Alone
	// What evaporates meanwhile concentrates what is left.
	concentrated := stopped.HighPSU / tw.target.psu
	if fell, want := tw.target.dkh-stopped.LowDKH/concentrated, tw.LimeDKHDay(); math.Abs(fell-want) > 0.05*want {
		t.Errorf("in a day without top-off alkalinity falls by %.3f dKH, lime water brings %.3f", fell, want)
	}
	long := onset.Run(Scenario{Conditions: conditions(t, tw, "tube-blocked"), Length: 30 * day}).Alone
	least := tw.chemistry.saturatedDKH()
	if s, _, ok := tw.chemistry.settled(water{tw.target.psu, least}); !ok || math.Abs(s.OmegaAragonite-1) > 1e-6 {
		t.Errorf("saturation state %.4f at %.3f dKH, want 1", s.OmegaAragonite, least)
	}
	if long.LowDKH < least-0.1 {
		t.Errorf("alkalinity falls to %.3f dKH, nothing can use less than %.3f", long.LowDKH, least)
	}
}

// TestStatedConsumption: a tank that uses less than the lime water brings gains
// the difference.
func TestStatedConsumption(t *testing.T) {
	s := *limeTwin(t, "reading-room", 0).tank
	s.Water.ConsumptionDKHDay = 0.5
	tw := buildTwin(t, &s, 0)
	const length = 4
	s.WaterChange = nil
	o := tw.SpinUp().Run(Scenario{Conditions: Healthy(), Length: length * day}).Alone
	if gained, want := o.HighDKH-tw.target.dkh, (tw.LimeDKHDay()-0.5)*(length+SpinUp.Hours()/24); math.Abs(gained-want) > 0.05*want {
		t.Errorf("alkalinity gains %.3f dKH, want %.3f", gained, want)
	}
}

// TestSafeLime: what is safe to pour is just short of class 3, and twice as much
// is not safe.
func TestSafeLime(t *testing.T) {
	tw := limeTwin(t, "reading-room", 0)
	safe := tw.SafeLimeM3()
	pour := func(m3 float64) (water, float64) {
		tank := tw.fluid.parcelOf(tw.SystemM3(), tw.sea)
		tank.add(tw.fluid.parcelOf(m3, tw.topOffWater))
		w := tw.waterOf(&tank)
		closed, _, _ := tw.chemistry.states(w, tw.target)
		return w, closed.PHTotal
	}
	if w, pH := pour(safe); w.dkh-tw.target.dkh > AlkalinityDayDKH[Danger-1] || pH > HighPH[Danger-1] {
		t.Errorf("%.4f m3 make %.2f dKH and pH %.2f", safe, w.dkh, pH)
	}
	if w, pH := pour(1.001 * safe); w.dkh-tw.target.dkh < AlkalinityDayDKH[Danger-1] && pH < HighPH[Danger-1] {
		t.Errorf("a little more than %.4f m3 make only %.2f dKH and pH %.2f", safe, w.dkh, pH)
	}
	if !math.IsInf(exampleTwin(t, "reading-room", 0).SafeLimeM3(), 1) {
		t.Error("fresh water has a bound")
	}
}

// TestOverfillIsASpike: the fault that dilutes with fresh water burns with lime
// water.
func TestOverfillIsASpike(t *testing.T) {
	for _, c := range []struct {
		tw       *Twin
		low, top float64 // of the highest pH
	}{
		{exampleTwin(t, "reading-room", 0), 7.9, 8.1},
		{limeTwin(t, "reading-room", 0), 9.3, 10},
	} {
		o := c.tw.SpinUp().Run(Scenario{Conditions: conditions(t, c.tw, "relay-welded"), Length: 3 * time.Hour}).Alone
		if o.HighPH < c.low || o.HighPH > c.top {
			t.Errorf("pH reaches %.2f, want %g to %g", o.HighPH, c.low, c.top)
		}
	}
}

// TestPHIsGaugedOftenEnough: the outcome's bounds of pH, taken only where the
// water goes further than before, are those of every step.
func TestPHIsGaugedOftenEnough(t *testing.T) {
	for _, name := range []string{"reading-room", "window-nano"} {
		tw := limeTwin(t, name, 0)
		onset := tw.SpinUp()
		for _, f := range FaultsOf(tw.tank) {
			c := Healthy()
			f.Apply(tw, &c)
			low, high := math.Inf(1), math.Inf(-1)
			o := onset.Run(Scenario{Conditions: c, Length: 10 * day, Trace: func(s Sample) {
				if math.IsNaN(s.PHSettled) {
					return
				}
				low, high = min(low, s.PHClosed, s.PHSettled), max(high, s.PHClosed, s.PHSettled)
			}}).Alone
			const within = 0.02
			if o.LowPH > low+within || o.HighPH < high-within {
				t.Errorf("%s/%s: pH %.3f to %.3f, every step says %.3f to %.3f", name, f.ID, o.LowPH, o.HighPH, low, high)
			}
		}
	}
}

// TestByHand: one who tops off by hand lets salinity and alkalinity swing by what
// evaporated meanwhile, and leaves them where they were.
func TestByHand(t *testing.T) {
	tw := exampleTwin(t, "window-nano", 0)
	c := Healthy()
	c.HandEvery = 5 * day
	onset := tw.SpinUp()
	o := onset.Run(Scenario{Conditions: c, Length: 30 * day}).Alone
	// The day that the water is poured in began with four days' salt left over.
	share := 4 * tw.EvaporationM3Day() / tw.SystemM3()
	if swing, want := o.DayDKH, tw.target.dkh*share/(1-share); math.Abs(swing-want) > 0.1*want {
		t.Errorf("alkalinity swings by %.3f dKH within a day, evaporation says %.3f", swing, want)
	}
	automatic := onset.Run(Scenario{Conditions: Healthy(), Length: 30 * day}).Alone
	if automatic.DayDKH > o.DayDKH/2 {
		t.Errorf("automatic %.3f dKH, by hand %.3f", automatic.DayDKH, o.DayDKH)
	}
	// The run ends before the sixth time.
	if got, want := o.TopOffM3, 25*tw.EvaporationM3Day(); math.Abs(got-want) > 0.05*want {
		t.Errorf("%.4f m3 poured in, %.4f evaporated", got, want)
	}
}
