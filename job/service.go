package job

import (
	"context"
	"errors"

	"headstack/diagnosis"
	"headstack/measure"
)

var errUnbuilt = errors.New("not built yet")

// Definitions lists the built-in definitions and those added, by name.
func (b *Bench) Definitions(ctx context.Context) ([]DefinitionInfo, error) { return nil, errUnbuilt }

// AddDefinition checks a definition and keeps it. name is the file's name for
// error messages. A later version of the same id takes the place of the
// earlier for new jobs; open jobs keep theirs.
func (b *Bench) AddDefinition(ctx context.Context, name string, yaml []byte) (DefinitionInfo, error) {
	return DefinitionInfo{}, errUnbuilt
}

// DefinitionYAML returns the YAML of a definition by id or SHA-256.
func (b *Bench) DefinitionYAML(ctx context.Context, id string) ([]byte, DefinitionInfo, error) {
	return nil, DefinitionInfo{}, errUnbuilt
}

// Tapes lists the test tapes, by name.
func (b *Bench) Tapes(ctx context.Context) ([]TapeInfo, error) { return nil, errUnbuilt }

// AddTape checks a test-tape definition and keeps it.
func (b *Bench) AddTape(ctx context.Context, name string, yaml []byte) (TapeInfo, error) {
	return TapeInfo{}, errUnbuilt
}

// OpenJob opens a job for one machine.
func (b *Bench) OpenJob(ctx context.Context, n NewJob) (Job, error) { return Job{}, errUnbuilt }

// Jobs lists all jobs, the last opened first.
func (b *Bench) Jobs(ctx context.Context) ([]Summary, error) { return nil, errUnbuilt }

// View returns a job with all its entries, corrections resolved.
func (b *Bench) View(ctx context.Context, jobID string) (*View, error) { return nil, errUnbuilt }

// RecordCheck records the outcome of a control or function check.
func (b *Bench) RecordCheck(ctx context.Context, jobID string, c Check, state measure.CaseState, remark string) (Entry, error) {
	return Entry{}, errUnbuilt
}

// RecordReading records an instrument reading. TestPoint may be an id with its
// Key beside it ("TP21", "a") or a designator ("TP21-a").
func (b *Bench) RecordReading(ctx context.Context, jobID string, r Reading, state measure.CaseState, remark string) (Entry, error) {
	return Entry{}, errUnbuilt
}

// RecordNote records a remark that belongs to no check, reading or capture.
func (b *Bench) RecordNote(ctx context.Context, jobID string, state measure.CaseState, text string) (Entry, error) {
	return Entry{}, errUnbuilt
}

// Correct appends replacement in the place of entry seq. Of the replacement
// only Case, Remark and the payload count; it must be of the same kind.
// Captures are corrected by [Bench.AddCapture] with Corrects.
func (b *Bench) Correct(ctx context.Context, jobID string, seq int64, replacement Entry) (Entry, error) {
	return Entry{}, errUnbuilt
}

// Withdraw appends an entry that takes entry seq back; remark says why.
func (b *Bench) Withdraw(ctx context.Context, jobID string, seq int64, remark string) (Entry, error) {
	return Entry{}, errUnbuilt
}

// AddCapture keeps a capture under its hash, measures it and records both. A
// capture that cannot be measured is recorded with the reason; the error is
// then a [NotMeasuredError] that carries the entry. Any other error means that
// no entry was made, and says whether the file was kept.
func (b *Bench) AddCapture(ctx context.Context, jobID string, up CaptureUpload) (Entry, error) {
	return Entry{}, errUnbuilt
}

// OpenCapture opens a kept capture by its hash, verified.
func (b *Bench) OpenCapture(ctx context.Context, sha string) (File, error) {
	return b.files.Open(ctx, sha)
}

// Evidence is what the current entries of a job say to the diagnosis.
func (b *Bench) Evidence(v *View) diagnosis.Evidence { return diagnosis.Evidence{} }

// Diagnose reasons over the current entries of a job.
func (b *Bench) Diagnose(ctx context.Context, jobID string) (*diagnosis.Verdict, *View, error) {
	return nil, nil, errUnbuilt
}
