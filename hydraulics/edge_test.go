package hydraulics_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	. "isohaline/hydraulics"
)

func TestEdgeHeadInvertsFlow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		head := rapid.Float64Range(1e-5, 0.5).Draw(t, "head")
		edge := rapid.Float64Range(0.01, 5).Draw(t, "edge")
		if back := EdgeHeadM(EdgeFlowM3S(head, edge), edge); math.Abs(back-head) > 1e-13*head {
			t.Fatalf("head %g comes back as %g", head, back)
		}
		pipe := Standpipe{BoreM: edge / 10, DrainCapacityM3S: math.Inf(1)}
		if back := pipe.HeadM(pipe.FlowM3S(head)); math.Abs(back-head) > 1e-13*head {
			t.Fatalf("standpipe: head %g comes back as %g", head, back)
		}
	})
}

// TestEdgeStandsAboveSharpCrest: what the choice of formula costs, against
// Rehbock's sharp crest in a deep channel, over a tank's range of heads.
func TestEdgeStandsAboveSharpCrest(t *testing.T) {
	sharp := SharpCrest{WidthM: 0.4, CrestHeightM: 0.5}
	for _, headM := range []float64{0.003, 0.006, 0.012, 0.025} {
		higherMM := 1000 * (EdgeHeadM(sharp.RehbockM3S(headM), sharp.WidthM) - headM)
		if higherMM < 1.3 || higherMM > 2.15 {
			t.Errorf("head %g m: ours stands %.2f mm higher, documented 1.3 to 2.1", headM, higherMM)
		}
	}
}

func TestSharpCrestsAgree(t *testing.T) {
	w := SharpCrest{WidthM: 1, CrestHeightM: 0.4}
	for headM := 0.05; headM <= 0.4; headM += 0.05 {
		reh, kc, ack := w.RehbockM3S(headM), w.KindsvaterCarterM3S(headM), w.AckersM3S(headM)
		if low, high := min(reh, kc, ack), max(reh, kc, ack); high/low > 1.025 {
			t.Errorf("head %g m: %g to %g m3/s, want within 2.5 %%", headM, low, high)
		}
	}
}

func TestNoFlowWithoutHead(t *testing.T) {
	w := SharpCrest{WidthM: 1, CrestHeightM: 0.4}
	for _, headM := range []float64{0, -0.1} {
		for i, flow := range []float64{
			w.RehbockM3S(headM), w.KindsvaterCarterM3S(headM), w.AckersM3S(headM), w.ContractedM3S(headM), w.FrancisM3S(headM),
			VNotch{AngleDeg: 90}.FlowM3S(headM), ConeM3S(headM), EdgeFlowM3S(headM, 1), OrificeFlowM3S(headM, 1),
			EdgeHeadM(headM, 1), OrificeHeadM(headM, 1),
		} {
			if flow != 0 {
				t.Errorf("formula %d at %g gives %g, want 0", i, headM, flow)
			}
		}
	}
}

// TestVNotchAngles: beyond Shen's angles the end's coefficients hold, and the
// flow has no jump at any tabulated angle.
func TestVNotchAngles(t *testing.T) {
	for _, angle := range []float64{20, 40, 60, 80, 100} {
		below, above := VNotch{angle - 1e-9}.FlowM3S(0.1), VNotch{angle + 1e-9}.FlowM3S(0.1)
		if math.Abs(above/below-1) > 1e-9 {
			t.Errorf("at %g degrees flow jumps from %g to %g", angle, below, above)
		}
	}
}

// TestVNotchAgainstCone: two experiments on a 90 degree notch, and the rounded
// 1.38 h^2.5 of Thomson (1861; from memory) for the record.
func TestVNotchAgainstCone(t *testing.T) {
	for headM := VNotchLeastHeadM; headM < 0.38; headM += 0.04 {
		shen, cone, thomson := VNotch{AngleDeg: 90}.FlowM3S(headM), ConeM3S(headM), 1.38*math.Pow(headM, 2.5)
		if math.Abs(shen/cone-1) > 0.015 {
			t.Errorf("head %g m: Shen over Cone %g", headM, shen/cone)
		}
		t.Logf("head %.3f m: Shen over Cone %.4f, over Thomson %.4f", headM, shen/cone, shen/thomson)
	}
}

func TestDrainLimits(t *testing.T) {
	weir := Weir{EdgeLengthM: 0.4, DrainCapacityM3S: 1e-3}
	pipe := Standpipe{BoreM: 0.032, DrainCapacityM3S: 4e-4}
	rim := 2 * math.Pi * 0.016
	for _, row := range []struct {
		name      string
		got, want float64
	}{
		{"edge decides", weir.FlowM3S(0.005), EdgeFlowM3S(0.005, 0.4)},
		{"drain decides", weir.FlowM3S(0.1), 1e-3},
		{"head within capacity", weir.HeadM(5e-4), EdgeHeadM(5e-4, 0.4)},
		{"head beyond capacity", weir.HeadM(1.1e-3), math.Inf(1)},
		{"blocked drain", Weir{EdgeLengthM: 0.4}.FlowM3S(0.1), 0},
		{"rim as edge", pipe.FlowM3S(0.006), EdgeFlowM3S(0.006, rim)},
		{"drowned rim", Standpipe{0.032, math.Inf(1)}.FlowM3S(0.1), OrificeFlowM3S(0.1, math.Pi*0.016*0.016)},
		{"pipe decides", pipe.FlowM3S(0.1), 4e-4},
		{"beyond the pipe", pipe.HeadM(5e-4), math.Inf(1)},
	} {
		if math.Abs(row.got-row.want) > 1e-12*math.Abs(row.want) && row.got != row.want {
			t.Errorf("%s: got %g, want %g", row.name, row.got, row.want)
		}
	}
}

func TestDrainDown(t *testing.T) {
	display := must(NewPrism(0.72, 0.6))(t)
	for _, row := range []struct {
		name             string
		outletM, breakM  float64
		restM            float64
		overM3, siphonM3 float64 // arithmetic: area times height
	}{
		{"outlet under water, no break", 0.54, 0, 0.54, 0.72 * 0.008, 0.72 * 0.02},
		{"break stops it", 0.30, 0.555, 0.555, 0.72 * 0.008, 0.72 * 0.005},
		{"break too low to help", 0.54, 0.50, 0.54, 0.72 * 0.008, 0.72 * 0.02},
		{"outlet above the crest", 0.58, 0, 0.56, 0.72 * 0.008, 0},
		{"outlet at the floor", 0, 0, 0, 0.72 * 0.008, 0.72 * 0.56},
	} {
		d := DrainDown{Display: display, CrestHeightM: 0.56, HeadOverCrestM: 0.008, OutletHeightM: row.outletM, SiphonBreakHeightM: row.breakM}
		if d.RestLevelM() != row.restM || math.Abs(d.OverEdgeM3()-row.overM3) > 1e-12 || math.Abs(d.SiphonM3()-row.siphonM3) > 1e-12 {
			t.Errorf("%s: rests at %g m, %g m3 over the edge, %g m3 by siphon; want %g, %g, %g",
				row.name, d.RestLevelM(), d.OverEdgeM3(), d.SiphonM3(), row.restM, row.overM3, row.siphonM3)
		}
	}
}

// TestDrainDownKeepsTheBooks: what comes down is what the display loses.
func TestDrainDownKeepsTheBooks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := anyVessel(t)
		height := func(name string) float64 { return rapid.Float64Range(0, v.RimM()).Draw(t, name) }
		d := DrainDown{v, height("crest"), rapid.Float64Range(0, 0.03).Draw(t, "head"), height("outlet"), height("break")}
		lost := v.VolumeM3(d.CrestHeightM+d.HeadOverCrestM) - v.VolumeM3(d.RestLevelM())
		if math.Abs(d.TotalM3()-lost) > 1e-12 || d.OverEdgeM3() < 0 || d.SiphonM3() < 0 {
			t.Fatalf("%g m3 comes down, the display loses %g", d.TotalM3(), lost)
		}
	})
}

// What comes down when the return pump of a 1.2 m tank stops.
func ExampleDrainDown() {
	display, err := NewPrism(1.2*0.6, 0.6)
	if err != nil {
		fmt.Println(err)
		return
	}
	pump, err := NewPumpCurve([]PumpPoint{{FlowM3S: 0, HeadM: 3.2}, {FlowM3S: 720e-6, HeadM: 1.4}, {FlowM3S: 940e-6, HeadM: 0}})
	if err != nil {
		fmt.Println(err)
		return
	}
	line := Tube{LengthM: 2.2, BoreM: 0.022, MinorLossK: 6, RoughnessM: RoughnessSmoothM}
	flow := OperatingFlowM3S(pump, line, 1.26, SeawaterViscosityM2S(35, 25))
	down := DrainDown{
		Display:      display,
		CrestHeightM: 0.560, HeadOverCrestM: EdgeHeadM(flow, 0.4),
		OutletHeightM: 0.540, SiphonBreakHeightM: 0.555,
	}
	fmt.Printf("%.0f L/h stand %.1f mm over the edge\n", flow*3.6e6, down.HeadOverCrestM*1000)
	fmt.Printf("%.1f L come over it, %.1f L by siphon, %.1f L out of the line\n",
		down.OverEdgeM3()*1000, down.SiphonM3()*1000, line.VolumeM3()*1000)
	// Output:
	// 1768 L/h stand 8.0 mm over the edge
	// 5.8 L come over it, 3.6 L by siphon, 0.8 L out of the line
}
