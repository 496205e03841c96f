// Package handout writes what leaves the bench on paper, as PDF: labels for faults, cups of
// screws, connectors, tapes and channel strips ([Labels], [Strips]); the blank check sheet
// and line-up sheet ([CheckSheet], [LineUpSheet]); the hand-over report and the card for who
// buys the recorder ([HandOver], [Card]).
//
// Everything is a function of the record alone and dated by its last entry ([RecordTime]):
// the same record gives the same bytes. A hand-over report and a card carry the SHA-256 of
// the record that they were made from, as [report.RecordHash] reckons it, in their text and
// in the file's keywords; [ReadStamp] finds it again, in these and in the HTML report, and
// [Stamp.Check] says whether a job still has that record. The hash is of the record, not of
// the file: it does not tell whether somebody altered the file.
//
// Figures, intervals and judgements are those of packages measure and lineup; nothing is
// reckoned here. All is black on white: what is in or out is told by a mark and a word.
package handout
