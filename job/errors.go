package job

import (
	"fmt"
	"strings"
	"time"
)

// NotFoundError says that the bench does not have what was asked for.
type NotFoundError struct {
	What    string   // "job", "entry", "definition", "test tape", "capture"
	ID      string   // as asked
	Nearest []string // what there is, nearest first
}

func (e *NotFoundError) Error() string {
	return fmt.Sprintf("no %s %q%s", e.What, e.ID, suggest(e.Nearest))
}

// InvalidError says which field of a request cannot be kept and why. Nothing
// was kept.
type InvalidError struct {
	Field   string   // "test point", "unit", "remark" ...
	Value   string   // as given
	Problem string   // "is not in the definition"
	Nearest []string // valid values, nearest first
}

func (e *InvalidError) Error() string {
	return fmt.Sprintf("%s %q %s%s", e.Field, e.Value, e.Problem, suggest(e.Nearest))
}

// Refusal says why a correction is refused.
type Refusal string

// The reasons for refusing a correction.
const (
	OtherJob         Refusal = "it belongs to another job"
	AlreadyCorrected Refusal = "it has been corrected already"
	AlreadyWithdrawn Refusal = "it has been withdrawn already"
	IsWithdrawal     Refusal = "it is a withdrawal"
	OtherKind        Refusal = "the replacement is of another kind"
)

// CorrectionError refuses a correction or withdrawal. Nothing was kept.
type CorrectionError struct {
	Seq    int64  // of the entry that was to be corrected
	Ref    string // "check 12"
	Reason Refusal
	By     string // Ref of the entry that corrected or withdrew it already
	ByAt   time.Time
}

func (e *CorrectionError) Error() string {
	s := fmt.Sprintf("%s (entry %d) cannot be corrected: %s", e.Ref, e.Seq, e.Reason)
	switch e.Reason {
	case AlreadyCorrected:
		s += fmt.Sprintf(", by %s of %s; correct that one", e.By, moment(e.ByAt))
	case AlreadyWithdrawn:
		s += fmt.Sprintf(", by %s of %s; record it anew", e.By, moment(e.ByAt))
	case IsWithdrawal:
		s += "; record anew what it took back"
	}
	return s
}

// AlteredError says that a kept file no longer has the bytes it was kept with.
type AlteredError struct {
	Path string // where it lies
	Want string // SHA-256 it was kept under
	Got  string // SHA-256 of what is there now
}

func (e *AlteredError) Error() string {
	return fmt.Sprintf("%s was altered after it was kept: its bytes have the SHA-256 %s, not %s; put the original file back",
		e.Path, e.Got, e.Want)
}

// NotMeasuredError says that a capture was kept and entered in the record, but
// not measured. Entry is what was kept; its report carries the same reason.
type NotMeasuredError struct {
	Entry Entry
	Err   error
}

func (e *NotMeasuredError) Error() string {
	return fmt.Sprintf("not measured: %v; the file %s is kept as %s", e.Err, e.Entry.Capture.File, e.Entry.Ref)
}

// Unwrap returns why it was not measured.
func (e *NotMeasuredError) Unwrap() error { return e.Err }

func suggest(nearest []string) string {
	if len(nearest) == 0 {
		return ""
	}
	return "; there is " + strings.Join(nearest, ", ")
}

// UnrecordedError says that a capture's file was kept under its hash, but its
// entry could not be appended. Adding it again finds the file there.
type UnrecordedError struct {
	File, SHA256 string
	Err          error
}

func (e *UnrecordedError) Error() string {
	return fmt.Sprintf("%s is kept (SHA-256 %s), but the record has no entry of it: %v; add it again", e.File, e.SHA256, e.Err)
}

// Unwrap returns why there is no entry.
func (e *UnrecordedError) Unwrap() error { return e.Err }
