// Package reliability turns "two sensors and a timer" into how likely it is
// that they are found failed when they are needed.
//
// # What the figures are
//
// Every figure is an estimate from generic failure rates, not a certificate.
// The published rates come from offshore platforms, power reactors and
// parts-count handbooks: none of them knows salt creep, snails, biofilm or a
// cupboard full of salt spray, so over a reef tank they are lower bounds. Show
// the band, never a bare number. Where water meets mains power, neighbours or
// animals, local codes and licensed practice decide, not this package.
//
// # Fault trees
//
// A Model says how failures combine (OR, AND, at least k of n; no NOT). NewTree
// checks it. Compile makes a Diagram, which gives the exact probability of the
// top however often an event repeats: a published model with 61 events and
// 46,188 minimal cut sets takes it some milliseconds. Adding up cut sets
// instead would be too high by a third for that model.
//
// A hidden failure waits for the proof test, so its probability follows the
// clock. Averages must not be multiplied: two channels tested at one visit are
// at their worst together. ProbabilityWith takes the probabilities of one
// moment; average what it gives over the cycle.
//
// # Uncertainty
//
// Rates are known within a factor, so they are Lognormal ranges; Sample draws
// from them by Latin hypercube with a seed, and Summarize gives the band of
// what comes out.
//
// Nothing here reads a clock, a file or a global; wrong input is refused with
// an *InputError that says where, what and how to mend it.
package reliability
