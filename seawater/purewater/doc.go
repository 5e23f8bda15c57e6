// Package purewater knows pure water, liquid and vapour, by the reference
// equation of state IAPWS-95: saturation pressure, the densities on both sides
// of the surface and the heat that crossing it takes.
//
// IAPWS-95 (Wagner & Pruss 2002, J. Phys. Chem. Ref. Data 31, 387-535; IAPWS
// R6-95(2018)) gives the Helmholtz energy f(ρ, T). Every property is a
// derivative of f; liquid and vapour coexist where both have the same pressure
// and the same Gibbs energy (the Maxwell construction). The industrial formula
// for saturation pressure (IAPWS R7-97) is here as well: explicit, fast, and
// within 8e-5 of the reference up to 40 °C.
//
// Temperatures are in °C (ITS-90), pressures absolute and in Pa. Energies have
// the steam-table zero: internal energy and entropy of the liquid vanish at the
// triple point.
package purewater
