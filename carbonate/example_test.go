package carbonate_test

import (
	"fmt"
	"log"

	"isohaline/carbonate"
)

// A tank at 8 dKH reads pH 8.00 on a probe calibrated with NBS buffers. How much
// CO2 does it hold, and what would a tenth of pure water do to it?
func Example() {
	const densityKgM3 = 1023.3 // of the tank's water
	c, err := carbonate.At(35, 25, carbonate.Options{})
	if err != nil {
		log.Fatal(err)
	}
	pH, err := c.ConvertPH(8.00, carbonate.NBS, carbonate.Total)
	if err != nil {
		log.Fatal(err)
	}
	state, err := c.Solve(carbonate.TA(carbonate.UmolKgFromDKH(8, densityKgM3)), carbonate.PH(pH))
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("pCO2 %.0f µatm, aragonite %.1f times saturated\n", state.PCO2Uatm, state.OmegaAragonite)

	tank := carbonate.Water{
		MassKg: 90, SalinityPSU: 35, TempC: 25,
		TAUmolKg: state.TAUmolKg, DICUmolKg: state.DICUmolKg, CalciumUmolKg: 10_300,
	}
	pure := carbonate.Water{MassKg: 10, TempC: 25}
	diluted, err := carbonate.Mix(tank, pure)
	if err != nil {
		log.Fatal(err)
	}
	if c, err = diluted.Constants(carbonate.Options{}); err != nil {
		log.Fatal(err)
	}
	closed, err := c.Solve(carbonate.TA(diluted.TAUmolKg), carbonate.DIC(diluted.DICUmolKg))
	if err != nil {
		log.Fatal(err)
	}
	settled, err := c.Solve(carbonate.TA(diluted.TAUmolKg), carbonate.PCO2(800)) // with the room
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("pH %.2f, diluted %.2f, settled with the room %.2f\n", state.PHTotal, closed.PHTotal, settled.PHTotal)
	// Output:
	// pCO2 799 µatm, aragonite 2.9 times saturated
	// pH 7.86, diluted 7.89, settled with the room 7.83
}
