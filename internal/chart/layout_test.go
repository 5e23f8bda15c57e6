package chart

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"isohaline/internal/units"
)

// lengths draws a length between two, in whole millimetres.
func lengths(t *rapid.T, name string, lo, hi float64) float64 {
	return float64(rapid.IntRange(int(lo*1000), int(hi*1000)).Draw(t, name)) / 1000
}

func maybe(t *rapid.T, name string, value float64) float64 {
	if rapid.Bool().Draw(t, name) {
		return value
	}
	return nan
}

// anySection is any tank that makes sense: from a jar to a public tank.
func anySection(t *rapid.T) *Section {
	words := rapid.SampledFrom([]string{"Jar", "Reading Room reef", "The long hall of mangroves behind the ferry terminal", "Äußeres Becken & <Quarantäne>", strings.Repeat("水", 90), ""})
	s := &Section{
		Title: words.Draw(t, "title"), Place: words.Draw(t, "place"),
		Units:  rapid.SampledFrom([]units.System{units.Metric, units.US}).Draw(t, "units"),
		Levels: Levels{DipM: nan, DrainDownM3: nan},
	}
	height := lengths(t, "display height", 0.15, 3)
	s.Display = rectangular(lengths(t, "display width", 0.15, 8), height, 0, 0.9*height, lengths(t, "rock", 0, 0.6))
	if rapid.Bool().Draw(t, "tapered") {
		s.Display.Widths = append(s.Display.Widths, WidthAtHeight{height, s.Display.Widths[1].WidthM * lengths(t, "taper", 0.5, 1.5)})
		s.Display.Widths[1].HeightM = height / 2
	}
	rim := height
	if rapid.Bool().Draw(t, "sump") {
		rim = lengths(t, "sump height", 0.2, 1)
		s.Sump = &Sump{HeightM: rim}
		for range rapid.IntRange(0, 6).Draw(t, "compartments") {
			s.Sump.Compartments = append(s.Sump.Compartments, Compartment{
				rapid.SampledFrom([]string{"socks", "skimmer", "refugium with macroalgae", "x", strings.Repeat("endless", 20)}).Draw(t, "name"),
				lengths(t, "length", 0.05, 1), lengths(t, "baffle", 0.3, 0.7) * rim})
		}
		s.Sump.Compartments = append(s.Sump.Compartments, Compartment{"return chamber", lengths(t, "chamber", 0.08, 1), 0})
		s.Display.FloorElevationM = rim + lengths(t, "display above", 0.1, 6)
		s.Overflow = &Overflow{rapid.Bool().Draw(t, "standpipe"), 0.88 * height, maybe(t, "emergency", 0.94*height)}
		s.Return = &Return{lengths(t, "bore", 0.01, 0.08), lengths(t, "outlet", 0.3, 0.95) * height, maybe(t, "break", 0.87*height), 0.1 * rim}
		s.Levels.DipM, s.Levels.DrainDownM3 = 0.3*rim, 0.01
	}
	watch := lengths(t, "watch", 0.4, 0.7) * rim
	ceiling := watch + lengths(t, "gap", 0.05, 0.2)*rim
	s.Levels.Watch = Switch{rapid.SampledFrom([]string{"float", "optical", "conductive", "pressure", "ultrasonic"}).Draw(t, "kind"), maybe(t, "has watch", watch), 0.004}
	s.Levels.Ceiling = Switch{"float", maybe(t, "has ceiling", ceiling), 0.004}
	s.Levels.HighestM = ceiling
	s.Levels.RestM = min(rim, ceiling+lengths(t, "rise", 0, 0.2))
	s.Levels.MarginM3 = lengths(t, "margin", -0.1, 0.1)
	s.TopOff = TopOff{BoreM: 0.006, EndElevationM: lengths(t, "end", 0.2, 1.2) * rim, PumpIntakeHeightM: nan, LowSensorHeightM: nan,
		FloatValveElevationM: maybe(t, "float valve", watch), AirHole: rapid.Bool().Draw(t, "air"), CheckValve: rapid.Bool().Draw(t, "check"), Shutoff: rapid.Bool().Draw(t, "shutoff")}
	s.TopOff.HighElevationM = max(s.TopOff.EndElevationM, rim) + lengths(t, "high", 0, 1)
	s.TopOff.Plumbed = rapid.Bool().Draw(t, "plumbed")
	if !s.TopOff.Plumbed || rapid.Bool().Draw(t, "reservoir") {
		h := lengths(t, "reservoir height", 0.1, 1.2)
		r := rectangular(lengths(t, "reservoir width", 0.1, 1.5), h, lengths(t, "reservoir floor", -1.5, 7), 0.9*h, 0)
		s.Reservoir = &r
		s.TopOff.PumpIntakeHeightM, s.TopOff.LowSensorHeightM = 0.02*h, maybe(t, "low", 0.1*h)
	}
	s.FloorSensor = rapid.Bool().Draw(t, "floor sensor")
	for part := NoPart; part <= FloorPart; part++ {
		if rapid.Bool().Draw(t, "note") {
			s.Notes = append(s.Notes, Note{part, "A remark of some length about this part, as they are."})
		}
		if rapid.IntRange(0, 5).Draw(t, "caution") == 0 {
			s.Cautions = append(s.Cautions, Note{part, "Something a person has to see to."})
		}
	}
	s.Facts = []Fact{{"Water in the system", "452 L"}, {"Margin", "a long value of two parts, 21.4 L"}}
	return s
}

// TestAnySection: labels keep clear of each other and inside the sheet
// whatever the tank looks like.
func TestAnySection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySection(t)
		for as, f := range formats {
			got, err := sectionSheet(s, f)
			if err != nil {
				t.Fatalf("%s: %v", as, err)
			}
			if err := examine(got, f); err != nil {
				t.Fatalf("%s: %v", as, err)
			}
		}
	})
}

// TestNoNumberPanics: any float anywhere is drawn or refused.
func TestNoNumberPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySection(t)
		any := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{nan, math.Inf(1), math.Inf(-1), 0, -1, 1e300, 5e-324, 999, -999}))
		fields := []*float64{
			&s.Display.Widths[0].WidthM, &s.Display.Widths[1].HeightM, &s.Display.FloorElevationM, &s.Display.WaterHeightM, &s.Display.RockFrac,
			&s.TopOff.BoreM, &s.TopOff.EndElevationM, &s.TopOff.HighElevationM, &s.TopOff.PumpIntakeHeightM, &s.TopOff.LowSensorHeightM, &s.TopOff.FloatValveElevationM,
			&s.Levels.Watch.ElevationM, &s.Levels.Watch.HysteresisM, &s.Levels.Ceiling.ElevationM, &s.Levels.HighestM, &s.Levels.RestM, &s.Levels.DipM, &s.Levels.MarginM3, &s.Levels.DrainDownM3,
		}
		if s.Sump != nil {
			fields = append(fields, &s.Sump.HeightM, &s.Sump.Compartments[0].LengthM, &s.Sump.Compartments[0].BaffleHeightM,
				&s.Overflow.CrestHeightM, &s.Overflow.EmergencyHeightM, &s.Return.BoreM, &s.Return.OutletHeightM, &s.Return.SiphonBreakHeightM, &s.Return.IntakeElevationM)
		}
		*rapid.SampledFrom(fields).Draw(t, "field") = any.Draw(t, "value")
		for as, f := range formats {
			svg, err := s.SVG(f)
			if at := max(bytes.Index(svg, []byte("NaN")), bytes.Index(svg, []byte("Inf"))); err == nil && at >= 0 {
				t.Fatalf("%s: no number in the drawing: %.400s", as, svg[max(0, at-200):])
			}
		}
	})
}

func TestSectionRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*Section)
		want  string
	}{
		"no width":        {func(s *Section) { s.Display.Widths = nil }, "Display.Widths"},
		"width NaN":       {func(s *Section) { s.Display.Widths[0].WidthM = nan }, "Display.Widths[0].WidthM"},
		"upside down":     {func(s *Section) { s.Display.Widths[1].HeightM = -1 }, "Display rim"},
		"no compartments": {func(s *Section) { s.Sump.Compartments = nil }, "Sump.Compartments"},
		"half a sump":     {func(s *Section) { s.Return = nil }, "Sump, Overflow and Return"},
		"far tube":        {func(s *Section) { s.TopOff.EndElevationM = math.Inf(1) }, "TopOff.EndElevationM"},
		"huge reservoir":  {func(s *Section) { s.Reservoir.Widths[0].WidthM = 1e9 }, "Reservoir.Widths[0]"},
	} {
		s := readingRoom()
		c.spoil(s)
		if _, err := s.SVG(Wide); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error about %s", name, err, c.want)
		}
	}
}

func TestMatrixRefuses(t *testing.T) {
	for name, m := range map[string]*Matrix{
		"no faults":     {},
		"bad class":     {Faults: []MatrixFault{{"a", 5}}},
		"pair with one": {Faults: []MatrixFault{{"a", 1}}, Pairs: []MatrixPair{{0, 0, 1}}},
		"pair outside":  {Faults: []MatrixFault{{"a", 1}}, Pairs: []MatrixPair{{0, 7, 1}}},
		"too many":      {Faults: make([]MatrixFault, mostFaults+1)},
	} {
		if _, err := m.SVG(Wide); err == nil {
			t.Errorf("%s: drawn", name)
		}
	}
}

func TestTraceRefuses(t *testing.T) {
	for name, points := range map[string][]TracePoint{
		"none":       nil,
		"one":        {{}},
		"no length":  {{}, {}},
		"not finite": {{}, {At: time.Hour, LevelM: nan}},
		"no pH":      {{}, {At: time.Hour, PHClosed: nan}},
		"back":       {{At: time.Hour}, {At: time.Minute}},
		"before":     {{At: -time.Hour}, {At: time.Minute}},
	} {
		if _, err := (&Trace{Points: points}).SVG(Wide); err == nil {
			t.Errorf("%s: drawn", name)
		}
	}
}

// TestAnyTrace: any course of values makes a sound drawing.
func TestAnyTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := limeSpike()
		tr.Points = nil
		if rapid.Bool().Draw(t, "no chemistry") {
			tr.TargetDKH = 0
		}
		at := time.Duration(0)
		for range rapid.IntRange(2, 60).Draw(t, "n") {
			tr.Points = append(tr.Points, TracePoint{At: at, SalinityPSU: rapid.Float64Range(0, 80).Draw(t, "psu"),
				LevelM: rapid.Float64Range(-0.1, 3).Draw(t, "m"), FloorM3: rapid.Float64Range(0, 5).Draw(t, "m3"), TopOff: rapid.Bool().Draw(t, "on"),
				AlkalinityDKH: rapid.Float64Range(0, 60).Draw(t, "dKH"), PHClosed: rapid.Float64Range(2, 13).Draw(t, "closed"),
				PHSettled: rapid.Float64Range(2, 13).Draw(t, "settled")})
			at += time.Duration(rapid.Int64Range(1, int64(40*day)).Draw(t, "dt"))
		}
		tr.Units = rapid.SampledFrom([]units.System{units.Metric, units.US}).Draw(t, "units")
		for as, f := range formats {
			got, err := traceSheet(tr, f)
			if err != nil {
				t.Fatal(err)
			}
			if err := examine(got, f); err != nil {
				t.Fatalf("%s: %v", as, err)
			}
		}
	})
}

func TestTestingRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*Testing)
		want  string
	}{
		"one point":         {func(x *Testing) { x.Points = x.Points[:1] }, "Testing.Points has 1"},
		"no days":           {func(x *Testing) { x.Points[0].Days = 0 }, "Points[0].Days"},
		"the same twice":    {func(x *Testing) { x.Points[1].Days = 7 }, "Points[1].Days"},
		"never":             {func(x *Testing) { x.Points[2].PerYear = 0 }, "Points[2] is 0"},
		"not a number":      {func(x *Testing) { x.Points[2].PerYear = nan }, "Points[2] is NaN"},
		"band turned round": {func(x *Testing) { x.Points[3].HighPerYear = 0 }, "Points[3]"},
		"endless band":      {func(x *Testing) { x.Points[3].HighPerYear = math.Inf(1) }, "Points[3]"},
		"now is no point":   {func(x *Testing) { x.Now.Days = 45 }, "Now.Days is 45"},
		"knee beyond":       {func(x *Testing) { x.Knee.Days = 400 }, "Knee.Days is 400"},
		"floor below none":  {func(x *Testing) { x.FloorPerYear = -1 }, "FloorPerYear is -1"},
	} {
		x := monthly()
		c.spoil(x)
		if _, err := x.SVG(Wide); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error about %s", name, err, c.want)
		}
	}
}

// TestAnyTesting: whatever is frequent or rare, level or steep, is drawn
// soundly, and what happens oftener stands higher.
func TestAnyTesting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := monthly()
		x.Points = nil
		days, log := rapid.Float64Range(1, 30).Draw(t, "first"), rapid.Float64Range(-9, 2).Draw(t, "log")
		for range rapid.IntRange(2, 9).Draw(t, "n") {
			p := TestingPoint{Days: days, PerYear: math.Pow(10, log), Words: rapid.SampledFrom([]string{"81 years", "9.2 months", "less than once in 10,000 years"}).Draw(t, "words")}
			p.LowPerYear = p.PerYear * rapid.SampledFrom([]float64{0, 0.01, 1, 2}).Draw(t, "low") // the mean may be outside
			p.HighPerYear = max(p.LowPerYear, p.PerYear*rapid.Float64Range(0.5, 100).Draw(t, "high"))
			x.Points = append(x.Points, p)
			days *= rapid.Float64Range(1.01, 5).Draw(t, "factor")
			log += rapid.Float64Range(0, 1).Draw(t, "rise")
		}
		x.Now.Days = rapid.SampledFrom(x.Points).Draw(t, "now").Days
		x.Knee.Days = maybe(t, "knee", rapid.Float64Range(x.Points[0].Days, x.Points[len(x.Points)-1].Days).Draw(t, "knee at"))
		x.FloorPerYear = rapid.SampledFrom([]float64{0, x.Points[0].PerYear}).Draw(t, "floor")
		for as, f := range formats {
			got, err := testingSheet(x, f)
			if err != nil {
				t.Fatal(err)
			}
			if err := examine(got, f); err != nil {
				t.Fatalf("%s: %v", as, err)
			}
			d, _ := x.draw(f)
			for i, p := range x.Points[1:] {
				before := x.Points[i]
				if d.x(p.Days) <= d.x(before.Days) || d.y(p.PerYear) > d.y(before.PerYear) {
					t.Fatalf("%s: %v is not to the right of and above %v", as, p, before)
				}
			}
		}
	})
}

// TestCurveKeepsExtremes: thinning a hundred thousand points to the width of
// the plot loses neither the highest nor the lowest.
func TestCurveKeepsExtremes(t *testing.T) {
	tr := stuckWatch()
	tr.Points = nil
	const n = 100_000
	for i := range n {
		p := TracePoint{At: time.Duration(i) * time.Minute, SalinityPSU: 35}
		if i == 77_777 {
			p.SalinityPSU = 30
		}
		tr.Points = append(tr.Points, p)
	}
	d, err := tr.draw(Wide)
	if err != nil {
		t.Fatal(err)
	}
	curve := d.curve(axis{30, 36, 0, 600}, salinityOf)
	if !strings.Contains(curve, " 600") {
		t.Error("the dip to the axis' low end is gone")
	}
	if legs := strings.Count(curve, "L"); legs > 5*int(d.w) {
		t.Errorf("%d legs on a sheet of %.0f units: not thinned", legs, d.w)
	}
}
