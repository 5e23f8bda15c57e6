package seawater_test

import (
	"fmt"

	"isohaline/seawater"
)

// One tank, three instruments: each needs its own conditions to say the same.
func Example() {
	probe := seawater.PracticalSalinityFromConductivity(53.071, 25, 0)
	hydrometer, _ := seawater.PracticalSalinityFromSpecificGravity(1.02637, 25, 25)
	refractometer, _ := seawater.PracticalSalinityFromBrineScale(36.5)
	fmt.Printf("conductivity probe, 53.071 mS/cm at 25 °C:     SP %.1f\n", probe)
	fmt.Printf("hydrometer, 1.02637 at 25/25 °C:               SP %.1f\n", hydrometer)
	fmt.Printf("refractometer for NaCl brine, 36.5 g/kg shown: SP %.1f\n", refractometer)
	// Output:
	// conductivity probe, 53.071 mS/cm at 25 °C:     SP 35.0
	// hydrometer, 1.02637 at 25/25 °C:               SP 35.0
	// refractometer for NaCl brine, 36.5 g/kg shown: SP 35.0
}

// A kilogram of water evaporates from a tank: volume falls, salt stays.
func ExampleSpecificVolumes() {
	const sp, tempC, litres = 35, 25, 400
	water, salt := seawater.SpecificVolumes(sp, tempC)
	sa := seawater.AbsoluteSalinity(sp) / 1000
	massKg := litres / 1000. * seawater.Density(1000*sa, tempC, 0)
	saltKg := massKg * sa
	waterKg := massKg - saltKg - 1 // a kilogram evaporates
	volume := waterKg*water + saltKg*salt
	fmt.Printf("%.3f L, SP %.3f\n", 1000*volume, seawater.PracticalSalinity(1000*saltKg/(waterKg+saltKg)))
	// Output:
	// 398.997 L, SP 35.086
}
