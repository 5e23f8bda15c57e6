package hydraulics

import "math"

// DrainDown is a display at the moment its return pump stops: what stands above
// the edge runs off, and what the return line can siphon follows. All of it
// arrives in the sump, which must have room for it above the highest level that
// a top-off can leave there. So does the content of the return line itself
// (Tube.VolumeM3), which is not counted here.
//
// Heights are above the display's inside floor.
type DrainDown struct {
	Display Vessel
	// CrestHeightM is the edge, HeadOverCrestM how high the water stands over
	// it while the pump runs.
	CrestHeightM, HeadOverCrestM float64
	// OutletHeightM is the open end of the return line. Under water it siphons.
	OutletHeightM float64
	// SiphonBreakHeightM is an air hole in the return line; 0: none. A hole can
	// block: work the volumes out without it too.
	SiphonBreakHeightM float64
}

// RestLevelM is the level at which the display comes to rest: the crest, or
// lower, where the outlet or the siphon break takes air.
func (d DrainDown) RestLevelM() float64 {
	return math.Min(d.CrestHeightM, math.Max(d.OutletHeightM, d.SiphonBreakHeightM))
}

// OverEdgeM3 is the volume that runs off over the edge. While the water stands
// above the crest an open siphon takes a share of it; the sum is the same.
func (d DrainDown) OverEdgeM3() float64 {
	running := d.CrestHeightM + math.Max(d.HeadOverCrestM, 0)
	return d.Display.VolumeM3(running) - d.Display.VolumeM3(d.CrestHeightM)
}

// SiphonM3 is the volume below the crest that siphons back down the return line.
func (d DrainDown) SiphonM3() float64 {
	return d.Display.VolumeM3(d.CrestHeightM) - d.Display.VolumeM3(d.RestLevelM())
}
