// Package carbonate knows the carbon dioxide system of seawater: what pH,
// alkalinity, dissolved carbon and carbon dioxide have to do with one another,
// and what happens to them when waters mix, breathe or take up lime.
//
// # The system in a minute
//
// Carbon dioxide that dissolves in water becomes carbonic acid, bicarbonate
// and carbonate. Their sum is dissolved inorganic carbon, DIC. Total
// alkalinity, TA, is the excess of bases over acids; the trade's "alkalinity"
// or "carbonate hardness" is TA in other units. Mixing and evaporation change
// TA and DIC in proportion to mass, breathing with the air changes DIC alone,
// and pH and the partial pressure of CO2 follow from the two. Any two of TA,
// DIC, pH and pCO2 fix the rest.
//
// Constants hold everything that depends on salinity and temperature alone:
// compute them once with At, then call Solve as often as needed.
//
//	c, err := carbonate.At(35, 25, carbonate.Options{})
//	state, err := c.Solve(carbonate.TA(2300), carbonate.DIC(2000))
//
// # Conventions
//
// Concentrations are in µmol per kilogram of solution, partial pressures in
// µatm, pH on the total scale unless a Scale is named, salinity on the
// practical scale (PSS-78), temperature in °C (ITS-90), pressure one
// atmosphere. Alkalinity counts bicarbonate, carbonate, borate, hydroxide,
// free hydrogen ion, bisulfate and hydrogen fluoride; phosphate, silicate,
// ammonia and sulfide are taken as zero, which for phosphate and silicate in
// clean tanks moves TA by a few µmol/kg. Ions other than calcium are taken to
// stand in the proportions of natural seawater.
//
// # How good the answers are
//
// The arithmetic agrees with a reference library to about 1e-9. The published
// constants do not know nature that well: about 0.01 to 0.02 in pH, 2 to 4 % in
// pCO2 and 5 % in saturation state, before any error of the readings.
package carbonate
