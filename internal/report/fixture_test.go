package report

import (
	"math"
	"time"

	"isohaline/evaporation"
	"isohaline/internal/guard"
	"isohaline/internal/odds"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

var nan = math.NaN()

const litreHour = 1e-3 / 3600

// reef is a mid-size tank with a sump and two sensors, invented, as values: the
// golden files must not move when an example or the engine does.
func reef() *tankfile.Tank {
	box := func(l, w, h, displaced float64) tankfile.Shape {
		return tankfile.Shape{Kind: "rectangle", LengthM: l, WidthM: w, HeightM: h, DisplacedFrac: displaced}
	}
	return &tankfile.Tank{
		Name: "Reading Room reef", Place: "Quill Street Library, ground floor",
		Water: tankfile.Water{SalinityPSU: 35, TempC: 25.5, AlkalinityDKH: 8},
		Room: tankfile.Room{PressurePa: 100850, CO2PPM: 700, Seasons: []tankfile.Season{
			{Name: "heating season", Days: 200, AirC: 21, RHFrac: 0.32, AirSpeedMS: 0.1, WaterTempC: nan},
			{Name: "summer", Days: 165, AirC: 25, RHFrac: 0.6, AirSpeedMS: 0.15, WaterTempC: nan},
		}},
		Display:  tankfile.Display{Shape: box(1.2, 0.6, 0.6, 0.12), FloorElevationM: 0.9, Agitation: "rippled"},
		Overflow: &tankfile.Overflow{Kind: "weir", CrestHeightM: 0.56, EdgeLengthM: 0.4, DrainCapacityM3S: 5000 * litreHour, EmergencyHeightM: 0.58},
		Return: &tankfile.Return{Line: tankfile.Tube{LengthM: 2.2, BoreM: 0.022, MinorLossK: 6}, OutletHeightM: 0.54,
			SiphonBreakHeightM: 0.555, IntakeElevationM: 0.05},
		Sump: &tankfile.Sump{WidthM: 0.4, HeightM: 0.4, Agitation: "rippled", Compartments: []tankfile.Compartment{
			{Name: "sock and skimmer", LengthM: 0.38, BaffleHeightM: 0.23}, {Name: "refugium", LengthM: 0.26, BaffleHeightM: 0.22},
			{Name: "return chamber", LengthM: 0.24}}},
		TopOff: tankfile.TopOff{
			Watch:        &tankfile.Sensor{Kind: "optical", ElevationM: nan, HysteresisM: 0.003, ResponseS: 1},
			Ceiling:      &tankfile.Sensor{Kind: "float", ElevationM: nan, HysteresisM: 0.004, ResponseS: 1},
			ReturnSensed: true, Pump: &tankfile.Pump{Curve: []tankfile.PumpPoint{{FlowM3S: 54 * litreHour}}},
			Tube: tankfile.Tube{LengthM: 2.5, BoreM: 0.006, MinorLossK: 3}, TubeEndElevationM: 0.36, TubeHighElevationM: 0.5, SiphonBreak: true,
			Reservoir: &tankfile.Reservoir{Shape: box(0.3, 0.25, 0.4, 0), PumpIntakeHeightM: 0.015, FillHeightM: 0.37,
				LowSensor: &tankfile.ReservoirLow{HeightM: 0.04}},
		},
		Controller:  &tankfile.Controller{},
		FloorSensor: &tankfile.FloorSensor{TripM3: 0.3 * litre},
		Alarm:       tankfile.Alarm{Audible: true, Remote: true},
		People:      tankfile.People{DaysBetweenVisits: 4, AnswerHours: 24, ProofTestDays: 30},
		Limits: tankfile.Limits{SalinityOffPSU: [4]float64{0.5, 1.5, 4, 8}, SalinityHourPSU: [4]float64{0.25, 0.75, 2, 5},
			FloorM3: [4]float64{0.1 * litre, 0.5 * litre, litre, 100 * litre}},
	}
}

func fault(id string) plant.Fault {
	for _, f := range plant.Faults {
		if f.ID == id {
			return f
		}
	}
	panic("no fault " + id)
}

// outcome is a run in which nothing happened.
func outcome(length time.Duration) plant.Outcome {
	return plant.Outcome{Length: length, LowPSU: 34.9, HighPSU: 35.1, HourPSU: 0.02,
		LowDKH: 7.97, HighDKH: 8.02, DayDKH: 0.01, LowPH: 7.91, HighPH: 7.92, HighOmega: 3.3, LowChamberM: 0.198, HighChamberM: 0.203,
		TopOffM3: 0.022, EvaporatedM3: 0.0221, FlowEndedAt: 20 * time.Hour, AlarmAt: plant.NotReached, LatchedAt: plant.NotReached, BudgetAt: plant.NotReached, EmptyAt: plant.NotReached, RunTimerAt: plant.NotReached,
		ReachedAt: [plant.Loss + 1]time.Duration{0, plant.NotReached, plant.NotReached, plant.NotReached, plant.NotReached}}
}

// row is a trial with its two runs as changed.
func row(class, unattended plant.Class, sentence string, change func(found, alone *plant.Outcome), ids ...string) verify.Row {
	found, alone := outcome(24*time.Hour), outcome(30*24*time.Hour)
	change(&found, &alone)
	r := verify.Row{Season: "heating season", Class: class, Unattended: unattended, Outcome: found, Alone: alone, Sentence: sentence,
		StoppedBy: verify.NoNeed, FoundBy: verify.Nobody, FoundAfter: plant.NotReached}
	for _, id := range ids {
		r.Faults = append(r.Faults, fault(id))
	}
	r.HarmAfter, r.AloneAfter = found.ReachedAt[class], alone.ReachedAt[unattended]
	return r
}

func estimate(litres float64) evaporation.Estimate {
	return evaporation.Estimate{LitresPerDay: litres, LowLitresPerDay: litres / 1.35, HighLitresPerDay: litres * 1.35}
}

// accepted is a report with a row of every kind.
func accepted() *verify.Report {
	s := reef()
	g := guard.Typical()
	g.CeilingFitted, g.FloorFitted, g.ReservoirLowFitted, g.ReturnFitted = true, true, true, true
	stopped := row(plant.Stress, plant.Loss, "The display's drain is blocked (a snail, a strainer): the return pump draws air for 11.9 h; the run limit stops the top-off, the alarm (fill ran to its time limit) brings somebody after 24 h.",
		func(found, alone *plant.Outcome) {
			for _, o := range []*plant.Outcome{found, alone} {
				o.ReturnDry, o.ReachedAt[1], o.ReachedAt[2] = 11*time.Hour+54*time.Minute, 12*time.Hour, 13*time.Hour
				o.AlarmAt, o.LatchedAt, o.LatchReason = 136*time.Second, 136*time.Second, guard.RunLimit
				o.Alarms = 1 << guard.RunLimit
			}
			alone.ReachedAt[3], alone.ReachedAt[4], alone.LowPSU = 60*time.Hour, 566*time.Hour, 35
		}, "drain-blocked")
	stopped.OfDanger = 0.93
	stopped.StoppedBy, stopped.FoundBy, stopped.FoundAfter = verify.RunLimitBarrier, verify.ByAlarm, 24*time.Hour+136*time.Second
	tube := row(plant.Nuisance, plant.Danger, "The tube slips out and lies on the floor: 0.3 L on the floor (tube); the floor sensor stops the top-off, the alarm (water on the floor) brings somebody after 24.3 h.",
		func(found, alone *plant.Outcome) {
			for _, o := range []*plant.Outcome{found, alone} {
				o.FloorM3[plant.FromTube], o.ReachedAt[1] = 0.3*litre, 17*time.Minute+30*time.Second
			}
			alone.FloorM3[plant.FromTube], alone.ReachedAt[2], alone.ReachedAt[3], alone.HighPSU = 1.4*litre, 300*time.Hour, 530*time.Hour, 39.2
		}, "tube-out")
	tube.StoppedBy, tube.FoundBy, tube.FoundAfter = verify.FloorBarrier, verify.ByAlarm, 24*time.Hour+17*time.Minute
	quiet := row(plant.NoHarm, plant.NoHarm, "The power fails for a minute: nothing changes that anybody would notice.", func(_, _ *plant.Outcome) {}, "power-cut-minute")
	quiet.Unnoticed = true
	pair := row(plant.Danger, plant.Loss, "The pump's relay welds closed, and the tube slips out and lies on the floor: 26.6 L on the floor (tube) and the top-off pump runs dry for 23.5 h; the floor sensor stops the top-off, the alarm (water on the floor) brings somebody after 24 h.",
		func(found, alone *plant.Outcome) {
			for _, o := range []*plant.Outcome{found, alone} {
				o.FloorM3[plant.FromTube], o.PumpDry = 26.6*litre, 23*time.Hour+30*time.Minute
				o.ReachedAt[1], o.ReachedAt[2], o.ReachedAt[3] = 7*time.Second, 33*time.Second, 67*time.Second
			}
			alone.FloorM3[plant.FromTube], alone.ReachedAt[4] = 110*litre, 288*time.Hour
		}, "relay-welded", "tube-out")
	pair.StoppedBy, pair.FoundBy, pair.FoundAfter = verify.FloorBarrier, verify.ByAlarm, 24*time.Hour
	welded := row(plant.Nuisance, plant.Nuisance, "The pump's relay welds closed: no harm; the ceiling sensor stops the top-off.", func(found, alone *plant.Outcome) {
		found.ReachedAt[1], alone.ReachedAt[1] = 13*time.Minute, 13*time.Minute
	}, "relay-welded")
	return &verify.Report{
		Tank: s,
		Water: []verify.SeasonWater{
			{Season: s.Room.Seasons[0], Display: estimate(3.9), Sump: estimate(1.7), Total: estimate(5.6), FracDay: 0.013},
			{Season: s.Room.Seasons[1], Display: estimate(2), Sump: estimate(0.9), Total: estimate(2.9), FracDay: 0.0067},
		},
		Settings: verify.Settings{Levels: plant.Levels{WatchM: 0.2, CeilingM: 0.224}, Guard: &g, Items: []verify.Setting{
			{ID: "watch", Name: "Watch sensor above the chamber floor", Value: "200 mm", SI: 0.2, Reason: "just below the last baffle; below it 13.8 L last 2.47 days before the return pump draws air."},
			{ID: "ceiling", Name: "Ceiling sensor above the chamber floor", Value: "224 mm", SI: 0.224, Reason: "24 mm above the watch level, clear of both switching bands and of ripples."},
			{ID: "run-limit", Name: "Run limit", Value: "3 × the learned fill, at least 2.08 min", SI: 124.6, Reason: "long enough to make up 8 h without power."},
			{ID: "run-hard-cap", Name: "Run limit, whatever was learned", Value: "6.23 min", SI: 373.8, Reason: "at most 5.61 L enter in one run; never above ten minutes."},
			{ID: "daily-budget", Name: "Daily budget", Value: "11.4 L", SI: 0.0114, Given: true, Reason: "half as much again as the high end of the driest season."},
			{ID: "reservoir", Name: "Reservoir", Value: "27.8 L", SI: 0.0278, Given: true, Reason: "lasts 4.75 days in the driest season; somebody comes every 4 days."},
		}},
		Geometry: verify.Geometry{ReturnFlowM3S: 1926 * litreHour, EdgeHeadM: 0.0085, OverEdgeM3: 0.0054, SiphonM3: 0.0032, LineM3: 0.0008,
			SystemM3: 0.4295, WatchM: 0.2, CeilingM: 0.224, HighestM: 0.226, RestM: 0.2574, RimM: 0.4, MarginM3: 0.0453, MarginM: 0.1426,
			DipM: 0.0359, IntakeM: 0.05, IntakeClearM: 0.114, DumpSafeM3: 0.026, DumpSpillsM3: 0.0482, DumpSalinityM3: 0.026, DumpLimeM3: math.Inf(1),
			DisplaySpareM3: 0.02, ChamberReserveM3: 0.0138},
		AsBuilt:   row(plant.NoHarm, plant.NoHarm, "As built, with nothing wrong: nothing that animals or floor would notice.", func(_, _ *plant.Outcome) {}),
		Singles:   []verify.Row{stopped, tube, welded, quiet},
		Pairs:     []verify.Row{pair},
		Verdict:   verify.Verdict{Accepted: true, PairsFailing: 1, Because: "No single fault of the 4 tried puts animals at risk or wets the floor. Of 1 pairs of faults 1 would: they are what the monthly test is for."},
		TankYears: 12.3,
	}
}

// refused has no controller, an endless source, and a sump that spills.
func refused() *verify.Report {
	r := accepted()
	s := r.Tank
	s.Name, s.Place = "Plumbed line", ""
	s.TopOff.Watch, s.TopOff.Ceiling, s.TopOff.Pump, s.TopOff.Reservoir = nil, nil, nil, nil
	s.TopOff.SiphonBreak = false
	s.TopOff.Plumbed = &tankfile.WaterLine{ProductM3S: 0.2 / 86400, RejectRatio: 3}
	s.TopOff.FloatValve = &tankfile.FloatValve{ShutElevationM: 0.18, OpenBelowM: 0.015}
	s.Controller, s.FloorSensor, s.Alarm = nil, nil, tankfile.Alarm{}
	r.Settings = verify.Settings{Levels: plant.Levels{WatchM: nan, CeilingM: nan}}
	g := &r.Geometry
	g.WatchM, g.CeilingM, g.HighestM, g.RestM, g.DipM, g.IntakeClearM = nan, nan, nan, nan, nan, nan
	g.MarginM3, g.MarginM, g.DumpSafeM3, g.DumpSpillsM3, g.ChamberReserveM3 = -0.0042, -0.01, nan, nan, nan
	g.Problems = []string{"After a power cut at the highest level the top-off can leave, 4.2 L would spill over the rim."}
	stuck := row(plant.Loss, plant.Loss, "The float valve sticks open: 948 L on the floor (sump), 4000 L drawn from the mains, reject water included and salinity falls to 0.964 PSU, 1.07 PSU of it within an hour; the visit after 5 days finds it.",
		func(found, alone *plant.Outcome) {
			for _, o := range []*plant.Outcome{found, alone} {
				o.FloorM3[plant.FromSump], o.LowPSU, o.HourPSU, o.MainsM3, o.RejectM3 = 0.948, 0.964, 1.07, 4, 3
				o.ReachedAt = [5]time.Duration{0, 2 * time.Hour, 3 * time.Hour, 5 * time.Hour, 16 * time.Hour}
				o.HighChamberM, o.BudgetAt = math.Inf(1), plant.NotReached
			}
		}, "float-valve-stuck-open")
	stuck.StoppedBy, stuck.FoundBy, stuck.FoundAfter = verify.PersonBarrier, verify.ByVisit, 120*time.Hour
	slips := stuck
	slips.Faults, slips.Sentence = []plant.Fault{fault("tube-out")}, "The tube slips out and lies on the floor: 1000 L on the floor (tube); the visit after 5 days finds it."
	r.Singles, r.Pairs = []verify.Row{stuck, slips}, nil
	r.Verdict = verify.Verdict{Failing: 2, Because: "2 single faults put animals at risk or wet the floor. The worst: " + stuck.Sentence}
	r.Left = []string{"spilling after drain-down"}
	r.Changes = []verify.Change{
		{ID: "bounded-source", Words: "replace the plumbed line by a reservoir of 11.6 L, filled at visits, with a pump, a controller and two sensors", Buys: []string{"the float valve sticks open"}},
		{ID: "remote-alarm", Words: "send the controller's alarm to somebody who comes", Buys: []string{"the tube slips out and lies on the floor"}},
	}
	return r
}

// answered is an answer with everything in it: the numbers of a real one,
// rounded.
func answered(r *verify.Report) *odds.Answer {
	both := []plant.Fault{fault("relay-welded"), fault("tube-out")}
	return &odds.Answer{
		Report: r,
		Harms: [3]odds.Frequency{
			{Harm: odds.WetFloor, PerYear: 0.0096, Low: 0.0017, Median: 0.0066, High: 0.028, Combinations: 11},
			{Harm: odds.Danger, PerYear: 0.017, Low: 0.0047, Median: 0.013, High: 0.036, Combinations: 25},
			{Harm: odds.Loss, PerYear: 2.2e-5, Low: 6.6e-7, Median: 8.6e-6, High: 2.1e-5, Combinations: 1}, // the mean is beyond the band
		},
		Dominating: []odds.Combination{
			{Faults: both, PerYear: 0.0052, Share: 0.304, Harm: r.Pairs[0].Sentence, Why: "The pump's relay welds closed, once in 80 years; the tube slips out and lies on the floor, unseen, 3.4 % of the time, until a proof test finds it."},
			{Faults: both[1:], PerYear: 0.0001, Share: 0.004, Harm: "The tube slips out and lies on the floor: 2 L on the floor (tube).", Why: "The tube slips out and lies on the floor, once in 23 years."},
		},
		Testing: odds.Testing{IntervalDays: 45, FloorPerYear: 0.0108, KneeDays: 55, SkipFactor: 1.6, SkipAdds: 8e-4, SkipDays: 17,
			Curve: []odds.Point{
				{Days: 7, PerYear: [3]float64{0.0072, 0.0123, 9.6e-6}, Low: 0.0034, High: 0.0263},
				{Days: 30, PerYear: [3]float64{0.0090, 0.0160, 2e-5}, Low: 0.0045, High: 0.034},
				{Days: 365, PerYear: [3]float64{0.0306, 0.0605, 3.6e-4}, Low: 0.0134, High: 0.126},
			},
			Sentence: "Tested every 45 days. Once in 93 years is what no testing can take away."},
		Safe: "Inherently safe against overfilling: the whole reservoir, 26 L, may run into the tank at once without serious harm.",
		Rates: []odds.Rate{
			{Fault: "relay-welded", Words: "the pump's relay welds closed", MeanPerYear: 0.0075, LowPerYear: 0.0009, HighPerYear: 0.026, Sources: []string{"FR-006", "FR-018"}, Why: "a good relay at the low end", StandsH: 0.5},
			{Fault: "tube-out", Words: "the tube slips out and lies on the floor", MeanPerYear: 0.043, LowPerYear: 0.008, HighPerYear: 0.12, Why: "slips out of its clip", Hidden: true, FoundBy: "proof test"},
			{Fault: "power-cut-minute", Words: "the power fails for a minute", MeanPerYear: 0.2, LowPerYear: 0.2, HighPerYear: 0.2, Given: true, Why: "given for this tank", StandsH: 1.0 / 60},
		},
		Notes: []string{"These are estimates. They are no certificate and no promise.", "Salt creep, snails or slime: for those parts they are lower bounds.", "Local codes and a licensed electrician or plumber decide."},
	}
}

// asked is odds with everything asked for.
func asked(r *verify.Report) *Odds {
	return &Odds{
		Answer: answered(r),
		Changes: &ChangesTried{
			Prices: map[string]float64{"shut-off-valve": 85, "look-more-often": 900},
			Improvements: []odds.Improvement{
				{ID: "shut-off-valve", Words: "fit a shut-off valve", PerYear: [3]float64{0.0074, 0.0148, 0}, Removes: [3]float64{0.0022, 0.0022, 2.2e-5}, Accepted: true, Price: 85, RemovesPerMoney: 2.6e-5,
					Sentence: "Fit a shut-off valve: takes away 13 % of the serious harm (once in 68 years instead of once in 59 years); at a price of 85 that is 0.15 % of it per unit of money."},
				{ID: "half-reservoir", Words: "fill the reservoir only half as high above the pump's intake", PerYear: [3]float64{0.0078, 0.0152, 0}, Removes: [3]float64{0.0018, 0.0018, 2.2e-5},
					Sentence: "Fill the reservoir only half as high above the pump's intake: takes away 10 % of the serious harm (once in 66 years instead of once in 59 years)."},
			},
		},
		// 120 blocks of 250 years; worth 38,500 years without bias.
		Lived: &odds.Tally{Blocks: 120, Sum: [3]float64{280, 495, 0.9}, Square: [3]float64{210, 394, 0.01}, Unforeseen: [3]float64{5, 10, 0}, Averted: [3]float64{12, 25, 0}, Unsettled: 0.5},
	}
}
