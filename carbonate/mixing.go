package carbonate

import "fmt"

// Water is a mass of water with what mixing conserves. Concentrations are in
// µmol per kilogram of solution.
type Water struct {
	MassKg          float64
	SalinityPSU     float64
	TempC           float64
	TAUmolKg        float64
	DICUmolKg       float64
	CalciumUmolKg   float64
	MagnesiumUmolKg float64
}

// Limits of a Water beside those of At, Solve and WithCalcium.
const (
	MassMaxKg          = 1e9
	MagnesiumMaxUmolKg = 500_000.0
)

func (w Water) check() error {
	checks := [...]error{
		checkRange("mass", w.MassKg, 0, MassMaxKg, "kg"),
		checkRange("salinity", w.SalinityPSU, SalinityMinPSU, SalinityMaxPSU, "PSU"),
		checkRange("temperature", w.TempC, TempMinC, TempMaxC, "°C"),
		TA(w.TAUmolKg).check(),
		DIC(w.DICUmolKg).check(),
		checkRange("calcium", w.CalciumUmolKg, 0, CalciumMaxUmolKg, "µmol/kg"),
		checkRange("magnesium", w.MagnesiumUmolKg, 0, MagnesiumMaxUmolKg, "µmol/kg"),
	}
	for _, err := range checks {
		if err != nil {
			return err
		}
	}
	return nil
}

// Mix is what two waters become together, before any gas exchange: every
// quantity is the mean by mass, so the order and grouping of several mixings
// do not matter.
//
// Practical salinity stands for mass of salt, exact for salts of seawater's
// composition. Temperature takes one heat capacity for all: fresh water's is
// 5 % above seawater's, so a tenth of fresh water 10 °C apart is 0.04 °C out.
//
// It returns an error that wraps a *RangeError if either water is outside the
// limits above, or both are empty.
func Mix(a, b Water) (Water, error) {
	if err := a.check(); err != nil {
		return Water{}, fmt.Errorf("first water: %w", err)
	}
	if err := b.check(); err != nil {
		return Water{}, fmt.Errorf("second water: %w", err)
	}
	mass := a.MassKg + b.MassKg
	if mass == 0 {
		return Water{}, fmt.Errorf("both waters have a mass of 0 kg: give at least one a mass")
	}
	shareA, shareB := a.MassKg/mass, b.MassKg/mass
	// A mean lies between its two, also after rounding.
	mean := func(a, b float64) float64 { return min(max(shareA*a+shareB*b, min(a, b)), max(a, b)) }
	return Water{
		MassKg:          mass,
		SalinityPSU:     mean(a.SalinityPSU, b.SalinityPSU),
		TempC:           mean(a.TempC, b.TempC),
		TAUmolKg:        mean(a.TAUmolKg, b.TAUmolKg),
		DICUmolKg:       mean(a.DICUmolKg, b.DICUmolKg),
		CalciumUmolKg:   mean(a.CalciumUmolKg, b.CalciumUmolKg),
		MagnesiumUmolKg: mean(a.MagnesiumUmolKg, b.MagnesiumUmolKg),
	}, nil
}

// Constants are those of the water's salinity, temperature and calcium.
func (w Water) Constants(options Options) (Constants, error) {
	c, err := At(w.SalinityPSU, w.TempC, options)
	if err != nil {
		return Constants{}, err
	}
	return c.WithCalcium(w.CalciumUmolKg)
}
