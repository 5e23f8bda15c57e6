// Package membrane knows how the water for topping off is made: what a reverse
// osmosis membrane gives at a temperature, pressure and age, what it sends
// down the drain, and how long the deionising resin behind it lasts.
//
// # The unit in a minute
//
// Tap water is pressed against a membrane that lets water through and holds
// most of the salt back. What passes is the product; the rest, the reject,
// leaves through a restrictor with the salt. Cold water is more viscous and
// the membrane tighter, so the product falls by about 3 % a degree; it rises
// in proportion to the pressure left over after osmosis. The resin then takes
// out what salt came through, until it is spent.
//
// # First minutes
//
// While a unit stands idle, salt diffuses through the membrane until the water
// on the product side approaches the feed. The first product of every start
// carries it: short, frequent runs spend resin many times faster than the
// steady figures here say (common practice, no source). Fill a reservoir
// seldom and fully, or flush the first minutes to the drain.
//
// # Plumbing
//
// A unit on the mains is an endless source: a float valve alone must never
// stand between it and a tank or a floor. Local codes on backflow apply and a
// licensed plumber decides.
package membrane
