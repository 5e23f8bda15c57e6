package hublife

import (
	"testing"

	"isohaline/internal/longtest"
)

// TestLives: in some lives everything goes wrong and nothing is wrong. make
// soak-hub lives through many more.
func TestLives(t *testing.T) {
	lives := uint64(60)
	if longtest.Asked() {
		lives = 1500 // 100,000 tank-days
	}
	var sum Verdict
	for seed := range lives {
		v := Live(seed)
		if !v.OK() {
			t.Errorf("%s; again: go run ./cmd/soak -hub -seed %d", v.First, seed)
		}
		sum.Add(&v)
	}
	t.Logf("%+v", sum)
}
