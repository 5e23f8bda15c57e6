// Package store keeps what Isohaline must remember: people, sites, tanks and
// their descriptions, devices and their readings with roll-ups for charts, the
// account's checkpoints, findings and beliefs, alarms and who was told, hand
// readings, settings, and an audit log of every change.
//
// It is one set of queries for two databases: SQLite in a file, the embedded
// default, and PostgreSQL. Open says which by its address. Where they differ is in
// store.go, postgres.go and claim.go (connections, one process), insert.go (how a
// batch of readings is written), retention.go and users.go (locks), errors.go,
// backup.go, migrate.go and the migrations whose names end in a database.
//
// Who changes what a person may change goes through an Editor, which knows who
// and when, and writes the audit log in the same transaction:
//
//	err := s.Edit("ines", now).CreateTank(ctx, tank)
//
// What machines report (readings, checkpoints, findings, alarms) goes straight
// to the Store: it is its own record.
//
// Times are UTC to the microsecond, in both directions. A zero time is stored
// as none. An error says what was being done, and is ErrNotFound, ErrExists,
// ErrStale or ErrLastOperator where a caller may want to know.
package store
