package hydraulics_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "isohaline/hydraulics"
	"isohaline/internal/refcheck"
)

const nu = 0.94e-6 // seawater at about 25 °C

func anyTube(t *rapid.T) Tube {
	return Tube{
		LengthM:    rapid.Float64Range(0, 20).Draw(t, "length"),
		BoreM:      rapid.Float64Range(0.002, 0.06).Draw(t, "bore"),
		MinorLossK: rapid.Float64Range(0.5, 20).Draw(t, "K"),
		RoughnessM: rapid.SampledFrom([]float64{0, RoughnessSmoothM, 5e-5}).Draw(t, "roughness"),
	}
}

// TestColebrookSatisfiesItself: the root put back into the equation.
func TestColebrookSatisfiesItself(t *testing.T) {
	worst := 0.0
	for _, rough := range []float64{0, 1e-6, 1e-4, 1e-2, 0.05} {
		for re := 2300.0; re < 1e8; re *= 1.3 {
			x := 1 / math.Sqrt(Colebrook(re, rough))
			residual := math.Abs(x+2*math.Log10(rough/3.7+2.51/re*x)) / x
			worst = math.Max(worst, residual)
		}
	}
	if worst > 1e-13 {
		t.Errorf("residual %g, want 1e-13", worst)
	}
	t.Logf("worst residual: %.1f correct digits", -math.Log10(worst))
}

// TestExplicitFormulasNearColebrook: within the error their authors state.
func TestExplicitFormulasNearColebrook(t *testing.T) {
	for _, row := range []struct {
		name           string
		factor         func(re, rough float64) float64
		fromRe, toRe   float64
		fromRough      float64
		statedRelative float64
	}{
		{"Haaland 1983", Haaland, 4e3, 1e8, 0, 0.02},
	} {
		for re := row.fromRe; re <= row.toRe; re *= 2 {
			for rough := row.fromRough; rough <= 0.05; rough = 2*rough + 1e-6 {
				exact := Colebrook(re, rough)
				if off := math.Abs(row.factor(re, rough)/exact - 1); off > row.statedRelative {
					t.Errorf("%s at Re %g, roughness %g: %.1f %% from Colebrook", row.name, re, rough, 100*off)
				}
			}
		}
	}
}

// TestFrictionIsContinuous: across both ends of the transition band neither the
// factor nor its slope jumps.
func TestFrictionIsContinuous(t *testing.T) {
	for _, rough := range []float64{0, 1e-3, 0.02} {
		for _, re := range []float64{ReynoldsLaminarEnd, ReynoldsTurbulentStart} {
			const step = 1e-3
			below, at, above := DarcyFriction(re-step, rough), DarcyFriction(re, rough), DarcyFriction(re+step, rough)
			if math.Abs(above-below) > 1e-6*at {
				t.Errorf("Re %g: factor jumps from %g to %g", re, below, above)
			}
			if bend := math.Abs(above - 2*at + below); bend > 1e-10*at {
				t.Errorf("Re %g: slope jumps: second difference %g", re, bend)
			}
		}
	}
}

func TestTubeHeadRisesWithFlow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tube := anyTube(t)
		flow := rapid.Float64Range(1e-8, 1e-3).Draw(t, "flow")
		more := flow * (1 + rapid.Float64Range(1e-6, 2).Draw(t, "more"))
		if a, b := tube.HeadM(flow, nu), tube.HeadM(more, nu); !(b > a && a > 0) {
			t.Fatalf("head %g m at %g m3/s, %g m at %g m3/s", a, flow, b, more)
		}
		if tube.HeadM(-flow, nu) != -tube.HeadM(flow, nu) {
			t.Fatal("a reversed flow must lose the reversed head")
		}
	})
}

func TestTubeFlowInvertsHead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tube := anyTube(t)
		head := rapid.Float64Range(1e-4, 10).Draw(t, "head")
		flow := tube.FlowM3S(head, nu)
		if back := tube.HeadM(flow, nu); math.Abs(back-head) > 1e-11*head {
			t.Fatalf("head %g m drives %g m3/s, which loses %g m", head, flow, back)
		}
		if tube.FlowM3S(-head, nu) != -flow {
			t.Fatal("a reversed head must drive the reversed flow")
		}
	})
}

func TestTubeAtItsEdges(t *testing.T) {
	line := Tube{LengthM: 2, BoreM: 0.006, MinorLossK: 1.5}
	for _, row := range []struct {
		name      string
		got, want float64
	}{
		{"no head", line.FlowM3S(0, nu), 0},
		{"no flow", line.HeadM(0, nu), 0},
		{"no bore, flow", Tube{LengthM: 1}.FlowM3S(1, nu), 0},
		{"no bore, head", Tube{LengthM: 1}.HeadM(1e-6, nu), math.Inf(1)},
		{"no resistance", Tube{BoreM: 0.01}.FlowM3S(1, nu), math.Inf(1)},
		{"content", Tube{LengthM: 4 / math.Pi, BoreM: 0.5}.VolumeM3(), 0.25},
	} {
		if row.got != row.want {
			t.Errorf("%s: got %g, want %g", row.name, row.got, row.want)
		}
	}
	for _, got := range []float64{line.FlowM3S(math.NaN(), nu), line.FlowM3S(1, math.NaN()), line.HeadM(math.NaN(), nu)} {
		if !math.IsNaN(got) {
			t.Errorf("got %g, want NaN", got)
		}
	}
}

// TestWaterViscosity against IAPWS; 0.1 % because the density behind the
// kinematic form is only that good (Sharqawy et al. 2010).
func TestWaterViscosity(t *testing.T) {
	worst := 0.0
	for _, row := range refcheck.Table(t, "testdata/water_viscosity_iapws.csv") {
		tempC, want := number(t, row["t_degC"]), number(t, row["nu_m2_s"])
		off := math.Abs(FreshWaterViscosityM2S(tempC)/want - 1)
		worst = math.Max(worst, off)
		if off > 1e-3 {
			t.Errorf("%g °C: %g m2/s, want %g", tempC, FreshWaterViscosityM2S(tempC), want)
		}
	}
	t.Logf("worst: %.3f %%", 100*worst)
}

// TestSeawaterViscosity: no open table of measured values was at hand; the
// ITTC's (procedure 7.5-02-01-03, 2011) 1.1892e-6 m2/s at 35 g/kg and 15 °C is
// from memory, so it is held only to the correlation's own 1.5 %.
func TestSeawaterViscosity(t *testing.T) {
	got := SeawaterViscosityM2S(34.84, 15)
	if math.Abs(got/1.1892e-6-1) > 0.015 {
		t.Errorf("got %g m2/s, want 1.1892e-6 within 1.5 %%", got)
	}
	t.Logf("seawater at 15 °C: %.4g m2/s, ITTC 1.1892e-6 (from memory)", got)
	rapid.Check(t, func(t *rapid.T) {
		sp, tempC := rapid.Float64Range(0, 42).Draw(t, "SP"), rapid.Float64Range(5, 35).Draw(t, "t")
		at := SeawaterViscosityM2S(sp, tempC)
		if SeawaterViscosityM2S(sp+1, tempC) <= at || SeawaterViscosityM2S(sp, tempC+1) >= at {
			t.Fatal("viscosity must rise with salt and fall with warmth")
		}
	})
}

func anyPump(t *rapid.T) PumpCurve {
	var points []PumpPoint
	flow, head := 0.0, rapid.Float64Range(0.5, 6).Draw(t, "shut-off head")
	for range rapid.IntRange(2, 6).Draw(t, "points") {
		points = append(points, PumpPoint{flow, head})
		flow += rapid.Float64Range(1e-5, 5e-4).Draw(t, "more flow")
		head *= rapid.Float64Range(0.01, 0.95).Draw(t, "head left")
	}
	return must(NewPumpCurve(points))(t)
}

func TestPumpMeetsItsLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pump := anyPump(t)
		line := anyTube(t)
		static := rapid.Float64Range(-3, 6).Draw(t, "static head")
		flow := OperatingFlowM3S(pump, line, static, nu)
		if static >= pump.HeadM(0) {
			if flow != 0 {
				t.Fatalf("flow %g m3/s against more than the shut-off head", flow)
			}
			return
		}
		made, needed := pump.HeadM(flow), static+line.HeadM(flow, nu)
		if math.Abs(made-needed) > 1e-9*(math.Abs(static)+pump.HeadM(0)) {
			t.Fatalf("at %g m3/s the pump makes %g m, the line needs %g m", flow, made, needed)
		}
		if OperatingFlowM3S(pump, line, static-0.1, nu) <= flow {
			t.Fatal("less static head must pass more")
		}
	})
}

// TestSiphonAssist: below its own reservoir's level a pump gives more than its
// curve, at least what the siphon alone gives, even stopped.
func TestSiphonAssist(t *testing.T) {
	line := Tube{LengthM: 2.5, BoreM: 0.006, MinorLossK: 3}
	pump := must(NewPumpCurve([]PumpPoint{{0, 1.5}, {2e-5, 0}}))(t)
	siphon := line.FlowM3S(0.4, nu)
	if got := OperatingFlowM3S(pump, line, -0.4, nu); !(got > siphon && got > OperatingFlowM3S(pump, line, 0, nu)) {
		t.Errorf("assisted flow %g m3/s, siphon alone %g", got, siphon)
	}
	var stopped PumpCurve
	if got := OperatingFlowM3S(stopped, line, -0.4, nu); got != siphon {
		t.Errorf("stopped pump passes %g m3/s, want the siphon's %g", got, siphon)
	}
	if got := OperatingFlowM3S(stopped, line, 0.4, nu); got != 0 || stopped.HeadM(0) != 0 {
		t.Errorf("stopped pump lifts %g m3/s, makes %g m", got, stopped.HeadM(0))
	}
}

func TestDisplacementPump(t *testing.T) {
	pump := must(NewPumpCurve([]PumpPoint{{1.5e-5, 0}}))(t)
	line := Tube{LengthM: 2.5, BoreM: 0.006}
	for _, static := range []float64{-1, 0, 3} {
		if got := OperatingFlowM3S(pump, line, static, nu); got != 1.5e-5 {
			t.Errorf("static head %g m: %g m3/s, want 1.5e-5", static, got)
		}
	}
	if got := OperatingFlowM3S(pump, Tube{LengthM: 1}, 0, nu); got != 0 {
		t.Errorf("through no bore: %g m3/s", got)
	}
	for _, row := range []struct{ flow, head float64 }{{1e-5, math.Inf(1)}, {1.5e-5, 0}, {2e-5, math.Inf(-1)}} {
		if got := pump.HeadM(row.flow); got != row.head {
			t.Errorf("head at %g m3/s: %g, want %g", row.flow, got, row.head)
		}
	}
}

func TestPumpCurveShape(t *testing.T) {
	pump := must(NewPumpCurve([]PumpPoint{{1e-4, 3}, {4e-4, 2}, {6e-4, 1}}))(t)
	for _, row := range []struct {
		name       string
		flow, head float64
	}{
		{"before the first point", 0, 3},
		{"at a point", 4e-4, 2},
		{"between points", 2.5e-4, 2.5},
		{"beyond the last point", 8e-4, 0},
		{"pushed past zero head", 10e-4, -1},
	} {
		if got := pump.HeadM(row.flow); math.Abs(got-row.head) > 1e-12 {
			t.Errorf("%s: %g m, want %g", row.name, got, row.head)
		}
	}
}

func TestPumpCurveRefusals(t *testing.T) {
	for _, row := range []struct {
		points []PumpPoint
		says   string
	}{
		{nil, "no points"},
		{[]PumpPoint{{1e-4, 2}}, "one point at head 2 m"},
		{[]PumpPoint{{-1, 2}, {1, 1}}, "point 1: flow is -1"},
		{[]PumpPoint{{0, math.NaN()}}, "point 1: head is NaN"},
		{[]PumpPoint{{0, 2}, {math.Inf(1), 1}}, "point 2: flow is +Inf"},
		{[]PumpPoint{{0, 2}, {0, 1}}, "point 2: flow is 0 m3/s"},
		{[]PumpPoint{{0, 2}, {1, 2}}, "point 2: head is 2 m"},
	} {
		if _, err := NewPumpCurve(row.points); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%v: error %v, want one that says %q", row.points, err, row.says)
		}
	}
}

// TestNoAllocation: a simulation calls these millions of times.
func TestNoAllocation(t *testing.T) {
	pump := must(NewPumpCurve([]PumpPoint{{0, 3.2}, {4e-4, 2.5}, {7e-4, 1.4}, {9e-4, 0}}))(t)
	line := Tube{LengthM: 2.2, BoreM: 0.022, MinorLossK: 6}
	if n := testing.AllocsPerRun(100, func() {
		EdgeHeadM(OperatingFlowM3S(pump, line, 1, nu)+line.FlowM3S(0.3, nu), 0.4)
	}); n != 0 {
		t.Errorf("%g allocations, want none", n)
	}
}

func BenchmarkColebrook(b *testing.B) {
	for b.Loop() {
		Colebrook(2e4, 1e-4)
	}
}

func BenchmarkTubeFlow(b *testing.B) {
	line := Tube{LengthM: 2.5, BoreM: 0.006, MinorLossK: 3, RoughnessM: RoughnessSmoothM}
	b.ReportAllocs()
	for b.Loop() {
		line.FlowM3S(0.4, nu)
	}
}

func BenchmarkOperatingFlow(b *testing.B) {
	pump, _ := NewPumpCurve([]PumpPoint{{0, 3.2}, {4e-4, 2.5}, {7e-4, 1.4}, {9e-4, 0}})
	line := Tube{LengthM: 2.2, BoreM: 0.022, MinorLossK: 6, RoughnessM: RoughnessSmoothM}
	b.ReportAllocs()
	for b.Loop() {
		OperatingFlowM3S(pump, line, 1, nu)
	}
}
