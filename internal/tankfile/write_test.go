package tankfile_test

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"isohaline/internal/tankfile"
)

func TestWriteExamples(t *testing.T) {
	files, _ := filepath.Glob(examples + "/*.yaml")
	for _, file := range files {
		s, _ := readExample(t, filepath.Base(file))
		again(t, s)
	}
}

// TestWriteRefuses: Write gives out no file that Read would refuse.
func TestWriteRefuses(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*tankfile.Tank)
		want  string
	}{
		{"not a number", func(s *tankfile.Tank) { s.Water.TempC = math.NaN() }, "water.temperature"},
		{"infinite", func(s *tankfile.Tank) { s.Display.Shape.HeightM = math.Inf(1) }, "display.height"},
		{"contradiction", func(s *tankfile.Tank) { s.Overflow.CrestHeightM = 2 }, "overflow.crest"},
		{"unprintable", func(s *tankfile.Tank) { s.Name = "a\x00b" }, "name"},
		{"invalid text", func(s *tankfile.Tank) { s.Name = "a\xffb" }, "name"},
		{"no seasons", func(s *tankfile.Tank) { s.Room.Seasons = nil }, "room.seasons"},
	} {
		s, _ := readExample(t, "reading-room.yaml")
		c.spoil(s)
		if data, err := tankfile.Write(s); err == nil || data != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %q, %v", c.name, data, err)
		}
	}
}

// TestRoundTrip: Read(Write(s)) is s, to the last bit of every number, for
// tanks of every kind.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { again(t, anySite(t)) })
}

// draw is a number between two bounds, with all its digits.
func draw(t *rapid.T, name string, lo, hi float64) float64 {
	return rapid.Float64Range(lo, hi).Draw(t, name)
}

func maybe(t *rapid.T, name string) bool { return rapid.Bool().Draw(t, name) }

func drawName(t *rapid.T, name string) string {
	return rapid.OneOf(
		rapid.StringMatching(`[A-Za-z][A-Za-z0-9 .:#'"\\,&*!%@{}\[\]-]{0,30}[a-z]`),
		rapid.SampledFrom([]string{"no", "null", "~", "1", "0x1f", "- a", "naïve 水槽", "'", `"`, "a: b", "# c", "|", "1e3", ".nan"}),
	).Draw(t, name)
}

// anySite draws a tank that contradicts itself nowhere: every height as a share
// of the one that bounds it.
func anySite(t *rapid.T) *tankfile.Tank {
	s := &tankfile.Tank{
		Name:  drawName(t, "name"),
		Water: tankfile.Water{SalinityPSU: draw(t, "psu", 5, 42), TempC: draw(t, "temp", 4, 40), AlkalinityDKH: 8, ConsumptionDKHDay: math.NaN()},
		Alarm: tankfile.Alarm{Audible: maybe(t, "audible"), Remote: maybe(t, "remote")},
		People: tankfile.People{DaysBetweenVisits: draw(t, "visits", 0.1, 300), AnswerHours: draw(t, "answer", 0.1, 100),
			HearsAudible: maybe(t, "hears"), ProofTestDays: draw(t, "proof", 1, 400)},
		Limits: tankfile.Limits{SalinityOffPSU: [4]float64{0.5, 1.5, 4, 8}, SalinityHourPSU: [4]float64{0.25, 0.75, 2, 5},
			FloorM3: [4]float64{0.0001, 0.0005, 0.001, 0.1}},
	}
	if maybe(t, "rates") {
		s.Rates = []tankfile.Rate{{Fault: "watch-stuck-dry", Comes: rapid.SampledFrom([]string{"0.2/yr", "1e-6/h to 2e-5/h"}).Draw(t, "rate")}, {Fault: "tube-out", Comes: "200 FIT", Because: drawName(t, "because")}}
		s.CommonCauses = []tankfile.CommonCause{{What: drawName(t, "cause"), Faults: "alarm-silent, floor-sensor-dead", ShareFrac: draw(t, "share", 0.01, 0.9)}}
	}
	if maybe(t, "place") {
		s.Place = drawName(t, "place name")
		s.Water.AlkalinityDKH = draw(t, "dkh", 1, 30)
		s.Water.CalciumMgL = draw(t, "calcium", 100, 1000)
		s.Water.ConsumptionDKHDay = draw(t, "consumption", 0, 10)
		a := draw(t, "limit", 0.01, 1)
		s.Limits.SalinityOffPSU = [4]float64{a, a * 2, a * 3.7, a * 9.1}
	}
	s.Room = anyRoom(t)
	s.Display = tankfile.Display{Shape: anyShape(t), LidFrac: draw(t, "lid", 0, 1), Agitation: drawSurface(t)}
	if maybe(t, "sump") {
		anySump(t, s)
	} else {
		s.Display.FillHeightM = s.Display.Shape.HeightM * draw(t, "fill", 0.6, 0.95)
	}
	anyTopOff(t, s)
	if maybe(t, "extras") {
		s.Skimmer = &tankfile.Skimmer{SkimmateM3Day: draw(t, "skimmate", 0, 0.1), CupM3: draw(t, "cup", 0.0001, 0.1), CupCutoff: maybe(t, "cutoff")}
		s.WaterChange = &tankfile.WaterChange{VolumeM3: draw(t, "change", 0.001, 1), EveryDays: draw(t, "every", 1, 60), SalinityPSU: draw(t, "new psu", 0, 60)}
		s.FloorSensor = &tankfile.FloorSensor{TripM3: draw(t, "trip", 1e-5, 0.01)}
	}
	return s
}

func drawSurface(t *rapid.T) string {
	return rapid.SampledFrom([]string{"still", "rippled", "rough"}).Draw(t, "surface")
}

func anyRoom(t *rapid.T) tankfile.Room {
	r := tankfile.Room{PressurePa: draw(t, "pressure", 6e4, 1.05e5), CO2PPM: draw(t, "co2", 300, 10_000)}
	if maybe(t, "measured") {
		r.MeasuredLitresPerDay = draw(t, "litres", 0.1, 100)
		r.EvaporationModel = "rohwer"
	}
	first := float64(rapid.IntRange(1, 364).Draw(t, "days"))
	for i, days := range []float64{first, 365 - first} {
		season := tankfile.Season{Name: []string{"one", "two"}[i], Days: days, AirC: draw(t, "air", 0, 45), RHFrac: draw(t, "rh", 0.01, 1),
			AirSpeedMS: draw(t, "speed", 0, 5), WaterTempC: math.NaN()}
		if maybe(t, "fan") {
			season.FanSpeedMS, season.FanDutyFrac = draw(t, "fan speed", 0.05, 20), draw(t, "fan share", 0.001, 1)
			season.WaterTempC = draw(t, "water", 4, 40)
		}
		r.Seasons = append(r.Seasons, season)
	}
	return r
}

func anyShape(t *rapid.T) tankfile.Shape {
	s := tankfile.Shape{Kind: rapid.SampledFrom([]string{"rectangle", "cylinder", "table"}).Draw(t, "shape"),
		HeightM: draw(t, "height", 0.3, 1), DisplacedFrac: draw(t, "displaced", 0, 0.6)}
	switch s.Kind {
	case "rectangle":
		s.LengthM, s.WidthM = draw(t, "length", 0.1, 3), draw(t, "width", 0.1, 3)
	case "cylinder":
		s.DiameterM = draw(t, "diameter", 0.1, 3)
	default:
		area := func() float64 { return draw(t, "area", 0.1, 3) }
		step := s.HeightM * draw(t, "step", 0.1, 0.9)
		s.Table = []tankfile.AreaAtHeight{{HeightM: 0, AreaM2: area()}, {HeightM: step, AreaM2: area()}, {HeightM: step, AreaM2: area()}, {HeightM: s.HeightM, AreaM2: area()}}
	}
	return s
}

func anyPump(t *rapid.T) tankfile.Pump {
	if maybe(t, "steady") {
		return tankfile.Pump{Curve: []tankfile.PumpPoint{{FlowM3S: draw(t, "flow", 1e-6, 1e-3)}}}
	}
	q, h := draw(t, "flow", 1e-5, 1e-3), draw(t, "head", 0.5, 5)
	return tankfile.Pump{Curve: []tankfile.PumpPoint{{HeadM: h}, {FlowM3S: q, HeadM: h * 0.6}, {FlowM3S: q * 1.7}}}
}

func anySump(t *rapid.T, s *tankfile.Tank) {
	h := s.Display.Shape.HeightM
	s.Display.FloorElevationM = draw(t, "elevation", 0.8, 2)
	crest := h * draw(t, "crest", 0.5, 0.9)
	s.Overflow = &tankfile.Overflow{Kind: rapid.SampledFrom([]string{"weir", "standpipe"}).Draw(t, "edge kind"), CrestHeightM: crest,
		EdgeLengthM: draw(t, "edge", 0.01, 2), DrainCapacityM3S: draw(t, "drain", 1e-5, 1e-2), PrimingHeadM: draw(t, "priming", 0, 0.1)}
	outlet := h * draw(t, "outlet", 0.3, 1.1)
	s.Return = &tankfile.Return{Pump: anyPump(t), Line: anyTube(t), OutletHeightM: outlet}
	if maybe(t, "emergency") {
		s.Overflow.EmergencyHeightM = (crest + h) / 2
		s.Return.SiphonBreakHeightM = outlet + h*draw(t, "break", 0.01, 0.1)
	}
	height := draw(t, "sump height", 0.3, 0.6)
	s.Return.IntakeElevationM = height * draw(t, "intake", 0.05, 0.2)
	s.Sump = &tankfile.Sump{WidthM: draw(t, "sump width", 0.1, 1), HeightM: height, Agitation: drawSurface(t), LidFrac: draw(t, "sump lid", 0, 1)}
	chambers := rapid.IntRange(1, 4).Draw(t, "chambers")
	for i := range chambers {
		c := tankfile.Compartment{Name: []string{"a", "b", "c", "d"}[i], LengthM: draw(t, "chamber", 0.05, 1), DisplacedFrac: draw(t, "taken", 0, 0.9)}
		if i < chambers-1 {
			c.BaffleHeightM = height * draw(t, "baffle", 0.2, 0.9)
		}
		s.Sump.Compartments = append(s.Sump.Compartments, c)
	}
}

func anyTube(t *rapid.T) tankfile.Tube {
	return tankfile.Tube{LengthM: draw(t, "line", 12, 100), BoreM: draw(t, "bore", 0.001, 0.3), MinorLossK: draw(t, "losses", 0, 100)}
}

func anySensor(t *rapid.T, elevation float64) *tankfile.Sensor {
	s := &tankfile.Sensor{Kind: rapid.SampledFrom([]string{"float", "optical", "conductive", "pressure", "ultrasonic"}).Draw(t, "sensor"),
		ElevationM: elevation, HysteresisM: draw(t, "hysteresis", 0, 0.2), ResponseS: draw(t, "response", 0, 600)}
	if maybe(t, "group") {
		s.Group = drawName(t, "group name")
	}
	return s
}

func anyTopOff(t *rapid.T, s *tankfile.Tank) {
	rim := s.Display.Shape.HeightM
	if s.HasSump() {
		rim = s.Sump.HeightM
	}
	o := &s.TopOff
	o.Tube = anyTube(t)
	o.TubeEndElevationM = rim * draw(t, "end", 0, 1.2)
	o.TubeHighElevationM = draw(t, "high", 3, 4)
	o.SiphonBreak, o.CheckValve, o.LevelGauge, o.ReturnSensed = maybe(t, "break"), maybe(t, "check"), maybe(t, "gauge"), maybe(t, "sensed")
	if maybe(t, "float valve") {
		shut := rim * draw(t, "shut", 0.3, 0.9)
		o.FloatValve = &tankfile.FloatValve{ShutElevationM: shut, OpenBelowM: shut * draw(t, "open", 0.05, 0.9)}
	}
	if o.FloatValve != nil && maybe(t, "uncontrolled") {
		o.Plumbed = anyWaterLine(t)
		return
	}
	watch := rim * draw(t, "watch", 0.3, 0.6)
	o.Watch = anySensor(t, watch)
	if maybe(t, "ceiling") {
		o.Ceiling = anySensor(t, watch+rim*draw(t, "gap", 0.01, 0.3))
	}
	if maybe(t, "unplaced") {
		o.Watch.ElevationM = math.NaN()
	}
	s.Controller = anyController(t)
	if maybe(t, "plumbed") {
		o.Plumbed, o.ShutoffValve = anyWaterLine(t), true
		return
	}
	pump := anyPump(t)
	o.Pump = &pump
	if maybe(t, "run timer") {
		o.RunTimerS = draw(t, "longest run", 601, 3600)
	}
	shape := anyShape(t)
	fill := shape.HeightM * draw(t, "reservoir fill", 0.5, 0.99)
	r := &tankfile.Reservoir{Shape: shape, FloorElevationM: draw(t, "reservoir floor", -3, 2), FillHeightM: fill,
		PumpIntakeHeightM: fill * draw(t, "reservoir intake", 0, 0.1), LimeWater: maybe(t, "lime")}
	if r.LimeWater && maybe(t, "weak lime") {
		r.LimeFrac = draw(t, "lime strength", 0.01, 1)
	}
	if maybe(t, "low") {
		r.LowSensor = &tankfile.ReservoirLow{HeightM: fill * draw(t, "low height", 0.15, 0.9)}
		r.Refill = &tankfile.Refill{Line: *anyWaterLine(t), ShutHeightM: fill, OpenBelowM: fill * draw(t, "opens", 0.01, 0.8)}
	}
	o.Reservoir = r
}

func anyWaterLine(t *rapid.T) *tankfile.WaterLine {
	return &tankfile.WaterLine{ProductM3S: draw(t, "product", 1e-7, 1e-4), RejectRatio: draw(t, "reject", 0, 20)}
}

func anyController(t *rapid.T) *tankfile.Controller {
	c := &tankfile.Controller{StopsReturnOnFloor: maybe(t, "stops")}
	if maybe(t, "settings") {
		*c = tankfile.Controller{ConfirmDryS: draw(t, "dry", 1, 600), ConfirmWetS: draw(t, "wet", 0.1, 10), FirstFillLimitS: draw(t, "first", 1, 600),
			RunLimitFactor: draw(t, "factor", 1.1, 3), RunHardCapS: draw(t, "cap", 1, 600), MinOffS: draw(t, "off", 10, 86400),
			RestartSettleS: draw(t, "settle", 10, 86400), DailyBudgetM3: draw(t, "budget", 1e-5, 10), HoldExpiresS: draw(t, "hold", 60, 86400)}
	}
	return c
}
