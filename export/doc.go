// Package export writes a whole bench so that a person can read it without this program,
// and puts such an export back into an empty bench, exactly.
//
// # What lies in it
//
// A folder, or the same as one zip file. Names of files are fixed or made of hashes; README.txt
// inside says to a person what follows here for a programmer.
//
//	README.txt          what each file is, how to check and how to put it back
//	index.html          leads to everything
//	bench.json          version of this layout, counts, content hash, ids of the jobs, what is lost
//	listings.json       which documents could be chosen by name, oldest first
//	jobs/ID.json        the job and its entries as the record has them, one entry a line
//	jobs/ID.html        the report of the job, where one could be made
//	tables/KIND.csv     the entries as tables (RFC 4180), one a kind; units stand in the headings
//	documents/HASH.EXT  definitions, test tapes, programmes, instruments ...: their own bytes
//	captures/HASH.EXT   sound files: their own bytes
//	pictures/HASH.EXT   pictures and photographs: their own bytes, and the copies that are shown
//	others/HASH.EXT     kept files that are neither
//	LOST.txt            only where parts could not be read, and was written all the same
//	SHA256SUMS          the SHA-256 (FIPS 180-4) of every other file, as sha256sum -c reads it
//
// The JSON documents, the documents and the kept files are the record; reports and tables say
// the same again for people and are not read back, but their hashes are checked too.
//
// The same record gives the same bytes: no clock and no name of a machine is in it, and the
// files of a zip are stored as they are. Phones that have joined are not in it: their tokens
// are secrets of this machine.
//
// # The content hash
//
// Two benches with the same [Content] have the same record. SHA256 is over one line for each
// thing, ended by a line feed, in this order:
//
//	headstack content 1
//	document HASH BYTES     by rising hash
//	listing JSON            in the order in which they were listed
//	job JSON                in the order in which they were opened, and after each
//	entry JSON              its entries by their number
//	file HASH BYTES         by rising hash
//
// JSON is that of package encoding/json for [headstack/job.Listing], [headstack/job.Job] and
// [headstack/job.Entry] on one line.
//
// # Reading back
//
// [Check] reads every byte and holds it against its hash, and the record against the rules
// that the bench keeps: numbers, times, corrections, what points at what. What it has found
// whole, [Checked.Import] puts into an empty bench in one step. Nothing in an export decides
// where a file is written: files are kept under the hash of their bytes.
package export
