package tankfile_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

func readStarter(t interface {
	Helper()
	Fatalf(string, ...any)
}, a tankfile.Answers) *tankfile.Tank {
	t.Helper()
	data := tankfile.Starter(a)
	s, warnings, err := tankfile.Read("starter.yaml", data)
	if err != nil || len(warnings) > 0 {
		t.Fatalf("%+v: %v, warnings %v\n%s", a, err, warnings, data)
	}
	return s
}

// TestStarterReads: every combination of the answers that are choices, with
// the rest left to the defaults, reads without a warning.
func TestStarterReads(t *testing.T) {
	for _, system := range []units.System{units.Metric, units.US} {
		for _, noSump := range []bool{false, true} {
			for _, sensors := range []int{0, 1, 2} {
				for _, airC := range []float64{0, 23} {
					a := tankfile.Answers{Units: system, NoSump: noSump, Sensors: sensors, AirC: airC}
					s := readStarter(t, a)
					if s.HasSump() == noSump || (s.TopOff.Ceiling == nil) != (sensors == 1) || (len(s.Room.Seasons) == 1) != (airC > 0) {
						t.Errorf("%+v: answers are not in the file", a)
					}
				}
			}
		}
	}
}

// TestStarterFollowsAnswers: what was answered stands in the file, to the
// digits that it shows; what makes no sense takes the default.
func TestStarterFollowsAnswers(t *testing.T) {
	a := tankfile.Answers{Name: `The "blue" one: #2`, Place: "Quay 4", Display: tankfile.Box{LengthM: 1.5, WidthM: 0.7, HeightM: 0.65},
		Sump: tankfile.Box{LengthM: 1, WidthM: 0.45, HeightM: 0.42}, ReservoirLitres: 40, AirC: 24, RHFrac: 0.3, DaysBetweenVisits: 14}
	for _, system := range []units.System{units.Metric, units.US} {
		a.Units = system
		s := readStarter(t, a)
		reservoir, err := s.TopOff.Reservoir.Shape.Vessel()
		if err != nil {
			t.Fatal(err)
		}
		sumpLengthM := 0.0
		for _, c := range s.Sump.Compartments {
			sumpLengthM += c.LengthM
		}
		for _, c := range []struct {
			what      string
			got, want float64
		}{
			{"display length", s.Display.Shape.LengthM, 1.5},
			{"display width", s.Display.Shape.WidthM, 0.7},
			{"display height", s.Display.Shape.HeightM, 0.65},
			{"sump length", sumpLengthM, 1},
			{"sump width", s.Sump.WidthM, 0.45},
			{"sump height", s.Sump.HeightM, 0.42},
			{"reservoir", reservoir.VolumeM3(s.TopOff.Reservoir.FillHeightM), 0.040},
			{"air", s.Room.Seasons[0].AirC, 24},
			{"humidity", s.Room.Seasons[0].RHFrac, 0.3},
			{"visits", s.People.DaysBetweenVisits, 14},
		} {
			// Three digits, up to three factors.
			if math.Abs(c.got/c.want-1) > 0.012 {
				t.Errorf("%s is %v, answered %v", c.what, c.got, c.want)
			}
		}
		if s.Name != a.Name || s.Place != a.Place {
			t.Errorf("got %q in %q", s.Name, s.Place)
		}
	}
	nonsense := tankfile.Answers{Display: tankfile.Box{LengthM: math.NaN(), WidthM: -1, HeightM: math.Inf(1)}, ReservoirLitres: -5, Sensors: 99, AirC: math.NaN()}
	if got, want := string(tankfile.Starter(nonsense)), string(tankfile.Starter(tankfile.Answers{})); got != want {
		t.Error("nonsense does not take the defaults")
	}
}

// TestStarterSizes: tanks from a bucket to a lobby read without a warning.
func TestStarterSizes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		box := func(name string, lo, hi float64) tankfile.Box {
			return tankfile.Box{LengthM: draw(t, name+" length", lo, 3*hi), WidthM: draw(t, name+" width", lo, hi), HeightM: draw(t, name+" height", lo, hi)}
		}
		readStarter(t, tankfile.Answers{
			Units:  rapid.SampledFrom([]units.System{units.Metric, units.US}).Draw(t, "system"),
			NoSump: maybe(t, "no sump"), Sensors: rapid.IntRange(1, 2).Draw(t, "sensors"),
			Display: box("display", 0.2, 1.2), Sump: box("sump", 0.25, 1),
			ReservoirLitres: draw(t, "reservoir", 1, 400), DaysBetweenVisits: draw(t, "visits", 0.5, 30),
			AirC: draw(t, "air", 0, 40), RHFrac: draw(t, "humidity", 0.02, 0.95),
		})
	})
}

// TestStarterExplains: a person who has never seen the format finds every part
// of it introduced, and the cautions.
func TestStarterExplains(t *testing.T) {
	text := string(tankfile.Starter(tankfile.Answers{}))
	for _, want := range []string{"# ", "SG@25/25", "residual-current", "drip loop", "licensed electrician", "kalkwasser is caustic", "bounded source"} {
		if !strings.Contains(text, want) {
			t.Errorf("starter does not mention %q", want)
		}
	}
	comments := strings.Count(text, "#")
	if lines := strings.Count(text, "\n"); comments < lines/4 {
		t.Errorf("only %d comments in %d lines", comments, lines)
	}
}
