package carbonate

import "math"

// GasExchange is how a tank breathes.
type GasExchange struct {
	// TransferVelocityMS is the speed at which CO2 crosses the surface, in m/s:
	// fitted to how fast a tank's own pH recovers. Overflows, skimmers and air stones make tanks breathe
	// several times faster than their surface alone.
	TransferVelocityMS float64
	// DepthM is the volume of water over its open surface area.
	DepthM float64
	// RoomPCO2Uatm is the partial pressure of CO2 in the air above.
	RoomPCO2Uatm float64
}

// Limits of GasExchange.
const (
	TransferVelocityMinMS, TransferVelocityMaxMS = 1e-8, 1e-2
	DepthMinM, DepthMaxM                         = 1e-3, 20.0
	RoomPCO2MinUatm, RoomPCO2MaxUatm             = 10.0, 100_000.0
)

func (g GasExchange) check() error {
	if err := checkRange("transfer velocity", g.TransferVelocityMS, TransferVelocityMinMS, TransferVelocityMaxMS, "m/s"); err != nil {
		return err
	}
	if err := checkRange("depth", g.DepthM, DepthMinM, DepthMaxM, "m"); err != nil {
		return err
	}
	return checkRange("room pCO2", g.RoomPCO2Uatm, RoomPCO2MinUatm, RoomPCO2MaxUatm, "µatm")
}

// carbonPerCO2 is the change of DIC over that of CO2 at constant alkalinity.
func carbonPerCO2(s State) float64 {
	return s.DICUmolKg / (s.RevelleFactor * s.CO2UmolKg)
}

// Exchange is what a well-mixed tank in state start becomes after elapsedS
// seconds of gas exchange: TA stays and
//
//	dDIC/dt = -k/depth · (CO2 - CO2 in equilibrium with the room).
//
// The hydration of CO2 within the surface film is left out: at pH above 8 it
// makes quiet water breathe up to half again as fast. Integrated by the classic
// Runge-Kutta method, to about 1e-6 of the change.
//
// elapsedS is 0 or more; +Inf gives the equilibrium. It returns a *RangeError
// for input outside the limits, and the errors of Solve.
func (c *Constants) Exchange(start State, gas GasExchange, elapsedS float64) (State, error) {
	if err := gas.check(); err != nil {
		return State{}, err
	}
	if err := checkRange("elapsed time", elapsedS, 0, math.Inf(1), "s"); err != nil {
		return State{}, err
	}
	now, err := c.Solve(TA(start.TAUmolKg), DIC(start.DICUmolKg))
	if err != nil {
		return State{}, err
	}
	settled, err := c.Solve(TA(start.TAUmolKg), PCO2(gas.RoomPCO2Uatm))
	if err != nil {
		return State{}, err
	}
	const (
		stepShare = 1.0 / 8 // of the shortest time scale at hand
		near      = 1e-9    // of the equilibrium: it is there
		stepsMax  = 10_000
	)
	left := elapsedS * gas.TransferVelocityMS / gas.DepthM // in depths crossed
	for range stepsMax {
		if left <= 0 {
			return now, nil
		}
		if math.Abs(now.CO2UmolKg-settled.CO2UmolKg) <= near*settled.CO2UmolKg {
			return settled, nil
		}
		// The pull of the room is steepest at one end of the way or the other.
		// A start without carbon has no time scale of its own (NaN).
		scale := carbonPerCO2(settled)
		if local := carbonPerCO2(now); local < scale {
			scale = local
		}
		step := math.Min(stepShare*scale, left)
		dic := now.DICUmolKg
		k1 := settled.CO2UmolKg - now.CO2UmolKg
		k2 := settled.CO2UmolKg - c.co2UmolKg(start.TAUmolKg, dic+step/2*k1)
		k3 := settled.CO2UmolKg - c.co2UmolKg(start.TAUmolKg, dic+step/2*k2)
		k4 := settled.CO2UmolKg - c.co2UmolKg(start.TAUmolKg, dic+step*k3)
		dic += step / 6 * (k1 + 2*k2 + 2*k3 + k4)
		if now, err = c.Solve(TA(start.TAUmolKg), DIC(dic)); err != nil {
			return State{}, err
		}
		left -= step
	}
	// More than a thousand time scales have passed.
	return settled, nil
}

func (c *Constants) co2UmolKg(taUmolKg, dicUmolKg float64) float64 {
	dissolved := carbon{molKg: dicUmolKg / umolPerMol}
	h := c.hydrogen(dissolved, taUmolKg/umolPerMol)
	return c.speciesAt(dissolved, h).co2 * umolPerMol
}
