// Package evaporation predicts the water that a tank loses to the room, says how
// far to trust the figure, and learns a tank's own multiplier from its top-off
// record.
//
// Water leaves because the vapour pressure at its surface is higher than in the
// room. Two things carry it off: moist air is lighter than dry, so it rises by
// itself, and draughts and fans sweep it away. The models differ in how they
// weigh these, and by a factor of two in what they predict, because a pool hall,
// an outdoor pan and a laboratory dish are different places. None was measured
// on an aquarium.
//
//	water := evaporation.Water{TempC: 25.5, Activity: 0.981} // SP 35
//	room := evaporation.Air{TempC: 22, RHFrac: 0.5, SpeedMS: 0.1, PressurePa: 100850}
//	display := evaporation.Surface{AreaM2: 0.72, Agitation: evaporation.Rippled}
//	estimate := evaporation.Predict(evaporation.Shah, display, water, room)
//
// # Salt
//
// Dissolved salt lowers the vapour pressure by its water activity, about 1.9 %
// at a practical salinity of 35, in every place where the surface's vapour
// appears. Evaporation falls by more, because the room's vapour does not:
//
//	dE/E = (1 - activity) p_w/(p_w - p_a)
//
// in a model linear in the pressures, about 3.3 % in a room at 24 °C and 50 %
// over water at 26 °C, more in humid rooms and about a fifth more again where
// buoyancy counts.
//
// # What is left out
//
// Evaporation cools the topmost layer to 0.2 to 0.5 K below the bulk (from
// memory), worth 1 to 4 % less water. The models were fitted with bulk
// temperatures in the main, a tank's own thermometer is no better, and so no
// correction is applied: give the temperature of the water that you measure.
//
// # Never negative
//
// Where the room's vapour pressure is above the surface's, water condenses into
// the tank. No model here was fitted to that, so evaporation is then zero and
// DrivingPressurePa and Estimate.Condensing say why.
package evaporation
