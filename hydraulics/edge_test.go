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
	})
}

// TestEdgeStandsAboveSharpCrest: what the choice of formula costs, against
// Rehbock's sharp crest in a deep channel, over a tank's range of heads.
func TestEdgeStandsAboveSharpCrest(t *testing.T) {
	const widthM, crestHeightM = 0.4, 0.5
	// Rehbock (1929), Trans. ASCE 93, 1143.
	rehbock := func(headM float64) float64 {
		h := headM + 0.00125
		return 2.0 / 3 * math.Sqrt2 * (0.602 + 0.0832*headM/crestHeightM) * widthM * math.Sqrt(StandardGravityMS2) * h * math.Sqrt(h)
	}
	for _, headM := range []float64{0.003, 0.006, 0.012, 0.025} {
		higherMM := 1000 * (EdgeHeadM(rehbock(headM), widthM) - headM)
		if higherMM < 1.3 || higherMM > 2.15 {
			t.Errorf("head %g m: ours stands %.2f mm higher, documented 1.3 to 2.1", headM, higherMM)
		}
	}
}

func TestNoFlowWithoutHead(t *testing.T) {
	for _, x := range []float64{0, -0.1} {
		if flow, head := EdgeFlowM3S(x, 1), EdgeHeadM(x, 1); flow != 0 || head != 0 {
			t.Errorf("at %g: flow %g, head %g, want 0", x, flow, head)
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
		if math.Abs(d.OverEdgeM3()+d.SiphonM3()-lost) > 1e-12 || d.OverEdgeM3() < 0 || d.SiphonM3() < 0 {
			t.Fatalf("%g m3 comes down, the display loses %g", d.OverEdgeM3()+d.SiphonM3(), lost)
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
