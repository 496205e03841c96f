// Package report writes the documents that the owner of a machine keeps.
//
// [HTML] writes one file that needs nothing else: style and pictures are inside,
// there is no script and no request leaves the reader's machine, so that it can
// be mailed, archived and printed on A4 in black and white. It says what was
// found, what is proved and by which entries of the record, what was not done or
// not measured and why, and it carries a hash of the record it was made from.
//
// # What stands where
//
// Captures taken the same way, which is the same function, thing played, interface and
// case state, are set out together ([FoundIn]). Their measures stand in chapters
// ([Chapters]) in the order of [headstack/measure.Headings]: which track is which first,
// since it puts all else in question. [Tables] makes one table a measure, of crosstalk a
// matrix a tone; in a chapter, measures with one figure a track share a table, and one
// that was refused everywhere for one reason is a line. Levels against time are left to
// the pages of the bench.
//
// What the losses on captures say comes before their figures ([LossesOf]): findings with
// their percentage, sizes and the test that would tell, each with the caution that belongs
// to its step. Pages and command line say it in the same words. [Likely] puts a percentage
// into a word by the bounds of the IPCC's guidance note on uncertainties (2010, from memory).
//
// # Units and references
//
// Each figure has its 95 % interval and unit; what 0 dB is stands once in the
// heading of its table. A refused measurement stands in its cell with the reason.
//
// # What stays the same
//
// The same record, verdict and time give the same bytes: nothing is read from
// the clock, the environment or a map's order.
//
// # What it does not do
//
// It does not judge: sentences and percentages are those of the diagnosis. It
// does not sign; the hash shows that a report and a record belong together, not
// who wrote either.
package report
