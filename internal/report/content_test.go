package report

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"isohaline/internal/chart"
	"isohaline/internal/plant"
	"isohaline/internal/verify"
)

// TestFold: folding loses no letter, keeps the width, and breaks only where it
// must.
func TestFold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOf(rapid.OneOf(rapid.StringMatching(`[a-zäöü]{1,12}`), rapid.StringMatching(`[水族館]{1,9}`), rapid.SampledFrom([]string{"e\u0301te\u0301", "👩‍🔬", strings.Repeat("x", 50)}))).Draw(t, "words")
		width := rapid.IntRange(2, 60).Draw(t, "width")
		text := strings.Join(words, " ")
		lines := fold(text, width)
		joined := strings.Join(lines, "")
		if strings.ReplaceAll(joined, " ", "") != strings.ReplaceAll(text, " ", "") {
			t.Fatalf("%q became %q", text, lines)
		}
		for i, l := range lines {
			if cells(l) > width {
				t.Fatalf("%q is %d cells, want %d", l, cells(l), width)
			}
			// A line ends only where its next word would not have fitted.
			if i+1 < len(lines) && !slices.ContainsFunc(words, func(w string) bool { return cells(w) > width }) {
				next, _, _ := strings.Cut(lines[i+1], " ")
				if cells(l)+1+cells(next) <= width {
					t.Fatalf("%q would have fitted after %q in %d cells", next, l, width)
				}
			}
		}
	})
}

// TestCells: widths as terminals have them (Unicode Standard Annex 11: wide
// characters take two cells; combining marks none).
func TestCells(t *testing.T) {
	for text, want := range map[string]int{"": 0, "mm": 2, "水": 2, "é": 1, "e\u0301": 1, "┼─": 2, "°C": 2, "３": 2} {
		if got := cells(text); got != want {
			t.Errorf("%q is %d cells, want %d", text, got, want)
		}
	}
}

// TestEveryUnitHasAPlace: a fault of a part that the drawing has is marked
// there. A unit that is new in the catalogue has to be placed, or named here.
func TestEveryUnitHasAPlace(t *testing.T) {
	nowhere := map[string]bool{"person at the controller": true, "alarm": true, "mains power": true, "water change": true,
		"room": true, "person with a bucket": true, "skimmer": true, "skimmer cut-off": true}
	for _, f := range plant.Faults {
		if _, placed := partOf[f.Unit]; placed == nowhere[f.Unit] {
			t.Errorf("fault %s: the unit %q is placed: %v, and listed as having no place: %v", f.ID, f.Unit, placed, nowhere[f.Unit])
		}
	}
}

func TestDrawnCautions(t *testing.T) {
	if got := drawnCautions(accepted()); len(got) != 0 {
		t.Errorf("an accepted design has cautions: %v", got)
	}
	got := drawnCautions(refused())
	want := []chart.Note{
		{At: chart.ChamberPart, Words: "After a power cut at the highest level the top-off can leave, 4.2 L would spill over the rim."},
		{At: chart.FloatValvePart, Words: "If the float valve sticks open: class 4, loss of the tank or flooded building."},
		{At: chart.TubeEndPart, Words: "If the tube slips out and lies on the floor: class 4, loss of the tank or flooded building."},
	}
	if len(got) != len(want) {
		t.Fatalf("got %v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("got %+v, want %+v", got[i], want[i])
		}
	}
}

// TestCautionsFollowTheSite: the lime-water caution is for lime water.
func TestCautionsFollowTheSite(t *testing.T) {
	has := func(r *verify.Report, word string) bool {
		return strings.Contains(strings.Join(cautions(r.Tank), " "), word)
	}
	r := accepted()
	if has(r, "caustic") || has(r, "plumbed") {
		t.Error("cautions for what is not there")
	}
	// 0.3 × 0.25 × 0.37 m of water.
	if !has(r, "28 kg (61 lb)") {
		t.Error("the reservoir's weight is missing")
	}
	r.Tank.TopOff.Reservoir.LimeWater = true
	for _, words := range []string{"caustic", "never put a bare hand in it", "Lime crusts"} {
		if !has(r, words) {
			t.Errorf("lime water without the caution %q", words)
		}
	}
	if !has(refused(), "plumbed to the mains") {
		t.Error("no caution about the endless source")
	}
}

// TestTestsFollowTheSite: nobody is asked to test what is not there.
func TestTestsFollowTheSite(t *testing.T) {
	all := func(r *verify.Report) string {
		var b strings.Builder
		for _, x := range tests(r) {
			b.WriteString(x.Do + " " + x.Expect + "\n")
		}
		return b.String()
	}
	with, without := all(accepted()), all(refused())
	for _, word := range []string{"ceiling sensor", "floor sensor", "low sensor", "257 mm", "164 mm"} {
		if !strings.Contains(with, word) || strings.Contains(without, word) {
			t.Errorf("%q: with the part %v, without it %v", word, strings.Contains(with, word), strings.Contains(without, word))
		}
	}
	if !strings.Contains(without, "float valve by hand") || strings.Contains(with, "float valve") {
		t.Error("the float valve's test is in the wrong report")
	}
}

// TestTraceEvents: what happened is told in the order of time, and the drawing
// ends soon after.
func TestTraceEvents(t *testing.T) {
	r := accepted()
	row := &r.Singles[0]
	var samples []plant.Sample
	for h := range 30 * 24 {
		samples = append(samples, plant.Sample{SinceOnset: time.Duration(h) * time.Hour, SalinityPSU: 35, ChamberM: 0.2, TopOffM3S: float64(h % 2)})
	}
	tr := Trace(r, row, samples)
	for i := 1; i < len(tr.Events); i++ {
		if tr.Events[i].At < tr.Events[i-1].At {
			t.Errorf("%v comes after %v", tr.Events[i], tr.Events[i-1])
		}
	}
	// Four classes, alarm, latch and the person who comes.
	if len(tr.Events) != 7 {
		t.Errorf("%d events: %v", len(tr.Events), tr.Events)
	}
	if last, want := tr.Points[len(tr.Points)-1].At, 679*time.Hour+12*time.Minute; last < want || last > want+time.Hour {
		t.Errorf("the trace ends at %v, want just after %v", last, want)
	}
	if _, err := tr.SVG(chart.Wide); err != nil {
		t.Error(err)
	}
	if got := Trace(r, &r.AsBuilt, samples).Title; got != "As built, with nothing wrong" {
		t.Errorf("as built is called %q", got)
	}
}

// TestRealTrace draws the worst faults of a checked example from their own runs.
func TestRealTrace(t *testing.T) {
	all, err := checked()
	if err != nil {
		t.Fatal(err)
	}
	r := all["reading-room.yaml"]
	const worst = 6
	for i := range r.Singles[:worst] {
		row, samples, err := r.Follow(r.Singles[i].Faults, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range []chart.Format{chart.Wide, chart.Narrow} {
			if _, err := Trace(r.Report, &row, samples).SVG(f); err != nil {
				t.Errorf("%s: %v", row.ID(), err)
			}
		}
	}
}

func BenchmarkHTML(b *testing.B) {
	r := accepted()
	for b.Loop() {
		if err := HTML(discard{}, r, asked(r), Meta{}); err != nil {
			b.Fatal(err)
		}
	}
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }
