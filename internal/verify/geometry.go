package verify

import (
	"fmt"
	"math"

	"isohaline/hydraulics"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

const (
	// freeboardM is kept between the highest water and a rim: waves, a hand in
	// the sump. Common practice, no source.
	freeboardM = 0.010
	// intakeClearM is kept above the return pump's intake in the deepest dip,
	// so that it draws no vortex. Common practice, no source.
	intakeClearM = 0.025
	// ceilingGapM is the least distance between watch and ceiling level, in a
	// sump and in a display without one: more than ripples. Common practice, no
	// source.
	ceilingGapM        = 0.020
	ceilingGapDisplayM = 0.010
	// baffleClearM keeps the chamber below the last baffle, so that water still
	// falls into it. Common practice, no source.
	baffleClearM = 0.020
)

// vessels are the shapes the arithmetic needs.
type vessels struct {
	chamber, display         hydraulics.Vessel
	overM3, siphonM3, pipeM3 float64 // what comes down
	dipM3                    float64
}

func (v *vessels) drainM3() float64 { return v.overM3 + v.siphonM3 + v.pipeM3 }

// drainDown works out what comes down when the return pump stops: the water
// over the crest, what siphons back, and the return line's own.
func drainDown(s *tankfile.Tank, returnFlowM3S float64) (v vessels, err error) {
	if v.display, err = s.Display.Shape.Vessel(); err != nil {
		return v, fmt.Errorf("working out the display: %w", err)
	}
	if !s.HasSump() {
		v.chamber = v.display
		return v, nil
	}
	if v.chamber, err = s.Sump.Vessel(); err != nil {
		return v, fmt.Errorf("working out the sump: %w", err)
	}
	o, r := s.Overflow, s.Return
	d := hydraulics.DrainDown{
		Display: v.display, CrestHeightM: o.CrestHeightM,
		HeadOverCrestM: hydraulics.EdgeHeadM(returnFlowM3S, o.EdgeLengthM),
		OutletHeightM:  r.OutletHeightM, SiphonBreakHeightM: r.SiphonBreakHeightM,
	}
	v.overM3, v.siphonM3 = d.OverEdgeM3(), d.SiphonM3()
	v.pipeM3 = hydraulics.Tube{LengthM: r.Line.LengthM, BoreM: r.Line.BoreM}.VolumeM3()
	running := o.CrestHeightM + d.HeadOverCrestM
	v.dipM3 = v.display.VolumeM3(running+o.PrimingHeadM) - v.display.VolumeM3(running)
	return v, nil
}

// proveGeometry is the arithmetic of where the water goes.
func proveGeometry(tw *plant.Twin, s *tankfile.Tank, levels plant.Levels, overshootM3 float64, u units.System) (Geometry, error) {
	if f := s.TopOff.FloatValve; f != nil && math.IsNaN(levels.WatchM) {
		levels.WatchM = f.ShutElevationM
	}
	g := Geometry{SystemM3: tw.SystemM3(), WatchM: levels.WatchM, CeilingM: levels.CeilingM}
	if s.HasSump() {
		g.ReturnFlowM3S = tw.ReturnFlowM3S()
		g.EdgeHeadM = hydraulics.EdgeHeadM(g.ReturnFlowM3S, s.Overflow.EdgeLengthM)
	}
	v, err := drainDown(s, g.ReturnFlowM3S)
	if err != nil {
		return g, err
	}
	g.OverEdgeM3, g.SiphonM3, g.LineM3 = v.overM3, v.siphonM3, v.pipeM3
	g.RimM = v.chamber.RimM()
	highest := levels.WatchM
	switch t := &s.TopOff; {
	case t.Ceiling != nil:
		highest = levels.CeilingM + t.Ceiling.HysteresisM/2
	case t.Watch != nil:
		highest = levels.WatchM + t.Watch.HysteresisM/2
	}
	g.HighestM = v.chamber.LevelM(v.chamber.VolumeM3(highest) + overshootM3)
	restM3 := v.chamber.VolumeM3(g.HighestM) + v.drainM3()
	g.RestM = v.chamber.LevelM(restM3)
	g.MarginM3 = v.chamber.CapacityM3() - restM3
	g.MarginM = g.RimM - g.RestM
	g.DumpSpillsM3 = v.chamber.CapacityM3() - v.chamber.VolumeM3(levels.WatchM) - v.drainM3()
	g.DumpSalinityM3 = freshForDrop(g.SystemM3, s.Water.SalinityPSU,
		min(s.Limits.SalinityOffPSU[plant.Danger-1], s.Limits.SalinityHourPSU[plant.Danger-1]))
	g.DumpLimeM3 = tw.SafeLimeM3()
	g.DumpSafeM3 = max(min(g.DumpSpillsM3, g.DumpSalinityM3, g.DumpLimeM3), 0)
	if s.HasSump() {
		g.IntakeM = s.Return.IntakeElevationM
		lowest := v.chamber.VolumeM3(levels.WatchM) - v.dipM3
		if w := s.TopOff.Watch; w != nil {
			lowest = v.chamber.VolumeM3(levels.WatchM-w.HysteresisM/2) - v.dipM3
		}
		g.DipM = levels.WatchM - v.chamber.LevelM(lowest)
		g.IntakeClearM = v.chamber.LevelM(lowest) - g.IntakeM
		g.ChamberReserveM3 = v.chamber.VolumeM3(levels.WatchM) - v.chamber.VolumeM3(g.IntakeM)
		running := s.Overflow.CrestHeightM + g.EdgeHeadM
		g.DisplaySpareM3 = v.display.CapacityM3() - v.display.VolumeM3(running)
	} else {
		g.DisplaySpareM3 = v.display.CapacityM3() - v.display.VolumeM3(levels.WatchM)
	}
	g.Problems = geometryProblems(&g, s, u)
	return g, nil
}

// freshForDrop is the fresh water that lowers a system's salinity by drop:
// conservative mixing, S V = (S - drop)(V + x).
func freshForDrop(systemM3, salinityPSU, dropPSU float64) float64 {
	if dropPSU >= salinityPSU {
		return math.Inf(1)
	}
	return systemM3 * dropPSU / (salinityPSU - dropPSU)
}

func geometryProblems(g *Geometry, s *tankfile.Tank, u units.System) []string {
	var p []string
	add := func(format string, args ...any) { p = append(p, fmt.Sprintf(format, args...)) }
	if g.MarginM3 < 0 {
		add("After a power cut at the highest level the top-off can leave, %s would spill over the rim: lower the sensors, the crest's head or the siphon, or use a larger sump.", u.Volume(-g.MarginM3))
	} else if g.MarginM < freeboardM {
		add("Only %s are left below the rim after drain-down; keep %s.", u.Length(g.MarginM), u.Length(freeboardM))
	}
	if s.HasSump() {
		if g.IntakeClearM < 0 {
			add("At a restart the return chamber dips %s below the intake and the return pump draws air: raise the watch level.", u.Length(-g.IntakeClearM))
		} else if g.IntakeClearM < intakeClearM {
			add("At a restart only %s of water stay above the return pump's intake; keep %s.", u.Length(g.IntakeClearM), u.Length(intakeClearM))
		}
		n := len(s.Sump.Compartments)
		if n > 1 {
			if last := s.Sump.Compartments[n-2].BaffleHeightM; g.WatchM > last {
				add("The watch level stands %s above the last baffle: the compartment before the return chamber would rise and fall with it and the top-off would feed both.", u.Length(g.WatchM-last))
			}
		}
	}
	return p
}
