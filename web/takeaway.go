package web

import (
	"context"
	"io"
	"net/http"
	"sync"
)

// ExportFunc writes the whole bench as one zip file; see package export.
type ExportFunc func(ctx context.Context, w io.Writer) error

// takeAwayPages offer the whole bench as one file.
func (s *server) takeAwayPages(page func(string, func(http.ResponseWriter, *http.Request) error)) {
	page("GET /take-away", s.takeAwayPage)
	page("GET /take-away/bench.zip", s.takeAway)
}

type takeAwayModel struct {
	base
	Machine bool // it can be taken from here; else only at the bench machine
}

func (s *server) takeAwayPage(w http.ResponseWriter, r *http.Request) error {
	if err := s.mayTakeAway(); err != nil {
		return err
	}
	m := takeAwayModel{base: base{Title: "Take everything with you"}, Machine: here(r, "") == nil}
	return render(w, http.StatusOK, "takeaway", m)
}

func (s *server) mayTakeAway() error {
	if s.opt.Export != nil {
		return nil
	}
	return &pageError{status: http.StatusNotFound, title: "This bench is not exported by its pages",
		hint: "Run headstack export FILE.zip on the bench machine.", kept: "The record is as it was."}
}

// exporting lets one at a time: each reads the whole bench.
var exporting sync.Mutex

// takeAway sends the bench while it is written. A phone does not get it: what one page after
// the other shows to who stands at the bench is not to leave with a lost device in one piece.
func (s *server) takeAway(w http.ResponseWriter, r *http.Request) error {
	if err := s.mayTakeAway(); err != nil {
		return err
	}
	if err := here(r, "taking the whole bench away"); err != nil {
		return err
	}
	if !exporting.TryLock() {
		return &pageError{status: http.StatusConflict, title: "The bench is being exported already",
			hint: "Wait until that is done, then try once more.", kept: "The record is as it was."}
	}
	defer exporting.Unlock()
	out := &late{w: w}
	err := s.opt.Export(r.Context(), out)
	if err != nil && !out.begun {
		return err
	}
	if err != nil {
		if r.Context().Err() == nil {
			s.opt.Log.Error("export broke off", "err", err)
		}
		panic(http.ErrAbortHandler) // a download that ends well would be taken for whole
	}
	return nil
}

// late sends the headers of the download with its first byte: before it, an error is a page.
type late struct {
	w     http.ResponseWriter
	begun bool
}

func (l *late) Write(p []byte) (int, error) {
	if !l.begun {
		l.begun = true
		l.w.Header().Set("Content-Type", "application/zip")
		l.w.Header().Set("Content-Disposition", `attachment; filename="bench.zip"`)
	}
	return l.w.Write(p)
}
