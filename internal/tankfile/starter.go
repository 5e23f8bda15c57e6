package tankfile

import (
	"bytes"
	_ "embed"
	"math"
	"text/template"

	"isohaline/internal/units"
	"isohaline/reliability"
)

// Answers are the answers that a starter file is made from, in metres, litres and °C,
// RHFrac from 0 to 1. The zero value is complete: a field that is zero, negative or
// not a number takes a default.
type Answers struct {
	Name, Place string
	// NoSump: a tank by itself, which carries its sensors in the display.
	NoSump bool
	// Units is what the file is written in.
	Units units.System
	// Display and Sump are inside measures. Sump counts only where there is one.
	Display, Sump Box
	// Sensors is 1 (watch only) or 2 (watch and ceiling); any other number is 2.
	Sensors int
	// ReservoirLitres is what the reservoir holds when it is filled.
	ReservoirLitres float64
	// AirC and RHFrac are the room's usual air. Without either, the file gets a
	// heating season and the rest of the year.
	AirC, RHFrac      float64
	DaysBetweenVisits float64
}

// Box is the inside of a rectangular vessel, in m.
type Box struct{ LengthM, WidthM, HeightM float64 }

//go:embed starter.yaml.tmpl
var starterText string

var starterTemplate = template.Must(template.New("starter").Funcs(template.FuncMap{"quoted": quoted}).Parse(starterText))

// Starter returns a commented tank file to begin from: a plausible tank of the size
// asked for, in which each value is to be replaced by a measured one. Read accepts it
// without a warning, unless an answer itself is outside of what Read accepts.
func Starter(a Answers) []byte {
	var b bytes.Buffer
	// Template and data are fixed here and a Buffer takes every write, so an
	// error could only be a slip in the template, which the tests would show.
	_ = starterTemplate.Execute(&b, struct {
		U units.System
		S *Tank
	}{a.Units, draft(a)})
	return b.Bytes()
}

// Proportions of a drafted tank, each of the measure it names: how tanks are
// built, common practice, no source.
const (
	crestOfHeight     = 0.93
	emergencyOfHeight = 0.965
	outletOfHeight    = 0.90
	breakOfHeight     = 0.92
	fillOfHeight      = 0.90 // a tank without a sump
	edgeOfLength      = 0.35
	rockFrac          = 0.12

	turnoverPerHour  = 5.0 // display volumes through the sump
	freeEndFlow      = 1.6 // of the flow at the display
	shutHeadOverLift = 2.2
	drainOverReturn  = 2.5

	firstBaffleOfSump  = 0.58
	secondBaffleOfSump = 0.55
	intakeOfSump       = 0.12

	tubeEndOfHeight   = 0.93 // of the vessel that it pours into
	filledOfReservoir = 0.9
	reservoirSlimness = 1.2 // depth of its water over the cube root of its volume
	intakeOfReservoir = 0.04
	lowOfReservoir    = 0.1

	dailyEvaporation = 0.01 // of the display
	// fillSecondsPerDay is how long the top-off pump shall need for it. A slow
	// pump is a safe one: if it never stops, it takes hours to do harm.
	fillSecondsPerDay = 1000
	slowestTopOffM3S  = 1.5 * litreH
	changeOfDisplay   = 0.1
	changeEveryDays   = 14
	daysBetweenVisits = 3
	floorTripM3       = 0.1 * litre
)

// draft is a tank to begin from, as the answers and proportions have it.
func draft(a Answers) *Tank {
	s := &Tank{
		Name: "My reef", Place: a.Place,
		Water:  Water{SalinityPSU: 35, TempC: 25, AlkalinityDKH: 8},
		Room:   Room{Seasons: draftSeasons(a)},
		Alarm:  Alarm{Audible: true, Remote: true},
		People: People{AnswerHours: 24, ProofTestDays: 30},

		FloorSensor: &FloorSensor{TripM3: floorTripM3},
	}
	if a.Name != "" {
		s.Name = a.Name
	}
	size := orBox(a.Display, Box{1.2, 0.6, 0.6})
	reservoirL := 25.0
	if a.NoSump {
		size = orBox(a.Display, Box{0.45, 0.35, 0.35})
		reservoirL = 4
	}
	s.Display = Display{Shape: rectangle(size, rockFrac), Agitation: defaultAgitation}
	s.People.DaysBetweenVisits = orDefault(a.DaysBetweenVisits, daysBetweenVisits)
	s.WaterChange = &WaterChange{VolumeM3: changeOfDisplay * volume(size), EveryDays: changeEveryDays, SalinityPSU: s.Water.SalinityPSU}
	if a.NoSump {
		s.Display.FillHeightM = toMM(fillOfHeight * size.HeightM)
	} else {
		draftSump(s, orBox(a.Sump, Box{0.9, 0.4, 0.4}))
	}
	draftTopOff(s, orDefault(a.ReservoirLitres, reservoirL)*litre)
	if a.Sensors != 1 {
		s.TopOff.Ceiling = &Sensor{Kind: "float", HysteresisM: defaultHysteresisM, ResponseS: defaultResponseS, Group: "float"}
	}
	return s
}

func draftSeasons(a Answers) []Season {
	const heatingDays = 180
	if orDefault(a.AirC, 0) == 0 && orDefault(a.RHFrac, 0) == 0 {
		return []Season{
			{Name: "heating season", Days: heatingDays, AirC: 21, RHFrac: 0.35, AirSpeedMS: defaultAirSpeedMS},
			{Name: "rest of the year", Days: reliability.DaysPerYear - heatingDays, AirC: 24, RHFrac: 0.55, AirSpeedMS: defaultAirSpeedMS},
		}
	}
	return []Season{{Name: "all year", Days: reliability.DaysPerYear, AirC: orDefault(a.AirC, 22), RHFrac: orDefault(a.RHFrac, 0.45), AirSpeedMS: defaultAirSpeedMS}}
}

func draftSump(s *Tank, size Box) {
	const hourS, standM, overSumpM, lossesK = 3600, 0.9, 0.2, 6
	display := &s.Display.Shape
	s.Display.FloorElevationM = toMM(max(standM, size.HeightM+overSumpM))
	flow := turnoverPerHour * volume(Box{display.LengthM, display.WidthM, display.HeightM}) / hourS
	lift := s.Display.FloorElevationM + display.HeightM
	s.Overflow = &Overflow{
		Kind: "weir", CrestHeightM: toMM(crestOfHeight * display.HeightM), EdgeLengthM: toMM(edgeOfLength * display.LengthM),
		DrainCapacityM3S: drainOverReturn * flow, EmergencyHeightM: toMM(emergencyOfHeight * display.HeightM),
	}
	s.Return = &Return{
		Pump: Pump{Curve: []PumpPoint{{0, shutHeadOverLift * lift}, {flow, lift}, {freeEndFlow * flow, 0}}},
		// A bore in proportion to the root of the flow keeps its speed: 25 mm
		// for 2000 L/h is about 1.1 m/s.
		Line:          Tube{LengthM: lift + 1, BoreM: toMM(0.025 * math.Sqrt(flow/(2000*litreH))), MinorLossK: lossesK},
		OutletHeightM: toMM(outletOfHeight * display.HeightM), SiphonBreakHeightM: toMM(breakOfHeight * display.HeightM),
		IntakeElevationM: toMM(intakeOfSump * size.HeightM),
	}
	s.Sump = &Sump{WidthM: size.WidthM, HeightM: size.HeightM, Agitation: defaultAgitation, Compartments: []Compartment{
		{Name: "filter and skimmer", LengthM: toMM(0.4 * size.LengthM), BaffleHeightM: toMM(firstBaffleOfSump * size.HeightM), DisplacedFrac: 0.1},
		{Name: "refugium", LengthM: toMM(0.3 * size.LengthM), BaffleHeightM: toMM(secondBaffleOfSump * size.HeightM), DisplacedFrac: 0.1},
		{Name: "return chamber", LengthM: toMM(0.3 * size.LengthM), DisplacedFrac: 0.05},
	}}
	s.Skimmer = &Skimmer{SkimmateM3Day: 0.2 * litre, CupM3: 2 * litre, CupCutoff: true}
}

func draftTopOff(s *Tank, reservoirM3 float64) {
	const underTankM, overRimM, spareTubeM, opticalHysteresisM = -0.6, 0.1, 1, 0.002
	depth := reservoirSlimness * math.Cbrt(reservoirM3)
	side := math.Sqrt(reservoirM3 / depth)
	r := &Reservoir{
		Shape:       rectangle(Box{side, side, depth / filledOfReservoir}, 0),
		FillHeightM: toMM(depth), PumpIntakeHeightM: toMM(intakeOfReservoir * depth),
		LowSensor: &ReservoirLow{HeightM: toMM(lowOfReservoir * depth)},
	}
	rimM := s.Display.Shape.HeightM
	if s.HasSump() {
		rimM = s.Sump.HeightM
	} else {
		r.FloorElevationM = underTankM
	}
	display := &s.Display.Shape
	day := dailyEvaporation * volume(Box{display.LengthM, display.WidthM, display.HeightM})
	end := toMM(tubeEndOfHeight * rimM)
	high := toMM(max(rimM, r.FloorElevationM+r.Shape.HeightM) + overRimM)
	s.TopOff = TopOff{
		Watch:        &Sensor{Kind: "optical", HysteresisM: opticalHysteresisM, ResponseS: defaultResponseS, Group: "optical"},
		ReturnSensed: s.HasSump(),
		Pump:         &Pump{Curve: []PumpPoint{{FlowM3S: max(slowestTopOffM3S, day/fillSecondsPerDay)}}},
		Tube:         Tube{LengthM: 2*high - end - r.FloorElevationM + spareTubeM, BoreM: 0.006, MinorLossK: defaultLossesK},
		SiphonBreak:  true, TubeEndElevationM: end, TubeHighElevationM: high, Reservoir: r,
	}
}

func rectangle(b Box, displaced float64) Shape {
	return Shape{Kind: "rectangle", LengthM: toMM(b.LengthM), WidthM: toMM(b.WidthM), HeightM: toMM(b.HeightM), DisplacedFrac: displaced}
}

func volume(b Box) float64 { return b.LengthM * b.WidthM * b.HeightM }

// toMM rounds to a tape measure's millimetre.
func toMM(m float64) float64 { return math.Round(m/mm) * mm }

// orDefault is a value if somebody gave one.
func orDefault(v, def float64) float64 {
	if v > 0 && !math.IsInf(v, 0) {
		return v
	}
	return def
}

func orBox(b, def Box) Box {
	return Box{orDefault(b.LengthM, def.LengthM), orDefault(b.WidthM, def.WidthM), orDefault(b.HeightM, def.HeightM)}
}
