// Package soak lives through whole lives of a tank with its edge and its hub, in
// one process and under a virtual clock, with everything going wrong that can: the
// faults of the twin's catalogue, a network that loses, repeats, delays, reorders
// and is cut, an agent that is killed or hangs, a disk that is full, a hub that is
// down, clocks that are off, and people who ask for all of it.
//
// What decides is the real code: the twin, decide.Step with the guard and the
// ledger of requests, the lease, the hub's desk. The network and the disks are
// small models with the promises that packages wire and edge keep, tested there
// with real processes.
//
// A life is drawn from one seed and is the same every time: a seed that fails is
// its own reproduction. Three counts must be 0: seconds that the pump is switched
// on past a limit, readings that are lost, requests that take effect twice.
package soak
