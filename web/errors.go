package web

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"headstack/job"
)

// pageError is an error as a person reads it: what happened, to what, what to
// do, what was kept.
type pageError struct {
	status int
	title  string // what happened
	what   string // to what
	hint   string // what to do
	kept   string
	field  string // the form field it is about, where there is one
	err    error
}

func (e *pageError) Error() string {
	s := e.title
	if e.what != "" {
		s += ": " + e.what
	}
	return s
}

func (e *pageError) Unwrap() error { return e.err }

// statusClientGone answers nobody: the caller went away.
const statusClientGone = 499

// explain turns any error into one that a person can act on.
func explain(err error) *pageError {
	if pe, ok := errors.AsType[*pageError](err); ok {
		return pe
	}
	if pe, ok := explainMeter(err); ok {
		return pe
	}
	if e, ok := errors.AsType[*job.NotFoundError](err); ok {
		hint := "Go to the list of jobs and on from there."
		if len(e.Nearest) > 0 {
			hint = "There is: " + strings.Join(e.Nearest, ", ") + "."
		}
		return &pageError{status: http.StatusNotFound, title: "The bench has no such " + e.What, what: e.ID, hint: hint, kept: "Nothing was written.", field: e.What, err: err}
	}
	if e, ok := errors.AsType[*job.InvalidError](err); ok {
		hint := "Change it and send again."
		if len(e.Nearest) > 0 {
			hint = "It could be: " + strings.Join(e.Nearest, ", ") + "."
		}
		return &pageError{status: http.StatusUnprocessableEntity, title: "Not recorded: " + e.Field + " " + e.Problem, what: e.Value, hint: hint, kept: "Nothing was written.", field: e.Field, err: err}
	}
	if e, ok := errors.AsType[*job.PictureError](err); ok {
		return &pageError{status: http.StatusUnprocessableEntity, title: "Not kept: the file " + e.Err.Error(), what: e.File, hint: e.Hint(), kept: "Nothing was kept of it; the record is as it was.", field: "file", err: err}
	}
	if e, ok := errors.AsType[*job.NoTasksError](err); ok {
		return &pageError{status: http.StatusUnprocessableEntity, title: "There is nothing to open for", what: e.Error(),
			hint: "The next step and the line-up say what comes next with the case closed.", kept: "The record is as it was.", err: err}
	}
	if e, ok := errors.AsType[*job.NoLineUpError](err); ok {
		return &pageError{status: http.StatusUnprocessableEntity, title: "There is no line-up", what: e.Error(),
			hint: "See what the definition lacks: its speeds and tracks.", kept: "The record is as it was.", err: err}
	}
	if e, ok := errors.AsType[*job.UnexplainedError](err); ok {
		return &pageError{status: http.StatusUnprocessableEntity, title: "Nothing could be told of " + e.Refs, what: e.Err.Error(),
			hint: "Look at what was measured on it: the response at a few tones of each track is needed.", kept: "The record is as it was.", err: err}
	}
	if e, ok := errors.AsType[*job.CorrectionError](err); ok {
		return &pageError{status: http.StatusConflict, title: e.Error(), what: e.Ref, hint: "Look at the record: it shows what stands now.", kept: "The record is as it was.", err: err}
	}
	if e, ok := errors.AsType[*job.ConflictError](err); ok {
		return &pageError{status: http.StatusConflict, title: "Not kept: " + e.Error(), what: e.Job, hint: "What was typed stands below. Look at what is new in the record, then send it again.", kept: "The record is as it was.", err: err}
	}
	if e, ok := errors.AsType[*job.AlteredError](err); ok {
		return &pageError{status: http.StatusInternalServerError, title: "A kept file no longer has its bytes", what: e.Path, hint: "Put the original file back there.", kept: "The record is as it was.", err: err}
	}
	if e, ok := errors.AsType[diskTrouble](err); ok {
		what, todo := e.Disk()
		return &pageError{status: http.StatusInternalServerError, title: strings.TrimSuffix(sentence(what), "."), hint: sentence(todo), kept: "What was acknowledged before is kept.", err: err}
	}
	if e, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return &pageError{status: http.StatusRequestEntityTooLarge, title: "What was sent is too large", what: "over " + bytesText(e.Limit), hint: "Send a smaller file, or raise the limit where the bench is started.", kept: "Nothing was kept of it.", err: err}
	}
	if errors.Is(err, errSlow) {
		return &pageError{status: http.StatusRequestTimeout, title: "Not received: " + errSlow.Error(), hint: "Look at the connection and send it again.", kept: "Nothing was kept of it.", err: err}
	}
	if errors.Is(err, context.Canceled) {
		return &pageError{status: statusClientGone, title: "Stopped", hint: "Send it again when you want it.", kept: "Nothing was entered in the record.", err: err}
	}
	return &pageError{status: http.StatusInternalServerError, title: "Something inside the bench went wrong", what: err.Error(),
		hint: "Try once more. If it stays, note the line above; the folder of the bench holds the record.", kept: "What was acknowledged before is kept.", err: err}
}

// diskTrouble is an error of the disk under the record: see store.DiskError.
type diskTrouble interface {
	error
	Disk() (what, todo string)
}

func bytesText(n int64) string {
	switch {
	case n >= 1<<30:
		return number(float64(n)/(1<<30)) + "\u2009GiB"
	case n >= 1<<20:
		return number(float64(n)/(1<<20)) + "\u2009MiB"
	case n >= 1<<10:
		return number(float64(n)/(1<<10)) + "\u2009KiB"
	}
	return number(float64(n)) + "\u2009bytes"
}
