package bench

import (
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// example is one of the tank files that come with the program. It panics, for
// the questions of the tests are made without a test.
func example(name string) *tankfile.Tank {
	data, err := os.ReadFile("../../examples/" + name + ".yaml")
	if err != nil {
		panic(err)
	}
	s, _, err := tankfile.Read(name, data)
	if err != nil {
		panic(err)
	}
	return s
}

func seriesOf(t *testing.T, a *BenchAnswer, name string) *BenchSeries {
	t.Helper()
	for i := range a.Series {
		if a.Series[i].Name == name {
			return &a.Series[i]
		}
	}
	t.Fatalf("no series %q", name)
	return nil
}

// TestHandTopOffIsTheShock: the twin's bucket of a month by hand does to the tank
// what the question of a single top-off says, which is held to a reference table
// of exact mixing (shock_test.go). In a small tank that is half a dKH or more
// after several days (common practice, no source).
func TestHandTopOffIsTheShock(t *testing.T) {
	s := example("window-nano")
	report, err := verify.Check(t.Context(), s, verify.Options{SinglesOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	a := ask(t, &HandTopOff{EveryDays: 5, Tank: s})
	salinity, alkalinity := seriesOf(t, a, "salinity-hand"), seriesOf(t, a, "alkalinity-hand")
	poured := 0
	for i := 1; i < len(salinity.At); i++ {
		if salinity.At[i] != salinity.At[i-1] {
			continue
		}
		poured++
		fullL := report.Geometry.SystemM3 * litresPerM3
		// Salt is by mass, a bucket is litres.
		perLeft := densityKgM3(salinity.Value[i-1], s.Water.TempC) / densityKgM3(0, s.Water.TempC) * (salinity.Value[i-1]/salinity.Value[i] - 1)
		topOffL := fullL * perLeft / (1 + perLeft)
		shock := ask(t, &TopOffShock{TopOffL: topOffL, Water: TankWater{VolumeL: fullL - topOffL, TempC: s.Water.TempC,
			SalinityPSU: salinity.Value[i-1], AlkalinityDKH: alkalinity.Value[i-1]}})
		near(t, "salinity", salinity.Value[i]-salinity.Value[i-1], value(t, shock, "salinity-change"), 0.005)
		near(t, "alkalinity", alkalinity.Value[i]-alkalinity.Value[i-1], value(t, shock, "alkalinity-change"), 0.002)
		if fall := alkalinity.Value[i-1] - alkalinity.Value[i]; fall < 0.5 {
			t.Errorf("alkalinity falls by %.2f dKH", fall)
		}
		near(t, "litres", topOffL, 5*value(t, a, "evaporation"), 0.06*topOffL)
	}
	if poured != 5 {
		t.Errorf("%d top-offs are drawn, want 5: the month ends before the sixth", poured)
	}
}

// TestHandTopOffBySite: by hand everything swings more, the wider the longer
// nobody comes, in every example with a controller.
func TestHandTopOffBySite(t *testing.T) {
	for _, name := range []string{"window-nano", "reading-room", "grand-lobby"} {
		before := 0.0
		for _, days := range []float64{0.5, 2, 5, 12} {
			a := ask(t, &HandTopOff{EveryDays: days, Tank: example(name)})
			whole(t, name, a)
			for _, what := range []string{"salinity-hour", "alkalinity-day"} {
				if hand, automatic := value(t, a, what+"-hand"), value(t, a, what+"-automatic"); hand <= automatic {
					t.Errorf("%s every %v days: %s %.3f by hand, %.3f by the controller", name, days, what, hand, automatic)
				}
			}
			hour := value(t, a, "salinity-hour-hand")
			if hour <= before {
				t.Errorf("%s every %v days: salinity falls by %.3f within an hour, more often by %.3f", name, days, hour, before)
			}
			before = hour
			if len(a.Series) != 4 || len(a.Series[1].At) > 2*(stretches+1) {
				t.Errorf("%s: %d series, %d points", name, len(a.Series), len(a.Series[1].At))
			}
		}
	}
}

// TestHandTopOffSays: the sentence, the season, the cautions that belong to it.
func TestHandTopOffSays(t *testing.T) {
	nano := ask(t, &HandTopOff{EveryDays: 5, Tank: example("window-nano")})
	if !strings.HasPrefix(nano.Sentence, "Topped off by hand every 5 days, salinity swings by ") || !strings.Contains(nano.Sentence, "over a month; by the controller, salinity swings by ") {
		t.Error(nano.Sentence)
	}
	t.Log(nano.Sentence)
	if notes := strings.Join(nano.Notes, " "); !strings.Contains(notes, `"heating season"`) { // the dry one
		t.Error(notes)
	}
	mild := ask(t, &HandTopOff{EveryDays: 5, Season: "windows open", Tank: example("window-nano")})
	if value(t, mild, "salinity-hour-hand") >= value(t, nano, "salinity-hour-hand") {
		t.Error("another season makes no difference")
	}
	for _, c := range []struct {
		days      float64
		tank      *tankfile.Tank
		slow, dry bool
	}{{5, example("window-nano"), true, false}, {0.5, example("window-nano"), false, false}, {5, example("reading-room"), true, true}} {
		text := strings.Join(ask(t, &HandTopOff{EveryDays: c.days, Tank: c.tank}).Cautions, " ")
		if strings.Contains(text, cautionSlow) != c.slow || strings.Contains(text, "return pump runs dry") != c.dry {
			t.Errorf("every %v days at %s: %s", c.days, c.tank.Name, text)
		}
	}
	lime := *example("window-nano")
	reservoir := *lime.TopOff.Reservoir
	reservoir.LimeWater = true
	lime.TopOff.Reservoir = &reservoir
	if text := strings.Join(ask(t, &HandTopOff{EveryDays: 5, Tank: &lime}).Cautions, " "); !strings.Contains(text, "never pour lime water in at once") || !strings.Contains(text, "caustic") {
		t.Error(text)
	}
	us, err := Ask(&HandTopOff{EveryDays: 5, Tank: example("reading-room")}, Circumstances{Units: units.US})
	if err != nil || us.Figure("evaporation").Unit != "L/day" {
		t.Errorf("%+v, %v", us, err)
	}
}

func TestHandTopOffRefuses(t *testing.T) {
	nano := example("window-nano")
	for _, c := range []struct {
		name         string
		q            HandTopOff
		field, words string
	}{
		{"no days", HandTopOff{Tank: nano}, "everyDays", `"0" is out of range; give a value from 0.25 to 29 days`},
		{"less than none", HandTopOff{EveryDays: -1, Tank: nano}, "everyDays", "out of range"},
		{"longer than the month", HandTopOff{EveryDays: 31, Tank: nano}, "everyDays", `"31" is out of range`},
		{"no number", HandTopOff{EveryDays: math.NaN(), Tank: nano}, "everyDays", "out of range"},
		{"no controller", HandTopOff{EveryDays: 3, Tank: example("plumbed-line")}, "", "the tank has no controller"},
		{"no tank", HandTopOff{EveryDays: 3}, "", "the tank has no controller"},
		{"no such season", HandTopOff{EveryDays: 3, Season: "monsoon", Tank: nano}, "season", `"monsoon" is no season of the tank file; give one of "heating season", "windows open"`},
	} {
		_, err := Ask(&c.q, noon)
		var r *Refusal
		if !errors.As(err, &r) || r.Field != c.field || !strings.Contains(r.Error(), c.words) || strings.HasPrefix(r.Error(), " ") {
			t.Errorf("%s: got %v", c.name, err)
		}
	}
}
