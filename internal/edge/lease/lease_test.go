package lease

import (
	"testing"
	"time"
)

// TestLease straddles the end, and the clock's jumps.
func TestLease(t *testing.T) {
	on := Outputs{Pump: true, Valve: true}
	l := Grant(on, 10, 5)
	for _, tt := range []struct {
		name      string
		l         Lease
		now, last time.Duration
		want      Outputs
	}{
		{"as it begins", l, 10, 10, on},
		{"a moment before its end", l, 14, 10, on},
		{"at its end", l, 15, 14, Outputs{}},
		{"long after", l, 1 << 60, 14, Outputs{}},
		{"the clock went back", l, 9, 10, Outputs{}},
		{"nothing granted", Lease{}, 0, 0, Outputs{}},
		{"granted for no time", Grant(on, 10, 0), 10, 10, Outputs{}},
		{"granted for less", Grant(on, 10, -1), 5, 5, Outputs{}},
		{"off", Grant(Outputs{}, 10, 5), 11, 10, Outputs{}},
	} {
		if got := tt.l.At(tt.now, tt.last); got != tt.want {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
}
