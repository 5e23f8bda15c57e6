// Package tankfile knows what a tank is: its display, its sump, its plumbing, its
// top-off system, the room it stands in and the people who look after it. It
// reads and validates tank files and holds the result as plain values in SI
// units.
//
// The file format is declared once, as tables of fields (schema.go). Read and
// Write walk those tables in the two directions; what no field can know alone,
// that values contradict each other, is in check.go.
//
// # Datum
//
// Every elevation is in metres above one datum: the inside floor of the return
// chamber, or of the display on a tank without a sump. A field whose name ends
// in ElevationM is measured from the datum; one that ends in HeightM is
// measured from the inside floor of its own vessel.
//
// A Tank that came from Read has been validated: packages downstream trust it
// and do not check it again.
package tankfile

// Tank is one tank with everything that decides how its water behaves.
type Tank struct {
	Name  string
	Place string

	Water   Water
	Room    Room
	Display Display

	// Overflow, Return and Sump are all nil on a tank without a sump.
	Overflow *Overflow
	Return   *Return
	Sump     *Sump

	TopOff TopOff
	// Controller is nil where nothing but a mechanical float valve doses water.
	Controller *Controller

	Skimmer     *Skimmer // nil: none, or a dry skimmer that takes no water
	WaterChange *WaterChange
	FloorSensor *FloorSensor
	Alarm       Alarm
	People      People
	Limits      Limits
	// Rates are how often faults come at this tank, where that is known better
	// than from generic tables.
	Rates []Rate
	// CommonCauses are what can bring several faults at once.
	CommonCauses []CommonCause
}

// HasSump says whether the tank overflows into a sump below it.
func (s *Tank) HasSump() bool { return s.Sump != nil }

// Water is what the tank is kept at.
type Water struct {
	SalinityPSU   float64 // practical salinity, 5 to 42
	TempC         float64
	AlkalinityDKH float64
	CalciumMgL    float64 // 0: natural seawater's at the target salinity
	// ConsumptionDKHDay is the alkalinity that animals and algae take from the
	// whole system's water. NaN: not stated. What lime water does not bring of
	// it is taken to be dosed steadily by other means.
	ConsumptionDKHDay float64
}

// Room is the air over the water.
type Room struct {
	PressurePa float64
	CO2PPM     float64 // carbon dioxide in the air
	// Seasons has at least one entry; their days add up to a year.
	Seasons []Season
	// EvaporationModel names the model in package evaporation; empty: default.
	EvaporationModel string
	// MeasuredLitresPerDay is the tank's own long-run top-off record, 0 if
	// none; it calibrates the model.
	MeasuredLitresPerDay float64
}

// Season is a part of the year with its own room air.
type Season struct {
	Name        string
	Days        float64
	AirC        float64
	RHFrac      float64 // 0 to 1
	AirSpeedMS  float64 // over the water, without fans
	WaterTempC  float64 // NaN: the tank's own temperature
	FanSpeedMS  float64 // over the display when its fans run; 0: no fans
	FanDutyFrac float64 // share of the day that fans run, 0 to 1
}

// Shape is the plan of a vessel against height.
type Shape struct {
	// Kind is "rectangle", "cylinder" or "table".
	Kind string
	// LengthM, WidthM are inside measures of a rectangle.
	LengthM, WidthM float64
	// DiameterM is the inside diameter of a standing cylinder.
	DiameterM float64
	// Table is the area against height above the vessel's floor, lowest first,
	// linear between rows.
	Table []AreaAtHeight
	// HeightM is the inside height from floor to rim.
	HeightM float64
	// DisplacedFrac is the share of the volume taken by rock, sand and
	// equipment, spread evenly over the height: 0 to 0.6.
	DisplacedFrac float64
}

// AreaAtHeight is one row of an area table: the inside area in m² at a height in m
// above the vessel's floor.
type AreaAtHeight struct{ HeightM, AreaM2 float64 }

// Display is the tank that people look at.
type Display struct {
	Shape Shape
	// FloorElevationM is its inside floor above the datum: 0 without a sump.
	FloorElevationM float64
	// LidFrac is the share of the water surface under a lid, 0 to 1.
	LidFrac float64
	// Agitation is "still", "rippled" or "rough".
	Agitation string
	// FillHeightM is the water level of a tank without a sump, where nothing
	// else fixes it; with a sump it is ignored.
	FillHeightM float64
}

// Overflow is how water leaves the display for the sump.
type Overflow struct {
	// Kind is "weir" (a straight or toothed edge) or "standpipe" (a round
	// vertical pipe whose rim is the edge).
	Kind string
	// CrestHeightM is the edge above the display's floor.
	CrestHeightM float64
	// EdgeLengthM is the wetted length of the edge: a weir's open length, a
	// standpipe's circumference.
	EdgeLengthM float64
	// DrainCapacityM3S is the most the drain pipe behind the edge can carry.
	DrainCapacityM3S float64
	// PrimingHeadM is how much higher than its running level the display
	// climbs at a restart before the drain runs full. It makes the dip that
	// the return chamber shows then. 0: none.
	PrimingHeadM float64
	// EmergencyHeightM is the crest of a second, separate drain above the
	// display's floor; 0: none.
	EmergencyHeightM float64
}

// Return is the pump and line from the return chamber to the display.
type Return struct {
	Pump Pump
	Line Tube
	// OutletHeightM is the end of the line above the display's floor. Below
	// the crest it siphons the display down to this height on power loss,
	// unless a siphon break takes air first.
	OutletHeightM float64
	// SiphonBreakHeightM is the air hole's height above the display's floor;
	// 0: none.
	SiphonBreakHeightM float64
	// IntakeElevationM is the level at which the pump draws air.
	IntakeElevationM float64
}

// Pump is a pump by its curve. One point with zero head means a positive
// displacement pump: the same flow at any head.
type Pump struct{ Curve []PumpPoint }

// PumpPoint is one point of a pump's curve: a flow in m³/s at a head in m.
type PumpPoint struct{ FlowM3S, HeadM float64 }

// Tube is a round line.
type Tube struct {
	LengthM, BoreM float64
	// MinorLossK sums entry, bend, valve and exit losses in velocity heads.
	MinorLossK float64
}

// Sump is the tank below the display.
type Sump struct {
	// WidthM is the inside width shared by all compartments, HeightM the
	// inside height to the rim.
	WidthM, HeightM float64
	// Compartments in the order the water meets them. The last is the return
	// chamber.
	Compartments []Compartment
	// Agitation is "still", "rippled" or "rough"; LidFrac the covered share.
	Agitation string
	LidFrac   float64
}

// Compartment is one chamber of a sump.
type Compartment struct {
	Name    string
	LengthM float64
	// BaffleHeightM is the wall water crosses to reach the next compartment;
	// 0 for the return chamber.
	BaffleHeightM float64
	DisplacedFrac float64
}

// TopOff is the system that gives the tank its fresh water back.
type TopOff struct {
	// Watch is nil only where no controller doses.
	Watch   *Sensor
	Ceiling *Sensor // nil: none fitted
	// LevelGauge says a continuous level in mm reaches the controller.
	LevelGauge bool
	// ReturnSensed says the controller knows whether the return pump runs.
	ReturnSensed bool

	Pump *Pump // nil: flow comes from a plumbed line through a valve
	Tube Tube
	// TubeEndElevationM is the open end of the tube above the datum.
	TubeEndElevationM float64
	// TubeHighElevationM is the highest point of the tube.
	TubeHighElevationM float64
	// SiphonBreak: an air hole at the high point stops a siphon.
	SiphonBreak bool
	CheckValve  bool
	// ShutoffValve: a normally-closed solenoid valve in the line.
	ShutoffValve bool
	// RunTimerS is the longest run that a timer with a relay of its own, in the
	// pump's supply, lets through whatever the controller says; 0: none fitted.
	RunTimerS float64

	// Exactly one of Reservoir (a bounded source) and Plumbed (an endless
	// source) is set.
	Reservoir *Reservoir
	Plumbed   *WaterLine
	// FloatValve is a mechanical valve at the tube's end that shuts as the
	// chamber reaches its level; nil: none.
	FloatValve *FloatValve
}

// Sensor is a level switch.
type Sensor struct {
	// Kind is "float", "optical", "conductive", "pressure" or "ultrasonic".
	Kind string
	// ElevationM is the middle of its switching band. NaN: not stated, the
	// check proposes one.
	ElevationM  float64
	HysteresisM float64
	ResponseS   float64
	// Group names what it shares with the other sensors of its group (make and
	// kind, relay, power strip): the common causes of failure. Empty: nothing.
	Group string
}

// Reservoir is the bounded source.
type Reservoir struct {
	Shape           Shape
	FloorElevationM float64
	// PumpIntakeHeightM is the level, above its floor, at which its pump
	// draws air.
	PumpIntakeHeightM float64
	// FillHeightM is the level it is filled to.
	FillHeightM float64
	// LowSensor: the controller is told when the pump's intake is near.
	LowSensor *ReservoirLow
	// Refill is an automatic refill from a plumbed line; nil: by hand.
	Refill *Refill
	// LimeWater: the reservoir holds lime water (kalkwasser), LimeFrac of
	// saturation strong; 0: saturated.
	LimeWater bool
	LimeFrac  float64
}

// LimeStrength returns the strength of what the reservoir holds as a share of
// saturated lime water, 0 to 1: 0 for fresh water and for a nil reservoir.
func (r *Reservoir) LimeStrength() float64 {
	switch {
	case r == nil || !r.LimeWater:
		return 0
	case r.LimeFrac == 0:
		return 1
	}
	return r.LimeFrac
}

// ReservoirLow is the sensor that stops the pump before it runs dry, at a height in m
// above the reservoir's floor.
type ReservoirLow struct{ HeightM float64 }

// Refill tops the reservoir up from a plumbed line through a float valve.
type Refill struct {
	Line WaterLine
	// ShutHeightM is the reservoir level at which the valve shuts; it opens
	// again OpenBelowM lower.
	ShutHeightM, OpenBelowM float64
}

// WaterLine is a plumbed RO/DI unit: an endless source.
type WaterLine struct {
	ProductM3S float64
	// RejectRatio is reject water over product water.
	RejectRatio float64
}

// FloatValve is a mechanical float valve.
type FloatValve struct {
	// ShutElevationM is the level at which it shuts; it opens again
	// OpenBelowM lower.
	ShutElevationM, OpenBelowM float64
}

// Controller holds what the tank file sets; zero values mean "use what the
// check recommends".
type Controller struct {
	ConfirmDryS        float64
	ConfirmWetS        float64
	FirstFillLimitS    float64
	RunLimitFactor     float64
	RunHardCapS        float64
	MinOffS            float64
	RestartSettleS     float64
	DailyBudgetM3      float64
	HoldExpiresS       float64 // a person's hold ends by itself; 0: never
	StopsReturnOnFloor bool    // a wet floor also stops the return pump
}

// Skimmer is the foam fractioner.
type Skimmer struct {
	SkimmateM3Day float64
	// CupM3 is the container that catches the skimmate.
	CupM3 float64
	// CupCutoff: the skimmer stops when its container is full.
	CupCutoff bool
}

// WaterChange is the habit of exchanging VolumeM3 (m³) of old water for new water of
// SalinityPSU, every EveryDays.
type WaterChange struct {
	VolumeM3    float64
	EveryDays   float64
	SalinityPSU float64
}

// FloorSensor is a leak sensor on the floor, wired to the controller. TripM3 is how
// much water in m³ it takes to notice.
type FloorSensor struct{ TripM3 float64 }

// Alarm is how trouble reaches a person.
type Alarm struct {
	Audible bool
	Remote  bool // reaches the practitioner wherever they are
}

// People is when somebody stands at the tank.
type People struct {
	DaysBetweenVisits float64
	// AnswerHours is how long after an alarm somebody is there: after a
	// remote alarm, or after an audible one where people are about.
	AnswerHours float64
	// HearsAudible: someone on site hears the alarm and calls.
	HearsAudible bool
	// ProofTestDays is how often the ceiling sensor and the limits are tested.
	ProofTestDays float64
}

// Limits are the least values at which the harm classes 1 to 4 begin, in this order.
// All are common practice, no source; the tank file may change them.
type Limits struct {
	// Salinity away from the target, PSU, at which class 1, 2, 3 and 4 begin.
	SalinityOffPSU [4]float64
	// Salinity change within one hour, PSU, at which class 1, 2, 3 and 4 begin.
	SalinityHourPSU [4]float64
	// Water on the floor, m3, at which class 1, 2, 3 and 4 begin.
	FloorM3 [4]float64
}
