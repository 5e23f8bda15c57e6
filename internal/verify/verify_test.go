package verify

import (
	"context"
	"math"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"isohaline/internal/guard"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

func example(t testing.TB, name string) *tankfile.Tank {
	t.Helper()
	data, err := os.ReadFile("../../examples/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := tankfile.Read(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func check(t testing.TB, s *tankfile.Tank, o Options) *Report {
	t.Helper()
	r, err := Check(t.Context(), s, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestExamples(t *testing.T) {
	for _, c := range []struct {
		name     string
		accepted bool
	}{
		{"window-nano", true},
		{"reading-room", true},
		{"grand-lobby", true},
		{"plumbed-line", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := check(t, example(t, c.name), Options{})
			if r.Verdict.Accepted != c.accepted {
				t.Errorf("accepted %v: %s", r.Verdict.Accepted, r.Verdict.Because)
			}
			if got := len(plant.FaultsOf(r.Tank)); len(r.Singles) != got {
				t.Errorf("%d single faults tried, the tank can have %d", len(r.Singles), got)
			}
			for _, rows := range [][]Row{r.Singles, r.Pairs} {
				if !slices.IsSortedFunc(rows, worse) {
					t.Error("rows are not ranked")
				}
				for i := range rows {
					soundRow(t, &rows[i])
				}
			}
			t.Logf("%d single faults, %d pairs, %.0f tank-years", len(r.Singles), len(r.Pairs), r.TankYears)
		})
	}
}

// soundRow checks what must hold of every row.
func soundRow(t *testing.T, row *Row) {
	t.Helper()
	o := &row.Outcome
	switch {
	case row.Class > row.Unattended:
		t.Errorf("%s: class %d with people, %d without", row.ID(), row.Class, row.Unattended)
	case row.Class > plant.NoHarm && row.HarmAfter > row.FoundAfter:
		t.Errorf("%s: harm after %v, but somebody came after %v", row.ID(), row.HarmAfter, row.FoundAfter)
	case o.LowPSU > o.HighPSU, o.LowPSU < 0:
		t.Errorf("%s: salinity from %g to %g", row.ID(), o.LowPSU, o.HighPSU)
	case o.LowDKH > o.HighDKH, o.LowDKH < 0, o.LowPH > o.HighPH, !(o.LowPH > 0 && o.HighPH < 14):
		t.Errorf("%s: alkalinity from %g to %g, pH from %g to %g", row.ID(), o.LowDKH, o.HighDKH, o.LowPH, o.HighPH)
	case o.Unfinished, row.Alone.Unfinished:
		t.Errorf("%s: unfinished", row.ID())
	case !strings.HasSuffix(row.Sentence, "."), strings.Contains(row.Sentence, "NaN"),
		strings.Contains(row.Sentence, "unknown"), strings.Contains(row.Sentence, "  "):
		t.Errorf("%s: sentence %q", row.ID(), row.Sentence)
	}
}

// TestStories are designs whose weak point a practitioner knows beforehand.
func TestStories(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*tankfile.Tank)
		fault  string
		// atLeast and atMost bound the fault's class.
		atLeast, atMost plant.Class
		stoppedBy       Barrier
	}{
		{"a line without end floods", plumbed, "float-valve-stuck-open", plant.Danger, plant.Loss, PersonBarrier},
		{"the run limit stops a stuck watch sensor", nil, "watch-stuck-dry", plant.Nuisance, plant.Nuisance, RunLimitBarrier},
		{"the floor sensor stops a tube on the floor", nil, "tube-out", plant.Nuisance, plant.Stress, FloorBarrier},
		{"without a floor sensor the run limit must", noFloorSensor, "tube-out", plant.Stress, plant.Loss, RunLimitBarrier},
		{"a great reservoir behind a welded relay", greatReservoir, "relay-welded", plant.Danger, plant.Loss, EmptyBarrier},
		{"a valve on its own output answers a welded relay", valve, "relay-welded", plant.NoHarm, plant.Nuisance, NoNeed},
		{"a run timer answers a welded relay", runTimer, "relay-welded", plant.NoHarm, plant.Stress, TimerBarrier},
		{"an emergency drain answers a blocked one", nil, "drain-blocked", plant.Nuisance, plant.Stress, PersonBarrier},
		{"without it the display goes over its rim", noEmergency, "drain-blocked", plant.Danger, plant.Loss, FloorBarrier},
		{"a skimmer without cut-off wets the floor", noCutoff, "skimmer-overflow", plant.Danger, plant.Loss, FloorBarrier},
		{"a pump too small for its tank latches as built", tinyPump, "floor-sensor-dead", plant.Nuisance, plant.Loss, ""},
		{"two sensors of one make are one sensor", oneGroup, "sensors-stuck-dry-together", plant.Nuisance, plant.Stress, RunLimitBarrier},
		{"a welded relay behind lime water is a spike of pH", lime, "relay-welded", plant.Danger, plant.Loss, EmptyBarrier},
		{"so is a slurry of lime", lime, "lime-stirred", plant.Danger, plant.Loss, PersonBarrier},
		{"lime water a tenth as strong is not", weakLime, "relay-welded", plant.Nuisance, plant.Stress, EmptyBarrier},
		{"a fan is not a fault", nil, "new-fan", plant.NoHarm, plant.Nuisance, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := example(t, "reading-room")
			if c.change != nil {
				c.change(s)
			}
			b, err := prepare(s, units.Metric)
			if err != nil {
				t.Fatal(err)
			}
			row := b.worst([]plant.Fault{byID(t, c.fault)})
			if row.Class < c.atLeast || row.Class > c.atMost {
				t.Errorf("class %d, want %d to %d: %s", row.Class, c.atLeast, c.atMost, row.Sentence)
			}
			if c.stoppedBy != "" && row.StoppedBy != c.stoppedBy {
				t.Errorf("stopped by %q, want %q: %s", row.StoppedBy, c.stoppedBy, row.Sentence)
			}
		})
	}
}

func byID(t *testing.T, id string) plant.Fault {
	t.Helper()
	for _, f := range plant.Faults {
		if f.ID == id {
			return f
		}
	}
	t.Fatalf("no fault %q", id)
	return plant.Fault{}
}

func oneGroup(s *tankfile.Tank) { s.TopOff.Ceiling.Group = s.TopOff.Watch.Group }
func tinyPump(s *tankfile.Tank) {
	s.TopOff.Pump = &tankfile.Pump{Curve: []tankfile.PumpPoint{{FlowM3S: 4e-7}}}
}
func noFloorSensor(s *tankfile.Tank) { s.FloorSensor = nil }
func valve(s *tankfile.Tank)         { s.TopOff.ShutoffValve = true }
func runTimer(s *tankfile.Tank) {
	greatReservoir(s)
	s.TopOff.RunTimerS = 300
}
func noEmergency(s *tankfile.Tank) {
	s.Overflow.EmergencyHeightM = 0
	s.Overflow.CrestHeightM = 0.58 // little room below the rim
}
func lime(s *tankfile.Tank)     { s.TopOff.Reservoir.LimeWater = true }
func weakLime(s *tankfile.Tank) { lime(s); s.TopOff.Reservoir.LimeFrac = 0.1 }
func noCutoff(s *tankfile.Tank) { s.Skimmer.CupCutoff = false }
func greatReservoir(s *tankfile.Tank) {
	s.TopOff.Reservoir.Shape.LengthM *= 3
}
func plumbed(s *tankfile.Tank) {
	s.TopOff.Reservoir, s.TopOff.Pump = nil, nil
	s.TopOff.Watch, s.TopOff.Ceiling, s.Controller, s.FloorSensor = nil, nil, nil, nil
	s.TopOff.ReturnSensed = false
	s.TopOff.Plumbed = &tankfile.WaterLine{ProductM3S: 0.2 / day.Seconds(), RejectRatio: 3}
	s.TopOff.FloatValve = &tankfile.FloatValve{ShutElevationM: 0.2, OpenBelowM: 0.01}
}

// TestFreshWaterIsNoChemistry: dilution that salinity lives through moves
// alkalinity in proportion and pH hardly at all, so with fresh water neither
// decides a row's class: class 1 of alkalinity, 1.5 dKH, is a fifth of the tank's
// and so a drop of 7 in salinity, class 3.
func TestFreshWaterIsNoChemistry(t *testing.T) {
	for _, name := range []string{"window-nano", "reading-room", "grand-lobby", "plumbed-line"} {
		r := check(t, example(t, name), Options{SinglesOnly: true})
		for i := range r.Singles {
			row := &r.Singles[i]
			o, target := &row.Outcome, r.Tank.Water
			moved := max(o.HighDKH-target.AlkalinityDKH, target.AlkalinityDKH-o.LowDKH)
			salt := max(o.HighPSU-target.SalinityPSU, target.SalinityPSU-o.LowPSU) / target.SalinityPSU
			if moved > 1.05*target.AlkalinityDKH*salt+0.05 {
				t.Errorf("%s, %s: alkalinity moves by %.2f dKH, salinity by %.1f %%", name, row.ID(), moved, 100*salt)
			}
			for class := plant.Nuisance; class <= plant.Loss; class++ {
				i := class - 1
				if o := &row.Outcome; row.Class < plant.Danger && (o.HighPH >= plant.HighPH[i] || o.LowPH <= plant.LowPH[i] || o.DayDKH >= plant.AlkalinityDayDKH[i]) {
					t.Errorf("%s, %s: class %d by chemistry", name, row.ID(), class)
				}
			}
			if words := chemistry(r.Tank, &row.Outcome, r.Units); len(words) > 0 {
				t.Errorf("%s, %s: %v", name, row.ID(), words)
			}
		}
	}
}

// TestLimeIsBounded: what may enter at once is less with lime water, and the
// settings follow.
func TestLimeIsBounded(t *testing.T) {
	plain, limed := example(t, "reading-room"), example(t, "reading-room")
	lime(limed)
	a, err := prepare(plain, units.Metric)
	if err != nil {
		t.Fatal(err)
	}
	b, err := prepare(limed, units.Metric)
	if err != nil {
		t.Fatal(err)
	}
	if g := &b.geometry; g.DumpSafeM3 != g.DumpLimeM3 || g.DumpSafeM3 >= a.geometry.DumpSafeM3 {
		t.Errorf("safe at once: %.4f m3 of lime water, %.4f of fresh", g.DumpSafeM3, a.geometry.DumpSafeM3)
	}
	if b.settings.Guard.HardCap > a.settings.Guard.HardCap {
		t.Errorf("longest run: %v with lime water, %v with fresh", b.settings.Guard.HardCap, a.settings.Guard.HardCap)
	}
	limed.Water.ConsumptionDKHDay = 0.2
	if b, err = prepare(limed, units.Metric); err != nil {
		t.Fatal(err)
	}
	if p := strings.Join(b.geometry.Problems, " "); !strings.Contains(p, "a day more than the tank is said to use") {
		t.Errorf("a tank that uses little: %q", p)
	}
}

// TestChangesHelp: what the search proposes makes the design acceptable, and
// nothing in it can be left out.
func TestChangesHelp(t *testing.T) {
	for name, spoil := range map[string]func(*tankfile.Tank){
		"plumbed":         plumbed,
		"great reservoir": greatReservoir,
		"lime water":      lime,
		"bare": func(s *tankfile.Tank) {
			noFloorSensor(s)
			noEmergency(s)
			noCutoff(s)
			s.TopOff.Ceiling = nil
			s.TopOff.ReturnSensed = false
			s.Alarm.Remote = false
			s.TopOff.SiphonBreak = false
			s.TopOff.Reservoir.FloorElevationM = 0.8
			s.TopOff.TubeHighElevationM = 1.3
		},
		"long limits": func(s *tankfile.Tank) {
			s.Controller.RunHardCapS = 600
			s.Controller.RunLimitFactor = 3
			greatReservoir(s)
			s.TopOff.Pump.Curve[0].FlowM3S *= 20
			s.TopOff.Ceiling = nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := example(t, "reading-room")
			spoil(s)
			before, err := tankfile.Write(s)
			if err != nil {
				t.Fatal(err)
			}
			ctx := t.Context()
			if f, err := shortfallOf(ctx, s, nil); err != nil || f.harm == 0 {
				t.Fatalf("%+v, err %v: the spoilt design is not bad", f, err)
			}
			plan, err := search(ctx, s)
			if err != nil {
				t.Fatal(err)
			}
			var ids []string
			for _, c := range plan {
				ids = append(ids, c.id)
			}
			t.Log(ids)
			if f, err := shortfallOf(ctx, applied(s, plan), nil); err != nil || f.harm != 0 {
				t.Fatalf("%+v is left, err %v", f, err)
			}
			for i := range plan {
				without := slices.Delete(slices.Clone(plan), i, i+1)
				if f, _ := shortfallOf(ctx, applied(s, without), nil); f.harm == 0 {
					t.Errorf("%s is not needed", plan[i].id)
				}
			}
			if after, err := tankfile.Write(s); err != nil || string(after) != string(before) {
				t.Error("the search changed the tank it was given")
			}
			if _, err := tankfile.Write(applied(s, plan)); err != nil {
				t.Errorf("the changed tank is not a valid tank: %v", err)
			}
		})
	}
}

// TestNeverToppingOffIsRefused: a design whose fills are longer than any limit
// does harm with nothing wrong, however well its alarm works.
func TestNeverToppingOffIsRefused(t *testing.T) {
	s := example(t, "window-nano")
	tinyPump(s)
	r := check(t, s, Options{SinglesOnly: true})
	if r.Verdict.Accepted || r.AsBuilt.Alone.LatchedAt == plant.NotReached {
		t.Errorf("accepted %v, latched after %v: %s", r.Verdict.Accepted, r.AsBuilt.Alone.LatchedAt, r.Verdict.Because)
	}
}

// TestRefilledReservoir: a reservoir that refills itself, with every fault. Each
// run finishes, and a stuck refill is a flood.
func TestRefilledReservoir(t *testing.T) {
	for _, lowSensor := range []bool{true, false} {
		s := example(t, "reading-room")
		r := s.TopOff.Reservoir
		r.Refill = &tankfile.Refill{Line: tankfile.WaterLine{ProductM3S: 0.2 / day.Seconds(), RejectRatio: 3},
			ShutHeightM: r.FillHeightM, OpenBelowM: 0.03}
		if !lowSensor {
			r.LowSensor = nil
		}
		b, err := prepare(s, units.Metric)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := b.tryAll(t.Context(), combinationsOf(s, false), nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := range rows {
			row := &rows[i]
			soundRow(t, row)
			if row.ID() == "refill-stuck-open" && row.Class < plant.Danger {
				t.Errorf("class %d: %s", row.Class, row.Sentence)
			}
		}
	}
}

// TestFloatValveSite: without sensors the geometry stands on the float valve,
// and every number of the report is one.
func TestFloatValveSite(t *testing.T) {
	g := check(t, example(t, "plumbed-line"), Options{SinglesOnly: true}).Geometry
	for what, v := range map[string]float64{"watch": g.WatchM, "highest": g.HighestM, "rest": g.RestM,
		"margin": g.MarginM3, "safe": g.DumpSafeM3, "dip": g.DipM} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%s is %g", what, v)
		}
	}
}

// TestDrainTooSmall: a drain that cannot carry the pump is said so at once.
func TestDrainTooSmall(t *testing.T) {
	s := example(t, "reading-room")
	s.Overflow.DrainCapacityM3S, s.Overflow.EmergencyHeightM = 1e-4, 0
	if _, err := Check(t.Context(), s, Options{}); err == nil || !strings.Contains(err.Error(), "overflow.drain capacity") {
		t.Errorf("error %v", err)
	}
}

// TestBucketIsSeenAtOnce: what takes no time counts as a change within the
// hour.
func TestBucketIsSeenAtOnce(t *testing.T) {
	b, err := prepare(example(t, "window-nano"), units.Metric)
	if err != nil {
		t.Fatal(err)
	}
	o := b.try(0, []plant.Fault{byID(t, "bucket-of-fresh")}).Outcome
	// 3 % of fresh water: 35 (1 - 1/1.03) with conservative mixing.
	if want := 35 * (1 - 1/1.03); math.Abs(o.HourPSU-want) > 0.05 {
		t.Errorf("%.3f PSU within an hour, mixing says %.3f", o.HourPSU, want)
	}
}

// TestGeometryByHand is a sump whose numbers come out by hand.
func TestGeometryByHand(t *testing.T) {
	s := example(t, "reading-room")
	s.Display.Shape.DisplacedFrac = 0
	for i := range s.Sump.Compartments {
		s.Sump.Compartments[i].DisplacedFrac = 0
	}
	s.TopOff.Watch.ElevationM, s.TopOff.Ceiling.ElevationM = 0.18, 0.205
	b, err := prepare(s, units.Metric)
	if err != nil {
		t.Fatal(err)
	}
	g := &b.geometry
	const displayM2, chamberM2 = 1.2 * 0.6, 0.24 * 0.4
	near := func(what string, got, want, tolerance float64) {
		t.Helper()
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s = %.6g, by hand %.6g", what, got, want)
		}
	}
	// Critical flow over the edge, Q = 1.705 L h^1.5: San Diego State Univ.
	// CIVE 530 midterm 2005 solution prints the coefficient as 3.087 ft^0.5/s.
	head := math.Pow(g.ReturnFlowM3S/(1.705*0.4), 2.0/3)
	near("head over the crest", g.EdgeHeadM, head, 1e-5)
	near("over the crest", g.OverEdgeM3, displayM2*g.EdgeHeadM, 1e-9)
	near("siphon", g.SiphonM3, displayM2*(0.560-0.555), 1e-9)
	near("the line's own water", g.LineM3, math.Pi/4*0.022*0.022*2.2, 1e-9)
	// The chamber alone up to the refugium's baffle at 220 mm, then with it, then
	// from 230 mm with all three.
	near("salinity bound", g.DumpSalinityM3, g.SystemM3*2/33, 1e-9)
	overshoot := b.topOffM3S * 1
	highest := 0.205 + 0.002 + overshoot/chamberM2
	near("highest level", g.HighestM, highest, 1e-6)
	need := g.OverEdgeM3 + g.SiphonM3 + g.LineM3
	level := highest
	for _, step := range []struct{ toM, areaM2 float64 }{
		{0.220, chamberM2}, {0.230, chamberM2 + 0.26*0.4}, {0.400, chamberM2 + (0.26+0.38)*0.4},
	} {
		room := (step.toM - level) * step.areaM2
		if need <= room {
			level += need / step.areaM2
			need = 0
			break
		}
		need -= room
		level = step.toM
	}
	near("level after drain-down", g.RestM, level, 1e-6)
	near("dip", g.DipM, displayM2*0.005/chamberM2+0.0015, 1e-6)
}

// TestSettingsAreLawful: whatever a tank file leaves open, the guard accepts
// what the check proposes, and one run does no more than it says.
func TestSettingsAreLawful(t *testing.T) {
	for _, name := range []string{"window-nano", "reading-room", "grand-lobby"} {
		b, err := prepare(example(t, name), units.Metric)
		if err != nil {
			t.Fatal(err)
		}
		g := b.settings.Guard
		if err := g.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if g.HardCap > guard.MaxRun || g.RunLimitFloor > g.HardCap || g.FirstFillLimit > g.HardCap {
			t.Errorf("%s: limits %v, %v, %v", name, g.FirstFillLimit, g.RunLimitFloor, g.HardCap)
		}
		if run := g.HardCap.Seconds() * b.topOffM3S; run > max(limitOfSafe*b.geometry.DumpSafeM3, b.fillM3*limitOverFill)+1e-9 {
			t.Errorf("%s: one run may bring %.3g m3, a quarter of what is safe is %.3g", name, run, limitOfSafe*b.geometry.DumpSafeM3)
		}
		for _, item := range b.settings.Items {
			if item.Reason == "" || item.Value == "" || strings.Contains(item.Value+item.Reason, "unknown") {
				t.Errorf("%s: %+v", name, item)
			}
		}
	}
}

// TestWhoComes: an alarm that reaches somebody, a visit that finds something
// amiss, or nobody.
func TestWhoComes(t *testing.T) {
	for _, c := range []struct {
		name   string
		people func(*tankfile.Tank)
		faults []string
		by     Finder
		after  time.Duration // 0: not asked
	}{
		{"remote alarm", nil, []string{"relay-welded"}, ByAlarm, 0},
		{"nobody hears the bell", func(s *tankfile.Tank) { s.Alarm.Remote = false }, []string{"relay-welded"}, ByVisit, 4 * day},
		{"somebody hears the bell", func(s *tankfile.Tank) {
			s.Alarm.Remote, s.People.HearsAudible = false, true
		}, []string{"relay-welded"}, ByAlarm, 0},
		{"the alarm is silent", nil, []string{"relay-welded", "alarm-silent"}, ByVisit, 4 * day},
		{"nothing is amiss", nil, []string{"floor-sensor-dead"}, ByVisit, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := example(t, "reading-room")
			if c.people != nil {
				c.people(s)
			}
			b, err := prepare(s, units.Metric)
			if err != nil {
				t.Fatal(err)
			}
			var faults []plant.Fault
			for _, id := range c.faults {
				faults = append(faults, byID(t, id))
			}
			row := b.try(0, faults)
			if row.FoundBy != c.by {
				t.Errorf("found by %s after %v, want %s", row.FoundBy, row.FoundAfter, c.by)
			}
			if c.after > 0 && row.FoundAfter != c.after {
				t.Errorf("found after %v, want %v", row.FoundAfter, c.after)
			}
			if c.by == ByAlarm {
				want := row.Alone.AlarmAt + seconds(s.People.AnswerHours*3600)
				if row.FoundAfter != want {
					t.Errorf("found after %v, alarm and answer make %v", row.FoundAfter, want)
				}
			}
		})
	}
}

func TestPairsExcludeOneUnit(t *testing.T) {
	for _, c := range combinationsOf(example(t, "reading-room"), true) {
		if len(c) == 2 && c[0].Unit == c[1].Unit {
			t.Errorf("%s and %s are both the %s", c[0].ID, c[1].ID, c[0].Unit)
		}
	}
}

func TestProgressAndCancel(t *testing.T) {
	s := example(t, "window-nano")
	var last, calls atomic.Int64
	check(t, s, Options{SinglesOnly: true, Progress: func(done, total int) {
		calls.Add(1)
		last.Store(int64(done))
		if done < 1 || done > total {
			t.Errorf("%d of %d", done, total)
		}
	}})
	if last.Load() != calls.Load() || calls.Load() == 0 {
		t.Errorf("%d calls, the last says %d", calls.Load(), last.Load())
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Check(ctx, s, Options{}); err == nil {
		t.Error("a cancelled check gives no error")
	}
}

// TestSameTwice: the check is a function of the tank alone, however many
// goroutines work on it.
func TestSameTwice(t *testing.T) {
	a, b := check(t, example(t, "window-nano"), Options{}), check(t, example(t, "window-nano"), Options{})
	for i := range a.Pairs {
		if a.Pairs[i].Sentence != b.Pairs[i].Sentence {
			t.Fatalf("row %d: %q, then %q", i, a.Pairs[i].Sentence, b.Pairs[i].Sentence)
		}
	}
}

// TestUnits: the same check in US units says the same in other words.
func TestUnits(t *testing.T) {
	r := check(t, example(t, "window-nano"), Options{Units: units.US, SinglesOnly: true})
	for _, item := range r.Settings.Items {
		if strings.Contains(item.Value+item.Reason, " L") || strings.Contains(item.Value+item.Reason, " mm") {
			t.Errorf("metric in a US report: %+v", item)
		}
	}
}
