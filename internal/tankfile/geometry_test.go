package tankfile_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"isohaline/internal/tankfile"
)

// near compares to a part in 1e12: sums of a few products of doubles.
func near(got, want float64) bool { return math.Abs(got-want) <= 1e-12*math.Abs(want) }

// TestShapes: textbook areas and volumes.
func TestShapes(t *testing.T) {
	for _, c := range []struct {
		name             string
		shape            tankfile.Shape
		levelM           float64
		volumeM3, planM2 float64
		capacityM3, rimM float64
	}{
		{"box", tankfile.Shape{Kind: "rectangle", LengthM: 1.2, WidthM: 0.6, HeightM: 0.6}, 0.5, 0.36, 0.72, 0.432, 0.6},
		{"box with rock", tankfile.Shape{Kind: "rectangle", LengthM: 1.2, WidthM: 0.6, HeightM: 0.6, DisplacedFrac: 0.25}, 0.5, 0.27, 0.72, 0.324, 0.6},
		{"cylinder", tankfile.Shape{Kind: "cylinder", DiameterM: 2, HeightM: 1}, 0.5, math.Pi / 2, math.Pi, math.Pi, 1},
		// A wedge with sides 1 m and 2 m: the mean area times the height.
		{"flared", tankfile.Shape{Kind: "table", HeightM: 1, Table: []tankfile.AreaAtHeight{{HeightM: 0, AreaM2: 1}, {HeightM: 1, AreaM2: 2}}}, 0.5, 0.625, 1.5, 1.5, 1},
		{"stepped", tankfile.Shape{Kind: "table", HeightM: 1, Table: []tankfile.AreaAtHeight{{HeightM: 0, AreaM2: 1}, {HeightM: 0.5, AreaM2: 1}, {HeightM: 0.5, AreaM2: 3}, {HeightM: 1, AreaM2: 3}}},
			0.5, 0.5, 3, 2, 1},
	} {
		v, err := c.shape.Vessel()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := v.VolumeM3(c.levelM); !near(got, c.volumeM3) {
			t.Errorf("%s: holds %v m3, want %v", c.name, got, c.volumeM3)
		}
		if got := c.shape.PlanAreaM2(c.levelM); !near(got, c.planM2) {
			t.Errorf("%s: plan %v m2, want %v", c.name, got, c.planM2)
		}
		if v.CapacityM3() != c.capacityM3 && !near(v.CapacityM3(), c.capacityM3) || v.RimM() != c.rimM {
			t.Errorf("%s: capacity %v m3 to %v m, want %v to %v", c.name, v.CapacityM3(), v.RimM(), c.capacityM3, c.rimM)
		}
	}
}

// TestPlanIsVesselArea: without rock, the plan is the vessel's water area at
// every height.
func TestPlanIsVesselArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyShape(t)
		s.DisplacedFrac = 0
		v, err := s.Vessel()
		if err != nil {
			t.Fatal(err)
		}
		h := draw(t, "level", -0.1, s.HeightM+0.1)
		if got, want := s.PlanAreaM2(h), v.AreaM2(h); !near(got, want) {
			t.Fatalf("plan %v, vessel %v at %v", got, want, h)
		}
	})
}

// TestReadingRoomSump, worked by hand: widths 0.4 m; the first chamber stands
// at its own baffle, 230 mm, the second at 220 mm.
func TestReadingRoomSump(t *testing.T) {
	s, _ := readExample(t, "reading-room.yaml")
	const first, second, last = 0.38 * 0.4 * 0.9, 0.26 * 0.4 * 0.85, 0.24 * 0.4 * 0.96
	if got := s.Sump.FixedM3(); !near(got, first*0.23+second*0.22) {
		t.Errorf("fixed %v m3", got)
	}
	if got := s.Sump.ReturnAreaM2(); !near(got, last) {
		t.Errorf("return chamber %v m2", got)
	}
	if got := s.Sump.SurfaceM2(); !near(got, 0.4*0.88) {
		t.Errorf("surface %v m2", got)
	}
	v, err := s.Sump.Vessel()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ levelM, m3 float64 }{
		{0.2, last * 0.2},
		{0.22, last * 0.22},
		{0.225, last*0.225 + second*0.005},
		{0.3, last*0.3 + second*0.08 + first*0.07},
		{0.4, last*0.4 + second*0.18 + first*0.17},
	} {
		if got := v.VolumeM3(c.levelM); !near(got, c.m3) {
			t.Errorf("at %v m: %v m3, want %v", c.levelM, got, c.m3)
		}
	}
}

// TestSumpHoldsItsChambers: whatever the baffles, the sump holds what its
// chambers hold, each at its own height or at the return chamber's if that is
// higher. A chamber's own height is found here by letting water run downhill:
// no chamber can stand lower than a wall that its water still has to cross.
func TestSumpHoldsItsChambers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &tankfile.Tank{Display: tankfile.Display{Shape: tankfile.Shape{HeightM: 1}}}
		anySump(t, s)
		sump := s.Sump
		v, err := sump.Vessel()
		if err != nil {
			t.Fatal(err)
		}
		level := draw(t, "level", 0, sump.HeightM)
		want, standing := 0.0, level
		for i := len(sump.Compartments) - 1; i >= 0; i-- {
			c := sump.Compartments[i]
			standing = max(standing, c.BaffleHeightM)
			want += sump.WidthM * c.LengthM * (1 - c.DisplacedFrac) * standing
		}
		if got := sump.FixedM3() + v.VolumeM3(level); !near(got, want) {
			t.Fatalf("holds %v m3 at %v, want %v", got, level, want)
		}
	})
}
