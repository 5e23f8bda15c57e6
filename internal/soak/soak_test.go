package soak

import (
	"os"
	"testing"
	"time"

	"isohaline/internal/longtest"
	"isohaline/internal/tankfile"
)

func design(t testing.TB, name string) *Design {
	t.Helper()
	text, err := os.ReadFile("../../examples/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := tankfile.Read(name, text)
	if err != nil {
		t.Fatal(err)
	}
	d, err := NewDesign(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var names = []string{"reading-room", "window-nano", "grand-lobby"}

// TestSoak: some lives of each example, in which everything goes wrong and nothing
// is wrong. make soak lives through many more.
func TestSoak(t *testing.T) {
	lives := uint64(2)
	if longtest.Asked() {
		lives = 6
	}
	const length = 1000 * time.Hour
	var sum Verdict
	for _, name := range names {
		d := design(t, name)
		for seed := range lives {
			v := d.Live(seed, length)
			if !v.OK() {
				t.Errorf("%s, seed %d: %s", name, seed, v.First)
			}
			sum.Add(&v)
		}
	}
	t.Logf("%+v", sum)
	if sum.Hours < 0.99*float64(lives)*float64(len(names))*length.Hours() {
		t.Errorf("%.0f hours were lived", sum.Hours)
	}
	for what, n := range map[string]int{"fills": sum.Fills, "faults": sum.Faults, "latches": sum.Latches, "kills": sum.Kills, "hangs": sum.Hangs,
		"cuts": sum.Cuts, "hub falls": sum.HubFalls, "full disks": sum.FullDisks, "readings": sum.Readings, "requests applied": sum.Applied, "refusals": sum.Refused} {
		if n == 0 {
			t.Errorf("in all these lives there were no %s", what)
		}
	}
}

// TestTheSameLife: a seed is its own reproduction.
func TestTheSameLife(t *testing.T) {
	d := design(t, "reading-room")
	const length = 500 * time.Hour
	if a, b := d.Live(3, length), d.Live(3, length); a != b {
		t.Errorf("one seed, two lives:\n%+v\n%+v", a, b)
	}
}

// TestPlantedDefects: each way of being careless is found.
func TestPlantedDefects(t *testing.T) {
	d := design(t, "reading-room")
	for _, row := range []struct {
		name string
		b    broken
	}{
		{"outputs without a lease", noLease}, {"requests forgotten once answered", noLedger},
		{"readings forgotten once sent", hastyEdge}, {"the pump before the save", hastyAgent},
	} {
		t.Run(row.name, func(t *testing.T) {
			for seed := range uint64(40) {
				if v := d.liveBroken(seed, 1000*time.Hour, row.b); !v.OK() {
					t.Logf("found by seed %d: %s", seed, v.First)
					return
				}
			}
			t.Error("no life found it")
		})
	}
}

func BenchmarkLife(b *testing.B) {
	d := design(b, "reading-room")
	var hours float64
	for b.Loop() {
		v := d.Live(uint64(b.N), 1000*time.Hour)
		hours += v.Hours
	}
	b.ReportMetric(hours/b.Elapsed().Seconds(), "h/s")
}
