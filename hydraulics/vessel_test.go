package hydraulics_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "isohaline/hydraulics"
)

// anyVessel draws a prism or a table with slopes and steps, areas within a
// factor of a thousand of each other.
func anyVessel(t *rapid.T) Vessel {
	area := rapid.Float64Range(0.005, 5)
	if rapid.Bool().Draw(t, "prism") {
		return must(NewPrism(area.Draw(t, "area"), rapid.Float64Range(0.05, 2).Draw(t, "height")))(t)
	}
	sections := []Section{{0, area.Draw(t, "floor area")}}
	heightM := 0.0
	for range rapid.IntRange(1, 5).Draw(t, "pieces") {
		heightM += rapid.Float64Range(0.01, 0.5).Draw(t, "rise")
		sections = append(sections, Section{heightM, area.Draw(t, "area")})
		if rapid.Bool().Draw(t, "step") {
			sections = append(sections, Section{heightM, area.Draw(t, "area over step")})
		}
	}
	return must(NewTable(sections))(t)
}

// must turns a constructor's result into its value or ends the test.
func must[T any](value T, err error) func(t interface{ Fatal(...any) }) T {
	return func(t interface{ Fatal(...any) }) T {
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

func TestVesselGeometry(t *testing.T) {
	// A tapered vessel under a step to a wider top; volumes by the frustum of a
	// wedge, worked by hand.
	v := must(NewTable([]Section{{0, 0.2}, {0.1, 0.4}, {0.1, 1}, {0.3, 1}}))(t)
	for _, row := range []struct{ levelM, volumeM3, areaM2 float64 }{
		{-1, 0, 0.2},
		{0, 0, 0.2},
		{0.05, 0.05 * 0.25, 0.3},
		{0.1, 0.03, 1}, // at the step: the upper area
		{0.2, 0.13, 1},
		{0.3, 0.23, 1},
		{0.5, 0.43, 1}, // over the rim the top area continues
	} {
		if got := v.VolumeM3(row.levelM); math.Abs(got-row.volumeM3) > 1e-15 {
			t.Errorf("VolumeM3(%g) = %g, want %g", row.levelM, got, row.volumeM3)
		}
		if got := v.AreaM2(row.levelM); math.Abs(got-row.areaM2) > 1e-15 {
			t.Errorf("AreaM2(%g) = %g, want %g", row.levelM, got, row.areaM2)
		}
	}
	if v.RimM() != 0.3 || math.Abs(v.CapacityM3()-0.23) > 1e-15 {
		t.Errorf("rim %g m, capacity %g m3, want 0.3 and 0.23", v.RimM(), v.CapacityM3())
	}
}

func TestVesselLevelInvertsVolume(t *testing.T) {
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		v := anyVessel(t)
		volumeM3 := v.CapacityM3() * rapid.Float64Range(0, 1.5).Draw(t, "filled")
		back := v.VolumeM3(v.LevelM(volumeM3))
		if deviation := math.Abs(back - volumeM3); deviation > 1e-12*volumeM3 {
			t.Fatalf("volume %g m3 comes back as %g", volumeM3, back)
		} else if volumeM3 > 0 {
			worst = math.Max(worst, deviation/volumeM3)
		}
	})
	t.Logf("worst round trip: %.1f correct digits", -math.Log10(worst))
}

// TestVesselAreaIsSlope: the area is what the volume gains per metre of level.
func TestVesselAreaIsSlope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := anyVessel(t)
		level := rapid.Float64Range(0, 1.2*v.RimM()).Draw(t, "level")
		const rise = 1e-6
		slope := (v.VolumeM3(level+rise) - v.VolumeM3(level)) / rise
		below, above := v.AreaM2(level), v.AreaM2(level+rise)
		if slope < math.Min(below, above)*(1-1e-3)-1e-6 || slope > math.Max(below, above)*(1+1e-3)+1e-6 {
			t.Fatalf("slope %g at level %g, area %g to %g", slope, level, below, above)
		}
	})
}

func TestVesselTableEqualsPrism(t *testing.T) {
	prism := must(NewPrism(0.72, 0.6))(t)
	table := must(NewTable([]Section{{0, 0.72}, {0.25, 0.72}, {0.6, 0.72}}))(t)
	for level := -0.1; level < 0.9; level += 0.05 {
		if a, b := prism.VolumeM3(level), table.VolumeM3(level); math.Abs(a-b) > 1e-15 {
			t.Errorf("level %g: prism %g m3, table %g m3", level, a, b)
		}
	}
}

func TestVesselAtItsEdges(t *testing.T) {
	for _, v := range []Vessel{
		must(NewPrism(0.72, 0.6))(t),
		must(NewTable([]Section{{0, 0.2}, {0.6, 0.4}}))(t),
	} {
		if got := v.LevelM(v.CapacityM3()); got != v.RimM() {
			t.Errorf("full to the rim at %v, want %v exactly", got, v.RimM())
		}
		if v.LevelM(-1) != 0 || v.VolumeM3(-1) != 0 {
			t.Errorf("below the floor: level %g, volume %g, want 0", v.LevelM(-1), v.VolumeM3(-1))
		}
		if !math.IsNaN(v.LevelM(math.NaN())) || !math.IsNaN(v.VolumeM3(math.NaN())) {
			t.Error("NaN must stay NaN")
		}
	}
	var none Vessel
	if none.VolumeM3(1) != 0 || none.LevelM(0) != 0 || none.CapacityM3() != 0 {
		t.Error("the zero vessel must hold nothing")
	}
}

func TestVesselRefusals(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	prism := func(areaM2, heightM float64) error { _, err := NewPrism(areaM2, heightM); return err }
	table := func(sections ...Section) error { _, err := NewTable(sections); return err }
	for _, row := range []struct {
		name string
		err  error
		says string
	}{
		{"no area", prism(0, 1), "area is 0 m2"},
		{"negative area", prism(-2, 1), "area is -2 m2"},
		{"NaN area", prism(nan, 1), "area is NaN"},
		{"no height", prism(1, 0), "height is 0 m"},
		{"endless height", prism(1, inf), "height is +Inf m"},
		{"no rows", table(), "0 rows"},
		{"one row", table(Section{0, 1}), "1 rows"},
		{"no floor", table(Section{0.1, 1}, Section{0.2, 1}), "row 1: height is 0.1 m"},
		{"descending", table(Section{0, 1}, Section{0.2, 1}, Section{0.1, 1}), "row 3: height is 0.1 m"},
		{"NaN height", table(Section{0, 1}, Section{nan, 1}), "row 2: height is NaN m"},
		{"endless", table(Section{0, 1}, Section{inf, 1}), "row 2: height is +Inf m"},
		{"no area in row", table(Section{0, 1}, Section{0.2, 0}), "row 2: area is 0 m2"},
		{"three at one height", table(Section{0, 1}, Section{0.2, 1}, Section{0.2, 2}, Section{0.2, 3}), "row 4: height 0.2 m stands three times"},
		{"flat", table(Section{0, 1}, Section{0, 2}), "every height is 0 m"},
	} {
		if row.err == nil || !strings.Contains(row.err.Error(), row.says) {
			t.Errorf("%s: error %v, want one that says %q", row.name, row.err, row.says)
		}
	}
}

func BenchmarkVesselPrism(b *testing.B) {
	v, _ := NewPrism(0.72, 0.6)
	benchmarkVessel(b, v)
}

func BenchmarkVesselTable(b *testing.B) {
	v, _ := NewTable([]Section{{0, 0.2}, {0.1, 0.4}, {0.1, 1}, {0.3, 1}})
	benchmarkVessel(b, v)
}

func benchmarkVessel(b *testing.B, v Vessel) {
	b.ReportAllocs()
	level := 0.15
	for b.Loop() {
		level = v.LevelM(v.VolumeM3(level))
	}
}
