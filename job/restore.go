package job

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"
)

// This file is what a record and its files offer to who writes all of them out, and to who
// puts them back: see package export.

// KeptFile is one of the files of a bench.
type KeptFile struct {
	SHA256 string
	Bytes  int64
}

// Contents is all that a bench keeps, beside what [Record] and [Files] give by name. It is
// read as of one instant: an implementation that may be appended to meanwhile gives what
// stood when it was opened, in every answer alike.
type Contents interface {
	// Summaries, Entries and Document are those of Record, Open that of Files.
	Summaries(ctx context.Context) ([]Summary, error)
	Entries(ctx context.Context, jobID string) ([]Entry, error)
	Document(ctx context.Context, sha string) ([]byte, error)
	Open(ctx context.Context, sha string) (File, error)

	// DocumentHashes are the SHA-256 of all documents, listed or not, in rising order.
	DocumentHashes(ctx context.Context) ([]string, error)
	// AllListings are the listings of all kinds, oldest first.
	AllListings(ctx context.Context) ([]Listing, error)
	// KeptFiles are all files, also those that no entry names, by rising hash. Their bytes
	// are not looked at.
	KeptFiles(ctx context.Context) ([]KeptFile, error)
}

// Restorer is a record into which a whole one is put back.
type Restorer interface {
	// Restore calls put once and keeps all that it gave when it returns nil, in one step
	// that a kill cannot divide; after an error nothing of it is kept. A bench with a job, a
	// document or a listing is a [NotEmptyError], and put is not called.
	Restore(ctx context.Context, put func(Restoring) error) error
}

// Restoring takes what is put back, exactly as given: ids, numbers, refs and times are not
// made anew. What something points at comes before it. It is for the goroutine that called
// put, and while put runs.
type Restoring interface {
	// File keeps a file as Put of Files does. One that was there already, of an import that
	// was broken off by a kill, is the same file.
	File(ctx context.Context, r io.Reader) (KeptFile, error)
	// KeptFiles are those that are there now.
	KeptFiles(ctx context.Context) ([]KeptFile, error)
	Document(ctx context.Context, data []byte) (sha string, err error)
	Listing(ctx context.Context, l Listing) error
	Job(ctx context.Context, j Job) error
	Entry(ctx context.Context, e Entry) error
}

// NotEmptyError says that a bench has something, where only an empty one will do. Nothing
// was changed.
type NotEmptyError struct{ Jobs, Documents, Listings int }

func (e *NotEmptyError) Error() string {
	return fmt.Sprintf("the bench is not empty: it has %d jobs, %d documents and %d listings; nothing was changed",
		e.Jobs, e.Documents, e.Listings)
}

// Hint says what to do.
func (e *NotEmptyError) Hint() string {
	return "name a folder that is not there yet with --bench DIR; two benches are not made one"
}

// ParseJobID returns which job of the bench an id names; ok is false where it is none that
// [JobID] makes.
func ParseJobID(id string) (n int64, ok bool) {
	if _, err := fmt.Sscanf(id, "job-%d", &n); err != nil {
		return 0, false
	}
	return n, n > 0 && JobID(n) == id
}

// ParseEntryRef returns the number within job and kind that a ref has; ok is false where
// it is none that [EntryRef] makes for the kind.
func ParseEntryRef(k Kind, ref string) (n int64, ok bool) {
	rest, ok := strings.CutPrefix(ref, string(k)+" ")
	if !ok {
		return 0, false
	}
	if _, err := fmt.Sscanf(rest, "%d", &n); err != nil {
		return 0, false
	}
	return n, n > 0 && EntryRef(k, n) == ref
}

// CheckKeptJob says whether a job is one that a record gave: with id, time in UTC and the
// hash of its definition.
func CheckKeptJob(j Job) error {
	if _, ok := ParseJobID(j.ID); !ok {
		return &InvalidError{Field: "job", Value: shorten(j.ID), Problem: "is no id of a job"}
	}
	if !isHash(j.DefinitionSHA) {
		return &InvalidError{Field: "definition", Value: shorten(j.DefinitionSHA), Problem: "is no SHA-256"}
	}
	return firstError(checkKeptTime(j.Opened), checkKeptClock(j.Clock))
}

// CheckKeptEntry says whether an entry is one that a record gave: whole, numbered, its times
// in UTC. What it corrects is for [CheckCorrection].
func CheckKeptEntry(e Entry) error {
	if err := CheckShape(e); err != nil {
		return err
	}
	if _, ok := ParseEntryRef(e.Kind, e.Ref); !ok {
		return &InvalidError{Field: "ref", Value: shorten(e.Ref), Problem: "is no number of a " + string(e.Kind)}
	}
	if e.Seq <= 0 || e.Corrects >= e.Seq {
		return &InvalidError{Field: "number", Value: fmt.Sprint(e.Seq), Problem: "is not above 0 and above that of the entry it corrects"}
	}
	return firstError(checkKeptTime(e.At), checkKeptClock(e.Clock))
}

func checkKeptTime(t time.Time) error {
	if err := CheckTime(t); err != nil {
		return err
	}
	if _, offset := t.Zone(); offset != 0 {
		return &InvalidError{Field: "time", Value: t.String(), Problem: "is not in UTC"}
	}
	return nil
}

func checkKeptClock(t time.Time) error {
	if t.IsZero() {
		return nil
	}
	return checkKeptTime(t)
}

func isHash(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}
