// Package wire is how readings come into the house: a front door that devices
// speak MQTT to, and behind it a durable log that the rest of the program reads.
// What a tank's sensors and pumps are wired to is package edge/io's, and what can be
// measured package channel's.
//
//	device --MQTT--> FrontDoor --Append--> Log --Consume--> store, account
//
// # The promise
//
// A device gets its acknowledgement (PUBACK, HTTP 2xx) only after the log has
// acknowledged the reading to us. From then on the reading comes out of
// Log.Consume at least once, in the order of the log, whatever process is killed
// and whenever. How much more than a killed process it survives is a setting in
// words, Durability.
//
// A device that got no acknowledgement sends again, so a reading may enter the
// log twice. It is the same reading if Reading.Key is the same; whoever stores
// readings keeps that key unique, and then each is there exactly once.
//
// # No
//
// A message is taken whole or refused whole, and a refusal is seen: by the device
// (a reason code in MQTT 5, a closed connection in MQTT 3.1.1, which has no word
// for it), in a counter, and by the caller's Refused function. Nothing is
// acknowledged and dropped. A Problem says which field, what stood there and what
// would be valid.
//
// # Edges
//
// An edge, a small computer beside a tank, has a log of its own (Uplink) and brings
// it to the hub's front door (EdgePort) whenever there is a link, under the same
// promise.
//
// # Too much
//
// Every queue is bounded. When the log is slow, publishers wait; when it stays
// away, they are disconnected and send again later.
//
// docs/wire.md has the topics, the limits and the reasons.
package wire
