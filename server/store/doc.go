// Package store keeps conversations as append-only logs of events. An event is acknowledged only when it is on disk,
// and the events of a conversation are numbered from 1 without gaps, whoever writes at the same time.
//
// The store knows nothing of what events mean: diagnosis.Fold alone does. It writes one set of SQL that SQLite and
// PostgreSQL both understand: numbered parameters, ids made here, times as UTC microseconds.
//
// Beside them it keeps access tokens, passes, and learnt models with what was ever promoted; the last two are only
// added to.
//
// Limits: a conversation holds at most MaxEvents events, because each change reads the whole log.
package store
