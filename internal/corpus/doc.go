// Package corpus makes labelled tank-histories: what the devices and the people
// at an invented tank would have told over weeks, and what was really wrong. It
// is how package account is held to its claims, and how the rules that people
// use today are held against it.
//
// A history comes from the plant, the physical twin, with the real controller
// in the loop. The tank is built a little differently from its drawing; its room
// has weather; its keeper feeds, changes water, fills the reservoir, measures
// salinity with an instrument that errs, and forgets to write things down.
//
// # Seeds
//
// A seed names a history for good. Every purpose (the tank, the weather, the
// keeper, the instruments, the link) draws from a stream of its own, so that one
// more draw in one place changes nothing elsewhere. Tuning looks at seeds from 1
// to TuningSeeds; what is reported comes from seeds above ReportSeeds, and the
// tanks of the two are different tanks.
package corpus
