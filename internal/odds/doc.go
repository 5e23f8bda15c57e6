// Package odds says how likely the harm is that the check found possible, and
// what testing and changes buy.
//
// The check (internal/verify) knows by simulation which faults, alone or
// together, lead to which harm. This package adds how often each happens and
// how long it stays, and works out how often they meet.
//
// # Demands and hidden failures
//
// A fault that shows itself stands only until somebody comes or until it passes
// by itself: a demand, or initiating event. A fault that shows nothing waits for
// the proof test, or for the yearly overhaul where no test touches it: a hidden
// failure. Which of the two it is depends on the design, so the twin decides: a
// welded relay is a demand, but behind a shut-off valve nobody notices it.
//
// # From twin to tree
//
// A combination does its harm when its last fault comes and finds the others
// standing. So
//
//	frequency = rate of the last fault × probability that the others are found
//
// summed over which fault is last. For hidden failures that probability is a
// fault tree (package reliability), averaged over the time since the last test
// as a whole: two barriers tested on one day are at their worst together, and
// the product of their averages would be too small. For a demand it is the time
// within which a second fault still meets it, which the twin finds by trying.
//
// # Two roads
//
// Simulate lives through tank-years instead: faults arrive, tests are done or
// forgotten, and what a meeting does is asked of the twin, with everything that
// stands at the time. It shares the rates and the twin with the tree and
// nothing else: no cut sets, no minimal combinations, no averages.
//
// # What the figures are
//
// Estimates from generic rates and from judgement, which know nothing of salt
// creep, snails or the person at hand. They compare designs and habits. They
// are no certificate, and the low ends are the more doubtful: a range from clean
// industry is a lower bound here. Local codes and licensed practice decide.
//
// The package is pure: no clock, no disk, no network; the tables are embedded
// and everything random takes a seed.
package odds
