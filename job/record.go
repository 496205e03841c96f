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
	// AppendJob keeps j under the next free ID, which it returns in the copy.
	// j.ID is ignored.
	AppendJob(ctx context.Context, j Job) (Job, error)
	// Job returns one job, or a [NotFoundError].
	Job(ctx context.Context, id string) (Job, error)
	// Summaries lists all jobs with their counts, in the order they were opened.
	Summaries(ctx context.Context) ([]Summary, error)

	// AppendEntry keeps e and returns it with Seq, Ref, At and Clock as kept.
	// e.At is what the clock says; where an earlier entry has a later time that
	// one is kept as At and the clock's goes into Clock. In one step with the
	// append it makes sure that the job exists ([NotFoundError]) and that
	// e.Corrects, when not 0, may be corrected by e ([CorrectionError], see
	// [CheckCorrection]).
	AppendEntry(ctx context.Context, e Entry) (Entry, error)
	// Entries returns all entries of a job by Seq, or a [NotFoundError].
	Entries(ctx context.Context, jobID string) ([]Entry, error)

	// PutDocument keeps a definition or test tape under its SHA-256. Keeping
	// the same bytes as the same kind again changes nothing and returns what
	// was kept the first time.
	PutDocument(ctx context.Context, d Document) (Document, error)
	// Document returns the document with that hash, or a [NotFoundError].
	Document(ctx context.Context, kind DocumentKind, sha string) (Document, error)
	// Documents lists the documents of a kind, oldest first, without Data.
	Documents(ctx context.Context, kind DocumentKind) ([]Document, error)
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
)

// Document is a YAML file kept with the record, so that what was opened or
// measured with it can be read for as long as the record.
type Document struct {
	Kind   DocumentKind
	SHA256 string // of Data, lower-case hex
	ID     string // machine.Definition id, or the test tape's name as an id
	Name   string // as shown: "Quernmoor Hexastrand"
	Data   []byte
	// Listed says that a person added it; an unlisted one is kept only because
	// a job or a capture used it.
	Listed bool
	Added  time.Time
}

// Summary is a job in a list, with what counts after corrections.
type Summary struct {
	Job
	Checks, Readings, Captures, Notes int
	LastAt                            time.Time // of the last entry; zero when there is none
}
