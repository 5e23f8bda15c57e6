package tankfile_test

import (
	"os"
	"path/filepath"
	"testing"

	"isohaline/internal/tankfile"
)

const examples = "../../examples"

func readExample(t testing.TB, name string) (*tankfile.Tank, []byte) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(examples, name))
	if err != nil {
		t.Fatal(err)
	}
	s, warnings, err := tankfile.Read(name, data)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range warnings {
		t.Errorf("warning: %v", w)
	}
	return s, data
}

// TestExamplesRead: every example reads without an error or a warning, and has
// the proportions of a real tank. The bounds are common practice, no source.
func TestExamplesRead(t *testing.T) {
	files, _ := filepath.Glob(examples + "/*.yaml")
	if len(files) < 4 {
		t.Fatalf("found %d examples in %s", len(files), examples)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			s, _ := readExample(t, filepath.Base(file))
			if s.Water.SalinityPSU < 34.5 || s.Water.SalinityPSU > 35.5 {
				t.Errorf("salinity %v PSU", s.Water.SalinityPSU)
			}
			display, err := s.Display.Shape.Vessel()
			if err != nil {
				t.Fatal(err)
			}
			waterM3 := display.VolumeM3(s.Display.FillHeightM)
			if s.HasSump() {
				waterM3 = display.VolumeM3(s.Overflow.CrestHeightM)
				if turnover := s.Return.Pump.Curve[1].FlowM3S * 3600 / waterM3; turnover < 3 || turnover > 10 {
					t.Errorf("return pump moves the display %.1f times an hour", turnover)
				}
				sump, err := s.Sump.Vessel()
				if err != nil {
					t.Fatal(err)
				}
				if share := (s.Sump.FixedM3() + sump.VolumeM3(0.4*s.Sump.HeightM)) / waterM3; share < 0.05 || share > 0.5 {
					t.Errorf("sump runs at %.2f of the display", share)
				}
			}
			if r := s.TopOff.Reservoir; r != nil {
				reservoir, err := r.Shape.Vessel()
				if err != nil {
					t.Fatal(err)
				}
				usable := reservoir.VolumeM3(r.FillHeightM) - reservoir.VolumeM3(r.PumpIntakeHeightM)
				// A day takes about a hundredth of the water.
				if days := usable / (0.01 * waterM3); days < s.People.DaysBetweenVisits {
					t.Errorf("reservoir lasts %.1f days, visits are %v days apart", days, s.People.DaysBetweenVisits)
				}
			}
		})
	}
}
