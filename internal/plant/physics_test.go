package plant

import (
	"math"
	"strconv"
	"testing"
	"time"

	"isohaline/hydraulics"
	"isohaline/internal/refcheck"
)

// TestDrainDownFollowsTheWeir: after the return pump stops, the display's water
// above the crest follows the closed solution of dV/dt = -C L (V/A)^1.5, which
// is V0 (1 + t/(2 tau))^-2 with tau = V0/Q0.
func TestDrainDownFollowsTheWeir(t *testing.T) {
	tw := exampleTwin(t, "reading-room", 0)
	tw.tank.Return.OutletHeightM = tw.tank.Display.Shape.HeightM // above the water: no siphon
	tw = buildTwin(t, tw.tank, 0)
	o := tw.tank.Overflow
	head := hydraulics.EdgeHeadM(tw.returnFlowM3S, o.EdgeLengthM)
	v0 := tw.display.VolumeM3(o.CrestHeightM+head) - tw.displayCrestM3
	tau := v0 / tw.returnFlowM3S
	c := Healthy()
	c.ReturnOff = Pulse{On: time.Hour}
	checked := 0
	tw.SpinUp().Run(Scenario{Conditions: c, Length: 10 * time.Minute, Trace: func(s Sample) {
		got := tw.display.VolumeM3(s.DisplayM) - tw.displayCrestM3
		want := v0 * math.Pow(1+s.SinceOnset.Seconds()/(2*tau), -2)
		if s.ReturnRunning || want < 0.02*v0 {
			return
		}
		checked++
		if math.Abs(got-want) > 0.01*v0 {
			t.Errorf("after %v: %.4g L above the crest, closed solution %.4g L", s.SinceOnset, got*1e3, want*1e3)
		}
	}})
	if checked < 5 {
		t.Errorf("only %d points checked", checked)
	}
}

// TestDilution: fresh water poured in lowers salinity as conservative mixing
// says; alkalinity falls in the same proportion, half a dKH at about 6 % of the
// water at 8 dKH. Table: conservative mixing with EOS-80 densities (UNESCO
// Technical Papers in Marine Science 44, 1983).
func TestDilution(t *testing.T) {
	_, rows := refcheck.Lines(t, "testdata/topoff_alkalinity_drop.csv")
	fl := newFluid(25)
	for _, row := range rows {
		num := func(i int) float64 {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		startDKH, dropDKH, added, wantPSU := num(0), num(2), num(5), num(6)
		tank := fl.parcelOf(1, mix{psu: 35, alkMolM3: startDKH * molM3PerDKH})
		tank.add(fl.parcelOf(added, mix{}))
		if got := tank.salinityPSU(); math.Abs(got-wantPSU) > 2e-3 {
			t.Errorf("%g of the volume added: salinity %.4f, table %.4f", added, got, wantPSU)
		}
		gotDrop := startDKH - (&Twin{fluid: fl}).waterOf(&tank).dkh
		if math.Abs(gotDrop-dropDKH) > 2e-3*dropDKH {
			t.Errorf("%g of the volume added at %g dKH: falls %.4f dKH, table %.4f", added, startDKH, gotDrop, dropDKH)
		}
	}
}

// TestUnattendedLineFloods: common practice, no source: an RO/DI line through a
// failed float valve has no end. Its flood is the product alone, what the mains
// lose is product and reject, and both grow with time.
func TestUnattendedLineFloods(t *testing.T) {
	tw := exampleTwin(t, "plumbed-line", 0)
	onset := tw.SpinUp()
	line := tw.tank.TopOff.Plumbed
	c := conditions(t, tw, "float-valve-stuck-open")
	var last Outcome
	for _, d := range []float64{10, 20, 40} {
		o := onset.Run(Scenario{Conditions: c, Length: days(d)}).Alone
		product := line.ProductM3S * days(d).Seconds()
		if want := product * (1 + line.RejectRatio); math.Abs(o.MainsM3-want) > 1e-6*want {
			t.Errorf("after %g days: %.4g m3 from the mains, want product and reject %.4g", d, o.MainsM3, want)
		}
		if want := product * line.RejectRatio; math.Abs(o.RejectM3-want) > 1e-6*want {
			t.Errorf("after %g days: reject %.4g m3, want %.4g", d, o.RejectM3, want)
		}
		if o.FloorTotalM3() <= last.FloorTotalM3() {
			t.Errorf("after %g days: %.4g m3 on the floor, no more than before", d, o.FloorTotalM3())
		}
		last = o
	}
	// Once the tank is full, all that does not evaporate goes over the rim.
	a := onset.Run(Scenario{Conditions: c, Length: 20 * day}).Alone
	b := onset.Run(Scenario{Conditions: c, Length: 21 * day}).Alone
	spilt := b.FloorTotalM3() - a.FloorTotalM3()
	want := line.ProductM3S*day.Seconds() - (b.EvaporatedM3 - a.EvaporatedM3)
	if math.Abs(spilt-want) > 0.01*want {
		t.Errorf("in a day %.5g m3 go over, product less evaporation is %.5g", spilt, want)
	}
	if last.Class() != Loss {
		t.Errorf("class %d, want %d", last.Class(), Loss)
	}
}

// TestWeldedRelayEmptiesTheReservoir: the bounded source is what ends it, and
// salinity stands where mixing all of it in puts it.
func TestWeldedRelayEmptiesTheReservoir(t *testing.T) {
	tw := exampleTwin(t, "reading-room", 2)
	o := tw.SpinUp().Run(Scenario{Conditions: conditions(t, tw, "relay-welded"), Length: 3 * time.Hour}).Alone
	usable := tw.reservoirFullM3 - tw.reservoirIntakeM3
	if math.Abs(o.TopOffM3-usable) > 1e-6 {
		t.Errorf("%.4g m3 ran in, the reservoir gives %.4g", o.TopOffM3, usable)
	}
	v := tw.SystemM3()
	if want := tw.target.psu * v / (v + usable); math.Abs(o.LowPSU-want) > 0.15 {
		t.Errorf("salinity falls to %.3f, mixing says %.3f", o.LowPSU, want)
	}
	if o.PumpDry < time.Hour {
		t.Errorf("the pump ran dry for %v only", o.PumpDry)
	}
}

// TestRunTimerCutsAWeldedRelay: as much runs in as the pump moves until the timer
// opens, and as much again after every power cut, which sets it back; with its
// own relay stuck it is as if it were not there.
func TestRunTimerCutsAWeldedRelay(t *testing.T) {
	healthy := exampleTwin(t, "reading-room", 2)
	s := *healthy.tank
	s.TopOff.RunTimerS = 120
	tw := buildTwin(t, &s, 2)
	ran := func(ids ...string) Outcome {
		return tw.SpinUp().Run(Scenario{Conditions: conditions(t, tw, ids...), Length: 3 * time.Hour}).Alone
	}
	once := ran("relay-welded")
	// The pump slows a little as the reservoir falls.
	if want := tw.TopOffFlowM3S() * s.TopOff.RunTimerS; math.Abs(once.TopOffM3-want) > 0.05*want {
		t.Errorf("%.4g m3 ran in, the pump moves %.4g in the timer's time", once.TopOffM3, want)
	}
	if once.RunTimerAt != 2*time.Minute || once.FlowEndedAt > 2*time.Minute+time.Second {
		t.Errorf("the timer cut at %v, the flow ended at %v", once.RunTimerAt, once.FlowEndedAt)
	}
	twice := ran("relay-welded", "power-cut-hour")
	if math.Abs(twice.TopOffM3-once.TopOffM3) > 0.05*once.TopOffM3 {
		t.Errorf("%.4g m3 ran in after an hour without power, %.4g without the cut", twice.TopOffM3, once.TopOffM3)
	}
	usable := tw.reservoirFullM3 - tw.reservoirIntakeM3
	if stuck := ran("relay-welded", "run-timer-stuck"); math.Abs(stuck.TopOffM3-usable) > 1e-6 || stuck.RunTimerAt != never {
		t.Errorf("a stuck timer let %.4g m3 in, the reservoir gives %.4g", stuck.TopOffM3, usable)
	}
	if fills := ran("new-fan"); fills.RunTimerAt != never {
		t.Errorf("the timer cut into an ordinary fill after %v", fills.RunTimerAt)
	}
}

// TestSiphonStopsAtTheTubesEnd: a reservoir that stands higher siphons until
// its surface is level with the tube's end or the chamber, and no further.
func TestSiphonStopsAtTheTubesEnd(t *testing.T) {
	tw := exampleTwin(t, "grand-lobby", 0)
	s := *tw.tank
	s.TopOff.SiphonBreak, s.TopOff.ShutoffValve = false, false
	tw = buildTwin(t, &s, 0)
	o := tw.SpinUp().Run(Scenario{Conditions: Healthy(), Length: day}).Alone
	if o.EmptyAt == NotReached {
		t.Errorf("a reservoir %.2f m up did not siphon empty: %+v", s.TopOff.Reservoir.FloorElevationM, o)
	}
	s.TopOff.SiphonBreak = true
	tw = buildTwin(t, &s, 0)
	if o := tw.SpinUp().Run(Scenario{Conditions: Healthy(), Length: day}).Alone; o.EmptyAt != NotReached {
		t.Error("with an air hole it still siphoned empty")
	}
}

// TestMixingRelaxes: with the return pump running, a difference between display
// and chamber dies away with the closed time constant of two mixed volumes.
func TestMixingRelaxes(t *testing.T) {
	for _, x := range []float64{0, 1e-9, 1e-7, 1e-6, 1e-5, 0.1, 1, 10, 39.9, 40.1, 1e4} {
		decay, held := relaxation(x)
		wantDecay, wantHeld := math.Exp(-x), 1.0
		if x > 0 {
			wantHeld = -math.Expm1(-x) / x
		}
		if math.Abs(decay-wantDecay) > 1e-12 || math.Abs(held-wantHeld) > 1e-10 {
			t.Errorf("relaxation(%g) = %g, %g; want %g, %g", x, decay, held, wantDecay, wantHeld)
		}
	}
}

func TestPulse(t *testing.T) {
	p := Pulse{On: 10 * time.Minute, Period: time.Hour}
	for _, c := range []struct {
		since  time.Duration
		active bool
		next   time.Duration
	}{
		{0, true, 10 * time.Minute},
		{10*time.Minute - 1, true, 10 * time.Minute},
		{10 * time.Minute, false, time.Hour},
		{time.Hour - 1, false, time.Hour},
		{time.Hour, true, time.Hour + 10*time.Minute},
		{25*time.Hour + 5*time.Minute, true, 25*time.Hour + 10*time.Minute},
	} {
		if got := p.activeAt(c.since); got != c.active {
			t.Errorf("activeAt(%v) = %v", c.since, got)
		}
		if got := p.nextChange(c.since); got != c.next {
			t.Errorf("nextChange(%v) = %v, want %v", c.since, got, c.next)
		}
	}
	once := Pulse{On: time.Minute}
	if once.activeAt(-1) || !once.activeAt(0) || once.activeAt(time.Minute) || once.nextChange(time.Minute) != never {
		t.Error("a single interruption comes once")
	}
	if (Pulse{}).activeAt(0) || (Pulse{}).nextChange(0) != never {
		t.Error("no interruption is none")
	}
}

// TestRecent: a ramp changes by its slope, a step by its height, whatever the
// spacing of the readings and the length of the memory.
func TestRecent(t *testing.T) {
	for _, span := range []time.Duration{time.Hour, day} {
		for _, spacing := range []time.Duration{time.Second, time.Minute, 17 * time.Minute, 3 * time.Hour} {
			var r recent
			r.reset(span, 0, water{35, 8})
			worst := water{}
			const slopePerHour = 0.4
			move := func(now time.Duration, w water) {
				m := w.minus(r.ago(now, w))
				worst = water{max(worst.psu, math.Abs(m.psu)), max(worst.dkh, math.Abs(m.dkh))}
			}
			for now := spacing; now < 60*time.Hour; now += spacing {
				climbed := slopePerHour * now.Hours()
				move(now, water{35 + climbed, 8 - climbed/2})
			}
			want := slopePerHour * span.Hours()
			if math.Abs(worst.psu-want) > 0.01*want || math.Abs(worst.dkh-want/2) > 0.01*want {
				t.Errorf("every %v: a ramp of %g and half of it in %v reads %+v", spacing, want, span, worst)
			}
			now := 60 * time.Hour
			r.reset(span, now, water{35, 8})
			worst = water{}
			if move(now+time.Second, water{33, 7}); math.Abs(worst.psu-2) > 1e-9 || math.Abs(worst.dkh-1) > 1e-9 {
				t.Errorf("every %v: a step of 2 and 1 reads %+v", spacing, worst)
			}
		}
	}
}

// TestLater: a year of changing weather is the sum of its parts.
func TestLater(t *testing.T) {
	tw := exampleTwin(t, "reading-room", 0)
	onset := tw.SpinUp()
	double := Healthy()
	double.EvaporationFactor = 2
	plain := onset.Run(Scenario{Conditions: Healthy(), Length: 2 * day}).Alone.EvaporatedM3
	mixed := onset.Run(Scenario{Conditions: Healthy(), Length: 3 * day, Later: []Later{
		{After: day, Conditions: double}, {After: 2 * day, Conditions: Healthy()},
	}}).Alone.EvaporatedM3
	if ratio := mixed / plain; math.Abs(ratio-2) > 0.01 {
		t.Errorf("one day double between two plain ones evaporates %.3f of two plain days, want 2", ratio)
	}
}

// TestSiphonThroughASeizedPump: a pump that has power and does not turn lets a
// siphon through like one that is off, and the run comes to its end.
func TestSiphonThroughASeizedPump(t *testing.T) {
	tw := exampleTwin(t, "reading-room", 1)
	c := conditions(t, tw, "pump-seized", "topoff-siphon", "run-limit-disabled", "budget-disabled")
	if o := tw.SpinUp().Run(Scenario{Conditions: c, Length: 30 * day}).Alone; o.Unfinished {
		t.Error("the run hit its bound on segments")
	}
}
