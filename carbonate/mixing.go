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

// Evaporate takes pure water, kg, away from w: what is dissolved stays. Adding
// the same mass of pure water with Mix undoes it. It returns a *RangeError if
// the water is not all there, or if what remains is outside the limits of a
// Water.
func Evaporate(w Water, kg float64) (Water, error) {
	if err := w.check(); err != nil {
		return Water{}, err
	}
	if err := checkRange("evaporated mass", kg, 0, w.MassKg, "kg"); err != nil {
		return Water{}, err
	}
	if kg == 0 {
		return w, nil
	}
	concentration := w.MassKg / (w.MassKg - kg)
	w.MassKg -= kg
	w.SalinityPSU *= concentration
	w.TAUmolKg *= concentration
	w.DICUmolKg *= concentration
	w.CalciumUmolKg *= concentration
	w.MagnesiumUmolKg *= concentration
	return w, w.check()
}

// Aftermath is what an addition does to a tank.
type Aftermath struct {
	Mixed Water
	// Before is the tank as it was, Closed the mixture within minutes, before
	// it has exchanged any gas, and Settled once it is in equilibrium with the
	// room: hours to days later, see Constants.Exchange.
	//
	// For pure water the two differ in sign: dilution raises pH at once, since
	// it takes CO2 and carbonate apart, and lowers it in the end, since the
	// room's CO2 then meets less alkalinity.
	Before, Closed, Settled State
}

// After mixes an addition into a tank and finds the carbonate system before,
// within minutes, and settled with a room at roomPCO2Uatm (about the room's
// CO2 in ppm at sea level). Nothing precipitates: look at the saturation
// states. Errors are those of Mix, At and Solve.
func After(tank, added Water, roomPCO2Uatm float64, options Options) (Aftermath, error) {
	mixed, err := Mix(tank, added)
	if err != nil {
		return Aftermath{}, err
	}
	after := Aftermath{Mixed: mixed}
	if after.Before, err = tank.solve(DIC(tank.DICUmolKg), options); err != nil {
		return Aftermath{}, fmt.Errorf("tank before: %w", err)
	}
	if after.Closed, err = mixed.solve(DIC(mixed.DICUmolKg), options); err != nil {
		return Aftermath{}, fmt.Errorf("mixture: %w", err)
	}
	if after.Settled, err = mixed.solve(PCO2(roomPCO2Uatm), options); err != nil {
		return Aftermath{}, fmt.Errorf("mixture in equilibrium with the room: %w", err)
	}
	return after, nil
}

// Constants are those of the water's salinity, temperature and calcium.
func (w Water) Constants(options Options) (Constants, error) {
	c, err := At(w.SalinityPSU, w.TempC, options)
	if err != nil {
		return Constants{}, err
	}
	return c.WithCalcium(w.CalciumUmolKg)
}

func (w Water) solve(second Known, options Options) (State, error) {
	c, err := w.Constants(options)
	if err != nil {
		return State{}, err
	}
	return c.Solve(TA(w.TAUmolKg), second)
}
