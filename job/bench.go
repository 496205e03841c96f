package job

import (
	"time"

	"headstack/measure"
)

// Bench is the service behind command line, pages and API: it knows the
// definitions and test tapes, opens jobs, appends to their record after
// checking each entry against the definition, and asks for the diagnosis.
// It is safe for concurrent use.
type Bench struct {
	rec   Record
	files Files
	opt   BenchOptions
}

// BenchOptions are what a Bench takes from outside; the zero value is for use,
// tests set fields.
type BenchOptions struct {
	// Now is the clock; nil is time.Now.
	Now func() time.Time
}

// NewBench makes the service over a record and its files.
func NewBench(rec Record, files Files, opt BenchOptions) *Bench {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	return &Bench{rec: rec, files: files, opt: opt}
}

// NewJob is what intake asks for.
type NewJob struct {
	Definition string // id, or SHA-256 where an older version of it is wanted
	Serial     string
	Owner      string
	Claim      string // what the owner says is wrong, in the owner's words
	Case       measure.CaseState
}
