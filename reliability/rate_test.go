package reliability

import (
	"math"
	"strings"
	"testing"
)

func TestParseRate(t *testing.T) {
	rows := []struct {
		text string
		want PerHour
	}{
		{"1e-5/h", 1e-5},
		{" 2 per hour ", 2},
		{"0.24/d", 0.01},
		{"12 per day", 0.5},
		{"8760/yr", 1},
		{"0.0876 per year", 1e-5},
		{"200 FIT", 2e-7},
		{"0/h", 0},
	}
	for _, r := range rows {
		got, err := ParseRate(r.text)
		if err != nil || math.Abs(float64(got-r.want)) > 1e-15*float64(r.want) {
			t.Errorf("%s: %v, %v, want %v", r.text, got, err, r.want)
		}
	}
	refused := []struct{ text, problem string }{
		{"1e-5", "no unit"},
		{"1e-5 / h", "known unit"}, // one spelling per unit
		{"", `""`},
		{"ten/h", "number"},
		{"/h", "number"},
		{"-1/h", "-1/h"},
		{"NaN/h", "NaN"},
		{"inf/yr", "+Inf"},
		{"1e-5 per moon", "known unit"},
	}
	for _, r := range refused {
		_, err := ParseRate(r.text)
		wantRefusal(t, r.text, err, "rate", r.problem)
	}
}

func TestParseRange(t *testing.T) {
	for text, want := range map[string][2]PerHour{
		"0.24/d":                {0.01, 0.01},
		"0.24/d to 0.5/h":       {0.01, 0.5},
		"200 FIT to 12 per day": {2e-7, 0.5},
	} {
		low, high, err := ParseRange(text)
		if err != nil || math.Abs(float64(low/want[0]-1)) > 1e-12 || math.Abs(float64(high/want[1]-1)) > 1e-12 {
			t.Errorf("%s: %v to %v, %v", text, low, high, err)
		}
	}
	for text, problem := range map[string]string{
		"1/h to 0.5/h": "does not rise", "1/h to 1/h": "does not rise", "0.1 to 0.2/yr": "no unit", "0.1/yr to": "known unit", "0.1/yr to 0.2/yr to 1/yr": "number",
	} {
		if _, _, err := ParseRange(text); err == nil || !strings.Contains(err.Error(), problem) {
			t.Errorf("%q: %v, want %q", text, err, problem)
		}
	}
}

func FuzzParseRate(f *testing.F) {
	for _, s := range []string{"1e-5/h", "0.09 per year", "200 FIT", "1e-5", "-1/d", "nan/yr", "0x1p-2/h"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		rate, err := ParseRate(s)
		if err == nil && !(rate >= 0 && !math.IsInf(float64(rate), 0)) {
			t.Errorf("%q was read as %v", s, rate)
		}
	})
}
