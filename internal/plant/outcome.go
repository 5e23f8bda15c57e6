package plant

import (
	"math"
	"time"

	"isohaline/internal/guard"
)

// Origin is where water on the floor came from.
type Origin uint8

const (
	FromDisplay Origin = iota
	FromSump
	FromReservoir
	FromTube
	FromSkimmer
	FromLeak // of the tank itself: reported, but no fault of the top-off
	originCount
)

func (o Origin) String() string {
	return [...]string{"display", "sump", "reservoir", "tube", "skimmer", "tank leak"}[o]
}

// Class is a harm class.
type Class int

const (
	NoHarm   Class = iota
	Nuisance       // somebody has to come
	Stress         // animals stressed
	Danger         // animals at risk, or a wet floor
	Loss           // the tank lost, or the building flooded
)

func (c Class) String() string {
	return [...]string{"none", "nuisance", "animals stressed", "animals at risk or wet floor", "loss of the tank or flooded building"}[c]
}

// Borders of the harm classes 1 to 4 in alkalinity and pH (total scale) of the
// animals' water. Common practice, no source, but for two of HighPH: 8.5 and
// 9.0 are the upper limits for open and for coastal marine life in the US
// Environmental Protection Agency's Quality Criteria for Water (EPA
// 440/5-86-001, 1986), and 6.5 in LowPH is the lower limit of both (from
// memory; it does not name the scale, and the scales lie 0.15 apart).
var (
	// AlkalinityOffDKH is away from the target. Reefs are kept at 7 to 9.5.
	AlkalinityOffDKH = [4]float64{1.5, 3, 5, 7}
	// AlkalinityDayDKH is moved within a day. Corrections keep to 1.
	AlkalinityDayDKH = [4]float64{1, 2, 4, 8}
	HighPH           = [4]float64{8.5, 8.7, 9.0, 9.5}
	LowPH            = [4]float64{7.6, 7.4, 7.2, 6.5}
)

// Hours during which the return pump draws air at which class 1, 2 and 3 begin,
// and the time a top-off pump may run dry before that is class 1. Common
// practice, no source.
const (
	starvedNuisance = 10 * time.Minute
	starvedStress   = time.Hour
	StarvedDanger   = 48 * time.Hour
	pumpDryNuisance = time.Minute
)

// NotReached marks a time that never came.
const NotReached = never

// Outcome is what a run did.
type Outcome struct {
	Length time.Duration
	// Unfinished says that the run hit its bound on segments: a defect of the
	// twin, never of the tank.
	Unfinished bool
	// FloorM3 is the water on the floor by origin.
	FloorM3 [originCount]float64
	// LowPSU and HighPSU bound the salinity of the animals' water, HourPSU is
	// its largest change within an hour.
	LowPSU, HighPSU, HourPSU float64
	// LowDKH and HighDKH bound the alkalinity of the animals' water, DayDKH is
	// its largest change within a day.
	LowDKH, HighDKH, DayDKH float64
	// LowPH and HighPH bound pH (total scale) between the two things that may
	// be true of the air: met by none of it for a day, or in balance with it.
	// HighOmega is the highest saturation state of aragonite.
	LowPH, HighPH, HighOmega float64
	// HighChamberM and LowChamberM bound the chamber's level.
	HighChamberM, LowChamberM float64
	// PumpDry and ReturnDry are how long the pumps ran without water.
	PumpDry, ReturnDry time.Duration
	// TopOffM3 reached the chamber, EvaporatedM3 left, MainsM3 is product and
	// reject water drawn from the mains, RejectM3 the reject's share.
	TopOffM3, EvaporatedM3, MainsM3, RejectM3 float64
	// ReachedAt is when each class began, by class; NotReached if never.
	ReachedAt [Loss + 1]time.Duration
	// AlarmAt is when the guard first called, and what it called about.
	AlarmAt time.Duration
	Alarms  guard.Alarms
	// LatchedAt is when the guard latched, and why.
	LatchedAt   time.Duration
	LatchReason guard.Reason
	// FlowEndedAt is when water last came along the top-off line.
	FlowEndedAt time.Duration
	// BudgetAt is when the daily budget first stopped a fill, EmptyAt when the
	// reservoir first fell to the pump's intake.
	BudgetAt, EmptyAt time.Duration
	// RunTimerAt is when the run timer first cut the pump off.
	RunTimerAt time.Duration
	Books      Books
}

// Class is the highest class reached.
func (o *Outcome) Class() Class { return o.ClassBy(never - 1) }

// ClassBy is the class reached by a time since the onset.
func (o *Outcome) ClassBy(t time.Duration) Class {
	for c := Loss; c > NoHarm; c-- {
		if o.ReachedAt[c] <= t {
			return c
		}
	}
	return NoHarm
}

// FloorTotalM3 leaves out the tank's own leak.
func (o *Outcome) FloorTotalM3() float64 { return counted(o.FloorM3) }

// counted is the water on the floor that is laid at the top-off's door.
func counted(floorM3 [originCount]float64) float64 {
	total := 0.0
	for from, v := range floorM3 {
		if Origin(from) != FromLeak {
			total += v
		}
	}
	return total
}

// Books are the accounts of a run: what entered, what left, what was there.
type Books struct {
	in, out, before, after parcel
}

func (b *Books) enter(p parcel) { b.in.add(p) }
func (b *Books) leave(p parcel) { b.out.add(p) }

// WaterResidual is what does not add up, as a share of all that was there or
// came: rounding only.
func (b Books) WaterResidual() float64 {
	return residual(b.before.waterKg, b.in.waterKg, b.out.waterKg, b.after.waterKg)
}

// SaltResidual: see WaterResidual.
func (b Books) SaltResidual() float64 {
	return residual(b.before.saltKg, b.in.saltKg, b.out.saltKg, b.after.saltKg)
}

// AlkalinityResidual: see WaterResidual.
func (b Books) AlkalinityResidual() float64 {
	return residual(b.before.alkMol, b.in.alkMol, b.out.alkMol, b.after.alkMol)
}

func residual(before, in, out, after float64) float64 {
	if before+in == 0 {
		return 0
	}
	return (before + in - out - after) / (before + in)
}

// stored is all that is inside the account, the floor's included.
func (r *run) stored() parcel {
	p := r.display
	p.add(r.chamber)
	p.add(r.reservoir)
	p.add(r.cup)
	for _, q := range r.floor {
		p.add(q)
	}
	return p
}

func (r *run) openBooks() { r.out.Books = Books{before: r.stored()} }

// beginOutcome is an outcome of nothing yet, since after the onset. The level's
// bounds are kept as volumes until finish.
func (r *run) beginOutcome(since time.Duration) {
	w := r.animals()
	r.hour.reset(time.Hour, since, w)
	r.day.reset(day, since, w)
	r.out = Outcome{
		LowPSU: w.psu, HighPSU: w.psu, LowDKH: w.dkh, HighDKH: w.dkh,
		LowPH: math.Inf(1), HighPH: math.Inf(-1),
		HighChamberM: r.chamberM3, LowChamberM: r.chamberM3,
		AlarmAt: never, LatchedAt: never, BudgetAt: never, EmptyAt: never, RunTimerAt: never,
		ReachedAt: [...]time.Duration{0, never, never, never, never},
	}
	rankSettled, rankClosed := rankOf(w, w)
	r.settled, r.closed = reach{rankSettled, rankSettled}, reach{rankClosed, rankClosed}
	r.gaugePH(w, w)
}

func (o *Outcome) drawMains(productM3, rejectRatio float64) {
	o.RejectM3 += productM3 * rejectRatio
	o.MainsM3 += productM3 * (1 + rejectRatio)
}

// finish is the outcome as it stands now.
func (r *run) finish() Outcome {
	o := r.out
	o.Length = r.now - r.onset
	o.FloorM3 = r.floorM3
	o.Books.after = r.stored()
	o.HighChamberM = r.tw.chamber.LevelM(o.HighChamberM)
	o.LowChamberM = r.tw.chamber.LevelM(o.LowChamberM)
	return o
}
