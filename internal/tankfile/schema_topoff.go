package tankfile

import (
	"slices"
	"strconv"

	"isohaline/internal/units"
	"isohaline/moistair"
)

func topOffFields(t *TopOff) []field {
	end := measure("end", &t.TubeEndElevationM, units.Length, -tall, long, "open end of the tube")
	high := measure("high point", &t.TubeHighElevationM, units.Length, -tall, long, "highest point of the tube")
	return []field{
		optionalPart("watch", &t.Watch, "The working level sensor.", sensorFields),
		optionalPart("ceiling", &t.Ceiling, "The backup level sensor above it.", sensorFields),
		yesNo("level gauge", &t.LevelGauge, "a level in mm reaches the controller"),
		yesNo("return sensed", &t.ReturnSensed, "the controller knows whether the return pump runs"),
		optionalPart("pump", &t.Pump, "The top-off pump: a `flow`, or a `curve`. None where a plumbed line brings its own pressure.", pumpFields),
		section("tube", "The tube from pump or line to the tank. Its elevations count from the floor of the return chamber, or of the display where there is no sump.",
			slices.Concat(tubeFields(&t.Tube), []field{end, high})...),
		yesNo("siphon break", &t.SiphonBreak, "an air hole at the high point"),
		yesNo("check valve", &t.CheckValve, "a one-way valve in the tube; it stops no siphon towards the tank"),
		yesNo("shut-off valve", &t.ShutoffValve, "a solenoid valve, closed without power, in the tube"),
		measure("run timer", &t.RunTimerS, units.Duration, 10, 3600, "the longest run that a timer with a relay of its own, in the pump's supply, lets through whatever the controller says; ready again when the controller has switched off").orNone(0, none),
		optionalPart("reservoir", &t.Reservoir, "The bounded source. Exactly one of `reservoir` and `plumbed` is given.", reservoirFields),
		optionalPart("plumbed", &t.Plumbed, "An endless source: an RO/DI unit on the house's water, plumbed to the tank.", waterLineFields),
		optionalPart("float valve", &t.FloatValve, "A mechanical valve at the tube's end.", floatValveFields),
	}
}

func sensorFields(s *Sensor) []field {
	return []field{
		pick("kind", &s.Kind, sensorWords, "what it works by"),
		measure("height", &s.ElevationM, units.Length, mm, tall, "middle of its switching band above the floor of the return chamber, or of the display where there is no sump").
			orNone(nan, "proposed by the check"),
		measure("hysteresis", &s.HysteresisM, units.Length, 0, 0.2, "from wet to dry").or(defaultHysteresisM),
		measure("response", &s.ResponseS, units.Duration, 0, 600, "time from water to signal").or(defaultResponseS),
		freeText("group", &s.Group, "what it shares with other sensors of the same group: make and kind, relay, power strip").orNone(),
	}
}

func reservoirFields(r *Reservoir) []field {
	low := held[ReservoirLow]{p: &r.LowSensor, at: func(l *ReservoirLow) *float64 { return &l.HeightM },
		quantity: measure("low sensor", nil, units.Length, mm, tall, "height above its floor at which the controller is told to stop").orNone(0, none)}
	return slices.Concat(shapeFields(&r.Shape), []field{
		measure("filled to", &r.FillHeightM, units.Length, 10*mm, tall, "level above its floor after a refill"),
		measure("floor elevation", &r.FloorElevationM, units.Length, -tall, long, "inside floor above that of the return chamber, or of the display where there is no sump"),
		measure("pump intake", &r.PumpIntakeHeightM, units.Length, 0, tall, "level above its floor at which the pump draws air"),
		low,
		optionalPart("refill", &r.Refill, "An automatic refill from a plumbed RO/DI unit through a float valve.", refillFields),
		yesNo("lime water", &r.LimeWater, "it holds lime water (kalkwasser), which is caustic"),
		measure("lime strength", &r.LimeFrac, units.Fraction, 0.01, 1, "of the lime water, as a share of saturation").orNone(0, "saturated"),
	})
}

func refillFields(r *Refill) []field {
	return slices.Concat(waterLineFields(&r.Line), []field{
		measure("shuts at", &r.ShutHeightM, units.Length, mm, tall, "level above the reservoir's floor"),
		measure("opens below", &r.OpenBelowM, units.Length, mm, tall, "how far under that level the valve opens again").or(defaultOpenBelowM),
	})
}

func waterLineFields(l *WaterLine) []field {
	return []field{
		measure("product", &l.ProductM3S, units.Flow, 0.05*litreH, 5000*litreH, "fresh water it makes"),
		number("reject ratio", &l.RejectRatio, 0, 20, "reject water over product water").or(defaultRejectRatio),
	}
}

func floatValveFields(v *FloatValve) []field {
	return []field{
		measure("shuts at", &v.ShutElevationM, units.Length, mm, tall, "level above the floor of the return chamber, or of the display where there is no sump"),
		measure("opens below", &v.OpenBelowM, units.Length, mm, tall, "how far under that level it opens again").or(defaultOpenBelowM),
	}
}

// version is the key that says which format the file is written in.
type version struct{}

func (version) name() string { return "isohaline" }

func (version) read(r *reader, path string, n *node) {
	text, ok := r.scalar(path, n, strconv.Itoa(formatVersion))
	if ok && text != strconv.Itoa(formatVersion) {
		r.report(path, "is not a format this program reads", "write the format's version, "+strconv.Itoa(formatVersion))
	}
}

func (version) absent(r *reader, path string) {
	r.missing(path, "the version of the file's format", strconv.Itoa(formatVersion))
}

func (v version) write(w *writer) { w.line(v.name(), strconv.Itoa(formatVersion)) }

func (v version) describe() row {
	return row{key: v.name(), form: strconv.Itoa(formatVersion), standard: "required", about: "version of the file's format",
		kind: OneChoice, words: []string{strconv.Itoa(formatVersion)}}
}

// altitude is the room's height above the sea, another way to state its
// pressure; the pressure is what gets written.
type altitude struct{ p *float64 }

func (a altitude) quantity(height *float64) quantity {
	return measure("elevation", height, units.Length, lowestPlaceM, highestPlaceM,
		"above the sea, instead of `pressure`: the standard atmosphere at that height").orNone(0, none)
}

func (a altitude) name() string { return "elevation" }

func (a altitude) read(r *reader, path string, n *node) {
	var heightM float64
	a.quantity(&heightM).read(r, path, n)
	*a.p = moistair.PressureAtElevationPa(heightM)
}

func (altitude) absent(*reader, string) {}
func (altitude) write(*writer)          {}

func (a altitude) describe() row { return a.quantity(nil).describe() }

// steady is a pump's flow where no head changes it.
type steady struct {
	quantity
	p *Pump
}

func isSteady(curve []PumpPoint) bool { return len(curve) == 1 && curve[0].HeadM == 0 }

func (s steady) read(r *reader, path string, n *node) {
	var flow float64
	s.quantity.p = &flow
	s.quantity.read(r, path, n)
	s.p.Curve = []PumpPoint{{FlowM3S: flow}}
}

func (s steady) absent(*reader, string) { s.p.Curve = nil }

func (s steady) write(w *writer) {
	if isSteady(s.p.Curve) {
		w.line(s.key, s.kind.Exact(s.p.Curve[0].FlowM3S))
	}
}
