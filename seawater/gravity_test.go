package seawater

import (
	"math"
	"strings"
	"testing"

	"isohaline/internal/refcheck"

	"pgregory.net/rapid"
)

// GSW-Python 3.6.16, quotients of rho_t_exact.
func TestSpecificGravityAgainstTEOS10(t *testing.T) {
	sixtyF := (60.0 - 32) / 1.8
	pairs := []struct {
		column          string
		tempC, refTempC float64
	}{
		{"sg_25_25", 25, 25}, {"sg_20_20", 20, 20}, {"sg_20_4", 20, 4},
		{"sg_15_15", 15, 15}, {"sg_15.5556_15.5556", sixtyF, sixtyF}, {"sg_25_4", 25, 4},
	}
	rows := refcheck.Read(t, "testdata/specific_gravity.csv")
	for _, pair := range pairs {
		forward := refcheck.Column{Name: pair.column}
		inverse := refcheck.Column{Name: "SP from " + pair.column}
		for _, row := range rows {
			sp, sg := row.Float("SP"), row.Float(pair.column)
			forward.Rel(row, SpecificGravity(sp, pair.tempC, pair.refTempC), sg, 1e-14)
			got, err := PracticalSalinityFromSpecificGravity(sg, pair.tempC, pair.refTempC)
			if err != nil {
				t.Error(err)
			}
			inverse.Abs(row, got, sp, 1e-10)
		}
		forward.Report(t)
		inverse.Report(t)
	}
}

func TestSpecificGravityRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sp := rapid.Float64Range(0, 119).Draw(t, "sp")
		tempC, refTempC := drawTempC(t), rapid.Float64Range(minTempC, maxTempC).Draw(t, "refTempC")
		back, err := PracticalSalinityFromSpecificGravity(SpecificGravity(sp, tempC, refTempC), tempC, refTempC)
		if err != nil || math.Abs(back-sp) > 1e-10 {
			t.Fatalf("SP %v at %v/%v °C came back as %v, %v", sp, tempC, refTempC, back, err)
		}
	})
}

// The last numbers inside both ends of the range still have an answer.
func TestSpecificGravityAtItsEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tempC, refTempC := drawTempC(t), rapid.Float64Range(minTempC, maxTempC).Draw(t, "refTempC")
		fresh, saltiest := SpecificGravity(0, tempC, refTempC), SpecificGravity(maxSP, tempC, refTempC)
		for _, c := range []struct{ sg, sp float64 }{
			{fresh, 0}, {math.Nextafter(fresh, 2), 0}, {math.Nextafter(saltiest, 0), maxSP}, {saltiest, maxSP},
		} {
			sp, err := PracticalSalinityFromSpecificGravity(c.sg, tempC, refTempC)
			if err != nil || !(math.Abs(sp-c.sp) < 1e-10) {
				t.Fatalf("specific gravity %v at %v/%v °C: SP %v, %v; want %v", c.sg, tempC, refTempC, sp, err, c.sp)
			}
		}
	})
}

func TestSpecificGravityWithoutSalinity(t *testing.T) {
	for _, c := range []struct {
		sg, tempC, refTempC float64
		says                string
	}{
		{0.9998, 25, 25, "specific gravity 0.9998 at 25/25"},
		{1.2, 25, 25, "check the reading"},
		{math.NaN(), 25, 25, "specific gravity NaN"},
		{1.0264, 300, 25, "both temperatures must lie"},
		{1.0264, 25, math.NaN(), "both temperatures must lie"},
	} {
		_, err := PracticalSalinityFromSpecificGravity(c.sg, c.tempC, c.refTempC)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: error %v", c, err)
		}
	}
}

func BenchmarkPracticalSalinityFromSpecificGravity(b *testing.B) {
	b.ReportAllocs()
	sg := 1.0264
	for b.Loop() {
		sp, _ := PracticalSalinityFromSpecificGravity(sg, 25, 25)
		sg += 1e-15 * sp
	}
}
