// Package plant is the physical twin of a tank: water, salt and alkalinity moving
// between display, sump, reservoir and floor, with the real controller of package
// guard in the loop.
//
// # What is conserved
//
// The state of every volume is two masses, water and salt, in kilograms, and the
// moles of alkalinity dissolved in it. Volume is linear in the masses
// (seawater.SpecificVolumes), so mixing, evaporating and pouring never lose or
// make any of them, and the books close to rounding: see Books.
//
// # How time passes
//
// The twin is event-driven. Between events every flow is constant, so volumes
// are straight lines in time and the moment a line crosses a sensor, a rim or
// an intake is a division, not a search. At an event the flows are worked out
// again. Three kinds of flow do depend on the volumes they change: the display
// running down or up after the return pump stops or starts, a siphon, and a
// pump whose lift grows as its reservoir empties. There a segment also ends
// when the level has moved by a small share of its head, and the flow is taken
// at the segment's middle (the explicit midpoint rule); the length of such a
// segment follows the physics, never a clock.
//
// While the return pump runs and the drain keeps up, the display stands at the
// height where the weir passes the pump's flow. That balance is reached in
// seconds, so it is held exactly instead of integrated: every litre gained or
// lost anywhere then shows in the return chamber alone. When the return chamber
// has fallen to the pump's intake, the roles change: the chamber stays there
// and the display takes the loss.
//
// Salt and alkalinity cross between display and sump with the return flow. Between events
// the difference of the two concentrations is a first-order decay towards what
// the sources sustain, and is advanced by its closed solution.
//
// # pH
//
// pH is no state: it is worked out from alkalinity, salinity and temperature of
// the animals' water, once as if it had met no air for a day and once in balance
// with the room's carbon dioxide. The truth lies between; see chemistry.
//
// # What is left out
//
// Water temperature is the season's and stays there. Waves, the time water
// takes to cross the sump, heat of evaporation and thermal expansion are not
// modelled. Oxygen and temperature after a power cut are not either, nor what
// falls out of water that has had too much lime.
package plant
