package web

import (
	"context"
	"errors"
	"io"
	"mime"
	"net"
	"net/http"
	"os"
	"time"

	"headstack/logbook"
	"headstack/phone"
)

// What one caller may take of the bench's time. A body may rest for bodyRest, for a radio
// link drops out for seconds, and brings bodyRate on the average once bodyGrace is over: the
// slowest link in use is a hundred times as fast. An answer is waited for by pieces, each for
// answerRest.
const (
	bodyRest   = 30 * time.Second
	bodyGrace  = 60 * time.Second
	bodyRate   = 4 << 10 // bytes in a second
	answerRest = 60 * time.Second
	answerCut  = 64 << 10 // bytes of one piece
)

// maxArrivals bounds the files and other large bodies that arrive at once.
const maxArrivals = 8

// limits are those of one server.
type limits struct {
	arrivals chan struct{} // a place for each large body
	rest     time.Duration // see bodyRest
	grace    time.Duration // see bodyGrace
}

func newLimits() limits {
	return limits{make(chan struct{}, maxArrivals), bodyRest, bodyGrace}
}

// shield is the outermost of the handler: it ends what is too slow, and turns a panic of a
// handler into an answer. The record is not touched by either: an entry is there once it was
// acknowledged, and before that there is none.
func (s *server) shield(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a := &answer{ResponseWriter: w, ctl: http.NewResponseController(w)}
		if r.Body != nil && r.Body != http.NoBody {
			r.Body = &paced{ReadCloser: r.Body, ctl: a.ctl, limits: s.limits, began: time.Now()}
		}
		defer func() {
			p := recover()
			if p == nil {
				a.wait() // what is still held back goes out when the handler returns
				return
			}
			if err, ok := p.(error); ok && errors.Is(err, http.ErrAbortHandler) {
				panic(p) // a handler cuts its answer short on purpose
			}
			err := logbook.Panic(p)
			if a.begun { // the page cannot be made whole any more: it must not look so
				s.log(r, "a page broke off", http.StatusOK, err)
				panic(http.ErrAbortHandler)
			}
			s.refuse(a, r, brokenError(err))
		}()
		next.ServeHTTP(a, r)
	})
}

func brokenError(err error) *pageError {
	return &pageError{status: http.StatusInternalServerError, title: "The bench made a mistake on this page", what: err.Error(),
		hint: "Go back and try once more. If it comes again, headstack doctor shows what was noted of it; the rest of the bench works on.",
		kept: "What was acknowledged before is kept. Look at the record before you send this again: it shows whether it was entered.", err: err}
}

// limitArrivals refuses a further large body while maxArrivals are on their way.
func (s *server) limitArrivals(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !large(r) {
			next.ServeHTTP(w, r)
			return
		}
		select {
		case s.limits.arrivals <- struct{}{}:
			defer func() { <-s.limits.arrivals }()
			next.ServeHTTP(w, r)
		default:
			w.Header().Set("Retry-After", "10")
			w.Header().Set("Connection", "close") // the body was not read
			s.refuse(w, r, &pageError{status: http.StatusServiceUnavailable, title: "Too many files arrive at once", what: plural(maxArrivals, "file is", "files are") + " on the way",
				hint: "Send it again when one of them is there.", kept: "Nothing was kept of it."})
		}
	})
}

// large tells a body that may be more than a form.
func large(r *http.Request) bool {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return false
	}
	t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return r.ContentLength > maxForm || r.ContentLength < 0 || err == nil && t == "multipart/form-data"
}

// log notes what went wrong, or was refused, without what was typed: neither the address
// of the page nor the words of the error.
func (s *server) log(r *http.Request, message string, status int, err error) {
	args := []any{"route", r.Pattern, "status", status, "who", whoCalls(r)}
	if err != nil {
		args = append(args, "err", err)
	}
	if stack := logbook.StackOf(err); stack != "" {
		args = append(args, "stack", stack)
	}
	switch {
	case status >= 500, status == http.StatusOK:
		s.opt.Log.Error(message, args...)
	default:
		s.opt.Log.Warn(message, args...)
	}
}

// whoCalls is the bench's own machine, or a mark that tells others apart.
func whoCalls(r *http.Request) string {
	if _, remote := phone.From(r.Context()); !remote {
		return "bench"
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	return logbook.Caller(host)
}

// paced is a body that has to come in at some pace.
type paced struct {
	io.ReadCloser
	ctl    *http.ResponseController
	limits limits
	began  time.Time
	got    int64
}

// errSlow is the error of a body that stood still.
var errSlow = errors.New("it came too slowly, or stopped on the way")

func (p *paced) Read(b []byte) (int, error) {
	end := time.Now().Add(p.limits.rest)
	if by := p.began.Add(p.limits.grace + time.Duration(p.got/bodyRate)*time.Second); by.Before(end) {
		end = by
	}
	_ = p.ctl.SetReadDeadline(end) // a recorder in a test has none
	n, err := p.ReadCloser.Read(b)
	// Not later: the server goes on reading to learn whether the caller is there still, and
	// would take a deadline for its leaving.
	_ = p.ctl.SetReadDeadline(time.Time{})
	p.got += int64(n)
	if errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, context.DeadlineExceeded) {
		err = errSlow
	}
	return n, err
}

// answer knows whether it has begun, and lets a reader go who takes nothing.
type answer struct {
	http.ResponseWriter
	ctl   *http.ResponseController
	begun bool
}

// Unwrap is for [http.ResponseController] and for WebSockets.
func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }

func (a *answer) wait() { _ = a.ctl.SetWriteDeadline(time.Now().Add(answerRest)) }

func (a *answer) WriteHeader(status int) {
	a.begun = a.begun || status >= 200
	a.wait()
	a.ResponseWriter.WriteHeader(status)
}

func (a *answer) Write(b []byte) (n int, err error) {
	a.begun = true
	for {
		a.wait()
		piece := b[n:min(n+answerCut, len(b))]
		m, err := a.ResponseWriter.Write(piece)
		n += m
		if err != nil || n == len(b) {
			return n, err
		}
	}
}
