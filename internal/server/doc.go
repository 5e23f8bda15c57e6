// Package server assembles the running service, once, for the program and for
// the tests:
//
//	devices --MQTT, HTTP--> wire.FrontDoor --> wire.Log --> monitor.Monitor --> store
//	browsers --HTTP--> page, api --> monitor, store      <-- monitor.Feed
//	people <--mail, webhook-- sender <-- monitor
//	outside <--HTTP-- lifesign <-- hub <-- facts of every part
//
// Open makes everything and takes the addresses, Run takes the tanks up and serves
// until its context ends, Close gives everything back. Every goroutine belongs to Run and has ended when it returns.
//
// Its rooms: api is the HTTP interface and who may use it, monitor keeps the
// accounts and alarms of all tanks, sender tells people of them, devices knows
// credentials, auth passwords and limits, feed passes events on, page serves the
// front end, hub judges the service itself, lifesign tells the outside that it
// works. Beside them, here: the facts that hub judges (vitals.go), what is dropped
// with age (upkeep.go), and backup and restore (backup.go).
package server
