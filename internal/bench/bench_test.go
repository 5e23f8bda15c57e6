package bench

import (
	"errors"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// noon is when the tests ask.
var noon = Circumstances{Now: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)}

func ask(t rapid.TB, q Question) *BenchAnswer {
	t.Helper()
	a, err := Ask(q, noon)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// value is a figure's, and fails the test if it is not there.
func value(t rapid.TB, a *BenchAnswer, name string) float64 {
	t.Helper()
	f := a.Figure(name)
	if f.Name == "" {
		t.Fatalf("no figure %q", name)
	}
	return f.Value
}

func near(t rapid.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g, off by %.2g, allowed %.2g", what, got, want, got-want, tolerance)
	}
}

func ptr(x float64) *float64 { return &x }

// reef is an invented tank.
func reef() TankWater {
	return TankWater{VolumeL: 400, TempC: 25, SalinityPSU: 35, AlkalinityDKH: 8, RoomCO2PPM: ptr(500)}
}

// questions is one of each, as somebody might ask it.
func questions() map[string]Question {
	at := noon.Now
	return map[string]Question{
		"use": &Consumption{VolumeL: 400, Log: []LogEntry{
			{At: at.Add(-96 * time.Hour), What: "alkalinity", Amount: 8.6}, {At: at.Add(-48 * time.Hour), What: "sodium-bicarbonate", Amount: 8},
			{At: at.Add(-30 * time.Hour), What: "water-change", Amount: 40, AlkalinityDKH: 9}, {At: at, What: "alkalinity", Amount: 7.4}}},
		"correct": &Correction{Water: reef(), TargetAlkalinityDKH: ptr(9), TargetCalciumMgL: ptr(440), TargetMagnesiumMgL: ptr(1380), UseAlkalinityDKHDay: 0.5},
		"salt":    &SalinityMove{VolumeL: 400, TempC: 25, SalinityPSU: 33, TargetPSU: 35, Way: "top-off", EvaporationLitresDay: 4},
		"change":  &WaterChanges{Water: reef(), EachL: 40, Times: 4, EveryDays: 7, IonMgL: 20, IonMgLDay: 0.2},
		"shock":   &TopOffShock{Water: reef(), TopOffL: 12, EvaporationLitresDay: 4, Minutes: 90, UseAlkalinityDKHDay: 0.8},
		"hand":    &HandTopOff{EveryDays: 5, Tank: example("window-nano")},
		"lime":    &LimeSupply{Water: reef(), EvaporationLitresDay: 4, UseAlkalinityDKHDay: 1.5, PassingLitresHour: 1500, ReservoirLitres: 40},
		"convert": &Conversion{Reading: InstrumentReading{Instrument: "hydrometer", Value: 1.0264, TempC: 25}},
		"agree": &Agreement{Readings: []InstrumentReading{{Instrument: "conductivity", Value: 53.1, TempC: 25, Calibrated: &at},
			{Instrument: "refractometer", Value: 36, TempC: 25}}},
		"fluid":  &CalibrationFluid{For: "refractometer", TargetPSU: 35},
		"source": &SourceWater{RatedLitresDay: 190, PressureBar: 4, TempC: 15, TDSMgL: 250, LitresDay: 6, ReservoirL: 40, ResinL: 1, FilterL: 6000},
	}
}

// TestAnswersAreWhole: a sentence, numbers, where they come from; nothing that
// JSON cannot say; ends in order around the value.
func TestAnswersAreWhole(t *testing.T) {
	for name, q := range questions() {
		a := ask(t, q)
		if !strings.HasSuffix(a.Sentence, ".") || len(a.Figures) == 0 || len(a.Sources) == 0 {
			t.Errorf("%s: %q with %d figures and %d sources", name, a.Sentence, len(a.Figures), len(a.Sources))
		}
		whole(t, name, a)
	}
}

func whole(t rapid.TB, name string, a *BenchAnswer) {
	t.Helper()
	seen := map[string]bool{}
	for _, f := range a.Figures {
		if seen[f.Name] {
			t.Errorf("%s: %s is there twice", name, f.Name)
		}
		seen[f.Name] = true
		if !finite(f.Value) || f.Low != nil && !(*f.Low <= f.Value && f.Value <= *f.High && finite(*f.Low, *f.High)) {
			t.Errorf("%s: %s is %v", name, f.Name, ShownFigure(f, noon.Units))
		}
	}
	for _, s := range a.Series {
		if len(s.At) != len(s.Value) || len(s.At) < 2 || !finite(s.At...) || !finite(s.Value...) || !finite(s.Low...) || !finite(s.High...) {
			t.Errorf("%s: series %s: %v %v", name, s.Name, s.At, s.Value)
		}
	}
	for _, d := range a.Dates {
		if d.Likely.Before(d.Earliest) || d.Latest.Before(d.Likely) {
			t.Errorf("%s: %+v", name, d)
		}
	}
}

func finite(list ...float64) bool {
	for _, x := range list {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// TestLimeWaterIsAlwaysCautioned: whatever is asked of lime water.
func TestLimeWaterIsAlwaysCautioned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := &LimeSupply{Water: reef(), EvaporationLitresDay: rapid.Float64Range(0.1, 20).Draw(t, "evaporation"),
			UseAlkalinityDKHDay: rapid.Float64Range(0, 5).Draw(t, "use")}
		a, err := Ask(q, noon)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"caustic", "gloves", "eye protection", "children"} {
			if !strings.Contains(strings.Join(a.Cautions, " "), want) {
				t.Errorf("no word of %s", want)
			}
		}
	})
}

// TestAnythingIsAnswered: whatever lies in the tags' ranges, and whatever does
// not, is answered in finite numbers or refused with a fix; nothing panics.
func TestAnythingIsAnswered(t *testing.T) {
	for name := range questions() {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				q := questions()[name]
				shake(rt, reflect.ValueOf(q).Elem())
				a, err := Ask(q, noon)
				var r *Refusal
				switch {
				case err == nil:
					whole(rt, name, a)
				case !errors.As(err, &r) || r.Why == "" || r.Fix == "":
					rt.Fatalf("%v is no refusal with a fix", err)
				}
			})
		})
	}
}

// shake draws the numbers of a question again, mostly within their ranges.
func shake(t *rapid.T, v reflect.Value) {
	for i := range v.NumField() {
		f, tag := v.Field(i), v.Type().Field(i).Tag
		switch {
		case f.Kind() == reflect.Struct && f.Type() != reflect.TypeFor[time.Time]():
			shake(t, f)
		case f.Kind() == reflect.Slice && f.Type().Elem().Kind() == reflect.Struct:
			for j := range f.Len() {
				shake(t, f.Index(j))
			}
		case f.Kind() == reflect.Float64:
			f.SetFloat(drawn(t, tag))
		case f.Type() == reflect.TypeFor[*float64]() && rapid.Bool().Draw(t, "given"):
			f.Set(reflect.ValueOf(ptr(drawn(t, tag))))
		case f.Kind() == reflect.String && tag.Get("enum") != "" && rapid.IntRange(0, 3).Draw(t, "word") == 0:
			f.SetString(rapid.SampledFrom(append(strings.Split(tag.Get("enum"), ","), "", "sugar")).Draw(t, "enum"))
		}
	}
}

func drawn(t *rapid.T, tag reflect.StructTag) float64 {
	lo, _ := strconv.ParseFloat(tag.Get("minimum"), 64)
	hi, err := strconv.ParseFloat(tag.Get("maximum"), 64)
	if err != nil {
		t.Fatalf("a number without a maximum: %s", tag)
	}
	switch rapid.IntRange(0, 20).Draw(t, "how") {
	case 0:
		return rapid.Float64().Draw(t, "anything")
	case 1:
		return lo
	case 2:
		return hi
	case 3:
		return math.NaN()
	}
	// Small values are what tanks have; the rest is the range.
	share := math.Pow(rapid.Float64Range(0, 1).Draw(t, "share"), 3)
	return lo + share*(hi-lo)
}

func TestRefusals(t *testing.T) {
	water := func(change func(*TankWater)) TankWater {
		w := reef()
		change(&w)
		return w
	}
	shock := func(change func(*TankWater)) Question { return &TopOffShock{Water: water(change), TopOffL: 1} }
	for _, c := range []struct {
		name         string
		q            Question
		field, words string
	}{
		{"pH 15", shock(func(w *TankWater) { w.PH = ptr(15) }), "water.pH", "give a value from 7 to 9.5"},
		{"negative alkalinity", shock(func(w *TankWater) { w.AlkalinityDKH = -1 }), "water.alkalinityDKH", "from 0.5 to 25 dKH"},
		{"fresh water", shock(func(w *TankWater) { w.SalinityPSU = 0 }), "water.salinityPSU", "from 20 to 40 PSU"},
		{"brine", shock(func(w *TankWater) { w.SalinityPSU = 50 }), "water.salinityPSU", "from 20 to 40 PSU"},
		{"NaN", shock(func(w *TankWater) { w.TempC = math.NaN() }), "water.tempC", "from 10 to 35 °C"},
		{"more than the tank", &TopOffShock{Water: reef(), TopOffL: 401}, "topOffL", "more than the tank holds"},
		{"nothing wanted", &Correction{Water: reef()}, "targetAlkalinityDKH", "give at least one"},
		{"another salt", &Correction{Water: reef(), TargetCalciumMgL: ptr(430), CalciumFrom: "sugar"}, "calciumFrom", "calcium-chloride-dihydrate"},
		{"down by evaporation", &SalinityMove{VolumeL: 1, TempC: 25, SalinityPSU: 36, TargetPSU: 35, Way: "top-off", EvaporationLitresDay: 1}, "way", "evaporation takes no salt away"},
		{"up by weaker water", &SalinityMove{VolumeL: 1, TempC: 25, SalinityPSU: 33, TargetPSU: 35, SupplyPSU: ptr(34)}, "supplyPSU", "saltier than 35 PSU"},
		{"up by nothing", &SalinityMove{VolumeL: 1, TempC: 25, SalinityPSU: 33, TargetPSU: 35}, "supplyPSU", "say how salty"},
		{"evaporation not said", &SalinityMove{VolumeL: 1, TempC: 25, SalinityPSU: 33, TargetPSU: 35, Way: "top-off"}, "evaporationLitresDay", "4 L/day"},
		{"a change of more than all", &WaterChanges{Water: reef(), EachL: 500, Times: 1, EveryDays: 1}, "eachL", "400 L at most"},
		{"one reading", &Consumption{VolumeL: 1, Log: []LogEntry{{What: "alkalinity", Amount: 8}}}, "log", "has 1 readings of alkalinity"},
		{"two at once", &Consumption{VolumeL: 1, Log: []LogEntry{{What: "alkalinity", Amount: 8}, {What: "alkalinity", Amount: 8}}}, "log", "some days apart"},
		{"no reading", &Consumption{VolumeL: 1, Log: []LogEntry{{What: "water-change", Amount: 1}}}, "log", "holds no reading"},
		{"a meter's SG", &Conversion{Reading: InstrumentReading{Instrument: "hydrometer", Value: 35, TempC: 25}}, "reading.value", "at 35 PSU it shows 1.026"},
		{"pressure too low", &SourceWater{RatedLitresDay: 190, PressureBar: 0.1, TempC: 20, TDSMgL: 1000, LitresDay: 5}, "pressureBar", "osmotic"},
		{"no readings", &Agreement{}, "readings", "give at least one"},
		{"a tank in fresh air", &Conversion{Reading: InstrumentReading{Instrument: "nose", TempC: 20}}, "reading.instrument", "none of the words"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Ask(c.q, noon)
			var r *Refusal
			if !errors.As(err, &r) {
				t.Fatalf("got %v", err)
			}
			if r.Field != c.field || !strings.Contains(r.Error(), c.words) {
				t.Errorf("got %v in %q, want %q in %q", err, r.Field, c.words, c.field)
			}
		})
	}
}

func BenchmarkAsk(b *testing.B) {
	for name, q := range questions() {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Ask(q, noon); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
