package guard_test

import (
	"slices"
	"testing"

	"isohaline/internal/guard"
)

// TestWords: every value has its own words, and an unknown one its number.
func TestWords(t *testing.T) {
	seen := map[string]bool{}
	for r := guard.NoReason; r <= guard.ClearOnSite; r++ {
		if word := r.String(); word == "" || seen[word] {
			t.Errorf("reason %d is called %q", r, word)
		}
		seen[r.String()] = true
	}
	for _, tt := range []struct {
		value interface{ String() string }
		want  string
	}{
		{guard.ClearOnSite + 1, "22"},
		{guard.Reason(255), "255"},
		{guard.Absent, "absent"},
		{guard.Faulty, "faulty"},
		{guard.Contact(4), "4"},
		{guard.Resting, "resting"},
		{guard.Latched, "latched"},
		{guard.Phase(6), "6"},
		{guard.NoRequest, "none"},
		{guard.Clear, "clear"},
		{guard.Silence, "silence"},
		{guard.Request(7), "7"},
	} {
		if got := tt.value.String(); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}

// TestAlarms: a set of reasons holds what was put in it, in order.
func TestAlarms(t *testing.T) {
	var none guard.Alarms
	if none.String() != "none" || none.Has(guard.NoReason) {
		t.Errorf("the empty set is %v", none)
	}
	two := guard.Alarms(1<<guard.RunLimit | 1<<guard.FloorWet)
	if got := slices.Collect(two.All()); !slices.Equal(got, []guard.Reason{guard.FloorWet, guard.RunLimit}) {
		t.Errorf("holds %v", got)
	}
	if want := "water on the floor; fill ran to its time limit"; two.String() != want {
		t.Errorf("says %q, want %q", two, want)
	}
	if two.Has(guard.CeilingWet) || !two.Has(guard.RunLimit) || two.Has(200) {
		t.Error("Has disagrees with All")
	}
	for range two.All() { // a caller may stop early
		break
	}
}
