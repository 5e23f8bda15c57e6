package instrument_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"isohaline/internal/bench/instrument"
	"isohaline/internal/refcheck"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g, off by %.2g, allowed %.2g", what, got, want, got-want, tolerance)
	}
}

func scales() []instrument.Scale {
	var list []instrument.Scale
	for _, k := range instrument.Kinds() {
		list = append(list, instrument.Scale{Kind: k, SampleC: 25, WaterC: 25})
	}
	return append(list, instrument.Scale{Kind: instrument.Hydrometer, SampleC: 20, WaterC: 4}, instrument.Scale{Kind: instrument.Compensated, SlopePerK: 0.0191})
}

// TestThereAndBack: a salinity read by any instrument at any temperature is that
// salinity.
func TestThereAndBack(t *testing.T) {
	for _, s := range scales() {
		worst := 0.0
		for psu := 2.0; psu <= 45; psu += 1.7 {
			for tempC := 10.0; tempC <= 32; tempC += 3.1 {
				got, err := s.PSU(s.Read(psu, tempC), tempC)
				if err != nil {
					t.Fatalf("%s at %v PSU, %v °C: %v", s.Kind, psu, tempC, err)
				}
				worst = max(worst, math.Abs(got-psu))
				if sd := s.SDPSU(psu, tempC, 0); psu > 20 && !(sd > 0.05 && sd < 2) {
					t.Errorf("%s at %v PSU, %v °C is good to %v", s.Kind, psu, tempC, sd)
				}
			}
		}
		t.Logf("%s: worst %.1e PSU", s.Kind, worst)
		if worst > 2e-6 {
			t.Errorf("%s comes back %v PSU off", s.Kind, worst)
		}
	}
}

// TestAgainstTables: PSS-78 by the official library, specific gravities of
// TEOS-10, refraction by Quan and Fry 1995 (each table's first line names its
// source).
func TestAgainstTables(t *testing.T) {
	conductivity := refcheck.Column{Name: "salinity from conductivity"}
	for _, r := range refcheck.Read(t, "testdata/pss78.csv") {
		if psu := r.Float("SP"); psu > 2 && psu < 60 {
			got, err := (instrument.Scale{Kind: instrument.Conductivity}).PSU(r.Float("C_mS_cm"), r.Float("t_degC"))
			if err != nil {
				t.Fatal(err)
			}
			conductivity.Rel(r, got, psu, 1e-9)
		}
	}
	conductivity.Report(t)

	gravity := refcheck.Column{Name: "hydrometer"}
	for _, r := range refcheck.Read(t, "testdata/specific_gravity.csv") {
		for _, s := range []struct {
			column         string
			sample, waterC float64
		}{{"sg_25_25", 25, 25}, {"sg_20_4", 20, 4}, {"sg_15_15", 15, 15}} {
			scale := instrument.Scale{Kind: instrument.Hydrometer, SampleC: s.sample, WaterC: s.waterC}
			gravity.Abs(r, scale.Read(r.Float("SP"), s.sample), r.Float(s.column), 1e-7)
		}
	}
	gravity.Report(t)

	index := refcheck.Column{Name: "refractive index"}
	brine := refcheck.Column{Name: "brine of equal index"}
	for _, r := range refcheck.Read(t, "testdata/refraction.csv") {
		switch {
		case r.Text("medium") == "seawater" && r.Text("wavelength_nm") == "589.3":
			index.Rel(r, (instrument.Scale{Kind: instrument.RefractiveIndex}).Read(r.Float("SP"), r.Float("t_degC")), r.Float("refractive_index"), 1e-12)
		case r.Text("medium") == "equal_index":
			got, err := instrument.BrineLikeIndex(r.Float("SP"))
			if err != nil {
				t.Fatal(err)
			}
			brine.Abs(r, got, 10*r.Float("nacl_mass_pct"), 0.6)
		}
	}
	index.Report(t)
	brine.Report(t)
}

// TestHydrometerGlass: a glass hydrometer made for 60 °F and read in water at
// 80 °F floats as if the water were lighter by the expansion of both: soda-lime
// glass takes 25e-6 a kelvin (ASTM E126, from memory), 11.1 K of it 0.00028.
func TestHydrometerGlass(t *testing.T) {
	s := instrument.Scale{Kind: instrument.Hydrometer, SampleC: 15.5556, WaterC: 15.5556}
	bare := s.Read(35, 26.6667) / (1 + 25e-6*(26.6667-15.5556))
	near(t, "glass", s.Read(35, 26.6667)-bare, 0.00028, 1e-5)
	// Uncorrected, warm water reads almost 4 PSU too low on it.
	low, err := s.PSU(s.Read(35, 26.6667), 15.5556)
	if err != nil {
		t.Fatal(err)
	}
	if off := 35 - low; off < 2.5 || off > 4 {
		t.Errorf("read as if at 60 °F it is %v PSU low", off)
	}
}

// TestFluids: 35 g of salt in a kilogram are not 35 of salinity. By light it is
// about 36.5 g/kg (package seawater). By conductivity, another source than the
// code's: 93.6 and 85.8 S cm²/mol at 0.5 and 1 mol/L and 25 °C (Robinson and
// Stokes 1959, Electrolyte Solutions, appendix 6.3, from memory), straight against
// the root, reach seawater's 53.07 mS/cm at 0.5754 mol/L: at 58.44 g/mol and
// 1.0205 kg/L that is 32.95 g/kg.
func TestFluids(t *testing.T) {
	index, err := instrument.BrineLikeIndex(35)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "by light", index, 36.5, 0.6)
	conducting, err := instrument.BrineLikeConductivity(35)
	if err != nil {
		t.Fatal(err)
	}
	root := math.Sqrt(0.5754)
	equivalent := 93.6 + (85.8-93.6)*(root-math.Sqrt(0.5))/(1-math.Sqrt(0.5))
	near(t, "seawater's conductivity", 0.5754*equivalent, 53.07, 0.02)
	near(t, "by conductivity", conducting, 0.5754*58.44/1.0205, 0.3)
	near(t, "in a kilogram of water", instrument.InWater(36.47), 36.47/0.96353, 1e-9)
	for _, psu := range []float64{5, 200} {
		if g, err := instrument.BrineLikeConductivity(psu); err == nil {
			t.Errorf("%v PSU: %v", psu, g)
		}
	}
	if g, err := instrument.BrineLikeIndex(60); err == nil {
		t.Errorf("60 PSU: %v", g)
	}
}

func TestAgree(t *testing.T) {
	one := instrument.Agree([]instrument.Seen{{PSU: 35, SDPSU: 0.3}})
	near(t, "one reading", one.PSU, 35, 1e-12)
	near(t, "one reading is off as often as any", one.Off[0], 0.1, 1e-12)

	two := instrument.Agree([]instrument.Seen{{PSU: 34, SDPSU: 0.3}, {PSU: 37, SDPSU: 0.3}})
	near(t, "between two", two.PSU, 35.5, 1e-9)
	near(t, "no telling which", two.Off[0], two.Off[1], 1e-12)

	three := instrument.Agree([]instrument.Seen{{PSU: 35, SDPSU: 0.3}, {PSU: 35.1, SDPSU: 0.3}, {PSU: 38, SDPSU: 0.5}})
	if three.Off[2] < 0.9 || three.Off[0] > 0.1 || math.Abs(three.PSU-35.1) > 0.15 {
		t.Errorf("%+v", three)
	}
	for _, none := range [][]instrument.Seen{nil, make([]instrument.Seen, instrument.SeenMax+1)} {
		if v := instrument.Agree(none); !math.IsNaN(v.PSU) {
			t.Errorf("%d readings: %+v", len(none), v)
		}
	}
}

// TestAgreeIsCalibrated: of instruments that are off as often and as far as it
// takes for granted, those it calls off with some certainty are off as often.
func TestAgreeIsCalibrated(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	var sum, off, n [10]float64
	held, tries := 0.0, 4000.0
	for range int(tries) {
		var seen []instrument.Seen
		var isOff []float64
		for range 3 {
			s := instrument.Seen{PSU: 35, SDPSU: 0.2 + 0.5*r.Float64()}
			s.PSU += s.SDPSU * r.NormFloat64()
			out := 0.0
			if r.Float64() < 0.1 {
				out = 1
				s.PSU += 2 * r.NormFloat64()
			}
			seen, isOff = append(seen, s), append(isOff, out)
		}
		v := instrument.Agree(seen)
		if math.Abs(v.PSU-35) < 1.6449*v.SDPSU {
			held++
		}
		for i, p := range v.Off {
			bin := min(int(p*10), 9)
			sum[bin], off[bin], n[bin] = sum[bin]+p, off[bin]+isOff[i], n[bin]+1
		}
	}
	for bin := range n {
		if n[bin] < 30 {
			continue
		}
		said, was := sum[bin]/n[bin], off[bin]/n[bin]
		t.Logf("said %.2f, was %.2f (%.0f)", said, was, n[bin])
		near(t, "off", was, said, 4*math.Sqrt(said*(1-said)/n[bin])+0.01)
	}
	if share := held / tries; share < 0.87 || share > 0.94 {
		t.Errorf("%.1f %% of the bands hold", share*100)
	}
}

// TestHandSD: the errors that hand readings are taken with.
func TestHandSD(t *testing.T) {
	for name, want := range map[string]float64{"refractometer": 0.5, "conductivity meter": 0.3, "hydrometer": 0.7, "other": 0.7, "": 0.5} {
		if got := instrument.HandSDPSU(name); got != want {
			t.Errorf("%q: %v, want %v (common practice, no source)", name, got, want)
		}
	}
	// A hydrometer's half a line is about as much.
	near(t, "hydrometer", (instrument.Scale{Kind: instrument.Hydrometer, SampleC: 25, WaterC: 25}).SDPSU(35, 25, 0), 0.7, 0.1)
}
