package plant

import (
	"fmt"
	"math"

	"isohaline/hydraulics"
	"isohaline/internal/guard"
	"isohaline/internal/tankfile"
)

// Levels are the heights the controller's sensors switch at, above the datum.
// The tank file may leave them open; the check fills them in.
type Levels struct {
	WatchM, CeilingM float64
}

// Setup is what a twin is built from.
type Setup struct {
	Tank *tankfile.Tank
	// Season is an index into Tank.Room.Seasons.
	Season int
	Levels Levels
	// Guard is nil where the tank has no controller.
	Guard *guard.Settings
	// EvaporationFactor scales the model to the tank's own record; 1: none.
	EvaporationFactor float64
}

// Twin is a tank in one season, worked out once and then only read: any number
// of runs may share it.
type Twin struct {
	tank  *tankfile.Tank
	setup Setup
	fluid fluid
	// chamber is where the level shows: the sump, or the display of a tank
	// without one.
	chamber            basin
	display, reservoir hydraulics.Vessel

	returnFlowM3S, drainCapacityM3S float64
	edgeLengthM                     float64
	displayCrestM3                  float64
	displayRimM3                    float64
	chamberRimM3, chamberIntakeM3   float64
	reservoirRimM3, reservoirFullM3 float64
	reservoirIntakeM3               float64
	reservoirLowM3                  float64
	refillOpenM3, refillShutM3      float64
	floatOpenM3, floatShutM3        float64

	evapDisplay, evapChamber evaporationLine

	line        topOffLine
	circulation circulation
	backSiphon  flowCurve // return line running back, flow against head
	viscosity   float64   // of the tank's water
	waterC      float64

	// target is what the animals' water is kept at; sea, newWater and
	// topOffWater are what the system, water changes and the top-off bring.
	target                     water
	sea, newWater, topOffWater mix
	// uptakeMolS is the alkalinity used up that lime water makes good, and
	// uptakeEndsMolM3 where the animals can use no more.
	uptakeMolS, uptakeEndsMolM3 float64
	chemistry                   chemistry
}

// contactLevels are the chamber volumes at which a level switch gets wet and
// dry again.
type contactLevels struct{ wetM3, dryM3 float64 }

const (
	secondsPerDay = 86400.0
	litresPerHour = 3.6e6 // of a m3/s
)

// Build works a tank out for one season.
func Build(setup Setup) (*Twin, error) {
	s := setup.Tank
	season := s.Room.Seasons[setup.Season]
	waterC := waterTempC(s, season)
	tw := &Twin{
		tank: s, setup: setup, fluid: newFluid(waterC),
		target: water{psu: s.Water.SalinityPSU, dkh: s.Water.AlkalinityDKH}, waterC: waterC,
		viscosity: hydraulics.SeawaterViscosityM2S(s.Water.SalinityPSU, waterC),
	}
	display, err := s.Display.Shape.Vessel()
	if err != nil {
		return nil, fmt.Errorf("working out the display: %w", err)
	}
	if s.HasSump() {
		tw.display = display
		sump, err := s.Sump.Vessel()
		if err != nil {
			return nil, fmt.Errorf("working out the sump: %w", err)
		}
		tw.chamber = basin{vessel: sump, fixedM3: s.Sump.FixedM3()}
		if err := tw.buildCirculation(waterC); err != nil {
			return nil, err
		}
	} else {
		tw.chamber = basin{vessel: display}
	}
	tw.chamberRimM3 = tw.chamber.CapacityM3()
	if f := s.TopOff.FloatValve; f != nil {
		tw.floatShutM3 = tw.chamber.VolumeM3(f.ShutElevationM)
		tw.floatOpenM3 = tw.chamber.VolumeM3(f.ShutElevationM - f.OpenBelowM)
	}
	c, err := climateOf(s, season)
	if err != nil {
		return nil, err
	}
	tw.evapChamber = c.line(c.display, tw.target.psu, setup.EvaporationFactor)
	if s.HasSump() {
		tw.evapDisplay = tw.evapChamber
		tw.evapChamber = c.line(c.sump, tw.target.psu, setup.EvaporationFactor)
	}
	if err := tw.buildTopOff(); err != nil {
		return nil, err
	}
	if err := tw.buildChemistry(season); err != nil {
		return nil, err
	}
	return tw, nil
}

// circulation is the return pump at work.
type circulation struct {
	line    hydraulics.Tube
	liftM   float64
	flowM3S float64
}

// ReturnFlow is the return pump's flow in m3/s against its line and lift. The
// lift is taken from half way between the pump's intake and the sump's rim: the
// few centimetres the chamber moves change it by less than the curve's own
// error.
func ReturnFlow(s *tankfile.Tank) (float64, error) {
	c, err := circulate(s, s.Water.TempC)
	return c.flowM3S, err
}

func circulate(s *tankfile.Tank, waterC float64) (circulation, error) {
	if !s.HasSump() {
		return circulation{}, nil
	}
	curve, err := hydraulics.NewPumpCurve(pumpPoints(s.Return.Pump))
	if err != nil {
		return circulation{}, fmt.Errorf("working out the return pump: %w", err)
	}
	c := circulation{line: tube(s.Return.Line)}
	c.liftM = s.Display.FloorElevationM + s.Overflow.CrestHeightM -
		(s.Return.IntakeElevationM+s.Sump.HeightM)/2
	c.flowM3S = hydraulics.OperatingFlowM3S(curve, c.line, c.liftM,
		hydraulics.SeawaterViscosityM2S(s.Water.SalinityPSU, waterC))
	if c.flowM3S <= 0 {
		return c, fmt.Errorf("return.pump: it lifts no water the %.2f m from chamber to display; check its curve and the display's floor elevation", c.liftM)
	}
	return c, nil
}

func (tw *Twin) buildCirculation(waterC float64) error {
	s := tw.tank
	o, r := s.Overflow, s.Return
	c, err := circulate(s, waterC)
	if err != nil {
		return err
	}
	tw.circulation = c
	tw.returnFlowM3S = c.flowM3S
	tw.drainCapacityM3S = o.DrainCapacityM3S
	tw.edgeLengthM = o.EdgeLengthM
	tw.displayCrestM3 = tw.display.VolumeM3(o.CrestHeightM)
	tw.displayRimM3 = tw.display.CapacityM3()
	tw.chamberIntakeM3 = tw.chamber.VolumeM3(r.IntakeElevationM)
	if math.IsInf(tw.runningDisplayM3(Healthy(), tw.returnFlowM3S), 1) {
		return fmt.Errorf("overflow.drain capacity: the drains carry %.0f L/h at most and cannot pass the return pump's %.0f L/h below the display's rim; widen the drain or the edge, or use a smaller return pump",
			tw.drainCapacityM3S*litresPerHour, tw.returnFlowM3S*litresPerHour)
	}
	backHead := s.Display.FloorElevationM + s.Display.Shape.HeightM
	tw.backSiphon = newFlowCurve(0, backHead, func(headM float64) float64 {
		return tw.circulation.line.FlowM3S(headM, tw.viscosity)
	})
	return nil
}

// nominalLevelM is where the chamber stands in a healthy system.
func (tw *Twin) nominalLevelM() float64 {
	if f := tw.tank.TopOff.FloatValve; f != nil {
		return f.ShutElevationM
	}
	return tw.setup.Levels.WatchM
}

func (tw *Twin) contactAt(elevationM, hysteresisM float64) contactLevels {
	return contactLevels{
		wetM3: tw.chamber.VolumeM3(elevationM + hysteresisM/2),
		dryM3: tw.chamber.VolumeM3(elevationM - hysteresisM/2),
	}
}

// SystemM3 is the water in the system in healthy running.
func (tw *Twin) SystemM3() float64 {
	v := tw.chamber.VolumeM3(tw.nominalLevelM())
	if tw.tank.HasSump() {
		v += tw.runningDisplayM3(Healthy(), tw.returnFlowM3S)
	}
	return v
}

// EvaporationM3Day is what the model says the season takes at the target.
func (tw *Twin) EvaporationM3Day() float64 {
	return (tw.evapDisplay.atTargetKgS + tw.evapChamber.atTargetKgS) *
		secondsPerDay * tw.fluid.waterM3Kg
}

// ReturnFlowM3S is the return pump's flow against its lift and line.
func (tw *Twin) ReturnFlowM3S() float64 { return tw.returnFlowM3S }

func pumpPoints(p tankfile.Pump) []hydraulics.PumpPoint {
	pts := make([]hydraulics.PumpPoint, len(p.Curve))
	for i, c := range p.Curve {
		pts[i] = hydraulics.PumpPoint{FlowM3S: c.FlowM3S, HeadM: c.HeadM}
	}
	return pts
}

// smoothTubeRoughnessM is plastic tube's: Crane TP 410 lists drawn tubing at
// 0.0015 mm.
const smoothTubeRoughnessM = 1.5e-6

func tube(t tankfile.Tube) hydraulics.Tube {
	return hydraulics.Tube{LengthM: t.LengthM, BoreM: t.BoreM,
		MinorLossK: t.MinorLossK, RoughnessM: smoothTubeRoughnessM}
}

// flowCurve is a flow against a head, tabulated once: the root behind each
// value is far too dear for the inner loop.
type flowCurve struct {
	fromM, stepM float64
	flowM3S      [flowCurveSize]float64
}

const flowCurveSize = 65

func newFlowCurve(fromM, toM float64, flow func(headM float64) float64) flowCurve {
	c := flowCurve{fromM: fromM, stepM: (toM - fromM) / (flowCurveSize - 1)}
	for i := range c.flowM3S {
		c.flowM3S[i] = flow(fromM + float64(i)*c.stepM)
	}
	return c
}

// at interpolates; beyond its ends it holds the end's value.
func (c *flowCurve) at(headM float64) float64 {
	x := (headM - c.fromM) / c.stepM
	if !(x > 0) {
		return c.flowM3S[0]
	}
	if x >= flowCurveSize-1 {
		return c.flowM3S[flowCurveSize-1]
	}
	i := int(x)
	w := x - float64(i)
	return c.flowM3S[i]*(1-w) + c.flowM3S[i+1]*w
}
