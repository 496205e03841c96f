package job

import (
	"context"
	"io"
	"time"
)

// Record is where a bench keeps what was observed. It only ever grows: nothing
// that was appended is changed or removed. What an append has returned without
// an error is kept, whatever happens to the program afterwards.
//
// Implementations are safe for concurrent use. The suite in job/jobtest says
// what each must do; store and job/memory pass it.
type Record interface {
	// AppendJob keeps j and returns it with ID, Opened and Clock as kept; j.ID
	// is ignored. The document DefinitionSHA must be kept ([NotFoundError]). Where a job has
	// been opened under j.Once, that one is returned and nothing is kept.
	AppendJob(ctx context.Context, j Job) (Job, error)
	// Job returns one job, or a [NotFoundError].
	Job(ctx context.Context, id string) (Job, error)
	// Summaries lists all jobs with their counts, in the order they were opened.
	Summaries(ctx context.Context) ([]Summary, error)

	// AppendEntry keeps e and returns it with Seq, Ref, At and Clock as kept.
	// e.At is what the clock says. A clock that was set back does not turn the
	// record round: where an earlier entry or job has a later time, that time is
	// kept as At and the clock's goes into Clock; Opened of a job likewise. In one step with the
	// append it makes sure that the job exists ([NotFoundError]), that
	// e.Corrects, when not 0, may be corrected by e ([CorrectionError], see
	// [CheckCorrection]), and that nothing came after e.Seen, when not 0, that upsets e
	// ([ConflictError], see [CheckSeen]). Where an entry has been appended under e.Once, that
	// one is returned and nothing is kept.
	AppendEntry(ctx context.Context, e Entry) (Entry, error)
	// Entries returns all entries of a job by Seq, or a [NotFoundError].
	Entries(ctx context.Context, jobID string) ([]Entry, error)
	// EntriesBut is Entries without those of a kind: the figures of captures are long, and
	// who counts over all jobs does without.
	EntriesBut(ctx context.Context, jobID string, without Kind) ([]Entry, error)

	// PutDocument keeps data, such as a definition or test tape, and returns its
	// SHA-256. Keeping the same bytes again changes nothing.
	PutDocument(ctx context.Context, data []byte) (sha string, err error)
	// Document returns the bytes with that SHA-256, a [NotFoundError], or an
	// [AlteredError] when they no longer have it.
	Document(ctx context.Context, sha string) ([]byte, error)
	// AppendListing puts a kept document on the bench's list of its kind. It is a [NotFoundError] unless the document is kept.
	AppendListing(ctx context.Context, l Listing) error
	// Listings returns the list of a kind, oldest first; the last with an ID is
	// the one in force.
	Listings(ctx context.Context, kind DocumentKind) ([]Listing, error)
}

// Files is where a bench keeps captures, each under the SHA-256 of its bytes.
type Files interface {
	// Put reads r to its end and keeps the bytes. When it returns an error
	// nothing is kept under any hash.
	Put(ctx context.Context, r io.Reader) (sha string, size int64, err error)
	// Open gives the bytes back after checking that they still have the hash.
	// Errors: [NotFoundError] when there is no such file, [AlteredError] when
	// its bytes have another hash.
	Open(ctx context.Context, sha string) (File, error)
}

// File is an opened capture. Its ReadAt may be used from several goroutines.
type File interface {
	io.Reader
	io.ReaderAt
	io.Closer
	Size() int64
}

// DocumentKind says what a document is.
type DocumentKind string

// The kinds of document a bench keeps.
const (
	DefinitionDocument DocumentKind = "definition"
	TapeDocument       DocumentKind = "test tape"
	ProgrammeDocument  DocumentKind = "record programme"
	// InterfaceDocument is a loop-back of a capture interface, as JSON: see [Loopback].
	InterfaceDocument DocumentKind = "interface"
	// InstrumentDocument is an entry of the register of instruments, as JSON.
	InstrumentDocument DocumentKind = "instrument"
	// CountsDocument is what another shop counted on its closed jobs, as JSON.
	CountsDocument DocumentKind = "counts"
	// PictureDocument is a picture of a definition and MarkDocument a mark on one, as JSON:
	// see [Picture] and [Mark].
	PictureDocument DocumentKind = "picture"
	MarkDocument    DocumentKind = "mark"
	// DraftDocument is a definition that is being written, as JSON: see [Draft].
	DraftDocument DocumentKind = "draft"
)

// Listing names a kept document, so that a job can be opened for it or a
// capture measured against it. Documents that are only kept because a job or a
// capture used them are not listed.
type Listing struct {
	Kind   DocumentKind
	ID     string // machine.Definition id, or the document's own name as an id
	Name   string // as shown: "Quernmoor Hexastrand"
	SHA256 string // of the document, lower-case hex
	Added  time.Time
}

// Summary is a job in a list, with what counts after corrections.
type Summary struct {
	Job
	Checks, Readings, Captures, Notes, Works int
	// Closed says that a closing stands.
	Closed bool
	LastAt time.Time // of the last entry; zero when there is none
}
