package tankfile

import (
	"math"
	"slices"

	"isohaline/hydraulics"
)

// Vessel is the water that fits into the shape: its plan at every height, less
// the displaced share.
func (s *Shape) Vessel() (hydraulics.Vessel, error) {
	free := 1 - s.DisplacedFrac
	if s.Kind != "table" {
		return hydraulics.NewPrism(free*s.PlanAreaM2(0), s.HeightM)
	}
	sections := make([]hydraulics.Section, len(s.Table))
	for i, row := range s.Table {
		sections[i] = hydraulics.Section{HeightM: row.HeightM, AreaM2: free * row.AreaM2}
	}
	return hydraulics.NewTable(sections)
}

// PlanAreaM2 is the area inside the walls at a height above the floor, rock or
// no rock: what the air sees of the water there. Below the floor and above the
// rim it is the floor's and the rim's; at a step the upper one.
func (s *Shape) PlanAreaM2(heightM float64) float64 {
	switch s.Kind {
	case "rectangle":
		return s.LengthM * s.WidthM
	case "cylinder":
		return math.Pi / 4 * s.DiameterM * s.DiameterM
	}
	t := s.Table
	if len(t) == 0 {
		return 0
	}
	above, _ := slices.BinarySearchFunc(t, heightM, func(row AreaAtHeight, h float64) int {
		if row.HeightM > h {
			return 1
		}
		return -1
	})
	switch above {
	case 0:
		return t[0].AreaM2
	case len(t):
		return t[len(t)-1].AreaM2
	}
	a, b := t[above-1], t[above]
	return a.AreaM2 + (b.AreaM2-a.AreaM2)*(heightM-a.HeightM)/(b.HeightM-a.HeightM)
}

// standingM is how high the water of a compartment stands while the return
// chamber is lower: at the highest wall that it still has to cross, its own or
// one further on. The few millimetres that running water stands above a baffle
// are left out.
func (s *Sump) standingM(i int) float64 {
	height := 0.0
	for _, c := range s.Compartments[i:] {
		height = max(height, c.BaffleHeightM)
	}
	return height
}

// freeAreaM2 is a compartment's plan less its displaced share.
func (s *Sump) freeAreaM2(i int) float64 {
	c := s.Compartments[i]
	return s.WidthM * c.LengthM * (1 - c.DisplacedFrac)
}

// ReturnAreaM2 is the free water area of the return chamber.
func (s *Sump) ReturnAreaM2() float64 { return s.freeAreaM2(len(s.Compartments) - 1) }

// SurfaceM2 is the open water of all compartments, lid or no lid.
func (s *Sump) SurfaceM2() float64 {
	lengthM := 0.0
	for _, c := range s.Compartments {
		lengthM += c.LengthM
	}
	return s.WidthM * lengthM
}

// FixedM3 is the water in the compartments before the return chamber while that
// is lower than their baffles: water that is there, takes part in every mixing
// and never shows in a level.
func (s *Sump) FixedM3() float64 {
	volume := 0.0
	for i := range len(s.Compartments) - 1 {
		volume += s.freeAreaM2(i) * s.standingM(i)
	}
	return volume
}

// Vessel is the water of the sump above FixedM3 against the level of the return
// chamber: the chamber alone up to the lowest baffle, and from each level at
// which a compartment stands that compartment too, because the water now joins
// over its wall. All the water in the sump at a level is FixedM3 plus the
// Vessel's volume.
func (s *Sump) Vessel() (hydraulics.Vessel, error) {
	joins := make([]hydraulics.Section, 0, len(s.Compartments)) // AreaM2 is what joins at HeightM
	for i := range len(s.Compartments) - 1 {
		joins = append(joins, hydraulics.Section{HeightM: s.standingM(i), AreaM2: s.freeAreaM2(i)})
	}
	// Water stands lower from compartment to compartment, so the last joins
	// first.
	slices.Reverse(joins)
	area := s.ReturnAreaM2()
	sections := []hydraulics.Section{{HeightM: 0, AreaM2: area}}
	for _, j := range joins {
		area += j.AreaM2
		if last := &sections[len(sections)-1]; last.HeightM == j.HeightM {
			last.AreaM2 = area // stands as high as the one before: one step
			continue
		}
		sections = append(sections, hydraulics.Section{HeightM: j.HeightM, AreaM2: area - j.AreaM2},
			hydraulics.Section{HeightM: j.HeightM, AreaM2: area})
	}
	sections = append(sections, hydraulics.Section{HeightM: s.HeightM, AreaM2: area})
	return hydraulics.NewTable(sections)
}
