// Package monitor keeps an eye on every tank: readings go in as they come out of
// the log, findings and alarms come out, and what is believed now can be asked
// at any time.
//
//	log --Take--> store (once each) --> account --> findings --> alarms --> store, feed
//
// One Monitor owns the present state of all tanks, behind one lock. What it learns
// is kept before anybody hears of it: readings, then alarms, then accounts with
// their findings (keep.go). A process that is killed in between is given the same
// readings again by the log, keeps each once, and works out the same findings.
//
// What the accounts believe is noted at every full hour (believe.go); records that
// come late are worked through again (rerun.go), and what was believed then gives
// way.
//
// What a contact says about water where it must not be is believed at once
// (contact.go); everything else is the account's to judge, which waits a moment
// for what comes late.
package monitor
