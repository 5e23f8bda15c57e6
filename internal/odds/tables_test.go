package odds

import (
	"errors"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"isohaline/internal/plant"
	"isohaline/internal/refcheck"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

func mustTables(t *testing.T) *tables {
	t.Helper()
	tab, err := readTables()
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// TestTablesAreWhole: every fault of the twin has one row, and every row its
// range and cause; the shares of what one sensor can do add up to one sensor.
func TestTablesAreWhole(t *testing.T) {
	tab := mustTables(t)
	if got, want := len(tab.faults), len(plant.Faults); got != want {
		t.Errorf("%d rows for %d faults", got, want)
	}
	if len(plant.Faults) > maxFaults {
		t.Errorf("%d faults do not fit a set of %d", len(plant.Faults), maxFaults)
	}
	shares := map[string]float64{}
	for _, f := range plant.Faults {
		row, ok := tab.faults[f.ID]
		if !ok {
			t.Errorf("no row for %s", f.ID)
			continue
		}
		if _, known := tab.ranges[row.rangeName]; !known && row.rangeName != "watch" && row.rangeName != "ceiling" {
			t.Errorf("%s: no range %q", f.ID, row.rangeName)
		}
		if _, known := tab.causes[row.cause]; row.cause != "" && !known {
			t.Errorf("%s: no cause %q", f.ID, row.cause)
		}
		if f.ID != "sensors-stuck-dry-together" { // a share of the other two
			shares[row.rangeName] += row.share
		}
	}
	for _, name := range []string{"watch", "ceiling", "controller", "tube", "solenoid valve", "skimmer", "pump"} {
		if math.Abs(shares[name]-1) > 1e-12 {
			t.Errorf("the shares of %q add up to %v", name, shares[name])
		}
	}
	for _, kind := range []string{"float", "optical", "conductive", "pressure", "ultrasonic"} {
		if _, ok := tab.ranges["level sensor "+kind]; !ok {
			t.Errorf("no range for a %s sensor", kind)
		}
	}
	for barrier, ids := range defeats {
		for _, id := range append(slices.Clone(ids), alarmSilent) {
			if _, ok := tab.faults[id]; !ok {
				t.Errorf("%s is defeated by %q, which is no fault", barrier, id)
			}
		}
	}
}

// TestRangesAgainstPublished: a range that names published figures is at least
// as pessimistic as each of them, for none knows salt creep; the person's error
// and the common causes are as published. Sources: sources.csv, each row with
// its own; rows "from memory" inform and are not asserted.
func TestRangesAgainstPublished(t *testing.T) {
	tab := mustTables(t)
	published := map[string]map[string]string{}
	for _, row := range refcheck.Table(t, "sources.csv") {
		published[row["id"]] = row
	}
	number := func(id, column string) float64 {
		v, err := strconv.ParseFloat(published[id][column], 64)
		if err != nil {
			t.Fatalf("%s %s: %v", id, column, err)
		}
		return v
	}
	compared, nearest, nearestAt := 0, math.Inf(1), ""
	for _, name := range slices.Sorted(maps.Keys(tab.ranges)) {
		r := tab.ranges[name]
		b := beliefs{byName: map[string]int{}}
		i, err := b.of(r, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, id := range r.sources {
			if published[id] == nil {
				t.Errorf("%s: source %s is not in sources.csv", name, id)
				continue
			}
			if published[id]["confirmed"] == "no: from memory" || name == leftOffRange {
				continue
			}
			ratio := b.columns[i].mean() / number(id, "mean")
			if ratio < 1 {
				t.Errorf("%s: mean %.3g is below the %.3g of %s (%s)", name, b.columns[i].mean(), number(id, "mean"), id, published[id]["source"])
			}
			if compared++; ratio < nearest {
				nearest, nearestAt = ratio, name+" to "+id
			}
		}
	}
	if compared < 15 {
		t.Errorf("only %d published rates were compared", compared)
	}
	t.Logf("%d published rates, the nearest range %.2f times its figure: %s", compared, nearest, nearestAt)

	// NUREG/CR-1278 (THERP) Table 20-7 item 3: median 0.003, error factor 3.
	if r := tab.ranges[leftOffRange]; r.low != number("FR-067", "low") || r.high != number("FR-067", "high") {
		t.Errorf("left off: %v to %v", r.low, r.high)
	}
	for cause, id := range map[string]string{"sensors": "FR-011", "program": "FR-015"} {
		if got := tab.causes[cause].beta; got != number(id, "mean") {
			t.Errorf("beta of %s is %v, published %v", cause, got, number(id, "mean"))
		}
	}
	if number("FR-017", "mean") != claimLimitPerHour || tab.ranges["controller"].low != claimLimitPerHour {
		t.Error("the claim limit is not the published one")
	}
}

// TestClaimLimit: by default the ordinary controls of every example fail to stop
// at least as often as anybody may claim (BS EN 61511, 1e-5 an hour, as cited
// beside claimLimitPerHour).
func TestClaimLimit(t *testing.T) {
	for _, name := range quick() {
		w, err := newWorld(reportOf(t, name), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got := w.controlLoopPerHour(); got < claimLimitPerHour {
			t.Errorf("%s: %.2g per hour is better than the claim limit", name, got)
		}
	}
	r := reportOf(t, nano)
	boast := map[string]string{}
	for _, id := range controlLoop {
		if slices.ContainsFunc(plant.FaultsOf(r.Tank), func(f plant.Fault) bool { return f.ID == id }) {
			boast[id] = "1e-4/yr"
		}
	}
	sober := estimate(t, r, Options{Samples: 1})
	if a := estimate(t, r, Options{Rates: boast, Samples: 1}); len(a.Notes) != len(sober.Notes)+1 {
		t.Errorf("nothing is said of rates below the claim limit: %q", a.Notes)
	}
}

// TestStandings: whether a fault is a demand or hidden is the design's doing.
func TestStandings(t *testing.T) {
	for _, row := range []struct {
		tank, fault string
		want        standing
	}{
		{nano, "ceiling-stuck-dry", standing{hidden: true, test: proofTest}},
		{nano, "topoff-siphon", standing{hidden: true, test: overhaul}},
		// 12 h answer time in the tank file, after 43 min to a wet floor sensor.
		{nano, "tube-out", standing{briefH: 12.723}},
		{nano, "power-cut-hour", standing{briefH: 1, quiet: true}},
	} {
		w, err := newWorld(reportOf(t, row.tank), Options{})
		if err != nil {
			t.Fatal(err)
		}
		got := w.stands[w.index(row.fault)]
		if math.Abs(got.briefH-row.want.briefH) < 1e-2 {
			got.briefH = row.want.briefH
		}
		if got != row.want {
			t.Errorf("%s, %s: %+v, want %+v", row.tank, row.fault, got, row.want)
		}
	}
}

// TestSharedCauses: what two parts share is taken from each, as much as beta of
// the rarer.
func TestSharedCauses(t *testing.T) {
	s := example(t, nano)
	s.TopOff.Ceiling.Group = s.TopOff.Watch.Group
	w, err := newWorld(check(t, s), Options{})
	if err != nil {
		t.Fatal(err)
	}
	apart, err := newWorld(reportOf(t, nano), Options{})
	if err != nil {
		t.Fatal(err)
	}
	rate := func(w *world, id string) float64 { return w.causes[w.index(id)].rate(w.means()) }
	const beta = 0.1 // TestRangesAgainstPublished
	for _, id := range []string{"watch-stuck-dry", "ceiling-stuck-dry"} {
		if got, want := rate(w, id), (1-beta)*rate(apart, id); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("%s by itself: %v, want %v", id, got, want)
		}
	}
	rarer := min(rate(apart, "watch-stuck-dry"), rate(apart, "ceiling-stuck-dry"))
	if got := rate(w, "sensors-stuck-dry-together"); math.Abs(got/(beta*rarer)-1) > 1e-12 {
		t.Errorf("together: %v, want %v", got, beta*rarer)
	}
	program := w.causes[len(w.causes)-1]
	if want := set(0).with(w.index("run-limit-disabled")).with(w.index("budget-disabled")); program.hits != want {
		t.Errorf("the program's defect hits %v", w.ids(program.hits))
	}
	if w.rates[w.index("sensors-stuck-dry-together")].MeanPerYear != perYear(rate(w, "sensors-stuck-dry-together")) {
		t.Error("the printed rate is not the one used")
	}
}

// TestStatedCauses: a common cause of the tank file comes as often as its share
// of the rarest fault, and takes its share from each.
func TestStatedCauses(t *testing.T) {
	s := example(t, nano)
	s.Rates = []tankfile.Rate{{Fault: "alarm-silent", Comes: "0.4/yr", Because: "our record"}, {Fault: "floor-sensor-dead", Comes: "0.1/yr"}}
	s.CommonCauses = []tankfile.CommonCause{{What: "power strip", Faults: "alarm-silent, floor-sensor-dead", ShareFrac: 0.25}}
	w, err := newWorld(check(t, s), Options{Rates: map[string]string{"floor-sensor-dead": "0.2/yr"}})
	if err != nil {
		t.Fatal(err)
	}
	alarm, floor := w.index("alarm-silent"), w.index("floor-sensor-dead")
	for _, row := range []struct {
		name      string
		got, want float64
	}{
		{"the alarm alone", w.causes[alarm].rate(w.means()), 0.75 * 0.4},
		{"the floor sensor alone", w.causes[floor].rate(w.means()), 0.75 * 0.2}, // the flag's rate, not the file's
		{"both", w.causes[len(w.causes)-1].rate(w.means()), 0.25 * 0.2},
		{"the printed rate", w.rates[alarm].MeanPerYear / reliability.HoursPerYear, 0.4},
	} {
		if math.Abs(perYear(row.got)/row.want-1) > 1e-12 {
			t.Errorf("%s: %v a year, want %v", row.name, perYear(row.got), row.want)
		}
	}
	if both := w.causes[len(w.causes)-1].hits; both != set(0).with(alarm).with(floor) {
		t.Errorf("the strip brings %v", w.ids(both))
	}
	if w.rates[alarm].Why != "our record" || !w.rates[floor].Given || w.rates[floor].Why == "our record" {
		t.Errorf("said of the rates: %+v, %+v", w.rates[alarm], w.rates[floor])
	}
}

// TestStatedCausesRefused, with the place and a way out.
func TestStatedCausesRefused(t *testing.T) {
	r := *reportOf(t, nano)
	for _, row := range []struct{ faults, problem string }{
		{"alarm-silent, no-such-thing", "no-such-thing"},
		{"watch-stuck-dry, watch-jammed", "same part"},
		{"alarm-silent", "not two faults"},
	} {
		s := *r.Tank
		s.CommonCauses = []tankfile.CommonCause{{What: "strip", Faults: row.faults, ShareFrac: 0.1}}
		r.Tank = &s
		var refused *reliability.InputError
		if _, err := newWorld(&r, Options{}); !errors.As(err, &refused) || !strings.Contains(refused.Problem, row.problem) || refused.Fix == "" {
			t.Errorf("%s: %v", row.faults, err)
		}
	}
}

// TestDefeatedBarriersAreNamed: the check's barriers that a fault can take away
// all have their faults.
func TestDefeatedBarriersAreNamed(t *testing.T) {
	for _, b := range []verify.Barrier{verify.CeilingBarrier, verify.RunLimitBarrier, verify.FloorBarrier,
		verify.GaugeBarrier, verify.SenseBarrier, verify.BudgetBarrier, verify.TimerBarrier} {
		if len(defeats[b]) == 0 {
			t.Errorf("nothing defeats the %s", b)
		}
	}
}
