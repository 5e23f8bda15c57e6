package verify

import (
	"strings"
	"time"

	"isohaline/evaporation"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// Report is everything a check found out. Quantities are SI; sentences are in
// the units asked for.
type Report struct {
	Tank     *tankfile.Tank
	Units    units.System
	Water    []SeasonWater
	Settings Settings
	Geometry Geometry
	// AsBuilt is the tank with nothing wrong.
	AsBuilt Row
	// Singles and Pairs, the worst first.
	Singles, Pairs []Row
	Verdict        Verdict
	// Changes together make the design acceptable, but for what Left names.
	Changes []Change
	Left    []string
	// TankYears is how much simulated time stands behind the report.
	TankYears float64
}

// SeasonWater is what one season evaporates.
type SeasonWater struct {
	Season  tankfile.Season
	Display evaporation.Estimate
	Sump    evaporation.Estimate
	Total   evaporation.Estimate
	// FracDay is the total as a share of the system's water, a day.
	FracDay float64
}

// Settings is how to set the system.
type Settings struct {
	Levels plant.Levels
	Guard  *guard.Settings // nil without a controller
	Items  []Setting
}

// Setting is one line of the commissioning sheet.
type Setting struct {
	ID, Name, Value string
	// SI is the value in SI units, for programs.
	SI float64
	// Given says that the tank file sets it; otherwise it is proposed.
	Given  bool
	Reason string
}

// Geometry is where the water goes when the power fails.
type Geometry struct {
	ReturnFlowM3S, EdgeHeadM float64
	// OverEdgeM3 drains over the crest, SiphonM3 back through the return line,
	// LineM3 is the line's own water.
	OverEdgeM3, SiphonM3, LineM3 float64
	SystemM3                     float64
	WatchM, CeilingM             float64
	// HighestM is the highest level the top-off can leave with one sensor
	// working; RestM the level after drain-down from there; RimM the rim.
	HighestM, RestM, RimM float64
	// MarginM3 and MarginM are what is left below the rim then.
	MarginM3, MarginM float64
	// DipM is how far the chamber dips at a restart, IntakeM where the return
	// pump draws air, IntakeClearM what is left above it in the dip.
	DipM, IntakeM, IntakeClearM float64
	// DumpSafeM3 is the most top-off water that may enter at once, from the watch
	// level, without spilling after drain-down or moving salinity, alkalinity or
	// pH into class 3: the least of the three below. DumpLimeM3 is +Inf where
	// the water is fresh.
	DumpSafeM3       float64
	DumpSpillsM3     float64
	DumpSalinityM3   float64
	DumpLimeM3       float64
	DisplaySpareM3   float64 // display above its running level, to the rim
	ChamberReserveM3 float64 // chamber between the watch level and the intake
	// Problems are findings about the geometry itself.
	Problems []string
}

// DrainDownM3 is all that comes down.
func (g *Geometry) DrainDownM3() float64 { return g.OverEdgeM3 + g.SiphonM3 + g.LineM3 }

// Row is one combination of faults, tried.
type Row struct {
	Faults []plant.Fault
	Season string
	// Class is what is reached before somebody comes; Unattended what would be
	// reached if nobody did.
	Class, Unattended plant.Class
	// Outcome is the run until somebody comes, Alone the whole run.
	Outcome, Alone plant.Outcome
	// StoppedBy is the first barrier that acted, FoundBy what brings a person,
	// FoundAfter when; plant.NotReached if nothing does.
	StoppedBy  Barrier
	FoundBy    Finder
	FoundAfter time.Duration
	// HarmAfter is when Class began, AloneAfter when Unattended did.
	HarmAfter, AloneAfter time.Duration
	// Unnoticed: it does to animals and floor just what the system does as
	// built.
	Unnoticed bool
	// OfDanger is how near the row came to class 3, as a share of the nearest
	// border: 1 is at it.
	OfDanger float64
	Sentence string
}

// ID joins the faults' IDs.
func (r *Row) ID() string {
	if len(r.Faults) == 0 {
		return asBuiltID
	}
	ids := make([]string, len(r.Faults))
	for i, f := range r.Faults {
		ids[i] = f.ID
	}
	return strings.Join(ids, "+")
}

// Barrier is what kept a fault from going further.
type Barrier string

const (
	NoBarrier       Barrier = "nothing"
	NoNeed          Barrier = "no need"
	CeilingBarrier  Barrier = "ceiling sensor"
	RunLimitBarrier Barrier = "run limit"
	FloorBarrier    Barrier = "floor sensor"
	GaugeBarrier    Barrier = "level gauge"
	SenseBarrier    Barrier = "sensor cross-check"
	BudgetBarrier   Barrier = "daily budget"
	TimerBarrier    Barrier = "run timer"
	EmptyBarrier    Barrier = "bounded reservoir"
	PersonBarrier   Barrier = "a person"
)

// Finder is what brings a person.
type Finder string

const (
	Nobody  Finder = "nobody"
	ByAlarm Finder = "alarm"
	ByVisit Finder = "visit"
)

// Verdict is the answer.
type Verdict struct {
	Accepted bool
	// Failing counts the single faults at class 3 or worse, Near those that
	// come within a tenth of it; PairsFailing the pairs at class 3 or worse.
	Failing, Near, PairsFailing int
	Because                     string
}

// Change is one thing to do, and what it buys.
type Change struct {
	ID, Words string
	// Buys lists the single faults it takes below class 3, in words.
	Buys []string
}
