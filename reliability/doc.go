// Package reliability turns "two sensors and a timer" into how likely it is
// that they are found failed when they are needed, and what a monthly test
// buys.
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
// A Model says how failures combine (OR, AND, at least k of n; no NOT), with
// events by probability or by rate, and parts that share a cause. NewTree
// checks it. Compile makes a Diagram, which gives the exact probability of the
// top, the minimal cut sets and the importance of each event.
//
// Two roads lead to the same numbers. The diagram walks from the gates to a
// decision diagram and on to a zero-suppressed one; ExpandCutSets and
// CutSets.Exact multiply the gates out and split the cut sets into disjoint
// cases. They share nothing but the checked tree, and the tests hold them to
// each other and to the plain table of all states. The diagram goes much
// further: a published model with 61 events and 46,188 cut sets takes it a
// tenth of a second, while the expansion is for trees of some dozens of events.
//
// The mistake to avoid is adding up cut sets. Their sum (RareEvent) is too
// high by a third for that model, although its top has a probability of one in
// a million.
//
// Demands are kept apart from hidden failures. With an initiating event in the
// tree, its frequency times its Birnbaum importance is the frequency of the
// top by way of it.
//
// # Voted groups and proof tests
//
// A Group is K of N like channels. A hidden failure waits for the proof test,
// so the interval sets the probability of failure on demand: to first order
// rate*T/2 for one channel, (rate*T)^2/3 for either of two. Monthly against
// yearly testing is a factor 12 for one channel and 144 for two independent
// ones, but only 12 for what two sensors of one kind share; at a beta of 10 %
// that share rules at any realistic rate.
//
// PFDavg and PFH are the equations of IEC 61508-6:2010 Annex B. InPractice
// follows the group through its cycle instead, and knows the person: tests
// skipped, channels left switched off after a test, tests staggered between
// channels, failures no test can find.
//
// Averages must not be multiplied: two channels tested at one visit are at
// their worst together. Diagram.Average carries a whole tree over the cycle.
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
