// Package monitor keeps every tank live: readings go in as they come out of the
// log, findings and alarms come out, and what is believed now can be asked at any
// time.
//
//	log --Take--> live.Step, alarm.Step, alarm.Decide --> one commit --> feed, sender
//
// A tank is a live.Value and a site its alarms with who is told of them; both are
// values behind a pointer. A step makes drafts of the next ones (draft.go). What
// follows from it, readings, roll-ups, beliefs, findings, alarms, their changes and
// the notices to be sent, is kept in one transaction of the store, and only then
// the drafts take the place of what was. So a step that the store does not take,
// or a process that ends in the middle, leaves everything as it was, and the log
// gives the same readings again.
//
// Readings that tell nothing make the tank's next value at once and wait for a commit
// that takes in many (take.go): the log has them.
//
// A tank's own value is large and follows from its readings. It is saved in the
// same transaction when something was found, else now and then with its place in
// the log (save.go); after a restart the log gives again what came since. So
// whatever was told is remembered, and what has to be worked out again told
// nothing.
//
// Alarms follow what is the case, not only what happens: each minute those of a
// tank are held against its open findings (conform in draft.go).
//
// One lock for each site orders its steps. Who only looks takes none.
package monitor
