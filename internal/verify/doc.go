// Package verify is the design check: it takes a tank, proposes the settings
// it lacks, proves its geometry, tries every single fault and every pair of
// faults with the real controller on the physical twin, judges the harm, and
// searches for the smallest changes that would make the design acceptable.
//
// # How harm is judged
//
// Each combination of faults begins just after a visit and runs unattended for
// at least thirty days in every season of the tank; the worst season counts.
// The harm classes' borders are the tank's own limits.
//
// People are a barrier too, and they are named as one. A person comes when an
// alarm reaches them, or at the next visit at which something is amiss, and
// ends the fault there. A row therefore carries two classes: what is reached by
// then, which decides the verdict, and what would be reached if nobody came.
//
// A design is accepted when no single fault reaches class 3.
package verify
