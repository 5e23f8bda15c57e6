package chart

import (
	"math"
	"time"

	"isohaline/internal/units"
)

var nan = math.NaN()

func rectangular(width, height, floor, water, rock float64) Basin {
	return Basin{Widths: []WidthAtHeight{{0, width}, {height, width}},
		FloorElevationM: floor, WaterHeightM: water, RockFrac: rock}
}

// readingRoom is a mid-size reef with a sump and two sensors.
func readingRoom() *Section {
	reservoir := rectangular(0.30, 0.40, 0, 0.37, 0)
	return &Section{
		Title: "Reading Room reef", Place: "Quill Street Library, ground floor",
		Display:   rectangular(1.2, 0.6, 0.9, 0.571, 0.12),
		Overflow:  &Overflow{CrestHeightM: 0.56, EmergencyHeightM: 0.58},
		Return:    &Return{BoreM: 0.022, OutletHeightM: 0.54, SiphonBreakHeightM: 0.555, IntakeElevationM: 0.05},
		Sump:      &Sump{HeightM: 0.4, Compartments: []Compartment{{"sock and skimmer", 0.38, 0.23}, {"refugium", 0.26, 0.22}, {"return chamber", 0.24, 0}}},
		Reservoir: &reservoir,
		TopOff: TopOff{BoreM: 0.006, EndElevationM: 0.36, HighElevationM: 0.5, PumpIntakeHeightM: 0.015,
			LowSensorHeightM: 0.04, AirHole: true, FloatValveElevationM: nan},
		Levels: Levels{
			Watch:    Switch{Kind: "optical", ElevationM: 0.183, HysteresisM: 0.003},
			Ceiling:  Switch{Kind: "float", ElevationM: 0.207, HysteresisM: 0.004},
			HighestM: 0.2093, RestM: 0.291, DipM: 0.1435, DrainDownM3: 0.0107, MarginM3: 0.0373,
		},
		FloorSensor: true,
		Facts: []Fact{{"Water in the system", "452 L"}, {"Drain-down", "10.7 L"}, {"Margin after it", "109 mm, 37.3 L"},
			{"May safely enter at once", "21.4 L"}, {"Reservoir", "27.8 L"}},
		Notes: []Note{
			{ReturnPumpPart, "Return pump: 2080 L/h at this lift."},
			{ReturnLinePart, "Return line: 22 mm bore, 2.2 m long."},
			{SiphonBreakPart, "Air hole: stops the siphon at 555 mm."},
			{EmergencyPart, "Emergency drain, crest at 580 mm."},
			{TopOffPumpPart, "Top-off pump: 900 mL/min."},
			{TubePart, "Tube: 6 mm bore, highest at 500 mm, with an air hole."},
			{TubeEndPart, "Tube’s end at 360 mm, above every water level."},
			{ReservoirPart, "Reservoir: 27.8 L of RO/DI water, filled to 370 mm; low sensor at 40 mm."},
			{SensorPart, "Watch and ceiling sensors: see the detail."},
			{FloorPart, "Floor sensor: trips at 0.3 L."},
		},
		Cautions: []Note{
			{DrainPart, "If the display’s drain is blocked: animals at risk or wet floor."},
			{ReservoirPart, "If the reservoir is filled with salt water by mistake: animals stressed."},
		},
	}
}

// windowSill has no sump.
func windowSill() *Section {
	reservoir := rectangular(0.2, 0.25, -0.6, 0.22, 0)
	return &Section{
		Title: "Window sill tank", Place: "Harrow Lane 3", Units: units.US,
		Display:   rectangular(0.45, 0.35, 0, 0.31, 0.2),
		Reservoir: &reservoir,
		TopOff: TopOff{BoreM: 0.004, EndElevationM: 0.345, HighElevationM: 0.42, PumpIntakeHeightM: 0.01,
			LowSensorHeightM: nan, AirHole: true, CheckValve: true, FloatValveElevationM: nan},
		Levels: Levels{
			Watch:    Switch{Kind: "float", ElevationM: 0.31, HysteresisM: 0.004},
			Ceiling:  Switch{Kind: "conductive", ElevationM: 0.325, HysteresisM: 0.004},
			HighestM: 0.3272, RestM: 0.3272, DipM: nan, DrainDownM3: nan, MarginM3: 0.0031,
		},
		Facts: []Fact{{"Water in the system", "9.9 gal"}},
		Notes: []Note{{TubeEndPart, "Tube’s end above every water level."}, {TopOffPumpPart, "Top-off pump."}},
	}
}

// lobby is large, its reservoir two floors up.
func lobby() *Section {
	s := readingRoom()
	s.Title, s.Place = "Lobby reef of the Larkspur Harbour Hotel", "Larkspur Harbour, ground floor"
	s.Display = rectangular(3.0, 0.9, 1.1, 0.84, 0.15)
	s.Overflow = &Overflow{Standpipe: true, CrestHeightM: 0.82, EmergencyHeightM: 0.85}
	s.Return = &Return{BoreM: 0.05, OutletHeightM: 0.75, SiphonBreakHeightM: nan, IntakeElevationM: 0.08}
	s.Sump = &Sump{HeightM: 0.6, Compartments: []Compartment{{"filter socks", 0.5, 0.4}, {"skimmer", 0.6, 0.38}, {"refugium with macroalgae", 0.25, 0.36}, {"return chamber", 0.7, 0}}}
	r := rectangular(0.8, 1.0, 4.2, 0.9, 0)
	s.Reservoir = &r
	s.TopOff.HighElevationM, s.TopOff.EndElevationM, s.TopOff.AirHole = 5.3, 0.3, false
	s.TopOff.Shutoff = true
	s.Levels = Levels{
		Watch:    Switch{Kind: "pressure", ElevationM: 0.33, HysteresisM: 0.006},
		Ceiling:  Switch{Kind: "ultrasonic", ElevationM: 0.36, HysteresisM: 0.006},
		HighestM: 0.365, RestM: 0.6, DipM: 0.28, DrainDownM3: 0.26, MarginM3: -0.0421,
	}
	s.Cautions = append(s.Cautions, Note{TubeEndPart, "The end hangs under water and the reservoir stands above it: the line can siphon."})
	return s
}

// plumbed has an RO/DI line and a float valve, and a cylinder for a display.
func plumbed() *Section {
	s := readingRoom()
	s.Title = "Pump house column"
	s.Display = rectangular(0.7, 1.1, 0.7, 1.02, 0.1)
	s.Overflow = &Overflow{CrestHeightM: 1.0, EmergencyHeightM: nan}
	s.Return.OutletHeightM, s.Return.SiphonBreakHeightM = 0.95, nan
	s.Reservoir = nil
	s.TopOff = TopOff{BoreM: 0.006, EndElevationM: 0.22, HighElevationM: 0.45, PumpIntakeHeightM: nan, LowSensorHeightM: nan,
		FloatValveElevationM: 0.2, Plumbed: true}
	s.Levels = Levels{Watch: Switch{ElevationM: nan}, Ceiling: Switch{ElevationM: nan},
		HighestM: 0.2, RestM: 0.29, DipM: 0.16, DrainDownM3: 0.012, MarginM3: 0.03}
	s.FloorSensor = false
	s.Notes = []Note{{PlumbedPart, "RO/DI line: an endless source."}, {FloatValvePart, "Float valve shuts at 200 mm."}}
	s.Cautions = []Note{{FloatValvePart, "If the float valve sticks open: loss of the tank or flooded building."}}
	return s
}

// stuckWatch is a fill that only the empty reservoir ends: invented, with the
// shape of a real one.
func stuckWatch() *Trace {
	t := &Trace{
		Title:    "The watch sensor sticks dry",
		Subtitle: "Reading Room reef, heating season, if nobody came.",
		Points:   nil, TargetPSU: 35,
		OffPSU: [4]float64{0.5, 1, 2, 4}, FloorM3: [4]float64{0.05e-3, 0.5e-3, 2e-3, 50e-3},
		Levels: []TraceLevel{{"watch", 0.183}, {"ceiling", 0.207}, {"rim", 0.4}, {"pump draws air", 0.05}, {"none", nan}},
		Events: []TraceEvent{{2 * time.Hour, "the top-off starts and does not stop", false},
			{150 * time.Minute, "the reservoir is empty", false},
			{3 * time.Hour, "the alarm reaches somebody", true}, {24 * time.Hour, "somebody comes", true}, {900 * time.Hour, "after the end: not shown", false}},
	}
	level, salinity, floor := 0.183, 35.0, 0.0
	for at := time.Duration(0); at <= 72*time.Hour; at += 2 * time.Minute {
		on := at >= 2*time.Hour && at < 150*time.Minute
		if on {
			level += 0.012
			salinity -= 0.11
		} else {
			level -= 0.00002
			salinity += 0.0004
		}
		if level > 0.35 && on {
			floor += 0.4e-3
		}
		if on || at%(10*time.Minute) == 0 {
			t.Points = append(t.Points, TracePoint{At: at, SalinityPSU: salinity, LevelM: min(level, 0.4), FloorM3: floor, TopOff: on})
		}
	}
	return t
}

// limeSpike is the same fill with lime water: invented.
func limeSpike() *Trace {
	t := stuckWatch()
	t.Title = "The watch sensor sticks dry over lime water"
	t.TargetDKH, t.OffDKH = 8, [4]float64{1.5, 3, 5, 7}
	t.HighPH, t.LowPH = [4]float64{8.5, 8.7, 9, 9.5}, [4]float64{7.6, 7.4, 7.2, 6.5}
	for i := range t.Points {
		p := &t.Points[i]
		poured := 35 - p.SalinityPSU
		p.AlkalinityDKH, p.PHSettled, p.PHClosed = 8+2*poured, 7.92+0.08*poured, 7.92+0.08*poured
		if left := 1 - (p.At-2*time.Hour).Hours()/24; left > 0 {
			p.PHClosed += 0.6 * poured * min(left, 1)
		}
	}
	return t
}

// monthly is a design that testing helps: the shape of a real one.
func monthly() *Testing {
	return &Testing{
		Title: "What the proof test buys", Subtitle: "Reading Room reef. Estimates from generic rates: to compare, not to promise.", Harm: "Serious harm",
		Points: []TestingPoint{
			{7, 0.0123, 0.0034, 0.0263, "81 years"}, {14, 0.0138, 0.0038, 0.0291, "73 years"}, {30, 0.0170, 0.0047, 0.0361, "59 years"},
			{61, 0.0229, 0.0058, 0.0488, "44 years"}, {91, 0.0281, 0.0070, 0.0611, "36 years"}, {182, 0.0412, 0.0100, 0.0900, "24 years"}, {365, 0.0605, 0.0134, 0.126, "17 years"},
		},
		Now:          TestingMark{30, "now, every 30 days: once in 59 years"},
		Knee:         TestingMark{55, "the knee, near 55 days: more testing buys less than half"},
		FloorPerYear: 0.0108, FloorWords: "what no testing can take away: once in 93 years",
	}
}

// someMatrix has every class, a pair that cannot be, and more faults than a
// phone shows.
func someMatrix() *Matrix {
	m := &Matrix{Title: "Every fault and every pair", Words: [Classes]string{"none", "nuisance", "animals stressed", "animals at risk or wet floor", "loss of the tank or flooded building"}}
	for i, name := range []string{
		"humid spell", "drain blocked", "watch stuck dry", "watch stuck wet", "heat wave", "relay welded", "tube out", "power cut hour",
		"return siphon break blocked", "ceiling stuck dry", "alarm silent", "skimmer overflow", "new fan", "tank leak", "pump seized", "held by person",
	} {
		m.Faults = append(m.Faults, MatrixFault{name, []int{0, 3, 2, 1}[i%4]})
		for j := range i {
			if i == 3 && j == 2 {
				continue // one sensor cannot stick both ways
			}
			class := max(m.Faults[i].Class, m.Faults[j].Class)
			if (i*7+j*3)%17 == 0 {
				class = min(class+2, Classes-1)
			}
			m.Pairs = append(m.Pairs, MatrixPair{i, j, class})
		}
	}
	return m
}
