package bench

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"isohaline/internal/bench/salts"
)

var start = time.Date(2026, 11, 1, 8, 0, 0, 0, time.UTC)

func days(d float64) time.Time {
	return start.Add(time.Duration(d * hoursPerDay * float64(time.Hour)))
}

// norris is a straight line that statistics packages are checked with: NIST
// Statistical Reference Datasets, linear regression, "Norris" (from memory); the
// pairs are y, x.
var norris = [][2]float64{
	{0.1, 0.2}, {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1}, {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6},
	{778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4}, {0.1, 0.6}, {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
	{557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3}, {0.6, 0.3}, {557.6, 556.8}, {339.3, 339.1},
	{888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1}, {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5},
}

// TestFitAgainstNorris: slope and its standard deviation as certified. The errors
// stated are far too small, so the fit has to take the scatter's.
func TestFitAgainstNorris(t *testing.T) {
	var log []LogEntry
	for _, p := range norris {
		log = append(log, LogEntry{At: days(p[1]), What: "alkalinity", Amount: p[0], SD: 0.01})
	}
	slices.SortFunc(log, func(a, b LogEntry) int { return a.At.Compare(b.At) })
	got, err := fit(&quantities[0], log, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", -got.use.value, 1.00211681802045, 1e-11)
	near(t, "its standard deviation", got.use.sd, 0.429796848199937e-03, 1e-13)
	near(t, "residual standard deviation", math.Sqrt(got.scatter)*0.01, 0.884796396144373, 1e-11)
}

// TestUseIsFound: a tank simulated by the hour, with doses and water changes of
// every kind, and read without error, gives its use back exactly.
func TestUseIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		use := rapid.Float64Range(-0.5, 2).Draw(t, "use")
		volumeL := rapid.Float64Range(20, 2000).Draw(t, "volume")
		level := rapid.Float64Range(50, 60).Draw(t, "start") // high: nothing ends at 0
		var log []LogEntry
		last := 0.0
		for i := range rapid.IntRange(3, 30).Draw(t, "entries") {
			hours := float64(rapid.IntRange(1, 24).Draw(t, "hours"))
			last += hours
			level -= use * hours / hoursPerDay
			e := LogEntry{At: days(last / hoursPerDay), What: "alkalinity"}
			switch kind := rapid.IntRange(0, 3).Draw(t, "kind"); {
			case i < 2 || kind == 0:
				e.Amount = level
			case kind == 1:
				e.What, e.Amount, e.AlkalinityDKH = "water-change", volumeL*rapid.Float64Range(0, 0.3).Draw(t, "share"), rapid.Float64Range(1, 20).Draw(t, "new")
				level += e.Amount / volumeL * (e.AlkalinityDKH - level)
			case kind == 2:
				e.What, e.Amount = "sodium-bicarbonate", volumeL*rapid.Float64Range(0, 0.1).Draw(t, "grams")
				level += e.Amount / 84.006 / volumeL * 1000 * 2.80385 // CRC Handbook; 56.077/20 dKH to the meq/L
			case kind == 3:
				e.What, e.Amount = "calcium-chloride-dihydrate", 10 // nothing to do with alkalinity
			}
			log = append(log, e)
		}
		log = append(log, LogEntry{At: days((last + 24) / hoursPerDay), What: "alkalinity", Amount: level - use})
		got, err := fit(&quantities[0], log, volumeL)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "use", got.use.value, use, 1e-8)
		near(t, "last", got.last.value, level-use, 1e-8)
	})
}

// TestUseBandHolds: nine bands in ten hold the true use.
func TestUseBandHolds(t *testing.T) {
	const tries, use, sd = 600, 0.8, 0.2
	r := rand.New(rand.NewPCG(7, 1))
	held := 0
	for range tries {
		q := Consumption{VolumeL: 300}
		for d := range 10 {
			q.Log = append(q.Log, LogEntry{At: days(float64(d)), What: "alkalinity", Amount: 12 - use*float64(d) + sd*r.NormFloat64()})
		}
		f := ask(t, &q).Figure("alkalinity-use")
		if *f.Low <= use && use <= *f.High {
			held++
		}
	}
	// The band widens where readings scatter more than they should, and never
	// narrows: it holds a little more than nine in ten.
	if share := float64(held) / tries; share < 0.88 || share > 0.97 {
		t.Errorf("%.1f %% of the bands hold", share*100)
	}
}

// TestVolumeErrorCountsWithDoses: who doses and does not know the volume does not
// know the use.
func TestVolumeErrorCountsWithDoses(t *testing.T) {
	log := []LogEntry{{At: days(0), What: "alkalinity", Amount: 8, SD: 1e-6}}
	for d := range 10 {
		log = append(log, LogEntry{At: days(float64(d) + 0.5), What: "sodium-carbonate", Amount: 20})
	}
	log = append(log, LogEntry{At: days(10), What: "alkalinity", Amount: 8, SD: 1e-6})
	f := ask(t, &Consumption{VolumeL: 400, Log: log}).Figure("alkalinity-use")
	dosed := 20 / salts.SodiumCarbonate.GramsPerMol * 2 / 400 * 1000 / salts.MeqPerLPerDKH
	near(t, "use", f.Value, dosed, 1e-9)
	near(t, "band", *f.High-f.Value, ninety*dosed*(1-1/1.08), 1e-5)
}
