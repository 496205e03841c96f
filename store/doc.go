// Package store keeps the record of a bench in one folder: an SQLite database
// for jobs and entries, and the captures beside it as files named by the SHA-256
// of their bytes. It implements [headstack/job.Record] and
// [headstack/job.Files] and knows nothing of what the entries mean.
//
//	bench.db          the record
//	captures/<sha256> the captures, never altered
//	backups/          the record as it was on each of the last 14 days of use, and
//	                  before each change of its schema
//	bench.lock        held while a program has the folder open; always empty
//	bench.holder      who holds it, for the message to the second program
//
// # What is promised
//
// An append that returned without an error is kept, also when the process is
// killed in the next instant: one transaction, synchronous=FULL on a write-ahead
// log, so the log is synced before the append returns. On macOS fullfsync asks
// the drive itself. How far a drive tells the truth about that is not ours to
// know.
//
// Nothing kept is changed. Triggers refuse UPDATE and DELETE on every table;
// numbering, one correction per entry and corrections within one job are
// constraints of the schema beside being rules of package job.
//
// [Open] checks the database (quick_check) and refuses a damaged one
// ([CorruptError]), one of a later program ([NewerError]) and a folder that
// another process has open ([InUseError]). The lock is SQLite's own on an empty
// side file, so the system drops it with the process that held it and a kill
// leaves no stale lock.
//
// A capture is written to a temporary file in the same folder, synced, renamed
// and the folder synced; whatever breaks off before that leaves nothing under a
// hash, and remains of it are removed at the next [Open]. Each time a capture is
// opened its bytes are hashed again and a difference is an error that names the
// file ([headstack/job.AlteredError]).
//
// # How the database is used
//
// One connection writes, with BEGIN IMMEDIATE; a small pool reads, query_only.
// The pragmas are read back after they were set, because SQLite ignores what it
// does not know. Schema changes are numbered SQL files, forward only, each in a
// transaction, run by goose after a copy of a database that has something in it.
//
// Entries are stored as columns for what is searched and one JSON column with a
// version for what kind-specific data they carry; the JSON reads back to exactly
// the same values. Text that is not UTF-8 is refused by package job before it
// gets here.
//
// # What is not covered
//
// Network file systems whose locks do not work; changes made to the files by
// other programs while the bench is open; a disk that loses what it has synced.
package store
