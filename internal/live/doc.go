// Package live keeps one tank live, as one value. What is known of the tank, what
// its channels said last, what its contacts say and what its account believes are
// together in a Value, and nothing else of a tank changes while readings come:
//
//	next, changes := tank.Step(value, readings, now)
//
// Step is pure: it reads no clock, keeps nothing and leaves the value that it was
// given as it was. The caller keeps the next value with what follows from it, or
// drops it and goes on with the old one.
//
// What a contact says about water where it must not be is believed at once
// (condition.go); everything else is the account's to judge, which waits a moment
// for what comes late.
package live
