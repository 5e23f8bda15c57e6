package tankfile

import (
	"slices"

	"isohaline/evaporation"
	"isohaline/internal/units"
)

// formatVersion is the version of the file format that this program reads.
const formatVersion = 1

// The words of the file.
var (
	shapeWords  = []string{"rectangle", "cylinder", "table"}
	agitations  = []string{"still", "rippled", "rough"}
	edgeWords   = []string{"weir", "standpipe"}
	sensorWords = []string{"float", "optical", "conductive", "pressure", "ultrasonic"}
)

// Defaults that are common practice, no source, unless a line says otherwise.
const (
	defaultAgitation   = "rippled"
	defaultAirSpeedMS  = 0.1 // a furnished room without draught
	defaultLossesK     = 3   // an entry, an exit and two bends
	defaultHysteresisM = 0.004
	defaultResponseS   = 1
	defaultOpenBelowM  = 0.01
	defaultRejectRatio = 3
	defaultDKH         = 8 // in the middle of the 7 to 9.5 that reefs are kept at
)

// UsualRoomCO2PPM is the carbon dioxide of a lived-in room that is aired now and
// then, where nobody measured. Common practice, no source. Outdoor air, 420 ppm,
// is wrong indoors: people breathe out.
const UsualRoomCO2PPM = 700

// defaultLimits are the borders of the harm classes: common practice, no
// source.
var defaultLimits = Limits{
	SalinityOffPSU:  [4]float64{0.5, 1.5, 4, 8},
	SalinityHourPSU: [4]float64{0.25, 0.75, 2, 5},
	FloorM3:         [4]float64{0.0001, 0.0005, 0.001, 0.1},
}

// Where tanks stand, and the air pressures found there.
const (
	seaLevelPa      = 101325 // standard atmosphere, ISO 2533:1975
	lowestPlaceM    = -430   // the shore of the lowest lake
	highestPlaceM   = 5000
	lowestPressure  = 50_000
	highestPressure = 110_000
)

// Largest and smallest that a length on a tank is taken to be. A tape measure
// reads a millimetre.
const (
	mm     = 0.001
	litre  = 0.001
	litreH = litre / 3600
	tall   = 5.0
	long   = 20.0
)

func tankFields(s *Tank) []field {
	return []field{
		version{},
		freeText("name", &s.Name, "what people call the tank"),
		freeText("place", &s.Place, "where it stands").orNone(),
		section("water", "What the tank is kept at.", waterFields(&s.Water)...),
		section("room", "The air over the water.", roomFields(&s.Room)...),
		section("display", "The tank that people look at.", displayFields(&s.Display)...),
		optionalPart("overflow", &s.Overflow, "How water leaves the display for the sump. Given exactly where there is a sump.", overflowFields),
		optionalPart("return", &s.Return, "The pump and line from the return chamber to the display. Given exactly where there is a sump.", returnFields),
		optionalPart("sump", &s.Sump, "The tank below the display.", sumpFields),
		optionalPart("skimmer", &s.Skimmer, "The foam fractioner, if it takes water out.", skimmerFields),
		section("top-off", "The system that gives the tank its fresh water back.", topOffFields(&s.TopOff)...),
		optionalPart("controller", &s.Controller, "The settings of the controller; `{}` lets the check propose every one. Without this key nothing but a float valve doses.", controllerFields),
		optionalPart("water change", &s.WaterChange, "The habit of exchanging old water for new.", waterChangeFields),
		optionalPart("floor sensor", &s.FloorSensor, "A leak sensor on the floor, wired to the controller.", floorSensorFields),
		section("alarm", "How trouble reaches a person.", alarmFields(&s.Alarm)...).orDefaults(),
		section("people", "When somebody stands at the tank.", peopleFields(&s.People)...),
		section("limits", "Where the harm classes begin.", limitFields(&s.Limits)...).orDefaults(),
		items[Rate]{label: label{key: "rates", optional: true, about: "How often faults come at this tank, where that is known better than from the program's table."},
			p: &s.Rates, max: maxRates, fields: rateFields},
		items[CommonCause]{label: label{key: "common causes", optional: true, about: "What brings several faults at once: one power strip, one relay board, one person."},
			p: &s.CommonCauses, max: maxCauses, fields: commonCauseFields},
	}
}

func waterFields(w *Water) []field {
	return []field{
		measure("salinity", &w.SalinityPSU, units.Salinity, 5, 42, "target; a specific gravity or a conductivity with its temperatures will do"),
		measure("temperature", &w.TempC, units.Temperature, 4, 40, "of the water"),
		measure("alkalinity", &w.AlkalinityDKH, units.Alkalinity, 1, 30, "target").or(defaultDKH),
		measure("calcium", &w.CalciumMgL, units.Dissolved, 100, 1000, "what the tank is kept at; only the risk that lime falls out depends on it").orNone(0, "natural seawater's"),
		measure("alkalinity consumption", &w.ConsumptionDKHDay, units.AlkalinityPerDay, 0, 10, "what animals and algae take; what lime water does not bring of it is dosed steadily by other means").
			orNone(nan, "what the lime water brings as built; with fresh water none that is not dosed"),
	}
}

func roomFields(r *Room) []field {
	return []field{
		measure("pressure", &r.PressurePa, units.Pressure, lowestPressure, highestPressure, "of the air, not reduced to sea level").or(seaLevelPa),
		altitude{p: &r.PressurePa},
		measure("carbon dioxide", &r.CO2PPM, units.Gas, 300, 10_000, "in the room's air, which sets the pH that the water settles at").or(UsualRoomCO2PPM),
		pick("evaporation model", &r.EvaporationModel, modelWords(), "formula for the evaporation, for those who compare them").orNone(evaporation.Models()[0].String()),
		measure("measured top-off", &r.MeasuredLitresPerDay, units.LitresPerDay, 0.01, 10_000, "the tank's own long-run record; it calibrates the model").orNone(0, none),
		items[Season]{label: label{key: "seasons", about: "Parts of the year with their own room air. Their days add up to 365."},
			p: &r.Seasons, max: 12, fields: seasonFields},
	}
}

// modelWords are the names of the evaporation models, the default first.
func modelWords() []string {
	var names []string
	for _, m := range evaporation.Models() {
		names = append(names, m.String())
	}
	return names
}

func seasonFields(s *Season) []field {
	return []field{
		freeText("name", &s.Name, "what to call it"),
		number("days", &s.Days, 1, 366, "how long it lasts"),
		measure("air", &s.AirC, units.Temperature, 0, 45, "room temperature"),
		measure("humidity", &s.RHFrac, units.Fraction, 0.01, 1, "relative humidity of the room"),
		measure("air speed", &s.AirSpeedMS, units.Speed, 0, 5, "over the water, without fans").or(defaultAirSpeedMS),
		measure("water", &s.WaterTempC, units.Temperature, 4, 40, "water temperature in this season").orNone(nan, "the tank's own"),
		measure("fan", &s.FanSpeedMS, units.Speed, 0.05, 20, "air speed over the display while its fans run").orNone(0, none),
		measure("fan share", &s.FanDutyFrac, units.Fraction, 0.001, 1, "share of the day that the fans run").orNone(0, none),
	}
}

func shapeFields(s *Shape) []field {
	const byShape = "needed by its shape"
	return []field{
		pick("shape", &s.Kind, shapeWords, "plan of the vessel; a table takes any other"),
		measure("length", &s.LengthM, units.Length, 10*mm, long, "inside, of a rectangle").orNone(0, byShape),
		measure("width", &s.WidthM, units.Length, 10*mm, long, "inside, of a rectangle").orNone(0, byShape),
		measure("diameter", &s.DiameterM, units.Length, 10*mm, long, "inside, of a standing cylinder").orNone(0, byShape),
		pairs[AreaAtHeight]{label: label{key: "areas", optional: true, about: "inside area at each height, for a table: from the floor up to the rim, straight between rows"},
			example: "0.72 m2 at 300 mm", p: &s.Table, of: axis{units.Area, 1e-4, long * long}, against: axis{units.Length, 0, tall}, max: 100,
			join:      func(area, height float64) AreaAtHeight { return AreaAtHeight{HeightM: height, AreaM2: area} },
			split:     func(a AreaAtHeight) (float64, float64) { return a.AreaM2, a.HeightM },
			elsewhere: func([]AreaAtHeight) bool { return false }},
		measure("height", &s.HeightM, units.Length, 20*mm, tall, "inside, from floor to rim"),
		measure("displaced", &s.DisplacedFrac, units.Fraction, 0, 0.6, "share of the volume taken by rock, sand and equipment").or(0),
	}
}

func displayFields(d *Display) []field {
	return slices.Concat(shapeFields(&d.Shape), []field{
		measure("filled to", &d.FillHeightM, units.Length, 10*mm, tall, "water level of a tank without a sump; where there is a sump the crest sets it").orNone(0, none),
		measure("floor elevation", &d.FloorElevationM, units.Length, -tall, long, "inside floor above the return chamber's; not for a tank without a sump").or(0),
		measure("lid", &d.LidFrac, units.Fraction, 0, 1, "covered share of the surface").or(0),
		pick("surface", &d.Agitation, agitations, "how the water moves").or(defaultAgitation),
	})
}

func overflowFields(o *Overflow) []field {
	return []field{
		pick("kind", &o.Kind, edgeWords, "a straight or toothed edge, or a round upright pipe"),
		measure("crest", &o.CrestHeightM, units.Length, 10*mm, tall, "the edge above the display's floor"),
		measure("edge", &o.EdgeLengthM, units.Length, 10*mm, long, "wetted length: a weir's open length, a standpipe's circumference"),
		measure("drain capacity", &o.DrainCapacityM3S, units.Flow, 10*litreH, 200_000*litreH, "the most that the drain behind the edge carries"),
		measure("priming head", &o.PrimingHeadM, units.Length, 0, 0.2, "how much higher the display climbs at a restart before the drain runs full").or(0),
		measure("emergency crest", &o.EmergencyHeightM, units.Length, 10*mm, tall, "crest of a second, separate drain").orNone(0, none),
	}
}

func returnFields(r *Return) []field {
	return []field{
		section("pump", "The return pump: a `curve`, or a `flow` that no head changes.", pumpFields(&r.Pump)...),
		section("line", "The line from the pump to the display.", tubeFields(&r.Line)...),
		measure("outlet", &r.OutletHeightM, units.Length, mm, tall+1, "end of the line above the display's floor"),
		measure("siphon break", &r.SiphonBreakHeightM, units.Length, mm, tall+1, "air hole in the line above the display's floor").orNone(0, none),
		measure("intake", &r.IntakeElevationM, units.Length, mm, tall, "level above the return chamber's floor at which the pump draws air"),
	}
}

func pumpFields(p *Pump) []field {
	const most = 200_000 * litreH
	return []field{
		steady{p: p, quantity: measure("flow", nil, units.Flow, 0.05*litreH, most, "the same at any head, as a peristaltic pump's").orNone(0, none)},
		pairs[PumpPoint]{label: label{key: "curve", optional: true, about: "flow against head, from the shut valve to the free end"},
			example: "1500 L/h at 2.5 m", p: &p.Curve, of: axis{units.Flow, 0, most}, against: axis{units.Length, 0, 50}, max: 20,
			join:      func(flow, head float64) PumpPoint { return PumpPoint{FlowM3S: flow, HeadM: head} },
			split:     func(p PumpPoint) (float64, float64) { return p.FlowM3S, p.HeadM },
			elsewhere: isSteady},
	}
}

func tubeFields(t *Tube) []field {
	return []field{
		measure("length", &t.LengthM, units.Length, 10*mm, 100, "along the line"),
		measure("bore", &t.BoreM, units.Length, mm, 0.3, "inside diameter"),
		number("losses", &t.MinorLossK, 0, 1000, "entry, bends, valves and exit, in velocity heads").or(defaultLossesK),
	}
}

func sumpFields(s *Sump) []field {
	return []field{
		measure("width", &s.WidthM, units.Length, 10*mm, long, "inside, the same for all compartments"),
		measure("height", &s.HeightM, units.Length, 20*mm, tall, "inside, from floor to rim"),
		pick("surface", &s.Agitation, agitations, "how the water moves").or(defaultAgitation),
		measure("lid", &s.LidFrac, units.Fraction, 0, 1, "covered share of the surface").or(0),
		items[Compartment]{label: label{key: "compartments", about: "In the order in which the water meets them; the last is the return chamber."},
			p: &s.Compartments, max: 12, fields: compartmentFields},
	}
}

func compartmentFields(c *Compartment) []field {
	return []field{
		freeText("name", &c.Name, "what to call it"),
		measure("length", &c.LengthM, units.Length, 10*mm, long, "inside, along the sump"),
		measure("baffle", &c.BaffleHeightM, units.Length, 10*mm, tall, "wall that the water crosses to the next compartment; the return chamber has none").orNone(0, none),
		measure("displaced", &c.DisplacedFrac, units.Fraction, 0, 0.9, "share of the volume taken by equipment, rock and media").or(0),
	}
}

func skimmerFields(s *Skimmer) []field {
	return []field{
		measure("skimmate", &s.SkimmateM3Day, units.DailyVolume, 0, 0.5, "salt water it takes out"),
		measure("cup", &s.CupM3, units.Volume, 0.01*litre, 1, "container that catches the skimmate"),
		yesNo("cutoff", &s.CupCutoff, "the skimmer stops when its container is full"),
	}
}

func controllerFields(c *Controller) []field {
	const proposed = "proposed by the check"
	return []field{
		measure("confirm dry", &c.ConfirmDryS, units.Duration, 1, 600, "how long the watch sensor reads dry before a fill").orNone(0, proposed),
		measure("confirm wet", &c.ConfirmWetS, units.Duration, 0.1, 10, "how long it reads wet before the fill ends").orNone(0, proposed),
		measure("first fill limit", &c.FirstFillLimitS, units.Duration, 1, 600, "longest run while no fill has been learned").orNone(0, proposed),
		number("run limit factor", &c.RunLimitFactor, 1.1, 3, "longest run over the learned fill").orNone(0, proposed),
		measure("run hard cap", &c.RunHardCapS, units.Duration, 1, 600, "longest run whatever was learned").orNone(0, proposed),
		measure("minimum off", &c.MinOffS, units.Duration, 10, 86400, "rest between two fills").orNone(0, proposed),
		measure("restart settle", &c.RestartSettleS, units.Duration, 10, 86400, "wait after the return pump starts").orNone(0, proposed),
		measure("daily budget", &c.DailyBudgetM3, units.Volume, 0.01*litre, 10, "most water in a day").orNone(0, proposed),
		measure("hold expires", &c.HoldExpiresS, units.Duration, 60, 30*86400, "when a person's hold ends by itself").orNone(0, proposed),
		yesNo("wet floor stops return", &c.StopsReturnOnFloor, "a wet floor also stops the return pump"),
	}
}

func waterChangeFields(w *WaterChange) []field {
	return []field{
		measure("volume", &w.VolumeM3, units.Volume, 0.01*litre, 100, "exchanged each time"),
		measure("every", &w.EveryDays, units.Days, 0.04, 730, "time between two"),
		measure("salinity", &w.SalinityPSU, units.Salinity, 0, 60, "of the new water"),
	}
}

func floorSensorFields(f *FloorSensor) []field {
	return []field{measure("trips at", &f.TripM3, units.Volume, 0.001*litre, 1, "water on the floor before it notices")}
}

func alarmFields(a *Alarm) []field {
	return []field{
		yesNo("audible", &a.Audible, "a sounder at the tank"),
		yesNo("remote", &a.Remote, "reaches the practitioner wherever they are"),
	}
}

func peopleFields(p *People) []field {
	return []field{
		measure("days between visits", &p.DaysBetweenVisits, units.Days, 0.04, 366, "longest time that nobody who understands the tank is there"),
		measure("answers within", &p.AnswerHours, units.Hours, 0.01, 8784, "from an alarm that reaches somebody until they stand at the tank"),
		yesNo("hears audible", &p.HearsAudible, "someone on site hears the sounder and calls"),
		measure("proof test every", &p.ProofTestDays, units.Days, 1, 3660, "how often the ceiling sensor and the limits are tested"),
	}
}

func limitFields(l *Limits) []field {
	psu, floor := axis{units.SalinityChange, 0.01, 40}, axis{units.Volume, 1e-6, 100}
	return []field{
		borders{label: label{key: "salinity off", about: "away from the target, where class 1, 2, 3 and 4 begin", optional: true},
			p: &l.SalinityOffPSU, axis: psu, def: defaultLimits.SalinityOffPSU},
		borders{label: label{key: "salinity in an hour", about: "change within one hour, where class 1, 2, 3 and 4 begin", optional: true},
			p: &l.SalinityHourPSU, axis: psu, def: defaultLimits.SalinityHourPSU},
		borders{label: label{key: "water on the floor", about: "where class 1, 2, 3 and 4 begin", optional: true},
			p: &l.FloorM3, axis: floor, def: defaultLimits.FloorM3},
	}
}
