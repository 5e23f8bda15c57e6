package chart

import (
	"math"
	"testing"
)

// TestNum: a half goes up, whichever side of it its last bit lies.
func TestNum(t *testing.T) {
	for _, row := range []struct {
		x    float64
		want string
	}{
		{7.55, "7.6"}, {math.Nextafter(7.55, 0), "7.6"}, {math.Nextafter(7.55, 8), "7.6"},
		{7.549, "7.5"}, {7, "7"}, {-0.01, "0"}, {-7.55, "-7.5"}, {math.Nextafter(-7.55, -8), "-7.5"}, {-7.56, "-7.6"},
	} {
		if got := num(row.x); got != row.want {
			t.Errorf("num(%v) = %s, want %s", row.x, got, row.want)
		}
	}
}
