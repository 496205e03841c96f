// Package job is one machine's passage over the bench: what was observed on it,
// in the order it was observed, and the rules that keep that record honest.
//
// [Bench] is the service behind every way in (command line, pages, API). It
// checks what is to be recorded against the machine's definition, keeps it in a
// [Record] and, for captures, in [Files], and hands what counts to the
// diagnosis. Package store implements both interfaces on disk, job/memory in
// memory; job/jobtest says what either must do.
//
// # The record
//
// A job is opened for one machine and one version of its definition, which is
// kept with it. After that only [Entry] values are appended: checks, instrument
// readings, captures with what was measured on them, works, openings, notes.
// Nothing is changed or removed. A correction is an entry of the same kind that names the entry it
// replaces; a withdrawal is a note that names the entry it takes back. Both can
// be done once to an entry, so that the history is a line and not a tree:
// correct the correction, or record anew. [Current] is what counts.
//
// Entries are numbered twice: by Seq within the bench, which orders them, and by
// kind within the job ("check 12"), which people and verdicts cite. Times are
// the clock's, in UTC, except that a clock that was set back does not turn the
// record round ([Stamp]).
//
// # What was done, and what is open
//
// A [Work] says what was done to the recorder, whether or not it cured anything; a swap
// stands until it is recorded as undone. An [Opening] says that the recorder was opened
// further or put back. What is open now ([View].Open) is taken from these, and from what
// else tells: a reading taken with the case open was taken with its board reached. An
// entry whose case state nobody stated has the one that goes with the openings. Works and
// observations are in the order in which they were first recorded: what is corrected
// after a repair was still seen before it.
//
// # Instruments
//
// The register says of each instrument how it reads; readings name it by id. The last
// version of an id is in force for all readings that name it. A reading that names
// another instrument is taken with an ordinary one. One that has an address can be asked
// ([Bench.TakeReading]): no other address is ever opened, and none but by a person's call.
//
// # What is checked before it is kept
//
// Test points, replica keys, check items and functions exist in the definition;
// units convert to what the test point expects; values are finite, and not
// negative where a tone is read; tracks exist and appear once; texts are UTF-8
// within stated lengths. An [InvalidError] names the field and the nearest valid
// values; nothing is kept then.
//
// A capture is kept first and measured afterwards, so a file is never lost to a
// wrong setting: one that cannot be measured is recorded with the reason
// ([NotMeasuredError]) and can be measured again by its hash.
//
// # What a loss says
//
// [Bench.Explain] tells causes from the stored figures of a capture by package signature.
// Captures of one condition (function, thing played, interface, case state) that hold other
// tracks are looked at with it, for tracks are judged beside each other; each track comes
// from one capture. [Bench.ExplainJob] does so for every condition of a job, of which the
// first capture of a track stands; [Bench.CompareCaptures] explains what changed from one
// capture to another. Nothing of it is kept: the same entries give the same again. A capture
// taken while recording holds bleed only and is not explained.
//
// The diagnosis gets the same as likelihoods of each cause ([Bench.ShapedEvidence]), by the
// same grouping; every capture that counts is weighed once, those of tracks captured again
// in sets of their own. They are held in memory for the captures last looked at. A capture
// from which nothing can be told enters by its figures alone.
//
// # Wear
//
// [Bench.Wear] sets the state of the heads, as package signature tells it from captures of
// test tapes, against the date: one capture of each job of the same machine (definition and
// serial number), as left and as found apart, closed case only. A trend wants three dates
// over thirty days. The record keeps no hours of use, so that trends are by the year.
//
// # Units
//
// Readings are kept as typed, in the unit that was typed. [Bench.Evidence] gives
// them in base units (V, A, ohm, Hz ...); dBu and dBV become volts r.m.s., with
// 0 dBu = √0.6 V = 0.7746 V and 0 dBV = 1 V.
//
// # What it does not cover
//
// Whether a reading is plausible: a value that is off by a thousand is kept, and
// it is for the diagnosis to doubt it. Who recorded an entry: a bench has one
// user. What a check of a control says about the signal path: only checks of
// functions are evidence so far.
package job
