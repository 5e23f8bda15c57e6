// Package seawater knows what salt does to water: how salinity is measured and
// what density, heat, vapour pressure and light make of it.
//
// # Two salinities
//
// Instruments give Practical Salinity SP (PSS-78): a ratio of conductivities,
// without unit, 35 for average ocean water. Thermodynamics needs Absolute
// Salinity SA, grams of salt in a kilogram of water. For water of reference
// composition, which good salt mixes imitate,
//
//	SA = (35.16504/35) SP g/kg        (Millero et al. 2008)
//
// so they differ by half a per cent, and mixing them up costs 0.17 g/kg at 35.
// A parameter called sp is the first and one called saGKg the second.
//
// # One function for everything
//
// TEOS-10 (IOC, SCOR and IAPSO 2010, Manuals and Guides 56) derives every
// equilibrium property from one function, the Gibbs energy g(SA, t, p) in J/kg:
//
//	density              1 / g_p
//	heat capacity        -T g_TT
//	chemical potential   g - S g_S       of the water, S = SA in kg/kg
//
// and what evaporates is decided by the last: salt lowers it, and with it the
// vapour pressure, by 1.9 % at SP 35. g is the sum of a liquid-water part
// (Feistel 2003; IAPWS SR7-09, the form the official TEOS-10 library uses) and
// a saline part (Feistel 2008; IAPWS R13-08). Because all properties share one
// g, they cannot contradict one another, and the tests hold them to that.
// Package purewater has the reference equation for pure water, IAPWS-95, with
// its vapour.
//
// # Arguments and range
//
// Temperatures are in °C on ITS-90. Pressures are sea pressures in dbar: zero
// at the surface under one standard atmosphere, about one per metre of depth.
//
// The formulas were fitted between the freezing point and 40 °C, SA 0 to 42
// g/kg, 0 to 10000 dbar. Outside that they carry on, with growing error, over
// the wider ranges of IAPWS R13-08: SA 0 to 120 g/kg, -12.15 to 79.85 °C,
// absolute pressure up to 100 MPa (10000 dbar). At the surface pure water stays
// within 1e-6 of IAPWS-95 in density and 1e-3 in heat capacity up to 60 °C, 2e-4
// and 2e-2 to the end; hot and deep at once is several per cent off. Beyond
// those ranges, or for NaN or infinite arguments, functions return NaN and
// inversions return an error. Nothing panics.
package seawater
