// Package hublife lives through whole lives of the hub's watch in one process and
// under a virtual clock: a log, live tanks with their accounts, alarms, a store, a
// sender and people, with everything going wrong that can. The store refuses a
// write, or keeps it and answers with an error, or does not say what became of it;
// the process is killed before or after any of its calls, or stopped in the middle;
// the log gives frames again, in other batches, or has lost its last ones; readings
// are late, doubled and out of order; contacts flap; devices are moved and revoked;
// the clock is set; messages are not taken, or taken and not reported.
//
// What decides is the real code: monitor with live, account and alarm. The log is a
// list, the store is Memory, which is held against the real one by a test of the
// same commits on both. What must be true is checked by an oracle (oracle.go, words.go,
// settled.go) that knows the promise and not the monitor: the last word of every
// contact has its alarm, what lasted was told though it is over, every turn is told
// once, every notice is kept before it is sent and sent at least once, the next person
// is told where nobody acknowledged, no device is called silent whose words wait in the
// log, every finding and every reading is there once, and so is what people entered.
//
// A life is drawn from one seed and is the same every time.
package hublife
