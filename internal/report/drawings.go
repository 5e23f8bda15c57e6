package report

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"isohaline/internal/chart"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// Section is the drawing of the tank as the check would set it.
func Section(r *verify.Report) *chart.Section {
	s, g := r.Tank, &r.Geometry
	d := &chart.Section{
		Title: s.Name, Place: s.Place, Units: r.Units,
		Display: basin(&s.Display.Shape, s.Display.FloorElevationM, s.Display.FillHeightM),
		TopOff:  topOff(s), FloorSensor: s.FloorSensor != nil,
		Levels: chart.Levels{
			Watch: sensor(s.TopOff.Watch, g.WatchM), Ceiling: sensor(s.TopOff.Ceiling, g.CeilingM),
			HighestM: g.HighestM, RestM: g.RestM, DipM: g.WatchM - g.DipM,
			DrainDownM3: g.DrainDownM3(), MarginM3: g.MarginM3,
		},
	}
	if s.HasSump() {
		d.Display.WaterHeightM = s.Overflow.CrestHeightM + g.EdgeHeadM
		d.Overflow = &chart.Overflow{
			Standpipe: s.Overflow.Kind == "standpipe", CrestHeightM: s.Overflow.CrestHeightM,
			EmergencyHeightM: orNaN(s.Overflow.EmergencyHeightM),
		}
		d.Return = &chart.Return{
			BoreM: s.Return.Line.BoreM, OutletHeightM: s.Return.OutletHeightM,
			SiphonBreakHeightM: orNaN(s.Return.SiphonBreakHeightM), IntakeElevationM: s.Return.IntakeElevationM,
		}
		d.Sump = &chart.Sump{HeightM: s.Sump.HeightM}
		for _, c := range s.Sump.Compartments {
			d.Sump.Compartments = append(d.Sump.Compartments, chart.Compartment{Name: c.Name, LengthM: c.LengthM, BaffleHeightM: c.BaffleHeightM})
		}
	} else {
		d.Levels.DipM, d.Levels.DrainDownM3 = math.NaN(), math.NaN()
	}
	if t := s.TopOff.Reservoir; t != nil {
		b := basin(&t.Shape, t.FloorElevationM, t.FillHeightM)
		d.Reservoir = &b
	}
	d.Facts = sectionFacts(r)
	d.Notes = notes(r)
	d.Cautions = drawnCautions(r)
	return d
}

// orNaN turns the tank's "0: none" into the chart's NaN.
func orNaN(m float64) float64 {
	if m == 0 {
		return math.NaN()
	}
	return m
}

func sensor(s *tankfile.Sensor, elevationM float64) chart.Switch {
	if s == nil {
		return chart.Switch{ElevationM: math.NaN()}
	}
	return chart.Switch{Kind: s.Kind, ElevationM: elevationM, HysteresisM: s.HysteresisM}
}

// basin is a vessel's outline. Where only areas are known, or the plan is round,
// the width is that of the plan as drawn from the front: the length, the
// diameter, the side of a square of that area.
func basin(s *tankfile.Shape, floorM, waterM float64) chart.Basin {
	b := chart.Basin{FloorElevationM: floorM, WaterHeightM: waterM, RockFrac: s.DisplacedFrac}
	switch s.Kind {
	case "table":
		for _, row := range s.Table {
			b.Widths = append(b.Widths, chart.WidthAtHeight{HeightM: row.HeightM, WidthM: math.Sqrt(row.AreaM2)})
		}
		return b
	case "cylinder":
		b.Widths = []chart.WidthAtHeight{{HeightM: 0, WidthM: s.DiameterM}, {HeightM: s.HeightM, WidthM: s.DiameterM}}
	default:
		b.Widths = []chart.WidthAtHeight{{HeightM: 0, WidthM: s.LengthM}, {HeightM: s.HeightM, WidthM: s.LengthM}}
	}
	return b
}

func topOff(s *tankfile.Tank) chart.TopOff {
	t := &s.TopOff
	out := chart.TopOff{
		BoreM: t.Tube.BoreM, EndElevationM: t.TubeEndElevationM, HighElevationM: t.TubeHighElevationM,
		PumpIntakeHeightM: math.NaN(), LowSensorHeightM: math.NaN(), FloatValveElevationM: math.NaN(),
		AirHole: t.SiphonBreak, CheckValve: t.CheckValve, Shutoff: t.ShutoffValve, Plumbed: t.Plumbed != nil,
	}
	if r := t.Reservoir; r != nil {
		if t.Pump != nil {
			out.PumpIntakeHeightM = r.PumpIntakeHeightM
		}
		if r.LowSensor != nil {
			out.LowSensorHeightM = r.LowSensor.HeightM
		}
		out.Plumbed = out.Plumbed || r.Refill != nil
	}
	if t.FloatValve != nil {
		out.FloatValveElevationM = t.FloatValve.ShutElevationM
	}
	return out
}

func sectionFacts(r *verify.Report) []chart.Fact {
	g, u := &r.Geometry, r.Units
	var out []chart.Fact
	add := func(name, value string) {
		if !strings.Contains(value, units.Unknown) {
			out = append(out, chart.Fact{Name: name, Value: value})
		}
	}
	add("Water in the system", u.Volume(g.SystemM3))
	low, high := math.Inf(1), 0.0
	for _, w := range r.Water {
		low, high = min(low, w.Total.LowLitresPerDay), max(high, w.Total.HighLitresPerDay)
	}
	add("Evaporates", u.DailyVolume(low*litre)+" to "+u.DailyVolume(high*litre))
	if r.Tank.HasSump() {
		add("Comes down when the return stops", u.Volume(g.DrainDownM3()))
	}
	if g.MarginM3 < 0 {
		add("Spills then", u.Volume(-g.MarginM3))
	} else {
		add("Margin left then", u.Volume(g.MarginM3)+", "+u.Length(g.MarginM))
	}
	add("May safely enter at once", u.Volume(g.DumpSafeM3))
	if m3, ok := reservoirM3(r.Tank); ok {
		add("Reservoir", u.Volume(m3))
	}
	return out
}

func reservoirM3(s *tankfile.Tank) (float64, bool) {
	r := s.TopOff.Reservoir
	if r == nil {
		return 0, false
	}
	v, err := r.Shape.Vessel()
	if err != nil {
		return 0, false
	}
	return v.VolumeM3(r.FillHeightM), true
}

// notes say what the numbered parts are.
func notes(r *verify.Report) []chart.Note {
	s, u, g := r.Tank, r.Units, &r.Geometry
	var out []chart.Note
	add := func(at chart.Part, format string, args ...any) {
		out = append(out, chart.Note{At: at, Words: fmt.Sprintf(format, args...)})
	}
	add(chart.DisplayPart, "Display: %s inside%s.", measures(u, &s.Display.Shape), rock(u, s.Display.Shape.DisplacedFrac))
	if o := s.Overflow; o != nil {
		kind := "Weir"
		if o.Kind == "standpipe" {
			kind = "Standpipe"
		}
		add(chart.CrestPart, "%s with %s of edge: the display runs %s above it.", kind, u.Length(o.EdgeLengthM), u.Length(g.EdgeHeadM))
		add(chart.DrainPart, "Drain: carries %s at most; %s come down it.", u.Flow(o.DrainCapacityM3S), u.Flow(g.ReturnFlowM3S))
		if o.EmergencyHeightM > 0 {
			add(chart.EmergencyPart, "Emergency drain, a way of its own.")
		}
		line := &s.Return.Line
		add(chart.ReturnPumpPart, "Return pump and line: %s at this lift, %s bore, %s long.", u.Flow(g.ReturnFlowM3S), u.Length(line.BoreM), u.Length(line.LengthM))
		switch {
		case s.Return.SiphonBreakHeightM > 0:
			add(chart.SiphonBreakPart, "Air hole in the return line: the siphon ends here. Keep it clear.")
		case s.Return.OutletHeightM < o.CrestHeightM:
			add(chart.ReturnLinePart, "No air hole: the display siphons down to the outlet.")
		}
	}
	if t := &s.TopOff; t.Watch != nil {
		words := "Watch sensor (" + t.Watch.Kind + ")"
		if t.Ceiling != nil {
			words += " and ceiling sensor (" + t.Ceiling.Kind + ")"
		}
		add(chart.SensorPart, "%s.", words)
	}
	if m3, ok := reservoirM3(s); ok {
		t := s.TopOff.Reservoir
		of := "RO/DI water"
		if t.LimeWater {
			of = "lime water, caustic"
		}
		add(chart.ReservoirPart, "Reservoir: %s of %s, filled to %s of %s.", u.Volume(m3), of, u.Length(t.FillHeightM), u.Length(t.Shape.HeightM))
		if t.LowSensor != nil {
			add(chart.LowSensorPart, "Low sensor at %s: spares the pump a dry run.", u.Length(t.LowSensor.HeightM))
		}
	}
	tubeNotes(r, add)
	if s.FloorSensor != nil {
		add(chart.FloorPart, "Floor sensor: trips at %s.", u.Volume(s.FloorSensor.TripM3))
	}
	return out
}

const secondsPerDay = 86400

// tubeNotes are the notes along the fresh water's way.
func tubeNotes(r *verify.Report, add func(at chart.Part, format string, args ...any)) {
	t, u, g := &r.Tank.TopOff, r.Units, &r.Geometry
	var fitted []string
	for _, part := range []struct {
		there bool
		name  string
	}{{t.SiphonBreak, "an air hole"}, {t.CheckValve, "a check valve"}, {t.ShutoffValve, "a shut-off valve"}, {t.RunTimerS > 0, "a run timer"}} {
		if part.there {
			fitted = append(fitted, part.name)
		}
	}
	with := ""
	if len(fitted) > 0 {
		with = ", with " + strings.Join(fitted, " and ")
	}
	add(chart.TubePart, "Tube: %s bore, %s long, highest at %s%s.", u.Length(t.Tube.BoreM), u.Length(t.Tube.LengthM), u.Length(t.TubeHighElevationM), with)
	switch end := t.TubeEndElevationM; {
	case end > g.RestM:
		add(chart.TubeEndPart, "Tube’s end at %s, above any level the water reaches.", u.Length(end))
	case end > g.HighestM:
		add(chart.TubeEndPart, "Tube’s end at %s, above the filled level but under water after drain-down.", u.Length(end))
	default:
		add(chart.TubeEndPart, "Tube’s end at %s.", u.Length(end))
	}
	line := t.Plumbed
	if t.Reservoir != nil && t.Reservoir.Refill != nil {
		line = &t.Reservoir.Refill.Line
	}
	if line != nil {
		add(chart.PlumbedPart, "RO/DI line: an endless source of %s, and %.3g times as much reject water.", u.DailyVolume(line.ProductM3S*secondsPerDay), line.RejectRatio)
	}
	if t.FloatValve != nil {
		add(chart.FloatValvePart, "Float valve: shuts at %s.", u.Length(t.FloatValve.ShutElevationM))
	}
}

func measures(u units.System, s *tankfile.Shape) string {
	switch s.Kind {
	case "cylinder":
		return u.Length(s.DiameterM) + " across, " + u.Length(s.HeightM) + " high"
	case "table":
		return u.Length(s.HeightM) + " high"
	}
	return u.Length(s.LengthM) + " × " + u.Length(s.WidthM) + " × " + u.Length(s.HeightM)
}

func rock(u units.System, share float64) string {
	if share == 0 {
		return ""
	}
	return ", rock and sand " + u.Percent(share)
}

// partOf is where in the drawing a fault's unit is. Faults of people and of the
// room have no place, and where in the sump a skimmer stands nobody says.
var partOf = map[string]chart.Part{
	"watch sensor": chart.SensorPart, "ceiling sensor": chart.SensorPart, "level gauge": chart.SensorPart,
	"floor sensor": chart.FloorPart, "return-pump input": chart.ReturnPumpPart, "reservoir sensor": chart.LowSensorPart,
	"pump relay": chart.TopOffPumpPart, "run timer": chart.TopOffPumpPart, "top-off pump": chart.TopOffPumpPart,
	"top-off tube": chart.TubeEndPart, "top-off air hole": chart.TubePart, "check valve": chart.TubePart, "shut-off valve": chart.TubePart,
	"float valve": chart.FloatValvePart,
	"controller":  chart.TopOffPumpPart, "run limit": chart.TopOffPumpPart, "daily budget": chart.TopOffPumpPart,
	"filling the reservoir": chart.ReservoirPart, "reservoir": chart.ReservoirPart, "reservoir refill": chart.PlumbedPart,
	"return pump": chart.ReturnPumpPart, "return siphon break": chart.SiphonBreakPart,
	"display drain": chart.DrainPart, "emergency drain": chart.EmergencyPart,
	"tank": chart.DisplayPart,
}

// drawnCautions mark the parts whose failure alone is class 3 or worse, the
// worst first, one caution a part, and what is wrong with the geometry.
func drawnCautions(r *verify.Report) []chart.Note {
	var out []chart.Note
	for _, p := range r.Geometry.Problems {
		out = append(out, chart.Note{At: chart.ChamberPart, Words: p})
	}
	more := map[chart.Part]int{}
	at := map[chart.Part]int{}
	for i := range r.Singles {
		row := &r.Singles[i]
		if row.Class < plant.Danger {
			continue
		}
		part := partOf[row.Faults[0].Unit]
		if _, seen := at[part]; seen && part != chart.NoPart {
			more[part]++
			continue
		}
		at[part] = len(out)
		out = append(out, chart.Note{At: part, Words: fmt.Sprintf("If %s: class %d, %s", row.Faults[0].Words, row.Class, row.Class)})
	}
	for part, i := range at {
		if n := more[part]; n > 0 {
			out[i].Words += "; so does " + counted(n, "more fault") + " here"
		}
	}
	for i := range out {
		if !strings.HasSuffix(out[i].Words, ".") {
			out[i].Words += "."
		}
	}
	return out
}

// Matrix is the triangle of all faults and pairs.
func Matrix(r *verify.Report) *chart.Matrix {
	m := &chart.Matrix{Title: "Every fault alone and with every other", Words: classWords()}
	index := map[string]int{}
	for i := range r.Singles {
		row := &r.Singles[i]
		index[row.ID()] = len(m.Faults)
		m.Faults = append(m.Faults, chart.MatrixFault{Name: shortName(row.ID()), Class: int(row.Class)})
	}
	for i := range r.Pairs {
		row := &r.Pairs[i]
		if len(row.Faults) != 2 {
			continue
		}
		a, okA := index[row.Faults[0].ID]
		b, okB := index[row.Faults[1].ID]
		if okA && okB {
			m.Pairs = append(m.Pairs, chart.MatrixPair{A: a, B: b, Class: int(row.Class)})
		}
	}
	return m
}

// shortName is a fault's ID as words.
func shortName(id string) string { return strings.ReplaceAll(id, "-", " ") }

// capitalise gives a clause its capital.
func capitalise(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:]
}
